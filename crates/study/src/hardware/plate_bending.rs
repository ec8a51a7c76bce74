//! A plate alone in four-point bending, by the definitions of ASTM F382 (from memory).
//!
//! Stiffness K is the noses' force over their travel seen from the supports; bending structural stiffness K h² (2h + 3a) / 12
//! with the loading span h outside and the centre span a between the noses; bending strength the moment P h / 2. The model is
//! linear: it gives the moment at first yield, where the largest von Mises stress between the noses reaches the yield stress,
//! which a test's 0.2 % offset exceeds.

use super::bodies::{StraightPlate, TOP, UNDERSIDE};
use super::{COARSER, HardwareError, Row, solved};
use bicolumn_base::Vec3;
use bicolumn_measure::RecoveredStress;
use bicolumn_mesh::{SurfaceName, TetMesh};
use bicolumn_model::{Components, FourPointBend, LoadCase, Material, Patch, PatchLoad, Support};
use bicolumn_response::Aspect;
use std::sync::Arc;

/// Force of both noses in the model, N; the model is linear.
const FORCE_N: f64 = 100.0;
/// Length of a roller's contact along the plate, mm.
const CONTACT_MM: f64 = 1.0;
/// Steps of the integrals of beam theory.
const STEPS: usize = 20_000;

/// Four-point bend of a plate.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateBending {
    /// Plate.
    pub plate: StraightPlate,
    /// Loading span h, from a support to the nose beside it, mm.
    pub loading_span_mm: f64,
    /// Centre span a, between the noses, mm.
    pub centre_span_mm: f64,
    /// Material.
    pub material: Material,
    /// Yield stress, MPa.
    pub yield_mpa: f64,
}

struct Solved {
    stiffness_n_per_mm: f64,
    peak_mpa: f64,
}

impl PlateBending {
    fn bend(&self) -> FourPointBend {
        let (inner, outer) = (
            0.5 * self.centre_span_mm,
            0.5 * self.centre_span_mm + self.loading_span_mm,
        );
        FourPointBend {
            force_n: FORCE_N,
            noses_on: Aspect::Anterior,
            noses_mm: [-inner, inner],
            supports_mm: [-outer, outer],
            contact_mm: CONTACT_MM,
        }
    }

    /// Stiffness of a beam with the second moment of its net section at each place, with Timoshenko's shear, N/mm.
    fn beam_stiffness(&self) -> f64 {
        let (plate, h) = (&self.plate, self.loading_span_mm);
        let reach = 0.5 * self.centre_span_mm + h;
        let step = 2.0 * reach / STEPS as f64;
        let (e, nu) = (self.material.young_mpa, self.material.poisson);
        let kappa = 10.0 * (1.0 + nu) / (12.0 + 11.0 * nu);
        let shear_modulus = e / (2.0 * (1.0 + nu));
        let compliance = |k: usize| {
            let y = -reach + step * (k as f64 + 0.5);
            let from_support = reach - y.abs();
            // By unit force of both noses together: half of it at each support.
            let moment = 0.5 * from_support.min(h);
            let shear = if from_support < h { 0.5 } else { 0.0 };
            let width = plate.net_width_mm(y);
            let inertia = width * plate.thickness_mm.powi(3) / 12.0;
            let area = width * plate.thickness_mm;
            (moment * moment / (e * inertia) + shear * shear / (kappa * shear_modulus * area))
                * step
        };
        1.0 / (0..STEPS).map(compliance).sum::<f64>()
    }

    /// Rows of the test: stiffness and first yield, computed beside beam theory.
    ///
    /// # Errors
    /// [`HardwareError`]: a specimen that cannot be meshed or solved, spans that do not fit its length.
    pub(super) fn rows(&self, threads: usize) -> Result<Vec<Row>, HardwareError> {
        let needed = self.centre_span_mm + 2.0 * self.loading_span_mm + 2.0 * CONTACT_MM;
        if needed > self.plate.length_mm {
            return Err(HardwareError::Spans {
                needed_mm: needed,
                length_mm: self.plate.length_mm,
            });
        }
        let finest = self.plate.thickness_mm / 3.0;
        let coarse = self.solved(COARSER * finest, threads)?;
        let fine = self.solved(finest, threads)?;
        let per_stiffness = self.bend().rigidity_per_stiffness_mm3();
        let lever = 0.5 * self.loading_span_mm;
        let moment_at_yield = |s: &Solved| self.yield_mpa / s.peak_mpa * FORCE_N * lever;
        let theory = self.beam_stiffness();
        let width = (0..STEPS)
            .map(|k| {
                let y = self.centre_span_mm * (k as f64 / STEPS as f64 - 0.5);
                self.plate.net_width_mm(y)
            })
            .fold(f64::INFINITY, f64::min);
        let nominal = self.yield_mpa * width * self.plate.thickness_mm.powi(2) / 6.0;
        Ok(vec![
            Row {
                quantity: "bending stiffness",
                unit: "N/mm",
                computed: Some(fine.stiffness_n_per_mm),
                coarser: Some(coarse.stiffness_n_per_mm),
                theory: Some(theory),
                by: "noses' force over their travel; beam of the net section at each place, with shear",
            },
            Row {
                quantity: "bending structural stiffness",
                unit: "N.mm2",
                computed: Some(fine.stiffness_n_per_mm * per_stiffness),
                coarser: Some(coarse.stiffness_n_per_mm * per_stiffness),
                theory: Some(theory * per_stiffness),
                by: "K h^2 (2h + 3a) / 12, ASTM F382 (form from memory)",
            },
            Row {
                quantity: "bending moment at first yield",
                unit: "N.mm",
                computed: Some(moment_at_yield(&fine)),
                coarser: Some(moment_at_yield(&coarse)),
                theory: Some(nominal),
                by: "largest von Mises stress between the noses at yield; theory: nominal stress of the narrowest net section",
            },
        ])
    }

