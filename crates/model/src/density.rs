//! Young's modulus of bone from its density.

use crate::Elasticity;
use thiserror::Error;

/// A density that the law cannot take.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[error("density {0} g/cm³ is not a positive number")]
pub struct BadDensity(pub f64);

/// E = c ρⁿ, kept between two bounds.
#[derive(Debug, Clone, PartialEq)]
pub struct DensityLaw {
    /// c, MPa for ρ in g/cm³.
    pub coefficient_mpa: f64,
    /// n.
    pub exponent: f64,
    /// Poisson's ratio at any density.
    pub poisson: f64,
    /// Least modulus, MPa: keeps voids from making the stiffness singular.
    pub least_mpa: f64,
    /// Largest modulus, MPa.
    pub largest_mpa: f64,
    /// Where the law comes from.
    pub source: &'static str,
}

impl DensityLaw {
    /// Cancellous bone of all sites pooled, apparent density.
    pub fn pooled() -> Self {
        DensityLaw {
            coefficient_mpa: 8_920.0,
            exponent: 1.83,
            poisson: 0.3,
            least_mpa: 1.0,
            largest_mpa: 22_000.0,
            source: "Morgan et al. 2003, J Biomech 36:897, pooled sites (coefficients from memory); bounds and Poisson's ratio common practice, no source",
        }
    }

    /// Bone of the ulna, cancellous to cortical, apparent density.
    pub fn ulna() -> Self {
        DensityLaw {
            coefficient_mpa: 8_346.0,
            exponent: 1.5,
            poisson: 0.3,
            least_mpa: 1.0,
            largest_mpa: 22_000.0,
            source: "Austman et al. 2009, Proc IMechE H 223:787 (law from memory); bounds and Poisson's ratio common practice, no source",
        }
    }

    /// Young's modulus, MPa, of a density in g/cm³.
    ///
    /// # Errors
    /// [`BadDensity`] when the density is not a positive number.
    pub fn young_mpa(&self, density: f64) -> Result<f64, BadDensity> {
        if !(density.is_finite() && density > 0.0) {
            return Err(BadDensity(density));
        }
        let e = self.coefficient_mpa * density.powf(self.exponent);
        Ok(e.clamp(self.least_mpa, self.largest_mpa))
    }

    /// Isotropic elasticity of a density.
    ///
    /// # Errors
    /// As [`DensityLaw::young_mpa`].
    pub fn elasticity(&self, density: f64) -> Result<Elasticity, BadDensity> {
        Ok(Elasticity::isotropic(
            self.young_mpa(density)?,
            self.poisson,
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ulna_law_gives_the_published_cortical_modulus() {
        // Austman et al. 2009: 21 GPa at 1.85 g/cm³.
        let e = DensityLaw::ulna().young_mpa(1.85).unwrap();
        assert!((e / 21_000.0 - 1.0).abs() < 1e-3, "{e}");
    }

    #[test]
    fn bounds_hold_and_nonsense_is_refused() {
        let law = DensityLaw::pooled();
        assert_eq!(law.young_mpa(1e-9).unwrap(), law.least_mpa);
        assert_eq!(law.young_mpa(10.0).unwrap(), law.largest_mpa);
        assert!(law.elasticity(0.3).unwrap().is_admissible());
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(law.young_mpa(bad).is_err());
        }
    }
}
