//! Materials and their presets, each with its source.

use crate::Elasticity;
use serde::{Deserialize, Serialize};

/// A linear elastic, isotropic material.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Material {
    /// Name as in the report.
    pub name: String,
    /// Young's modulus, MPa.
    pub young_mpa: f64,
    /// Poisson's ratio.
    pub poisson: f64,
    /// Where the numbers come from.
    pub source: String,
}

impl Material {
    /// A material by its numbers.
    pub fn new(name: &str, young_mpa: f64, poisson: f64, source: &str) -> Self {
        Material {
            name: name.to_owned(),
            young_mpa,
            poisson,
            source: source.to_owned(),
        }
    }

    /// Lamé's constants (λ, μ), MPa: λ = Eν / ((1+ν)(1−2ν)), μ = E / (2(1+ν)).
    ///
    /// ```
    /// use bicolumn_model::Material;
    /// let (lambda, mu) = Material::new("x", 1000.0, 0.25, "").lame();
    /// assert!((lambda - 400.0).abs() < 1e-9 && (mu - 400.0).abs() < 1e-9);
    /// ```
    pub fn lame(&self) -> (f64, f64) {
        let (e, nu) = (self.young_mpa, self.poisson);
        (
            e * nu / ((1.0 + nu) * (1.0 - 2.0 * nu)),
            e / (2.0 * (1.0 + nu)),
        )
    }

    /// As an elasticity.
    pub fn elasticity(&self) -> Elasticity {
        Elasticity::isotropic(self.young_mpa, self.poisson)
    }

    /// Is it positive definite: E > 0 and −1 < ν < 1/2, all finite?
    pub fn is_admissible(&self) -> bool {
        self.young_mpa.is_finite()
            && self.young_mpa > 0.0
            && self.poisson > -1.0
            && self.poisson < 0.5
    }

    /// Cortical bone, isotropic.
    pub fn cortical() -> Self {
        Self::new(
            "cortical bone",
            17_000.0,
            0.3,
            "longitudinal modulus of Reilly and Burstein 1975, J Biomech 8:393 (from memory); isotropic choice is common practice in plating models, no source",
        )
    }

    /// Cancellous bone of a healthy metaphysis.
    pub fn cancellous() -> Self {
        Self::new(
            "cancellous bone",
            600.0,
            0.3,
            "middle level of the cancellous moduli of Inzana et al. 2016 (200, 600, 1000 MPa); Poisson's ratio common practice, no source",
        )
    }

    /// This bone with the reduced modulus of osteoporotic models: `cortical` by 33 %, otherwise
    /// (cancellous) by 66 %.
    pub fn osteoporotic(&self, cortical: bool) -> Self {
        let kept = if cortical { 0.67 } else { 0.34 };
        Self::new(
            &format!("osteoporotic {}", self.name),
            self.young_mpa * kept,
            self.poisson,
            "modulus reduced by 33 % (cortical) or 66 % (cancellous) as Polikeit et al. 2004, J Biomech 37:1061 (from memory)",
        )
    }

    /// Stainless steel 316L.
    pub fn steel_316l() -> Self {
        Self::new(
            "stainless steel 316L",
            193_000.0,
            0.3,
            "186-200 GPa is usual for 316L (from memory)",
        )
    }

    /// Titanium alloy Ti-6Al-4V.
    pub fn titanium_alloy() -> Self {
        Self::new(
            "titanium alloy Ti-6Al-4V",
            114_000.0,
            0.34,
            "114 GPa: J Orthop Surg Res 2021, doi 10.1186/s13018-021-02836-1 (abstract); Poisson's ratio from memory",
        )
    }

    /// Commercially pure titanium.
    pub fn pure_titanium() -> Self {
        Self::new(
            "commercially pure titanium",
            104_000.0,
            0.34,
            "103-105 GPa for grades 2 and 4 (from memory)",
        )
    }

    /// Cortex of a composite bone surrogate.
    pub fn composite_cortex() -> Self {
        Self::new(
            "composite cortex",
            16_500.0,
            0.3,
            "16-17 GPa for fibre-filled composite bones (from memory)",
        )
    }

    /// Foam core of a composite bone surrogate.
    pub fn composite_foam() -> Self {
        Self::new(
            "composite foam core",
            155.0,
            0.3,
            "solid rigid foam, 155 MPa (from memory)",
        )
    }

    /// Early healing tissue in the gap.
    pub fn granulation_tissue() -> Self {
        Self::new(
            "granulation tissue",
            1.0,
            0.3,
            "0.2-1 MPa (from memory, uncertain); Poisson's ratio common practice, no source",
        )
    }

    /// A preset by its key in a job file.
    pub fn preset(key: &str) -> Option<Self> {
        PRESETS.iter().find(|p| p.0 == key).map(|p| p.1())
    }

    /// The keys that [`Material::preset`] knows.
    pub fn preset_keys() -> impl Iterator<Item = &'static str> {
        PRESETS.iter().map(|p| p.0)
    }
}

type Preset = (&'static str, fn() -> Material);

const PRESETS: [Preset; 10] = [
    ("cortical", Material::cortical),
    ("cancellous", Material::cancellous),
    ("osteoporotic_cortical", || {
        Material::cortical().osteoporotic(true)
    }),
    ("osteoporotic_cancellous", || {
        Material::cancellous().osteoporotic(false)
    }),
    ("steel_316l", Material::steel_316l),
    ("ti6al4v", Material::titanium_alloy),
    ("cp_titanium", Material::pure_titanium),
    ("composite_cortex", Material::composite_cortex),
    ("composite_foam", Material::composite_foam),
    ("granulation_tissue", Material::granulation_tissue),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn presets_are_admissible_and_say_where_they_come_from() {
        for key in Material::preset_keys() {
            let m = Material::preset(key).unwrap();
            assert!(m.is_admissible() && !m.source.is_empty(), "{key}");
        }
        assert!(Material::preset("wood").is_none());
    }

    #[test]
    fn lame_constants_give_back_the_modulus() {
        let m = Material::titanium_alloy();
        let (l, mu) = m.lame();
        let e = mu * (3.0 * l + 2.0 * mu) / (l + mu);
        assert!((e - m.young_mpa).abs() < 1e-9 * e);
        assert!((l / (2.0 * (l + mu)) - m.poisson).abs() < 1e-12);
    }

    #[test]
    fn impossible_materials_are_refused() {
        for (e, nu) in [
            (0.0, 0.3),
            (-1.0, 0.3),
            (1.0, 0.5),
            (f64::NAN, 0.3),
            (1.0, f64::NAN),
        ] {
            assert!(!Material::new("x", e, nu, "").is_admissible());
        }
    }
}
