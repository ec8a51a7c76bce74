//! The linear elasticity of a point: isotropic, or the same in all directions across one axis.

use bicolumn_base::{SymTensor, Vec3};
use nalgebra::Matrix6;

/// Linear elasticity. Transverse isotropy about a unit axis a, in invariant form (Spencer 1984, Continuum
/// Theory of the Mechanics of Fibre-Reinforced Composites, section 1.4):
///
/// σ = λ tr ε I + 2 μ ε + α ((a·ε a) I + tr ε a⊗a) + 2 m (a⊗ε a + ε a⊗a) + β (a·ε a) a⊗a,
///
/// with μ the shear modulus across the axis and μ + m the one along it. All MPa.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Elasticity {
    /// λ.
    pub lambda: f64,
    /// μ.
    pub mu: f64,
    /// Terms of the fibre axis; `None`: isotropic.
    pub along: Option<Along>,
}

/// Terms that transverse isotropy adds along its axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Along {
    /// Unit axis.
    pub axis: Vec3,
    /// α.
    pub alpha: f64,
    /// m: shear modulus along the axis less that across it.
    pub shear: f64,
    /// β.
    pub beta: f64,
}

impl Elasticity {
    /// Isotropic, from Young's modulus (MPa) and Poisson's ratio.
    pub fn isotropic(young_mpa: f64, poisson: f64) -> Self {
        Elasticity {
            lambda: young_mpa * poisson / ((1.0 + poisson) * (1.0 - 2.0 * poisson)),
            mu: young_mpa / (2.0 * (1.0 + poisson)),
            along: None,
        }
    }

    /// Stress of a strain, MPa.
    pub fn stress(&self, strain: &SymTensor) -> SymTensor {
        let trace = strain.trace();
        let p = self.lambda * trace;
        let mut stress = *strain * (2.0 * self.mu) + SymTensor::new(p, p, p, 0.0, 0.0, 0.0);
        if let Some(Along {
            axis,
            alpha,
            shear,
            beta,
        }) = self.along
        {
            let pulled = strain.to_matrix() * axis;
            let stretch = axis.dot(&pulled);
            let p = alpha * stretch;
            // from_matrix takes the symmetric part: half of a⊗εa + εa⊗a.
            let sheared = SymTensor::from_matrix(&(axis * pulled.transpose())) * (4.0 * shear);
            let axial = SymTensor::uniaxial(alpha * trace + beta * stretch, axis);
            stress = stress + sheared + axial + SymTensor::new(p, p, p, 0.0, 0.0, 0.0);
        }
        stress
    }

    /// Strain energy density of a strain, N·mm per mm³.
    pub fn energy(&self, strain: &SymTensor) -> f64 {
        let d = self.stress(strain).0.component_mul(&strain.0);
        0.5 * (d[0] + d[1] + d[2] + 2.0 * (d[3] + d[4] + d[5]))
    }

    /// The compliance, 1/MPa. Of an elasticity that is not admissible it is not a number.
    pub fn compliance(&self) -> Compliance {
        let stiffness = Matrix6::from_fn(|i, j| {
            let mut strain = SymTensor::zeros();
            strain.0[j] = 1.0;
            self.stress(&strain).0[i]
        });
        let not_a_number = Matrix6::repeat(f64::NAN);
        let mut work = stiffness.try_inverse().unwrap_or(not_a_number);
        // A product of two symmetric tensors counts each shear twice.
        for i in 3..6 {
            for j in 0..6 {
                work[(i, j)] *= 2.0;
            }
        }
        Compliance(work)
    }

    /// The five constants; those of an isotropic law are alike along any axis.
    pub fn constants(&self) -> Constants {
        let Entries {
            across,
            c13,
            c33,
            shear,
        } = self.entries();
        // Equal stress across over its strain, free along: E_T/(1 − ν_TT).
        let plane = 2.0 * (across - c13 * c13 / c33);
        let poisson_transverse = (plane - 2.0 * self.mu) / (plane + 2.0 * self.mu);
        Constants {
            axial_mpa: c33 - c13 * c13 / across,
            transverse_mpa: 2.0 * self.mu * (1.0 + poisson_transverse),
            axial_shear_mpa: shear,
            poisson_axial: 0.5 * c13 / across,
            poisson_transverse,
        }
    }

