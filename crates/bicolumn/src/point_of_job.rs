//! One point of a job, as the verbs about a single point need it.

use crate::console::Console;
use crate::run::read;
use crate::{ALL_WELL, CANNOT_RUN};
use bicolumn_formats::{Grid, write_vtu};
use bicolumn_job::{DesignPoint, Job, Plan};
use bicolumn_store::can_write;
use bicolumn_study::{PointError, Stage};
use std::path::{Path, PathBuf};

/// Reads a job and finds the point that the user names; tells what is wrong otherwise.
pub(crate) fn point_of_job(
    file: &Path,
    name: &str,
    console: &mut Console<'_>,
) -> Option<(Job, DesignPoint)> {
    let (job, plan) = match read(file) {
        Ok(read) => read,
        Err(e) => {
            console.error(&e);
            return None;
        }
    };
    // A draw beyond those that the job asks for may have taken the place of another.
    let number = name.trim_start_matches('p').parse::<usize>().ok();
    let beyond = number.filter(|n| {
        job.has_next_draw() && (plan.points.len() + 1..=2 * plan.points.len()).contains(n)
    });
    let longer = beyond.and_then(|n| {
        let job = job.with_draws(n.div_ceil(job.poses()));
        Plan::of(&job).ok().map(|plan| (job, plan))
    });
    let (job, plan) = longer.unwrap_or((job, plan));
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
    let point = point.clone();
    Some((job, point))
}

/// Why a point of a job failed. What is wrong with its construct names the file and the line itself.
pub(crate) fn told(error: &PointError, job: &Job, point: &DesignPoint) -> String {
    match error.stage {
        Stage::Geometry => error.message.clone(),
        _ => format!("{}: {}: {error}", job.file.display(), point.id),
    }
}

/// The folder asked for, or `results/NAME-VERB/POINT`. One that cannot be written is told before the work, not after.
pub(crate) fn writable_folder(
    asked: Option<&PathBuf>,
    job: &Path,
    verb: &str,
    point: &str,
    console: &mut Console<'_>,
) -> Option<PathBuf> {
    let dir = asked
        .cloned()
        .unwrap_or_else(|| folder_beside(job, verb, point));
    match can_write(&dir) {
        Ok(()) => Some(dir),
        Err(e) => {
            console.error(&e);
            None
        }
    }
}

/// `results/NAME-WHAT/POINT`: beside the results of a run, never among them.
fn folder_beside(job: &Path, what: &str, point: &str) -> PathBuf {
    let stem = job.file_stem().unwrap_or(job.as_os_str()).to_string_lossy();
    Path::new("results")
        .join(format!("{stem}-{what}"))
        .join(point)
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

/// Tells which files were written, with the caution that goes with results, or why not.
pub(crate) fn tell_written(written: Result<Vec<PathBuf>, String>, console: &mut Console<'_>) -> u8 {
    match written {
        Ok(paths) => {
            for path in paths {
                console.data(&path.display().to_string());
            }
            console.say(bicolumn_report::CAUTION);
            ALL_WELL
        }
        Err(e) => {
            console.error(&e);
            CANNOT_RUN
        }
    }
}
