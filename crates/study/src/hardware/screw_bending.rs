//! A screw's core alone, as the smooth cylinder that the constructs have: in cantilever, in torsion; and its pull-out by a
//! published formula.

use super::bodies::{ROOT, Rod, TIP};
use super::{COARSER, HardwareError, Row, solved};
use bicolumn_base::Vec3;
use bicolumn_model::{LoadCase, Material, Patch, PatchLoad, Support, nodes_on};
use std::f64::consts::PI;
use std::sync::Arc;

const FORCE_N: f64 = 10.0;
const MOMENT_NMM: f64 = 100.0;

/// Bench tests of a screw.
#[derive(Debug, Clone, PartialEq)]
pub struct ScrewBench {
    /// Core diameter, mm.
    pub core_mm: f64,
    /// Free length of cantilever and torsion, mm.
    pub length_mm: f64,
    /// Material.
    pub material: Material,
    /// Thread that holds in bone or foam; `None`: its pull-out is not asked for.
    pub thread: Option<Thread>,
}

/// Thread of a screw and its host.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thread {
    /// Major diameter, mm.
    pub major_mm: f64,
    /// Pitch, mm.
    pub pitch_mm: f64,
    /// Length in the host, mm.
    pub length_mm: f64,
    /// Shear strength of the host, MPa.
    pub host_shear_mpa: f64,
}

impl ScrewBench {
    /// Pull-out force of its thread, N: S π D L (0.5 + 0.57735 (D - d) / (2p)), Chapman et al. 1996, J Biomech Eng 118:391 (form from memory).
    pub fn pull_out_n(&self) -> Option<f64> {
        let t = self.thread.as_ref()?;
        let shape = 0.5 + 0.57735 * (t.major_mm - self.core_mm) / (2.0 * t.pitch_mm);
        Some(t.host_shear_mpa * PI * t.major_mm * t.length_mm * shape)
    }

    /// Cantilever stiffness, N/mm, and torsional stiffness, N·mm/degree, by Timoshenko's beam of a circular section and
    /// Coulomb's torsion.
    fn theory(&self) -> [f64; 2] {
        let (e, nu, l) = (
            self.material.young_mpa,
            self.material.poisson,
            self.length_mm,
        );
        let shear_modulus = e / (2.0 * (1.0 + nu));
        let inertia = PI / 64.0 * self.core_mm.powi(4);
        let area = PI / 4.0 * self.core_mm.powi(2);
        let kappa = 6.0 * (1.0 + nu) / (7.0 + 6.0 * nu);
        let travel = l.powi(3) / (3.0 * e * inertia) + l / (kappa * shear_modulus * area);
        let turn = (l / (shear_modulus * 2.0 * inertia)).to_degrees();
        [1.0 / travel, 1.0 / turn]
    }

    /// Rows of the tests.
    ///
    /// # Errors
    /// [`HardwareError`]: a specimen that cannot be meshed or solved.
    pub(super) fn rows(&self, threads: usize) -> Result<Vec<Row>, HardwareError> {
        if let Some(thread) = self.thread.filter(|t| t.major_mm <= self.core_mm) {
            return Err(HardwareError::Thread {
                major_mm: thread.major_mm,
                core_mm: self.core_mm,
            });
        }
        let finest = 0.25 * self.core_mm;
        let [coarse, fine] = [
            self.solved(COARSER * finest, threads)?,
            self.solved(finest, threads)?,
        ];
        let theory = self.theory();
        let row = |k: usize, quantity, unit, by| Row {
            quantity,
            unit,
            computed: Some(fine[k]),
            coarser: Some(coarse[k]),
            theory: Some(theory[k]),
            by,
        };
        let bending = "force over travel of its free end; Timoshenko's cantilever of the core";
        let torsion = "couple over turn of its free end; GJ / L of the core";
        let pull_out = self.pull_out_n().map(|force| Row {
            quantity: "pull-out force",
            unit: "N",
            computed: None,
            coarser: None,
            theory: Some(force),
            by: "S pi D L (0.5 + 0.57735 (D - d) / 2p), Chapman et al. 1996, J Biomech Eng 118:391 (form from memory)",
        });
        let stiffness = [
            row(0, "cantilever stiffness", "N/mm", bending),
            row(1, "torsional stiffness", "N.mm/deg", torsion),
        ];
        Ok(stiffness.into_iter().chain(pull_out).collect())
    }

    fn solved(&self, finest_mm: f64, threads: usize) -> Result<[f64; 2], HardwareError> {
        let rod = Rod {
            length_mm: self.length_mm,
            diameter_mm: self.core_mm,
        };
        let mesh = Arc::new(rod.mesh(finest_mm)?);
        let tip = [Patch::on(&mesh, TIP)?];
        let load = |name, force_n, moment_nmm| {
            let load = PatchLoad {
                patch: 0,
                force_n,
                through_mm: Some(Vec3::y() * self.length_mm),
                moment_nmm,
            };
            LoadCase::combine(name, &mesh, &tip, &[load])
        };
        let cases = vec![
            load("cantilever", Vec3::x() * FORCE_N, Vec3::zeros()),
            load("torsion", Vec3::zeros(), Vec3::y() * MOMENT_NMM),
        ];
        let root = Support::clamp("root", nodes_on(&mesh, ROOT));
        let (problem, solution) = solved(&mesh, &self.material, [root], cases, threads)?;
        let work = |k: usize| problem.cases()[k].work(&solution.displacement[k]);
        Ok([
            FORCE_N * FORCE_N / work(0),
            MOMENT_NMM / (work(1) / MOMENT_NMM).to_degrees(),
        ])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pull_out_has_the_hand_values_of_a_common_screw() {
        // Major 3.5, core 2.4, pitch 1.25: shape factor 0.754; 63.0 N a millimetre in a host of 7.6 MPa.
        let screw = ScrewBench {
            core_mm: 2.4,
            length_mm: 20.0,
            material: Material::new("steel", 193e3, 0.3, "test"),
            thread: Some(Thread {
                major_mm: 3.5,
                pitch_mm: 1.25,
                length_mm: 1.0,
                host_shear_mpa: 7.6,
            }),
        };
        let force = screw.pull_out_n().unwrap();
        assert!((force - 63.0).abs() < 0.05, "{force}");
        let thin = ScrewBench {
            core_mm: 3.6,
            ..screw
        };
        let told = thin.rows(1).unwrap_err().to_string();
        assert!(
            told.starts_with("a thread of 3.5 mm major diameter"),
            "{told}"
        );
    }
}
