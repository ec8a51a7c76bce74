//! From resolved inputs to a discrete problem: construct, mesh, materials, supports, loads.

use crate::bones::BoneCache;
use crate::clamp;
use crate::contact_model::{ContactModel, contact_model, refusal};
use crate::inputs::{LoadInputs, Materials, PointError, PointInputs, Stage};
use bicolumn_base::{Part, Tissue, Vec3};
use bicolumn_contact::{CaseReport, ContactOptions};
use bicolumn_geometry::{ArticularSurface, Construct, ConstructSpec};
use bicolumn_measure::Solved;
use bicolumn_mesh::{Sizing, SurfaceName, TetMesh, mesh_construct};
use bicolumn_model::{
    FrontalLoad, JointPatches, LoadCase, LoadSizes, Material, NamedLoad, Patch, Problem,
    ProblemError, nodes_on,
};
use bicolumn_solve::{Solution, SolveOptions, solve};
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
}

/// A model's answer.
pub struct ModelSolution {
    /// What the loads do to the construct as it was prepared: what a test machine would see.
    pub by_load: Solution,
    /// Displacements with those of the preparation (preload): what stress follows from. `None` where
    /// nothing was prepared.
    pub total: Option<Vec<Vec<Vec3>>>,
    /// What the interfaces did, where there are any.
    pub contact: Option<ContactReports>,
}

/// What interfaces did.
pub struct ContactReports {
    /// Steps of preparation.
    pub steps: Vec<CaseReport>,
    /// Load cases.
    pub cases: Vec<CaseReport>,
    /// Compression across the medial and the lateral column of the fracture after the preparation, N, if it
    /// was clamped.
    pub compression_n: Option<[f64; 2]>,
}

impl ModelSolution {
    /// Displacements that stress follows from, by load case.
    pub fn total(&self) -> &[Vec<Vec3>] {
        self.total.as_deref().unwrap_or(&self.by_load.displacement)
    }
}

impl BuiltModel {
    /// Solves the problem as the point's inputs ask. A load case whose contact does not converge says so
    /// in its report and does not stop the others.
    ///
    /// # Errors
    /// [`PointError`] at [`Stage::Solve`].
    pub fn solve(&self, inputs: &PointInputs, threads: usize) -> Result<ModelSolution, PointError> {
        let options = SolveOptions {
            threads,
            ..inputs.solve
        };
        let Some(contact) = &self.contact else {
            let by_load = solve(&self.problem, &options).map_err(|e| failed(Stage::Solve, &e))?;
            return Ok(ModelSolution {
                by_load,
                total: None,
                contact: None,
            });
        };
        let options = ContactOptions {
            tolerance: options.tolerance.max(FINEST_CONTACT),
            increments: contact.increments,
            linear: options,
            ..ContactOptions::default()
        };
        let found = bicolumn_contact::solve(
            &self.problem,
            &contact.interfaces,
            &contact.preloads,
            &contact.steps,
            &options,
        )
        .map_err(|e| failed(Stage::Solve, &e))?;
        let is_clamped = inputs.interfaces.clamp_n != [0.0; 2];
        let compression_n = is_clamped.then(|| {
            let sets = contact.interfaces.sets();
            clamp::compression(&self.construct, sets, &found.prepared_tractions)
        });
        Ok(ModelSolution {
            by_load: found.by_load,
            total: (!contact.steps.is_empty()).then_some(found.total.displacement),
            contact: Some(ContactReports {
                steps: found.steps,
                cases: found.cases,
                compression_n,
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
        }
    }
}

/// Relative residual that a contact problem is solved to at best: the preconditioner that takes part in it
/// is of single precision.
const FINEST_CONTACT: f64 = 1e-7;

/// Builds the solids of a point on its shared bone.
///
/// # Errors
/// [`PointError`] at [`Stage::Geometry`].
pub fn build_construct(spec: &ConstructSpec, bones: &BoneCache) -> Result<Construct, PointError> {
    bones
        .construct(spec)
        .map_err(|e| failed(Stage::Geometry, &e))
}

/// Meshes a construct with the lattice in its usual place.
///
/// # Errors
/// [`PointError`] at [`Stage::Mesh`].
pub fn build_mesh(construct: &Construct, sizing: &Sizing) -> Result<TetMesh, PointError> {
    mesh_construct(construct, sizing).map_err(|e| failed(Stage::Mesh, &e))
}

/// Poses the problem of a meshed construct, its mesh split at the interfaces that can open or slide.
///
/// # Errors
/// [`PointError`] at [`Stage::Geometry`]: interfaces that the construct cannot have; at [`Stage::Mesh`]: a
/// patch or a support that found no facet.
pub fn build_problem(
    construct: Construct,
    mesh: Arc<TetMesh>,
    inputs: &PointInputs,
) -> Result<BuiltModel, PointError> {
    if let Some(message) = refusal(&construct, &inputs.interfaces) {
        return Err(PointError {
            stage: Stage::Geometry,
            message,
        });
    }
    let contact =
        contact_model(&construct, &mesh, &inputs.interfaces).map_err(|message| PointError {
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
    Ok(model)
}

/// Construct, mesh and problem of a point in one go.
///
/// # Errors
/// As [`build_construct`], [`build_mesh`] and [`build_problem`].
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
    loads: &LoadInputs,
) -> Result<BuiltModel, ProblemError> {
    let patches = JointPatches::new(
        patch(
            &construct,
            &mesh,
            ArticularSurface::Capitellum,
            "capitellum",
        )?,
        patch(&construct, &mesh, ArticularSurface::Trochlea, "trochlea")?,
    );
    let cases = load_cases(&mesh, &patches, loads);
    let of_part: Vec<Material> = mesh.parts.iter().map(|&p| material(p, materials)).collect();
    let held = nodes_on(&mesh, SurfaceName::ProximalEnd);
    let mut problem = Problem::new(Arc::clone(&mesh), of_part, held, cases)?;
    if let Some(bone) = &materials.transverse {
        let cortical = bone.along(Vec3::y());
        problem = problem.with_elasticity(|tet, material, _| match mesh.part_of(tet) {
            Part::Bone(_, Tissue::Cortical) => cortical,
            _ => material.elasticity(),
        })?;
    }
    Ok(BuiltModel {
        construct,
        problem,
        patches,
        contact: None,
    })
}

fn material(part: Part, m: &Materials) -> Material {
    match part {
        Part::Bone(_, Tissue::Cortical) => &m.cortical,
        Part::Bone(_, Tissue::Cancellous) => &m.cancellous,
        Part::GapTissue => &m.gap_tissue,
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

fn load_cases(mesh: &TetMesh, patches: &JointPatches, loads: &LoadInputs) -> Vec<LoadCase> {
    let sizes = LoadSizes {
        axial_n: loads.axial_n,
        bending_n: loads.bending_n,
        frontal: FrontalLoad::ForceN(loads.varus_valgus_n),
        torque_nmm: loads.torsion_nmm,
        column_n: loads.column_n,
        capitellum_share: loads.capitellum_share,
    };
    loads
        .cases
        .iter()
        .filter_map(|name| NamedLoad::from_key(name))
        .map(|load| patches.case(mesh, load, &sizes))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::key_table::LOAD_CASES;

    #[test]
    fn every_load_case_of_the_job_file_is_known_to_the_model() {
        let keys: Vec<&str> = NamedLoad::ALL.iter().map(|l| l.key()).collect();
        assert_eq!(keys, LOAD_CASES);
    }
}
