//! From resolved inputs to a discrete problem: construct, mesh, materials, supports, loads.

use crate::bones::BoneCache;
use crate::case_contact::case_contacts;
use crate::clamp;
use crate::contact_model::{ContactModel, contact_model, refusal};
use crate::joint_support::{self, HeldJoint};
use crate::rollers;
use crate::sensors;
use crate::stage::{PointError, Stage};
use bicolumn_base::{Part, Tissue, Vec3};
use bicolumn_contact::{CaseReport, ContactOptions, Preload, Traction};
use bicolumn_geometry::{ArticularSurface, Bone, BoneSpec, Construct, ConstructSpec};
use bicolumn_job::{Materials, PointInputs};
use bicolumn_measure::PlacedSensor;
use bicolumn_measure::{CaseContact, Solved, Tightened};
use bicolumn_mesh::{Sizing, SurfaceName, TetMesh, mesh_construct};
use bicolumn_model::{
    DensityLaw, Elasticity, GradedDensity, JointLoad, JointPatches, Material, Patch, Problem,
    ProblemError, Support, nodes_on,
};
use bicolumn_solve::{Forecast, Prepared, Solution, SolveOptions};
use std::sync::Arc;

/// A construct with its mesh and its problem.
pub struct BuiltModel {
    /// The solids.
    pub construct: Construct,
    /// The problem on the mesh.
    pub problem: Problem,
    /// The surfaces that the loads act on.
    pub patches: JointPatches,
    /// Interfaces that can open or slide.
    pub contact: Option<ContactModel>,
    /// Support of the joint whose reactions the load cases hold and statics alone do not give.
    pub(crate) held: Option<HeldJoint>,
    /// Sensors on the meshed bone.
    pub(crate) sensors: Vec<PlacedSensor>,
}

/// A model's answer.
pub struct ModelSolution {
    /// Displacement by the loads alone, from the prepared state: as a test machine would see it.
    pub by_load: Solution,
    /// Displacements with those of the preparation (preload): what stress follows from. `None` where
    /// nothing was prepared.
    pub total: Option<Vec<Vec<Vec3>>>,
    /// Contact reports, where there are interfaces.
    pub contact: Option<ContactReports>,
    /// Screws that were tightened, with what is left of their tension.
    pub tightened: Vec<Tightened>,
}

/// Contact reports and tractions.
pub struct ContactReports {
    /// Steps of preparation.
    pub steps: Vec<CaseReport>,
    /// Load cases.
    pub cases: Vec<CaseReport>,
    /// Tractions at the corners of the interfaces at the end of each load case.
    pub tractions: Vec<Vec<Traction>>,
    /// State of the interfaces in each load case, as the measures read it.
    pub states: Vec<CaseContact>,
}

impl ModelSolution {
    /// Solution of a problem without contact.
    pub(crate) fn linear(by_load: Solution) -> ModelSolution {
        ModelSolution {
            by_load,
            total: None,
            contact: None,
            tightened: vec![],
        }
    }

    /// Is there nothing but displacements by the loads?
    pub(crate) fn is_linear(&self) -> bool {
        self.total.is_none() && self.contact.is_none() && self.tightened.is_empty()
    }

    /// Displacements that stress follows from, by load case.
    pub fn total(&self) -> &[Vec<Vec3>] {
        self.total.as_deref().unwrap_or(&self.by_load.displacement)
    }
}

impl BuiltModel {
    /// Solves the problem as the point's inputs ask; `tell` hears beforehand what a model without contact
    /// will cost. A load case whose contact does not converge says so
    /// in its report and does not stop the others.
    ///
    /// # Errors
    /// [`PointError`] at [`Stage::Solve`].
    pub fn solve(
        &self,
        inputs: &PointInputs,
        threads: usize,
        tell: &dyn Fn(&Forecast),
    ) -> Result<ModelSolution, PointError> {
        match &self.contact {
            None => Ok(self.solve_linear(inputs, threads, tell)?.0),
            Some(contact) => self.solve_contact(contact, inputs, threads, tell),
        }
    }

    /// Solves it as it is without contact, and gives the system, too, to be asked again.
    ///
    /// # Errors
    /// [`PointError`] at [`Stage::Solve`].
    pub fn solve_linear(
        &self,
        inputs: &PointInputs,
        threads: usize,
        tell: &dyn Fn(&Forecast),
    ) -> Result<(ModelSolution, Prepared<'_>), PointError> {
        let options = SolveOptions {
            threads,
            ..inputs.solve
        };
        let solved = || {
            let ready = Prepared::with_forecast(&self.problem, &options, tell)?;
            Ok((ready.solve_cases()?, ready))
        };
        let (by_load, ready) =
            solved().map_err(|e: bicolumn_solve::SolveError| failed(Stage::Solve, &e))?;
        Ok((ModelSolution::linear(by_load), ready))
    }

