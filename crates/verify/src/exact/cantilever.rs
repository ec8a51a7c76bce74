//! A straight cantilever with a transverse force at its tip, after Timoshenko.

/// A rectangular cantilever; lengths mm, force N, modulus MPa.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cantilever {
    /// Length.
    pub length_mm: f64,
    /// Height, along the force.
    pub height_mm: f64,
    /// Width.
    pub width_mm: f64,
    /// Force at the tip.
    pub force_n: f64,
    /// Young's modulus.
    pub young_mpa: f64,
    /// Poisson's ratio.
    pub poisson: f64,
}

impl Cantilever {
    /// Tip deflection P L³ / 3EI + P L / κGA, mm (Timoshenko 1921, Phil Mag 41:744), with
    /// κ = 10(1 + ν) / (12 + 11ν) of the rectangle (Cowper 1966, J Appl Mech 33:335; from memory).
    ///
    /// ```
    /// use bicolumn_verify::exact::cantilever::Cantilever;
    /// let beam = Cantilever {
    ///     length_mm: 100.0, height_mm: 10.0, width_mm: 10.0,
    ///     force_n: 100.0, young_mpa: 200e3, poisson: 0.3,
    /// };
    /// assert!((beam.tip_deflection_mm() - 0.20153).abs() < 5e-6);
    /// ```
    pub fn tip_deflection_mm(&self) -> f64 {
        let area = self.width_mm * self.height_mm;
        let inertia = self.width_mm * self.height_mm.powi(3) / 12.0;
        let shear_modulus = self.young_mpa / (2.0 * (1.0 + self.poisson));
        let kappa = 10.0 * (1.0 + self.poisson) / (12.0 + 11.0 * self.poisson);
        self.force_n * self.length_mm.powi(3) / (3.0 * self.young_mpa * inertia)
            + self.force_n * self.length_mm / (kappa * shear_modulus * area)
    }

    /// Bending stress at a distance from the tip and a height above the axis, MPa.
    pub fn bending_stress_mpa(&self, from_tip_mm: f64, above_axis_mm: f64) -> f64 {
        let inertia = self.width_mm * self.height_mm.powi(3) / 12.0;
        self.force_n * from_tip_mm * above_axis_mm / inertia
    }
}
