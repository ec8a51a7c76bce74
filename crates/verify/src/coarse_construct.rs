//! One coarse construct as a posed problem: the model `coarse_construct` of the folder `meshes/`.

use crate::shared_models::SharedModelError;
use bicolumn_base::{Part, Tissue};
use bicolumn_geometry::{ArticularSurface, Construct};
use bicolumn_job::{Job, Plan, PointInputs, resolve};
use bicolumn_mesh::{SurfaceName, TetMesh, mesh_construct};
use bicolumn_model::{JointPatches, Patch, Problem, ProblemError, Support, nodes_on};
use std::path::Path;
use std::sync::Arc;

/// The job of the construct.
const JOB: &str = include_str!("../../../meshes/coarse_construct/job.toml");

/// Node coordinates are multiples of this, mm, so that the file is small: far below the size of a cell.
const ROUNDED_TO_MM: f64 = 1.0 / 256.0;

/// The construct of the job, meshed, with its bone held at the potting plane and its loads at the joint.
///
/// # Errors
/// [`SharedModelError`].
pub fn coarse_construct() -> Result<Problem, SharedModelError> {
    let inputs = inputs()?;
    let construct = Construct::build(&inputs.construct)?;
    let mut mesh = mesh_construct(&construct, &inputs.sizing)?;
    for node in &mut mesh.nodes {
        *node = node.map(|x| (x / ROUNDED_TO_MM).round() * ROUNDED_TO_MM);
    }
    let mesh = Arc::new(mesh);
    let patches = JointPatches::new(
        joint(&construct, &mesh, ArticularSurface::Capitellum)?,
        joint(&construct, &mesh, ArticularSurface::Trochlea)?,
        construct.bone.side(),
    )
    .bearing_at(
        [ArticularSurface::Capitellum, ArticularSurface::Trochlea]
            .map(|surface| construct.bone.bearing_point(surface)),
    );
    let cases = inputs.loads.iter();
    let cases = cases.map(|load| patches.case(&mesh, load));
    let of = &inputs.materials;
    let materials = mesh.parts.iter().map(|part| match part {
        Part::Bone(_, Tissue::Cortical) => of.cortical.clone(),
        Part::Bone(_, Tissue::Cancellous) => of.cancellous.clone(),
        Part::Plate(_) => of.plate.clone(),
        Part::Screw(_) => of.screw.clone(),
        Part::GapTissue | Part::Numbered(_) => of.gap_tissue.clone(),
    });
    let potted = Support::clamp("potting plane", nodes_on(&mesh, SurfaceName::ProximalEnd));
    let (materials, cases) = (materials.collect(), cases.collect());
    Ok(Problem::new(Arc::clone(&mesh), materials, [potted], cases)?)
}

fn inputs() -> Result<PointInputs, SharedModelError> {
    let told = |e: &dyn std::fmt::Display| SharedModelError::Job(e.to_string());
    let job = Job::parse(Path::new("meshes/coarse_construct/job.toml"), JOB);
    let job = job.map_err(|e| told(&e))?;
    let plan = Plan::of(&job).map_err(|e| told(&e))?;
    let point = plan.point("1").ok_or_else(|| told(&"no point"))?;
    Ok(resolve(&job, point))
}

/// Articular surface of the meshed bone.
fn joint(
    construct: &Construct,
    mesh: &TetMesh,
    surface: ArticularSurface,
) -> Result<Patch, ProblemError> {
    Patch::of_free_facets(mesh, "joint surface", |f, centroid, normal| {
        mesh.surfaces[usize::from(f.surface)] == SurfaceName::BoneOuter
            && mesh.part_of(f.tet as usize).is_bone()
            && construct.bone.articular(centroid, normal) == Some(surface)
    })
}
