//! Young's modulus of bone from its density, and how density varies in a bone.

use crate::Elasticity;
use std::fmt;
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

impl DensityLaw {
    /// The modulus as a formula, with its units and bounds.
    pub fn formula(&self) -> String {
        format!(
            "E = {} ρ^{} MPa, ρ in g/cm³, kept between {} and {} MPa",
            self.coefficient_mpa, self.exponent, self.least_mpa, self.largest_mpa
        )
    }
}

impl fmt::Display for DensityLaw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; Poisson's ratio {}", self.formula(), self.poisson)
    }
}

/// Density of cancellous bone that is densest under the cortex and changes along the bone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GradedDensity {
    /// Deep inside at the joint, g/cm³.
    pub core_g_per_cm3: f64,
    /// Density at the cortex over that deep inside.
    pub rim_ratio: f64,
    /// Depth below the cortex over which the one becomes the other, linearly, mm.
    pub rim_depth_mm: f64,
    /// Density at the canal's floor over that at the joint axis, linear in between.
    pub proximal_ratio: f64,
}

impl GradedDensity {
    /// Density, g/cm³, at a depth below the cortex's inner face and a level given as a share of the way
    /// from the joint axis (0) to the canal's floor (1); beyond either, that of the end.
    pub fn at(&self, depth_mm: f64, rise: f64) -> f64 {
        let in_rim = (1.0 - depth_mm.max(0.0) / self.rim_depth_mm).max(0.0);
        let across = 1.0 + (self.rim_ratio - 1.0) * in_rim;
        let along = 1.0 + (self.proximal_ratio - 1.0) * rise.clamp(0.0, 1.0);
        self.core_g_per_cm3 * across * along
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
    fn density_falls_from_the_cortex_and_along_the_bone() {
        let d = GradedDensity {
            core_g_per_cm3: 0.2,
            rim_ratio: 2.0,
            rim_depth_mm: 4.0,
            proximal_ratio: 0.5,
        };
        let cases = [
            ((0.0, 0.0), 0.4),
            ((-0.1, -1.0), 0.4),
            ((1.0, 0.0), 0.35),
            ((4.0, 0.0), 0.2),
            ((20.0, 0.5), 0.15),
            ((2.0, 1.0), 0.15),
            ((2.0, 3.0), 0.15),
        ];
        for ((depth, rise), expected) in cases {
            let found = d.at(depth, rise);
            assert!((found - expected).abs() < 1e-15, "{depth} {rise}: {found}");
        }
    }

    #[test]
    fn a_law_says_itself() {
        assert_eq!(
            DensityLaw::pooled().to_string(),
            "E = 8920 ρ^1.83 MPa, ρ in g/cm³, kept between 1 and 22000 MPa; Poisson's ratio 0.3"
        );
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
