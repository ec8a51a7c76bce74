//! A hollow round shaft under force, bending and torsion: beam theory.

use std::f64::consts::PI;

/// A round tube.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HollowShaft {
    /// Outer diameter.
    pub outer_mm: f64,
    /// Inner diameter.
    pub inner_mm: f64,
    /// Young's modulus.
    pub young_mpa: f64,
    /// Poisson's ratio.
    pub poisson: f64,
}

impl HollowShaft {
    /// Area, mm².
    pub fn area_mm2(&self) -> f64 {
        PI / 4.0 * (self.outer_mm.powi(2) - self.inner_mm.powi(2))
    }

    /// Second moment of area I, mm⁴; the polar one J is twice this.
    ///
    /// ```
    /// use bicolumn_verify::exact::hollow_shaft::HollowShaft;
    /// let shaft = HollowShaft { outer_mm: 19.3, inner_mm: 12.1, young_mpa: 17e3, poisson: 0.3 };
    /// assert!((shaft.area_mm2() - 177.6).abs() < 0.05);
    /// assert!((shaft.second_moment_mm4() - 5759.0).abs() < 0.5);
    /// assert!((shaft.torsional_rigidity_nmm2() / 1e6 - 75.3).abs() < 0.05);
    /// ```
    pub fn second_moment_mm4(&self) -> f64 {
        PI / 64.0 * (self.outer_mm.powi(4) - self.inner_mm.powi(4))
    }

    /// G J, N·mm².
    pub fn torsional_rigidity_nmm2(&self) -> f64 {
        self.young_mpa / (2.0 * (1.0 + self.poisson)) * 2.0 * self.second_moment_mm4()
    }

    /// E I, N·mm².
    pub fn bending_rigidity_nmm2(&self) -> f64 {
        self.young_mpa * self.second_moment_mm4()
    }

    /// Bending stress M r / I, MPa.
    pub fn bending_stress_mpa(&self, moment_nmm: f64, from_axis_mm: f64) -> f64 {
        moment_nmm * from_axis_mm / self.second_moment_mm4()
    }

    /// Shear stress T r / J, MPa.
    pub fn torsion_stress_mpa(&self, torque_nmm: f64, radius_mm: f64) -> f64 {
        torque_nmm * radius_mm / (2.0 * self.second_moment_mm4())
    }
}