    fn solved(&self, finest_mm: f64, threads: usize) -> Result<Solved, HardwareError> {
        let mesh = Arc::new(self.plate.mesh(finest_mm)?);
        let bend = self.bend();
        let case = self.case(&mesh, bend)?;
        let (problem, solution) = solved(&mesh, &self.material, rests(&mesh), vec![case], threads)?;
        let work = problem.cases()[0].work(&solution.displacement[0]);
        let stress = RecoveredStress::of(&problem, &solution.displacement);
        // The dents under the noses are left out.
        let reach = 0.5 * self.centre_span_mm - self.plate.thickness_mm;
        let nodes = stress.part_nodes.node.iter().zip(&stress.fields[0].values);
        let between = nodes.filter(|(n, _)| mesh.nodes[**n as usize].y.abs() < reach);
        let peak_mpa = between.map(|(_, s)| s.von_mises()).fold(0.0, f64::max);
        Ok(Solved {
            stiffness_n_per_mm: FORCE_N * FORCE_N / work,
            peak_mpa,
        })
    }

    fn case(&self, mesh: &TetMesh, bend: FourPointBend) -> Result<LoadCase, HardwareError> {
        let (mut patches, mut loads) = (Vec::new(), Vec::new());
        for roller in bend.rollers() {
            let (face, x) = match roller.outward.x > 0.0 {
                true => (TOP, self.plate.thickness_mm),
                false => (UNDERSIDE, 0.0),
            };
            loads.push(PatchLoad {
                patch: patches.len(),
                force_n: -roller.outward * roller.force_n,
                through_mm: Some(Vec3::new(x, roller.level_mm, 0.0)),
                moment_nmm: Vec3::zeros(),
            });
            patches.push(line(mesh, face, roller.level_mm)?);
        }
        let case = LoadCase::combine("four-point bending", mesh, &patches, &loads);
        Ok(LoadCase {
            bend: Some(bend),
            ..case
        })
    }
}

/// Facets of a face that a roller at a place along the plate touches.
fn line(mesh: &TetMesh, face: SurfaceName, at: f64) -> Result<Patch, HardwareError> {
    let (low, high) = (at - 0.5 * CONTACT_MM, at + 0.5 * CONTACT_MM);
    let patch = Patch::of_free_facets(mesh, "under a roller", |f, _, _| {
        let along = [0, 1, 2].map(|k| mesh.nodes[f.nodes[k] as usize].y);
        mesh.surfaces[f.surface as usize] == face
            && along.iter().any(|y| *y >= low)
            && along.iter().any(|y| *y <= high)
    });
    Ok(patch?)
}

/// Six components of three nodes of the underside: they hold the plate in place and bear nothing.
fn rests(mesh: &TetMesh) -> Vec<Support> {
    let on = bicolumn_model::nodes_on(mesh, UNDERSIDE);
    let nearest = |place: Vec3| {
        let far = |n: &u32| (mesh.nodes[*n as usize] - place).norm();
        on.iter().copied().min_by(|a, b| far(a).total_cmp(&far(b)))
    };
    let bounds = mesh.nodes.iter().fold(Vec3::zeros(), |m, x| m.sup(x));
    let (length, width) = (bounds.y, bounds.z);
    let a = nearest(Vec3::new(0.0, -length, -width));
    let b = nearest(Vec3::new(0.0, length, -width));
    let c = nearest(Vec3::new(0.0, -length, width));
    vec![
        Support::clamp("first rest", a),
        Support::roller("second rest", Components::X.and(Components::Z), b),
        Support::roller("third rest", Components::X, c),
    ]
}
