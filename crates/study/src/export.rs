//! One point by itself: its mesh, or its solved problem as an audit bundle.

use crate::bundle::{Bundle, bundle};
use crate::inputs::{PointError, PointInputs, Stage};
use crate::model_build::{build_construct, build_mesh, build_model};
use bicolumn_geometry::Construct;
use bicolumn_mesh::TetMesh;
use bicolumn_solve::{PartNodes, SolveOptions, solve};

/// Builds and meshes a point. `tell` hears each stage.
///
/// # Errors
/// [`PointError`], with the stage.
pub fn mesh_point(
    inputs: &PointInputs,
    tell: &mut dyn FnMut(Stage),
) -> Result<(Construct, TetMesh), PointError> {
    tell(Stage::Geometry);
    let construct = build_construct(&inputs.construct)?;
    tell(Stage::Mesh);
    let mesh = build_mesh(&construct, &inputs.sizing)?;
    Ok((construct, mesh))
}

/// Solves a point and gathers its audit bundle. `tell` hears each stage.
///
/// # Errors
/// [`PointError`], with the stage.
pub fn export_point(
    inputs: &PointInputs,
    threads: usize,
    tell: &mut dyn FnMut(Stage),
) -> Result<Bundle, PointError> {
    tell(Stage::Mesh);
    let model = build_model(inputs)?;
    tell(Stage::Solve);
    let options = SolveOptions {
        threads,
        ..inputs.solve
    };
    let solution = solve(&model.problem, &options).map_err(|e| PointError {
        stage: Stage::Solve,
        message: e.to_string(),
    })?;
    tell(Stage::Measure);
    let nodes = PartNodes::of(&model.problem.mesh);
    Ok(bundle(&model.problem, &nodes, &solution))
}