    fn solve_contact(
        &self,
        contact: &ContactModel,
        inputs: &PointInputs,
        threads: usize,
        tell: &dyn Fn(&Forecast),
    ) -> Result<ModelSolution, PointError> {
        let options = SolveOptions {
            threads,
            ..inputs.solve
        };
        let options = ContactOptions {
            tolerance: options.tolerance.max(FINEST_CONTACT),
            increments: contact.increments,
            max_iterations: options.max_iterations,
            linear: options,
        };
        let found = bicolumn_contact::solve_with_forecast(
            &self.problem,
            &contact.interfaces,
            &contact.preloads,
            &contact.steps,
            &options,
            tell,
        )
        .map_err(|e| failed(Stage::Solve, &e))?;
        let is_clamped = inputs.interfaces.clamp_n != [0.0; 2];
        let compression_n = is_clamped.then(|| {
            clamp::compression(&self.construct, &contact.roles, &found.prepared_tractions)
        });
        Ok(ModelSolution {
            tightened: tightened(&contact.preloads, &found.cases),
            by_load: found.by_load,
            total: (!contact.steps.is_empty()).then_some(found.total.displacement),
            contact: Some(ContactReports {
                states: case_contacts(contact, &found.cases, compression_n),
                steps: found.steps,
                cases: found.cases,
                tractions: found.tractions,
            }),
        })
    }

    /// The model with a solution, as the measures read it.
    pub fn solved<'a>(&'a self, solution: &'a ModelSolution) -> Solved<'a> {
        Solved {
            construct: &self.construct,
            problem: &self.problem,
            patches: self.patches.patches(),
            solution: &solution.by_load,
            total: solution.total(),
            tightened: &solution.tightened,
            contact: solution.contact.as_ref().map(|c| c.states.as_slice()),
        }
    }
}

fn tightened(preloads: &[Preload], cases: &[CaseReport]) -> Vec<Tightened> {
    let of_screw = |(k, p): (usize, &Preload)| Tightened {
        tets: p.tets.clone(),
        pulled: p.pulled.clone(),
        axis: Vec3::from(p.axis).normalize(),
        tension_n: cases
            .iter()
            .map(|c| c.section_forces_n.get(k).copied().unwrap_or(0.0))
            .collect(),
    };
    preloads.iter().enumerate().map(of_screw).collect()
}

/// Relative residual that a contact problem is solved to at best: the preconditioner that takes part in it
/// is of single precision.
const FINEST_CONTACT: f64 = 1e-7;

/// Builds the solids of a point on its shared bone.
///
/// # Errors
/// [`PointError`] at [`Stage::Geometry`].
pub(crate) fn build_construct(
    spec: &ConstructSpec,
    bones: &BoneCache,
) -> Result<Construct, PointError> {
    bones
        .construct(spec)
        .map_err(|e| failed(Stage::Geometry, &e))
}

/// Meshes a construct with the lattice in its usual place.
///
/// # Errors
/// [`PointError`] at [`Stage::Mesh`].
pub(crate) fn build_mesh(construct: &Construct, sizing: &Sizing) -> Result<TetMesh, PointError> {
    mesh_construct(construct, sizing).map_err(|e| failed(Stage::Mesh, &e))
}

/// Poses the problem of a meshed construct, its mesh split at the interfaces that can open or slide.
///
/// # Errors
/// [`PointError`] at [`Stage::Geometry`]: interfaces that the construct cannot have, supports that leave a mechanism; at
/// [`Stage::Mesh`]: a patch or a support that found no facet; at [`Stage::Solve`]: reactions at the joint that could not
/// be solved for.
pub fn build_problem(
    construct: Construct,
    mesh: Arc<TetMesh>,
    inputs: &PointInputs,
) -> Result<BuiltModel, PointError> {
    if let Some(refusal) = refusal(&construct, &inputs.interfaces) {
        return Err(PointError {
            stage: Stage::Geometry,
            message: refusal.reason,
        });
    }
    if let Some(refusal) = joint_support::refusal(&construct, inputs) {
        return Err(PointError {
            stage: Stage::Geometry,
            message: refusal.reason,
        });
    }
    rollers::check(&construct, inputs).map_err(|e| failed(Stage::Geometry, &e))?;
    let sites = sensors::sites(&construct.bone, &inputs.sensors)
        .map_err(|e| failed(Stage::Geometry, &e))?;
    let contact = contact_model(
        &construct,
        &mesh,
        &inputs.interfaces,
        inputs.sizing.finest_mm,
    )
    .map_err(|message| PointError {
        stage: Stage::Mesh,
        message,
    })?;
    let (mesh, contact) = match contact {
        Some((split, contact)) => (split, Some(contact)),
        None => (mesh, None),
    };
    let mut model = pose(construct, mesh, &inputs.materials, &inputs.loads)
        .map_err(|e| failed(Stage::Mesh, &e))?;
    model.contact = contact;
    model.problem = model.problem.with_series(inputs.supports.rig);
    model.sensors = sensors::placed(&model, &inputs.sensors, &sites)?;
    joint_support::hold(model, inputs)
}

