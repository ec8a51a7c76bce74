//! Linear displacement: constant strain and stress, the field of the patch test.

use bicolumn_base::{Mat3, SymTensor, Vec3};

/// u(x) = H (x − origin).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LinearField {
    /// Displacement gradient H.
    pub gradient: Mat3,
    /// Where the displacement is zero, mm.
    pub origin: Vec3,
}

impl LinearField {
    /// Displacement, mm.
    pub fn displacement(&self, x: Vec3) -> Vec3 {
        self.gradient * (x - self.origin)
    }

    /// The constant stress λ tr ε I + 2 μ ε, MPa.
    ///
    /// ```
    /// use bicolumn_base::{Mat3, Vec3};
    /// use bicolumn_verify::exact::linear_field::LinearField;
    /// // Free lateral contraction: uniaxial stress E times the strain.
    /// let gradient = Mat3::from_diagonal(&Vec3::new(1e-3, -3e-4, -3e-4));
    /// let field = LinearField { gradient, origin: Vec3::zeros() };
    /// let stress = field.stress(1000.0, 0.3);
    /// assert!((stress.0[0] - 1.0).abs() < 1e-12 && stress.0[1].abs() < 1e-12);
    /// ```
    pub fn stress(&self, young_mpa: f64, poisson: f64) -> SymTensor {
        let strain = SymTensor::from_matrix(&self.gradient);
        let lambda = young_mpa * poisson / ((1.0 + poisson) * (1.0 - 2.0 * poisson));
        let p = lambda * strain.trace();
        strain * (young_mpa / (1.0 + poisson)) + SymTensor::new(p, p, p, 0.0, 0.0, 0.0)
    }
}
