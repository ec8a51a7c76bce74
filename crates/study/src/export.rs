//! One point by itself: its mesh, or its solved problem as an audit bundle.

use crate::bones::BoneCache;
use crate::bundle::{Bundle, bundle};
use crate::model_build::{build_mesh, build_problem};
use crate::stage::{PointError, Stage};
use bicolumn_bundle::matrix_market;
use bicolumn_geometry::Construct;
use bicolumn_job::DesignPoint;
use bicolumn_job::Job;
use bicolumn_job::PointInputs;
use bicolumn_job::explain;
use bicolumn_job::resolve;
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
    mesh_inputs(job, point, &resolve(job, point), tell)
}

fn mesh_inputs(
    job: &Job,
    point: &DesignPoint,
    inputs: &PointInputs,
    tell: &mut dyn FnMut(Stage),
) -> Result<(Construct, TetMesh), PointError> {
    tell(Stage::Geometry);
    let construct = BoneCache::default()
        .construct(&inputs.construct)
        .map_err(|e| PointError {
            stage: Stage::Geometry,
            message: explain(&e, job, point),
        })?;
    tell(Stage::Mesh);
    let mesh = build_mesh(&construct, &inputs.sizing)?;
    Ok((construct, mesh))
}

/// Solves a point and gathers its audit bundle, with stiffness and loads as matrices if asked for. `tell` hears each
/// stage.
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
    let (construct, mesh) = mesh_inputs(job, point, &inputs, tell)?;
    let model = build_problem(construct, Arc::new(mesh), &inputs)?;
    tell(Stage::Solve);
    let solution = model.solve(&inputs, threads, &|_| {})?;
    tell(Stage::Measure);
    let mut bundle = bundle(&model, &solution);
    if with_matrices {
        let matrices = matrix_market(&model.problem).map_err(|e| PointError {
            stage: Stage::Solve,
            message: e.to_string(),
        })?;
        bundle.matrices = matrices.into();
    }
    Ok(bundle)
}
