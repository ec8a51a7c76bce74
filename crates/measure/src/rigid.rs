//! The rotation of the rigid motion that fits a set of displacements best.

use bicolumn_base::{Mat3, Vec3};
use nalgebra::{Cholesky, Const};

/// Rotation vector ω (rad) of the least-squares rigid motion t + ω × (x − c) through weighted
/// (weight, position, displacement) triples.
///
/// With c and ū the weighted means of x and u, and r = x − c: t = ū, and ω solves
/// Σ w (|r|² I − r rᵀ) ω = Σ w r × u (the normal equations of Σ w |t + ω × r − u|²).
/// `None` when the points lie on a line.
pub(crate) fn best_rotation(points: &[(f64, Vec3, Vec3)]) -> Option<Vec3> {
    let spread = Spread::of(points.iter().map(|p| (p.0, p.1)))?;
    let spin = |p: &(f64, Vec3, Vec3)| (p.1 - spread.centre).cross(&p.2) * p.0;
    Some(spread.inertia.solve(&points.iter().map(spin).sum::<Vec3>()))
}

/// How weighted points lie about their mean.
pub(crate) struct Spread {
    /// Their weighted mean.
    pub(crate) centre: Vec3,
    inertia: Cholesky<f64, Const<3>>,
}

impl Spread {
    /// Centre and inertia of (weight, position) pairs; `None` when they lie on a line.
    pub(crate) fn of(points: impl Iterator<Item = (f64, Vec3)> + Clone) -> Option<Self> {
        let total: f64 = points.clone().map(|p| p.0).sum();
        if total <= 0.0 {
            return None;
        }
        let centre = points.clone().map(|p| p.1 * p.0).sum::<Vec3>() / total;
        let mut inertia = Mat3::zeros();
        for (w, x) in points {
            let r = x - centre;
            inertia += (Mat3::identity() * r.norm_squared() - r * r.transpose()) * w;
        }
        let least = inertia.symmetric_eigenvalues().min();
        if least <= 1e-12 * inertia.trace() {
            return None;
        }
        let inertia = inertia.cholesky()?;
        Some(Spread { centre, inertia })
    }

    /// With g at its points x, each times its weight, Σ w g(x)·u is a·ω of the best rotation: g = (I⁻¹ a) × r.
    pub(crate) fn lever(&self, a: Vec3) -> impl Fn(Vec3) -> Vec3 + use<> {
        let (turned, centre) = (self.inertia.solve(&a), self.centre);
        move |x| turned.cross(&(x - centre))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn points_on_a_line_give_none() {
        let line: Vec<_> = (0..5)
            .map(|i| (1.0, Vec3::x() * f64::from(i), Vec3::y()))
            .collect();
        assert_eq!(best_rotation(&line), None);
        assert_eq!(best_rotation(&[]), None);
    }

    proptest! {
        #[test]
        fn the_rotation_of_a_rigid_motion_is_found_again(
            t in prop::array::uniform3(-1.0..1.0f64),
            w in prop::array::uniform3(-1.0..1.0f64),
            points in prop::collection::vec(prop::array::uniform4(-10.0..10.0f64), 6..20),
        ) {
            let (t, w) = (Vec3::from(t), Vec3::from(w));
            let data: Vec<_> = points
                .iter()
                .map(|p| {
                    let x = Vec3::new(p[0], p[1], p[2]);
                    (p[3].abs() + 0.1, x, t + w.cross(&x))
                })
                .collect();
            prop_assert!((best_rotation(&data).unwrap() - w).norm() < 1e-8);
        }
    }
}
