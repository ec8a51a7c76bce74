//! One point by itself: its mesh, or its solved problem as an audit bundle.

use crate::bones::BoneCache;
use crate::bundle::{Bundle, Content, bundle};
use crate::intact::IntactCache;
use crate::model_build::{build_mesh, build_problem};
use crate::stage::{PointError, Stage};
use bicolumn_bundle::matrix_market;
use bicolumn_geometry::Construct;
use bicolumn_job::DesignPoint;
use bicolumn_job::Job;
use bicolumn_job::PointInputs;
use bicolumn_job::explain;
use bicolumn_job::resolve;
use bicolumn_measure::{RecoveredStress, measure_recovered};
use bicolumn_mesh::TetMesh;
use std::sync::Arc;

/// Builds and meshes a point. `tell` hears each stage.
///
/// # Errors
/// [`PointError`], with the stage; at [`Stage::Geometry`] with the job keys behind it.
pub fn mesh_point(
    job: &Job,
    point: &DesignPoint,
    tell: &mut dyn FnMut(Stage),
) -> Result<(Construct, TetMesh), PointError> {
    mesh_inputs(
        (job, point),
        &resolve(job, point),
        &BoneCache::default(),
        tell,
    )
}

fn mesh_inputs(
    (job, point): (&Job, &DesignPoint),
    inputs: &PointInputs,
    bones: &BoneCache,
    tell: &mut dyn FnMut(Stage),
) -> Result<(Construct, TetMesh), PointError> {
    tell(Stage::Geometry);
    let construct = bones.construct(&inputs.construct).map_err(|e| PointError {
        stage: Stage::Geometry,
        message: explain(&e, job, point),
    })?;
    tell(Stage::Mesh);
    let mesh = build_mesh(&construct, &inputs.sizing)?;
    Ok((construct, mesh))
}

/// Solves and measures a point and its intact bone and gathers the audit bundle, with stiffness and loads as matrices if
/// asked for. `tell` hears each stage.
///
/// # Errors
/// [`PointError`], with the stage; at [`Stage::Geometry`] with the job keys behind it.
pub fn export_point(
    job: &Job,
    point: &DesignPoint,
    threads: usize,
    with_matrices: bool,
    tell: &mut dyn FnMut(Stage),
) -> Result<Bundle, PointError> {
    let inputs = resolve(job, point);
    let bones = BoneCache::default();
    let (construct, mesh) = mesh_inputs((job, point), &inputs, &bones, tell)?;
    let model = build_problem(construct, Arc::new(mesh), &inputs)?;
    tell(Stage::Solve);
    let solution = model.solve(&inputs, threads, &|_| {})?;
    tell(Stage::Measure);
    let intact = IntactCache::default().of(&inputs, &bones, threads);
    let stress = RecoveredStress::of(&model.problem, solution.total());
    let beside = intact.as_ref().ok();
    let beside = beside.map(|i| (i.model.solved(&i.solution), &i.stress));
    let measures = measure_recovered(
        (&model.solved(&solution), &stress),
        beside.as_ref().map(|(solved, stress)| (solved, *stress)),
    );
    let intact = intact.as_deref().map_err(Clone::clone);
    let mut bundle = bundle((&model, &solution), &measures, intact);
    if with_matrices {
        let matrices = matrix_market(&model.problem).map_err(|e| PointError {
            stage: Stage::Solve,
            message: e.to_string(),
        })?;
        let matrices = matrices.map(|(name, text)| (name, Content::Text(text)));
        bundle.files.extend(matrices);
    }
    Ok(bundle)
}
