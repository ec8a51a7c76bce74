//! Tension and compression of the bone at a place, and the part of yield that they are.

use bicolumn_base::SymTensor;
use bicolumn_model::Elasticity;

/// Yield strain of cortical bone along the shaft in tension: 115 MPa over 17.4 GPa, human femur (Reilly and Burstein
/// 1975, J Biomech 8:393, from memory).
const YIELD_TENSION: f64 = 0.0066;
/// The same in compression: 182 MPa over 18.2 GPa.
const YIELD_COMPRESSION: f64 = 0.010;

/// Principal stresses and strains of a stress tensor, and how near to yield they are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Severity {
    /// Largest principal stress, MPa.
    pub(crate) tension_mpa: f64,
    /// Least principal stress, MPa.
    pub(crate) compression_mpa: f64,
    /// Largest principal strain, %.
    pub(crate) tension_strain_percent: f64,
    /// Least principal strain, %.
    pub(crate) compression_strain_percent: f64,
    /// Larger of the strains over their yield strains, %.
    pub(crate) of_yield_percent: f64,
}

impl Severity {
    pub(crate) fn of(stress: &SymTensor, elasticity: &Elasticity) -> Severity {
        let strain = elasticity.compliance().strain(stress).principal();
        let stress = stress.principal();
        let (longest, shortest) = (strain[0], strain[2]);
        let of_yield = (longest / YIELD_TENSION).max(-shortest / YIELD_COMPRESSION);
        Severity {
            tension_mpa: stress[0],
            compression_mpa: stress[2],
            tension_strain_percent: 100.0 * longest,
            compression_strain_percent: 100.0 * shortest,
            of_yield_percent: 100.0 * of_yield,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_base::Vec3;

    #[test]
    fn uniaxial_stress_of_either_sign_is_measured_against_its_own_yield_strain() {
        let bone = Elasticity::isotropic(17_000.0, 0.3);
        // Hooke's law: 17 MPa over 17 GPa is 0.1 %, and 0.03 % across.
        let pull = Severity::of(&SymTensor::uniaxial(17.0, Vec3::y()), &bone);
        assert!((pull.tension_strain_percent - 0.1).abs() < 1e-12);
        assert!((pull.compression_strain_percent + 0.03).abs() < 1e-12);
        assert!((pull.of_yield_percent - 100.0 * 0.001 / 0.0066).abs() < 1e-9);
        assert!((pull.tension_mpa - 17.0).abs() < 1e-9 && pull.compression_mpa.abs() < 1e-9);
        let push = Severity::of(&SymTensor::uniaxial(-17.0, Vec3::y()), &bone);
        assert!((push.compression_mpa + 17.0).abs() < 1e-9);
        assert!((push.of_yield_percent - 10.0).abs() < 1e-9);
    }

    #[test]
    fn strain_is_that_whose_stress_it_is() {
        let bone = bicolumn_model::TransverseIsotropy::cortical().along(Vec3::new(0.2, 1.0, -0.1));
        let strain = SymTensor::new(1e-3, -2e-3, 5e-4, 3e-4, -7e-4, 1e-4);
        let back = bone.compliance().strain(&bone.stress(&strain));
        assert!((back.0 - strain.0).norm() < 1e-15);
    }
}
