//! Symmetric second-order tensors: stress and strain.

use crate::{Mat3, Vec3};
use nalgebra::Vector6;

/// A symmetric 3×3 tensor, stored as xx, yy, zz, xy, yz, xz (tensor shear, not engineering shear):
/// the order of every file and matrix of the project.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SymTensor(pub Vector6<f64>);

impl SymTensor {
    /// The zero tensor.
    #[inline]
    pub fn zeros() -> Self {
        SymTensor(Vector6::zeros())
    }

    /// From the six components, order xx yy zz xy yz xz.
    #[inline]
    pub fn new(xx: f64, yy: f64, zz: f64, xy: f64, yz: f64, xz: f64) -> Self {
        SymTensor(Vector6::new(xx, yy, zz, xy, yz, xz))
    }

    /// A uniaxial state of size `s` along the unit direction `n`: s n⊗n.
    pub fn uniaxial(s: f64, n: Vec3) -> Self {
        Self::from_matrix(&(n * n.transpose() * s))
    }

    /// The symmetric part of a matrix.
    #[inline]
    pub fn from_matrix(m: &Mat3) -> Self {
        Self::new(
            m[(0, 0)],
            m[(1, 1)],
            m[(2, 2)],
            0.5 * (m[(0, 1)] + m[(1, 0)]),
            0.5 * (m[(1, 2)] + m[(2, 1)]),
            0.5 * (m[(0, 2)] + m[(2, 0)]),
        )
    }

    /// As a full matrix.
    pub fn to_matrix(&self) -> Mat3 {
        let [xx, yy, zz, xy, yz, xz] = self.0.data.0[0];
        Mat3::new(xx, xy, xz, xy, yy, yz, xz, yz, zz)
    }

    /// Sum of the diagonal.
    #[inline]
    pub fn trace(&self) -> f64 {
        self.0[0] + self.0[1] + self.0[2]
    }

    /// Von Mises equivalent of a stress, same unit as the stress.
    #[inline]
    pub fn von_mises(&self) -> f64 {
        let [xx, yy, zz, xy, yz, xz] = self.0.data.0[0];
        let d = (xx - yy).powi(2) + (yy - zz).powi(2) + (zz - xx).powi(2);
        (0.5 * d + 3.0 * (xy * xy + yz * yz + xz * xz)).sqrt()
    }

    /// The three principal values, largest first.
    ///
    /// Trigonometric closed form (Smith 1961, Commun ACM 4:168).
    pub fn principal(&self) -> [f64; 3] {
        let [xx, yy, zz, xy, yz, xz] = self.0.data.0[0];
        let mean = self.trace() / 3.0;
        let off = xy * xy + yz * yz + xz * xz;
        let p2 = (xx - mean).powi(2) + (yy - mean).powi(2) + (zz - mean).powi(2) + 2.0 * off;
        let p = (p2 / 6.0).sqrt();
        if p <= f64::EPSILON * mean.abs() || p == 0.0 {
            return [mean; 3];
        }
        let half_det = ((self.to_matrix() - Mat3::identity() * mean) / p).determinant() / 2.0;
        let phi = half_det.clamp(-1.0, 1.0).acos() / 3.0;
        let largest = mean + 2.0 * p * phi.cos();
        let smallest = mean + 2.0 * p * (phi + 2.0 * std::f64::consts::FRAC_PI_3).cos();
        [largest, 3.0 * mean - largest - smallest, smallest]
    }

    /// The traction on a plane of unit normal `n`.
    pub fn traction(&self, n: Vec3) -> Vec3 {
        self.to_matrix() * n
    }
}

impl std::ops::Add for SymTensor {
    type Output = SymTensor;
    #[inline]
    fn add(self, o: SymTensor) -> SymTensor {
        SymTensor(self.0 + o.0)
    }
}

impl std::ops::Sub for SymTensor {
    type Output = SymTensor;
    #[inline]
    fn sub(self, o: SymTensor) -> SymTensor {
        SymTensor(self.0 - o.0)
    }
}

impl std::ops::Mul<f64> for SymTensor {
    type Output = SymTensor;
    #[inline]
    fn mul(self, k: f64) -> SymTensor {
        SymTensor(self.0 * k)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn pure_shear_has_von_mises_root_three() {
        let s = SymTensor::new(0.0, 0.0, 0.0, 10.0, 0.0, 0.0);
        assert!((s.von_mises() - 10.0 * 3f64.sqrt()).abs() < 1e-12);
        let p = s.principal();
        assert!((p[0] - 10.0).abs() < 1e-12 && p[1].abs() < 1e-12 && (p[2] + 10.0).abs() < 1e-12);
    }

    #[test]
    fn hydrostatic_state_is_isotropic() {
        let s = SymTensor::new(-4.0, -4.0, -4.0, 0.0, 0.0, 0.0);
        assert_eq!(s.principal(), [-4.0; 3]);
        assert_eq!(s.von_mises(), 0.0);
    }

    proptest! {
        #[test]
        fn principal_values_agree_with_the_eigenvalues(c in prop::array::uniform6(-100.0..100.0f64)) {
            let s = SymTensor::new(c[0], c[1], c[2], c[3], c[4], c[5]);
            let mut e: Vec<f64> = s.to_matrix().symmetric_eigenvalues().iter().copied().collect();
            e.sort_by(|a, b| b.total_cmp(a));
            for (a, b) in s.principal().iter().zip(e) {
                prop_assert!((a - b).abs() < 1e-5, "{a} {b}");
            }
        }
    }
}
