//! One point of a job, as `mesh` and `export` need it.

use crate::console::Console;
use crate::run::read;
use bicolumn_formats::{Grid, write_vtu};
use bicolumn_study::{Job, PointInputs, resolve};
use std::path::Path;

/// Reads a job and resolves the point that the user names; tells what is wrong otherwise.
pub(crate) fn point_of_job(
    file: &Path,
    name: &str,
    console: &mut Console<'_>,
) -> Option<(Job, PointInputs)> {
    let (job, plan) = match read(file) {
        Ok(read) => read,
        Err(e) => {
            console.error(&e);
            return None;
        }
    };
    let Some(point) = plan.point(name) else {
        let (first, last) = (plan.points.first(), plan.points.last());
        let range = match (first, last) {
            (Some(a), Some(b)) if a.id != b.id => format!("points {} to {}", a.id, b.id),
            (Some(a), _) => format!("one point, {}", a.id),
            _ => "no point".to_string(),
        };
        console.error(&format!(
            "{}: no point {name}; this job has {range}\n  hint: bicolumn check {} lists them",
            file.display(),
            file.display()
        ));
        return None;
    };
    let inputs = resolve(&job, point);
    Some((job, inputs))
}

/// Writes a grid as a VTK file.
pub(crate) fn write_grid(path: &Path, grid: &Grid) -> Result<(), String> {
    let mut bytes = Vec::new();
    write_vtu(&mut bytes, grid).map_err(|e| e.to_string())?;
    write_file(path, &bytes)
}

/// Writes a file by an atomic rename.
pub(crate) fn write_file(path: &Path, bytes: &[u8]) -> Result<(), String> {
    bicolumn_store::write_atomic(path, bytes).map_err(|e| e.to_string())
}