/// Construct, mesh and problem of a point in one go.
///
/// # Errors
/// [`PointError`] of construct, mesh or problem, as [`build_problem`] for the last.
pub fn build_model(inputs: &PointInputs, bones: &BoneCache) -> Result<BuiltModel, PointError> {
    let construct = build_construct(&inputs.construct, bones)?;
    let mesh = Arc::new(build_mesh(&construct, &inputs.sizing)?);
    build_problem(construct, mesh, inputs)
}

fn failed(stage: Stage, error: &dyn std::error::Error) -> PointError {
    PointError {
        stage,
        message: error.to_string(),
    }
}

fn pose(
    construct: Construct,
    mesh: Arc<TetMesh>,
    materials: &Materials,
    loads: &[JointLoad],
) -> Result<BuiltModel, ProblemError> {
    let patches = JointPatches::new(
        patch(
            &construct,
            &mesh,
            ArticularSurface::Capitellum,
            "capitellum",
        )?,
        patch(&construct, &mesh, ArticularSurface::Trochlea, "trochlea")?,
        construct.bone.side(),
    )
    .bearing_at(
        [ArticularSurface::Capitellum, ArticularSurface::Trochlea]
            .map(|surface| construct.bone.bearing_point(surface)),
    )
    .shaft_axis_at(construct.bone.shaft_axis(0.0));
    let case = |load: &JointLoad| match load.bend {
        Some(bend) => rollers::case(&construct, &mesh, &load.name, bend),
        None => Ok(patches.case(&mesh, load)),
    };
    let cases = loads.iter().map(case).collect::<Result<Vec<_>, _>>()?;
    let of_part: Vec<Material> = mesh.parts.iter().map(|&p| material(p, materials)).collect();
    let potted = Support::clamp("potting plane", potted_nodes(&mesh, construct.bone.spec()));
    let mut problem = Problem::new(Arc::clone(&mesh), of_part, [potted], cases)?;
    let cortical = materials.transverse.as_ref().map(|b| b.along(Vec3::y()));
    let density = materials.density.as_ref();
    if cortical.is_some() || density.is_some() {
        problem = problem.with_elasticity(|tet, material, at| {
            let own = match mesh.part_of(tet) {
                Part::Bone(_, Tissue::Cortical) => cortical,
                Part::Bone(_, Tissue::Cancellous) => {
                    density.map(|(law, graded)| of_density(law, graded, &construct.bone, at))
                }
                _ => None,
            };
            own.unwrap_or_else(|| material.elasticity())
        })?;
    }
    Ok(BuiltModel {
        construct,
        problem,
        patches,
        contact: None,
        held: None,
        sensors: vec![],
    })
}

/// Nodes that the potting holds: those of the cut face, and of the outer surface within the potting.
fn potted_nodes(mesh: &TetMesh, bone: &BoneSpec) -> Vec<u32> {
    let mut held = nodes_on(mesh, SurfaceName::ProximalEnd);
    if bone.potted_length_mm > 0.0 {
        let outer = nodes_on(mesh, SurfaceName::BoneOuter).into_iter();
        held.extend(outer.filter(|n| mesh.nodes[*n as usize].y >= bone.potting_level_mm));
        held.sort_unstable();
        held.dedup();
    }
    held
}

/// Elasticity of cancellous bone at a place.
fn of_density(law: &DensityLaw, graded: &GradedDensity, bone: &Bone, at: Vec3) -> Elasticity {
    let depth = -bone.inner().value(at);
    let rise = at.y / bone.spec().canal_floor_mm;
    // A density that is none makes an inadmissible elasticity, which is refused with part and tetrahedron.
    let none = Elasticity::isotropic(f64::NAN, law.poisson);
    law.elasticity(graded.at(depth, rise)).unwrap_or(none)
}

