//! One design point, end to end.

use crate::inputs::{PointError, PointInputs, Stage};
use crate::intact::IntactCache;
use bicolumn_store::PointRecord;
use std::path::Path;

/// Where a point works and whom it tells.
pub struct PointContext<'a> {
    /// The study's folder. The point writes its field files into its own folder in there; its record
    /// is written by the runner, last, as the proof that the point is finished.
    pub out_dir: &'a Path,
    /// Called when a stage begins.
    pub progress: &'a (dyn Fn(Stage) + Sync),
    /// Intact solutions.
    pub intact: &'a IntactCache,
    /// Threads to use inside this point. The result does not depend on it.
    pub threads: usize,
}

/// Meshes, solves and measures one design point.
///
/// # Errors
/// [`PointError`], with the stage it stopped at.
pub fn run_point(
    inputs: &PointInputs,
    context: &PointContext<'_>,
) -> Result<PointRecord, PointError> {
    (context.progress)(Stage::Geometry);
    let _ = (inputs, context.out_dir, context.intact, context.threads);
    Err(PointError {
        stage: Stage::Geometry,
        message: "this version cannot solve a point yet".into(),
    })
}