    /// Is every strain's energy positive?
    ///
    /// λ + μ, μ, μ + m positive and the axial modulus not undone by the coupling: Sylvester's conditions for
    /// the block of the two transverse-dilation and axial strains.
    pub fn is_admissible(&self) -> bool {
        let unit = self
            .along
            .is_none_or(|a| (a.axis.norm() - 1.0).abs() < 1e-9);
        let e = self.entries();
        unit && self.mu > 0.0
            && e.shear > 0.0
            && e.across > 0.0
            && e.c33 * e.across - e.c13 * e.c13 > 0.0
            && e.c33.is_finite()
    }

    fn entries(&self) -> Entries {
        let (alpha, shear, beta) = self
            .along
            .map_or((0.0, 0.0, 0.0), |a| (a.alpha, a.shear, a.beta));
        Entries {
            across: self.lambda + self.mu,
            c13: self.lambda + alpha,
            c33: self.lambda + 2.0 * self.mu + 2.0 * alpha + 4.0 * shear + beta,
            shear: self.mu + shear,
        }
    }
}

/// Entries of the stiffness, the third axis along the material's own, MPa.
struct Entries {
    /// (C₁₁ + C₁₂)/2.
    across: f64,
    c13: f64,
    c33: f64,
    /// In planes that hold the axis.
    shear: f64,
}

/// The inverse of an [`Elasticity`], as the matrix Q with a : C⁻¹ : b = aᵀ Q b over the six components of
/// two stresses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Compliance(pub Matrix6<f64>);

impl Compliance {
    /// Strain of a stress in MPa.
    pub fn strain(&self, stress: &SymTensor) -> SymTensor {
        let mut strain = self.0 * stress.0;
        for i in 3..6 {
            strain[i] *= 0.5;
        }
        SymTensor(strain)
    }

    /// a : C⁻¹ : b of two stresses in MPa, N·mm per mm³.
    pub fn product(&self, a: &SymTensor, b: &SymTensor) -> f64 {
        a.0.dot(&(self.0 * b.0))
    }
}

/// Five numbers that tell a transversely isotropic law apart from its axis; meaning as in
/// [`TransverseIsotropy`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Constants {
    /// Young's modulus along the axis, MPa.
    pub axial_mpa: f64,
    /// Young's modulus across it, MPa.
    pub transverse_mpa: f64,
    /// Shear modulus in planes that hold the axis, MPa.
    pub axial_shear_mpa: f64,
    /// Transverse contraction over axial stretch under axial load.
    pub poisson_axial: f64,
    /// Poisson's ratio in the plane across the axis.
    pub poisson_transverse: f64,
}

/// Five constants of transverse isotropy, as a laboratory gives them.
#[derive(Debug, Clone, PartialEq)]
pub struct TransverseIsotropy {
    /// Name as in the report.
    pub name: String,
    /// Young's modulus along the axis, MPa.
    pub axial_mpa: f64,
    /// Young's modulus across it, MPa.
    pub transverse_mpa: f64,
    /// Shear modulus in planes that hold the axis, MPa.
    pub axial_shear_mpa: f64,
    /// Transverse contraction over axial stretch under axial load.
    pub poisson_axial: f64,
    /// Poisson's ratio in the plane across the axis.
    pub poisson_transverse: f64,
    /// Where the numbers come from.
    pub source: String,
}

impl TransverseIsotropy {
    /// Cortical bone of the human femur: stiffest along the shaft.
    pub fn cortical() -> Self {
        TransverseIsotropy {
            name: "cortical bone, transversely isotropic".to_owned(),
            axial_mpa: 17_000.0,
            transverse_mpa: 11_500.0,
            axial_shear_mpa: 3_300.0,
            poisson_axial: 0.46,
            poisson_transverse: 0.58,
            source: "Reilly and Burstein 1975, J Biomech 8:393, human femur (from memory; the axial Poisson's ratio is also quoted as 0.41)".to_owned(),
        }
    }

