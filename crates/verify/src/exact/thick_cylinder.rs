//! A thick tube under internal pressure, after Lamé.

/// A tube of radii a < b under internal pressure p in plane strain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThickCylinder {
    /// Bore radius a.
    pub inner_mm: f64,
    /// Outer radius b.
    pub outer_mm: f64,
    /// Internal pressure.
    pub pressure_mpa: f64,
    /// Young's modulus.
    pub young_mpa: f64,
    /// Poisson's ratio.
    pub poisson: f64,
}

impl ThickCylinder {
    /// Radial and hoop stress at a radius, MPa: A ∓ B / r² with A = p a²/(b² − a²), B = A b²
    /// (Lamé 1852; Timoshenko and Goodier, Theory of Elasticity, section 28; from memory).
    ///
    /// ```
    /// use bicolumn_verify::exact::thick_cylinder::ThickCylinder;
    /// let tube = ThickCylinder {
    ///     inner_mm: 10.0, outer_mm: 20.0, pressure_mpa: 10.0, young_mpa: 17e3, poisson: 0.3,
    /// };
    /// let (radial, hoop) = tube.stress_mpa(15.0);
    /// assert!((radial + 2.593).abs() < 1e-3 && (hoop - 9.259).abs() < 1e-3);
    /// assert!((tube.displacement_mm(10.0) - 0.011216).abs() < 1e-6);
    /// ```
    pub fn stress_mpa(&self, radius_mm: f64) -> (f64, f64) {
        let (a, b) = self.constants();
        let q = b / radius_mm.powi(2);
        (a - q, a + q)
    }

    /// Axial stress that plane strain needs, MPa: ν (σ_r + σ_θ).
    pub fn axial_stress_mpa(&self) -> f64 {
        2.0 * self.poisson * self.constants().0
    }

    /// Radial displacement in plane strain, mm: (1 + ν)/E [(1 − 2ν) A r + B / r].
    pub fn displacement_mm(&self, radius_mm: f64) -> f64 {
        let (a, b) = self.constants();
        (1.0 + self.poisson) / self.young_mpa
            * ((1.0 - 2.0 * self.poisson) * a * radius_mm + b / radius_mm)
    }

    fn constants(&self) -> (f64, f64) {
        let (i, o) = (self.inner_mm.powi(2), self.outer_mm.powi(2));
        let a = self.pressure_mpa * i / (o - i);
        (a, a * o)
    }
}