/// Least, mean by volume and largest Young's modulus of the cancellous bone of a problem, MPa, where it
/// varies.
pub(crate) fn cancellous_moduli(problem: &Problem) -> Option<[f64; 3]> {
    let field = problem.elasticities()?;
    let mesh = problem.mesh();
    let (mut least, mut largest) = (f64::INFINITY, 0.0_f64);
    let (mut sum, mut volume) = (0.0, 0.0);
    for (t, e) in field.iter().enumerate() {
        if matches!(mesh.part_of(t), Part::Bone(_, Tissue::Cancellous)) {
            let young = e.mu * (3.0 * e.lambda + 2.0 * e.mu) / (e.lambda + e.mu);
            (least, largest) = (least.min(young), largest.max(young));
            sum += young * mesh.volume(t);
            volume += mesh.volume(t);
        }
    }
    (volume > 0.0).then(|| [least, sum / volume, largest])
}

fn material(part: Part, m: &Materials) -> Material {
    match part {
        Part::Bone(_, Tissue::Cortical) => &m.cortical,
        Part::Bone(_, Tissue::Cancellous) => &m.cancellous,
        // The mesh of a construct has no numbered part.
        Part::GapTissue | Part::Numbered(_) => &m.gap_tissue,
        Part::Plate(_) => &m.plate,
        Part::Screw(_) => &m.screw,
    }
    .clone()
}

fn patch(
    construct: &Construct,
    mesh: &TetMesh,
    wanted: ArticularSurface,
    name: &str,
) -> Result<Patch, ProblemError> {
    Patch::of_free_facets(mesh, name, |f, centroid, normal| {
        mesh.surfaces[f.surface as usize] == SurfaceName::BoneOuter
            && mesh.part_of(f.tet as usize).is_bone()
            && construct.bone.articular(centroid, normal) == Some(wanted)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_job::Job;
    use bicolumn_job::Plan;
    use bicolumn_job::resolve;
    use bicolumn_model::TransverseIsotropy;
    use std::path::Path;

    #[test]
    fn cancellous_bone_takes_the_modulus_of_its_density_and_nothing_else_does() {
        let text = "construct.layout = \"medial_only\"\nbone.septum_thickness_mm = 3.5\nplates.thickness_mm = 3\nscrews.shaft_count = 2\nscrews.distal_count = 1\nscrews.shaft_diameter_mm = 3.2\nscrews.distal_diameter_mm = 3.2\nmesh.finest_mm = 2.4\nmesh.growth = 1.5\nmesh.wall_ratio = 3\n[materials.cancellous]\ndensity_law = \"pooled\"\ndensity_g_per_cm3 = 0.3\nrim_density_ratio = 2\nrim_depth_mm = 3\nproximal_density_ratio = 0.5\n";
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        let inputs = resolve(&job, &Plan::of(&job).unwrap().points[0]);
        let model = build_model(&inputs, &BoneCache::default()).unwrap();
        let mesh = model.problem.mesh();
        let bone = &model.construct.bone;
        let mut rim_and_core = [0, 0];
        for t in 0..mesh.tets.len() {
            let found = model.problem.elasticity_of(t);
            let young = match mesh.part_of(t) {
                Part::Bone(_, Tissue::Cancellous) => {
                    let at = mesh.corners(t).iter().sum::<Vec3>() / 4.0;
                    // The law of Morgan et al., written out.
                    let depth = -bone.inner().value(at);
                    let across = if depth < 3.0 {
                        2.0 - depth.max(0.0) / 3.0
                    } else {
                        1.0
                    };
                    let rise = (at.y / bone.spec().canal_floor_mm).clamp(0.0, 1.0);
                    rim_and_core[usize::from(depth >= 3.0)] += 1;
                    8920.0 * (0.3 * across * (1.0 - 0.5 * rise)).powf(1.83)
                }
                Part::Bone(..) => {
                    let published = TransverseIsotropy::cortical().along(Vec3::y());
                    assert_eq!(found, published, "{t}");
                    continue;
                }
                Part::Plate(_) => inputs.materials.plate.young_mpa,
                _ => inputs.materials.screw.young_mpa,
            };
            let expected = Elasticity::isotropic(young, 0.3);
            assert!((found.mu / expected.mu - 1.0).abs() < 1e-12, "{t}");
            assert!((found.lambda / expected.lambda - 1.0).abs() < 1e-12, "{t}");
        }
        assert!(rim_and_core.iter().all(|n| *n > 500), "{rim_and_core:?}");
        let [least, mean, largest] = cancellous_moduli(&model.problem).unwrap();
        // Between a core of half and a rim of twice the density.
        assert!(
            least > 8920.0 * 0.15_f64.powf(1.83) - 1.0 && least < 400.0,
            "{least}"
        );
        assert!(
            largest < 8920.0 * 0.6_f64.powf(1.83) + 1.0 && largest > 2000.0,
            "{largest}"
        );
        assert!(least < mean && mean < largest);
    }
}
