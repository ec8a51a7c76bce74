//! The surfaces of a blueprint by number, and Newton steps onto several of them at once.

use crate::{MeshError, SurfaceName};
use bicolumn_base::Vec3;
use bicolumn_geometry::Field;

/// Bit of a vertex that must not move: it touches a facet that no surface claims.
pub(crate) const PINNED: u128 = 1 << 127;

/// How many surfaces the provenance word holds.
pub(crate) const SURFACE_LIMIT: usize = 127;

/// A point counts as on a surface below this distance, mm.
const ON_SURFACE_MM: f64 = 1e-8;

/// The surfaces, numbered by their bit.
pub(crate) struct Surfaces<'a> {
    fields: &'a [(SurfaceName, Box<dyn Field + 'a>)],
}

/// The numbers of the bits set in a provenance word, ascending.
pub(crate) fn bits(mut mask: u128) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        (mask != 0).then(|| {
            let k = mask.trailing_zeros() as usize;
            mask &= mask - 1;
            k
        })
    })
}

impl<'a> Surfaces<'a> {
    pub(crate) fn new(fields: &'a [(SurfaceName, Box<dyn Field + 'a>)]) -> Result<Self, MeshError> {
        if fields.len() > SURFACE_LIMIT {
            return Err(MeshError::TooManySurfaces {
                found: fields.len(),
                limit: SURFACE_LIMIT,
            });
        }
        Ok(Surfaces { fields })
    }

    pub(crate) fn names(&self) -> Vec<SurfaceName> {
        self.fields.iter().map(|f| f.0).collect()
    }

    pub(crate) fn value(&self, surface: usize, x: Vec3) -> f64 {
        self.fields[surface].1.value(x)
    }

    pub(crate) fn gradient(&self, surface: usize, x: Vec3) -> Vec3 {
        self.fields[surface].1.gradient(x)
    }

    /// The surface among `mask` nearest to a point, with its distance; `None` for an empty mask.
    pub(crate) fn nearest(&self, mask: u128, x: Vec3) -> Option<(usize, f64)> {
        bits(mask & !PINNED)
            .map(|k| (k, self.value(k, x).abs()))
            .min_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// The surface of a facet from the surfaces its corners share; evaluates only in doubt.
    pub(crate) fn claim(&self, shared: u128, centroid: impl FnOnce() -> Vec3) -> Option<usize> {
        let shared = shared & !PINNED;
        match shared.count_ones() {
            0 => None,
            1 => Some(shared.trailing_zeros() as usize),
            _ => self.nearest(shared, centroid()).map(|n| n.0),
        }
    }

    /// Largest distance of a point from the surfaces in `mask`, mm.
    pub(crate) fn residual(&self, mask: u128, x: Vec3) -> f64 {
        bits(mask & !PINNED)
            .map(|k| self.value(k, x).abs())
            .fold(0.0, f64::max)
    }

    /// The point near `start` on all surfaces of `mask` (at most three), by Newton steps of least
    /// length; `None` when they do not converge or two surfaces are close to parallel.
    ///
    /// Gradients are kept as long as the residual falls quickly: they are the dear part.
    pub(crate) fn project(&self, mask: u128, start: Vec3) -> Option<Vec3> {
        let count = mask.count_ones() as usize;
        if count == 0 {
            return Some(start);
        }
        if count > 3 || mask & PINNED != 0 {
            return None;
        }
        let mut surface = [0; 3];
        for (slot, k) in surface.iter_mut().zip(bits(mask)) {
            *slot = k;
        }
        let mut x = start;
        let mut gradients = [Vec3::zeros(); 3];
        let mut last = f64::INFINITY;
        for _ in 0..12 {
            let mut f = [0.0; 3];
            for i in 0..count {
                f[i] = self.value(surface[i], x);
            }
            let residual = f.iter().fold(0.0f64, |m, v| m.max(v.abs()));
            if residual < ON_SURFACE_MM {
                return Some(x);
            }
            if !residual.is_finite() {
                return None;
            }
            if residual > 0.1 * last || last.is_infinite() {
                for i in 0..count {
                    gradients[i] = self.gradient(surface[i], x);
                }
            }
            last = residual;
            x += least_step(&gradients[..count], &f[..count])?;
        }
        None
    }
}

/// The shortest step s with g_i · s = -f_i for all i: s = Σ l_j g_j, (G Gᵀ) l = -f.
fn least_step(g: &[Vec3], f: &[f64]) -> Option<Vec3> {
    const PARALLEL: f64 = 0.02; // sine squared of about 8 degrees
    let n = g.len();
    for i in 0..n {
        let gi = g[i].norm_squared();
        if gi.is_nan() || gi <= 1e-12 {
            return None;
        }
        for gj in &g[..i] {
            if g[i].cross(gj).norm_squared() < PARALLEL * gi * gj.norm_squared() {
                return None;
            }
        }
    }
    let mut a = [[0.0; 4]; 3];
    for i in 0..n {
        for j in 0..n {
            a[i][j] = g[i].dot(&g[j]);
        }
        a[i][3] = -f[i];
    }
    for i in 0..n {
        let pivot = (i..n).max_by(|p, q| a[*p][i].abs().total_cmp(&a[*q][i].abs()))?;
        a.swap(i, pivot);
        if a[i][i].abs() < 1e-6 {
            return None;
        }
        for r in 0..n {
            if r != i {
                let w = a[r][i] / a[i][i];
                for c in i..4 {
                    a[r][c] -= w * a[i][c];
                }
            }
        }
    }
    Some((0..n).map(|i| g[i] * (a[i][3] / a[i][i])).sum())
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Sphere(Vec3, f64);
    impl Field for Sphere {
        fn value(&self, x: Vec3) -> f64 {
            (x - self.0).norm() - self.1
        }
    }
    struct Plane(Vec3, f64);
    impl Field for Plane {
        fn value(&self, x: Vec3) -> f64 {
            self.0.dot(&x) - self.1
        }
    }

    #[test]
    fn projects_onto_surfaces_curves_and_corners() {
        let fields: Vec<(SurfaceName, Box<dyn Field>)> = vec![
            (SurfaceName::Other(0), Box::new(Sphere(Vec3::zeros(), 5.0))),
            (SurfaceName::Other(1), Box::new(Plane(Vec3::z(), 3.0))),
            (SurfaceName::Other(2), Box::new(Plane(Vec3::y(), 0.0))),
            (SurfaceName::Other(3), Box::new(Plane(Vec3::z(), 3.1))),
        ];
        let s = Surfaces::new(&fields).unwrap();
        let start = Vec3::new(3.6, 0.5, 2.7);
        for mask in [0b1, 0b10, 0b11, 0b111] {
            let p = s.project(mask, start).unwrap();
            assert!(s.residual(mask, p) < 1e-8, "{mask:b}");
        }
        let corner = s.project(0b111, start).unwrap();
        assert!((corner - Vec3::new(4.0, 0.0, 3.0)).norm() < 1e-7);
        // One surface: the step goes along the normal.
        let foot = s.project(0b10, start).unwrap();
        assert!((foot - Vec3::new(3.6, 0.5, 3.0)).norm() < 1e-9);
        assert_eq!(s.project(0b1010, start), None, "parallel planes");
        assert_eq!(s.project(PINNED | 1, start), None);
        assert_eq!(s.claim(0b1010, || Vec3::new(0.0, 0.0, 3.07)), Some(3));
        assert_eq!(s.claim(0, Vec3::zeros), None);
    }
}