    /// An isotropic solid in this form.
    pub fn isotropic(young_mpa: f64, poisson: f64) -> Self {
        TransverseIsotropy {
            name: "isotropic".to_owned(),
            axial_mpa: young_mpa,
            transverse_mpa: young_mpa,
            axial_shear_mpa: young_mpa / (2.0 * (1.0 + poisson)),
            poisson_axial: poisson,
            poisson_transverse: poisson,
            source: String::new(),
        }
    }

    /// With all moduli times a factor: bone loss that leaves the form of the anisotropy.
    pub fn scaled(&self, factor: f64) -> Self {
        TransverseIsotropy {
            axial_mpa: self.axial_mpa * factor,
            transverse_mpa: self.transverse_mpa * factor,
            axial_shear_mpa: self.axial_shear_mpa * factor,
            ..self.clone()
        }
    }

    /// The elasticity with the axis along a direction (of any length but zero).
    ///
    /// Under equal transverse stress p and axial stress s the transverse dilation is
    /// e = 2 ((1 − ν_TT)/E_T p − ν_LT/E_L s) and the axial strain s/E_L − 2 ν_LT/E_L p; inverted, with
    /// D = (1 − ν_TT)/E_T − 2 ν_LT²/E_L, they give p = e/(2D) + ν_LT/D ε₃ and
    /// s = ν_LT/D e + (1 − ν_TT) E_L/(E_T D) ε₃: the entries (C₁₁ + C₁₂)/2, C₁₃ and C₃₃ of the stiffness.
    pub fn along(&self, direction: Vec3) -> Elasticity {
        let (el, et) = (self.axial_mpa, self.transverse_mpa);
        let (nu, nt) = (self.poisson_axial, self.poisson_transverse);
        let d = (1.0 - nt) / et - 2.0 * nu * nu / el;
        let mu = et / (2.0 * (1.0 + nt));
        let lambda = 0.5 / d - mu;
        let c13 = nu / d;
        let c33 = (1.0 - nt) * el / (et * d);
        let alpha = c13 - lambda;
        let shear = self.axial_shear_mpa - mu;
        Elasticity {
            lambda,
            mu,
            along: Some(Along {
                axis: direction.normalize(),
                alpha,
                shear,
                beta: c33 - lambda - 2.0 * alpha - 4.0 * self.axial_shear_mpa + 2.0 * mu,
            }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_base::Mat3;
    use proptest::prelude::*;

    /// Compliance in Voigt's order with engineering shear, axis along z.
    fn compliance(t: &TransverseIsotropy) -> Matrix6<f64> {
        let (el, et) = (t.axial_mpa, t.transverse_mpa);
        let (a, b) = (-t.poisson_axial / el, -t.poisson_transverse / et);
        let (g, h) = (
            1.0 / t.axial_shear_mpa,
            2.0 * (1.0 + t.poisson_transverse) / et,
        );
        #[rustfmt::skip]
        let s = Matrix6::new(
            1.0 / et, b, a, 0.0, 0.0, 0.0,
            b, 1.0 / et, a, 0.0, 0.0, 0.0,
            a, a, 1.0 / el, 0.0, 0.0, 0.0,
            0.0, 0.0, 0.0, h, 0.0, 0.0,
            0.0, 0.0, 0.0, 0.0, g, 0.0,
            0.0, 0.0, 0.0, 0.0, 0.0, g,
        );
        s
    }

    #[test]
    fn stress_of_a_strain_gives_the_strain_back_through_the_compliance() {
        let bone = TransverseIsotropy::cortical();
        let elasticity = bone.along(Vec3::z());
        assert!(elasticity.is_admissible());
        for k in 0..6 {
            let mut strain = SymTensor::zeros();
            strain.0[k] = 1e-3;
            // Order xx yy zz xy yz xz, as the compliance above.
            let mut back = compliance(&bone) * elasticity.stress(&strain).0;
            for i in 3..6 {
                back[i] *= 0.5;
            }
            assert!((back - strain.0).norm() < 1e-15, "{k} {back}");
        }
    }

    #[test]
    fn a_law_gives_its_constants_back() {
        let bone = TransverseIsotropy::cortical();
        let found = bone.along(Vec3::new(0.2, 1.0, -0.4)).constants();
        for (found, given) in [
            (found.axial_mpa, bone.axial_mpa),
            (found.transverse_mpa, bone.transverse_mpa),
            (found.axial_shear_mpa, bone.axial_shear_mpa),
            (found.poisson_axial, bone.poisson_axial),
            (found.poisson_transverse, bone.poisson_transverse),
        ] {
            assert!((found / given - 1.0).abs() < 1e-12, "{found} {given}");
        }
        let plain = Elasticity::isotropic(17_000.0, 0.3).constants();
        assert!((plain.axial_mpa / 17_000.0 - 1.0).abs() < 1e-12);
        assert!((plain.transverse_mpa / 17_000.0 - 1.0).abs() < 1e-12);
        assert!((plain.poisson_axial - 0.3).abs() < 1e-12);
        assert!((plain.poisson_transverse - 0.3).abs() < 1e-12);
    }

    #[test]
    fn isotropic_constants_give_isotropy_whatever_the_axis() {
        let plain = Elasticity::isotropic(17_000.0, 0.3);
        let formed = TransverseIsotropy::isotropic(17_000.0, 0.3).along(Vec3::new(1.0, 2.0, -0.5));
        let strain = SymTensor::new(1e-3, -2e-3, 5e-4, 3e-4, -7e-4, 2e-4);
        let difference = plain.stress(&strain).0 - formed.stress(&strain).0;
        assert!(difference.norm() < 1e-9);
    }

    #[test]
    fn stress_times_its_compliance_is_twice_the_energy_of_its_strain() {
        let strain = SymTensor::new(1e-3, -2e-3, 5e-4, 3e-4, -7e-4, 2e-4);
        let other = SymTensor::new(-3e-4, 1e-3, 8e-4, -5e-4, 1e-4, 6e-4);
        let skew = TransverseIsotropy::cortical().along(Vec3::new(1.0, 2.0, -0.5));
        for elasticity in [skew, Elasticity::isotropic(17_000.0, 0.3)] {
            let compliance = elasticity.compliance();
            let (a, b) = (elasticity.stress(&strain), elasticity.stress(&other));
            let twice = 2.0 * elasticity.energy(&strain);
            assert!((compliance.product(&a, &a) / twice - 1.0).abs() < 1e-12);
            let (ab, ba) = (compliance.product(&a, &b), compliance.product(&b, &a));
            assert!((ab - ba).abs() < 1e-14);
            let sum = 2.0 * elasticity.energy(&(strain + other));
            let parts = twice + 2.0 * ab + 2.0 * elasticity.energy(&other);
            assert!((sum / parts - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn impossible_constants_are_refused() {
        let mut t = TransverseIsotropy::cortical();
        t.poisson_axial = 0.8;
        assert!(!t.along(Vec3::y()).is_admissible());
        t = TransverseIsotropy::cortical();
        t.axial_shear_mpa = -1.0;
        assert!(!t.along(Vec3::y()).is_admissible());
        assert!(!Elasticity::isotropic(-1.0, 0.3).is_admissible());
        assert!(!Elasticity::isotropic(1.0, 0.5).is_admissible());
        assert!(
            !TransverseIsotropy::cortical()
                .along(Vec3::zeros())
                .is_admissible()
        );
    }

    proptest! {
        #[test]
        fn turning_axis_and_strain_turns_the_stress(
            e in prop::array::uniform6(-1e-3..1e-3f64),
            angles in prop::array::uniform3(-3.0..3.0f64),
        ) {
            let turn: Mat3 = nalgebra::Rotation3::from_euler_angles(angles[0], angles[1], angles[2])
                .into_inner();
            let strain = SymTensor::new(e[0], e[1], e[2], e[3], e[4], e[5]);
            let bone = TransverseIsotropy::cortical();
            let stress = bone.along(Vec3::z()).stress(&strain).to_matrix();
            let turned = SymTensor::from_matrix(&(turn * strain.to_matrix() * turn.transpose()));
            let elasticity = bone.along(turn * Vec3::z());
            let other = elasticity.stress(&turned).to_matrix();
            prop_assert!((turn * stress * turn.transpose() - other).norm() < 1e-9);
            prop_assert!(elasticity.energy(&turned) >= 0.0);
        }
    }
}
