//! Many points: which are done already, how many at once, and what becomes of those that fail.

use crate::bones::BoneCache;
use crate::check::{CheckedPoint, WORKER, check_job, panic_text};
use crate::free_memory::free_memory_bytes;
use crate::intact::IntactCache;
use crate::point::{PointContext, run_point};
use crate::record::failed_record;
use crate::stage::{PointError, Stage};
use crate::study_folder::{self, FolderError};
use crate::study_record::study_record;
use bicolumn_job::Job;
use bicolumn_job::Plan;
use bicolumn_job::PointInputs;
use bicolumn_solve::Forecast;
use bicolumn_store::{
    PointRecord, Status, StoreError, StudyFolder, create_folder, gather, read_record, write_record,
};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Instant;
use thiserror::Error;

/// How to run a study.
pub struct RunOptions<'a> {
    /// The study's folder.
    pub out_dir: &'a Path,
    /// Threads for all points together.
    pub threads: usize,
    /// Memory for all points together, bytes; `None`: what machine, control group, limits and scheduler leave.
    pub memory_bytes: Option<f64>,
    /// Set from outside to stop: points under way are finished, no new one is begun.
    pub stop: &'a AtomicBool,
    /// Hears what happens, from several threads.
    pub observer: &'a (dyn Fn(Event<'_>) + Sync),
}

/// Event of a study.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub enum Event<'a> {
    /// So many constructs are built and checked.
    Checked {
        done: usize,
        total: usize,
    },
    /// The work is laid out: points at once, threads in each.
    Planned {
        at_once: usize,
        threads_each: usize,
    },
    /// Finished before, with the same inputs: not solved again.
    Kept {
        id: &'a str,
    },
    /// Finished before, but its record is damaged: it is solved again.
    Damaged {
        id: &'a str,
        reason: &'a str,
    },
    Stage {
        id: &'a str,
        stage: Stage,
    },
    /// Forecast of a solution's cost, before it begins.
    Forecast {
        id: &'a str,
        forecast: Forecast,
    },
    Done {
        id: &'a str,
        seconds: f64,
    },
    Failed {
        id: &'a str,
        stage: &'a str,
        reason: &'a str,
    },
}

/// How a study ended.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Outcome {
    /// Points solved in this run.
    pub done: Vec<String>,
    /// Points kept from an earlier run.
    pub kept: Vec<String>,
    /// Points that failed, with the reason.
    pub failed: Vec<(String, String)>,
    /// Points not begun, because the run was stopped.
    pub left: Vec<String>,
}

/// Why a study cannot be run at all.
#[derive(Debug, Error)]
pub enum StudyError {
    /// No construct of the job can be built; the reasons, without repetition.
    #[error("no construct of this job can be built, so there is nothing to solve\n{}", reasons.join("\n"))]
    NothingToSolve {
        /// Reasons.
        reasons: Vec<String>,
    },
    /// The folder.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// Something could not be written or read back.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The results of a solved point could not be stored; the points after it are not begun.
    #[error("{id} is solved, but cannot be stored: {reason}")]
    NotStored {
        /// Point.
        id: String,
        /// Why.
        reason: String,
    },
}

/// Runs a plan. Nothing is written before it is certain that at least one point can be built.
///
/// # Errors
/// [`StudyError`]. A point that fails is no error of the study: it is marked, with its reason.
pub fn run_study(job: &Job, plan: &Plan, options: &RunOptions<'_>) -> Result<Outcome, StudyError> {
    run_study_by(job, plan, options, &BoneCache::default(), &run_point)
}

/// How one point is solved: [`run_point`], or what a test puts in its place.
pub(crate) type SolvePoint<'a> =
    dyn Fn(&PointInputs, &PointContext<'_>) -> Result<PointRecord, PointError> + Sync + 'a;

/// [`run_study`] with its bones and its way to solve a point.
pub(crate) fn run_study_by(
    job: &Job,
    plan: &Plan,
    options: &RunOptions<'_>,
    bones: &BoneCache,
    solve_point: &SolvePoint<'_>,
) -> Result<Outcome, StudyError> {
    study_folder::look(options.out_dir, &job.text)?;
    let total = plan.points.len();
    let checked = check_job(job, plan, bones, options.threads, &|done| {
        (options.observer)(Event::Checked { done, total });
    });
    if checked.iter().all(|c| c.built.is_err()) {
        return Err(StudyError::NothingToSolve {
            reasons: distinct_reasons(&checked),
        });
    }
    let folder = StudyFolder::new(options.out_dir);
    create_folder(folder.root())?;
    let _hold = study_folder::hold(folder.root())?;
    let first_built = checked.iter().find(|c| c.built.is_ok());
    let bone = first_built.and_then(|c| bones.of(&c.inputs.construct.bone).ok());
    let record = study_record(job, plan, bone.map(|b| b.landmarks()));
    write_record(&folder.study_file(), &record)?;

    let mut outcome = Outcome::default();
    let mut open: Vec<&CheckedPoint> = Vec::new();
    for c in &checked {
        let id = c.point.id.as_str();
        if finished_before(options, &c.inputs) {
            (options.observer)(Event::Kept { id });
            outcome.kept.push(id.to_string());
        } else if let Err(reason) = &c.built {
            let error = PointError {
                stage: Stage::Geometry,
                message: reason.clone(),
            };
            mark_failed(options, &c.inputs, &error)?;
            outcome.failed.push((id.to_string(), reason.clone()));
        } else {
            open.push(c);
        }
    }
    let team = Team {
        options,
        bones,
        intact: &IntactCache::default(),
        solve_point,
    };
    let run = run_open(&open, &team, &mut outcome);
    let tables = gather(&folder);
    // What ended the run is told before what its tables lack.
    run?;
    tables?;
    Ok(outcome)
}

/// Resources that the points of a run share.
struct Team<'a> {
    options: &'a RunOptions<'a>,
    bones: &'a BoneCache,
    intact: &'a IntactCache,
    solve_point: &'a SolvePoint<'a>,
}

/// Runs the points still open, several at once.
fn run_open(
    open: &[&CheckedPoint],
    team: &Team<'_>,
    outcome: &mut Outcome,
) -> Result<(), StudyError> {
    let options = team.options;
    if open.is_empty() {
        return Ok(());
    }
    let (at_once, threads_each) = split_machine(open, options.threads, options.memory_bytes);
    (options.observer)(Event::Planned {
        at_once,
        threads_each,
    });
    let next = AtomicUsize::new(0);
    let ends: Mutex<Vec<(usize, Result<PointEnd, StudyError>)>> = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..at_once {
            scope.spawn(|| {
                while !options.stop.load(Ordering::Relaxed) {
                    let n = next.fetch_add(1, Ordering::Relaxed);
                    let Some(c) = open.get(n) else { break };
                    let end = finish_point(&c.inputs, team, threads_each);
                    // A folder that cannot be written any more ends the run, not just the point.
                    if end.is_err() {
                        options.stop.store(true, Ordering::Relaxed);
                    }
                    if let Ok(mut ends) = ends.lock() {
                        ends.push((n, end));
                    }
                }
            });
        }
    });
    let mut ends = ends.into_inner().unwrap_or_default();
    ends.sort_by_key(|e| e.0);
    let begun: Vec<usize> = ends.iter().map(|e| e.0).collect();
    for (n, end) in ends {
        let id = open[n].point.id.clone();
        match end? {
            PointEnd::Done => outcome.done.push(id),
            PointEnd::Failed(reason) => outcome.failed.push((id, reason)),
        }
    }
    for (n, c) in open.iter().enumerate() {
        if !begun.contains(&n) {
            outcome.left.push(c.point.id.clone());
        }
    }
    Ok(())
}

enum PointEnd {
    Done,
    Failed(String),
}

/// Runs one point to its record, whatever happens inside it.
fn finish_point(
    inputs: &PointInputs,
    team: &Team<'_>,
    threads: usize,
) -> Result<PointEnd, StudyError> {
    let options = team.options;
    let begin = Instant::now();
    let id = inputs.id.as_str();
    let stage = Mutex::new(Stage::Geometry);
    let progress = |s: Stage| {
        if let Ok(mut current) = stage.lock() {
            *current = s;
        }
        (options.observer)(Event::Stage { id, stage: s });
    };
    let forecast = |f: &Forecast| (options.observer)(Event::Forecast { id, forecast: *f });
    let context = PointContext {
        out_dir: options.out_dir,
        progress: &progress,
        forecast: &forecast,
        bones: team.bones,
        intact: team.intact,
        threads,
    };
    let work = || catch_unwind(AssertUnwindSafe(|| (team.solve_point)(inputs, &context)));
    // A pool of its own keeps what a point does in parallel within its share of the machine.
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .thread_name(move |n| format!("{WORKER}{n}"))
        .build();
    let result = match pool {
        Ok(pool) => pool.install(work),
        Err(_) => work(),
    };
    let result = result.unwrap_or_else(|panic| {
        Err(PointError {
            stage: stage.lock().map_or(Stage::Geometry, |s| *s),
            message: panic_text(&*panic),
        })
    });
    match result {
        Ok(record) => {
            write_point(options, &record)?;
            (options.observer)(Event::Done {
                id,
                seconds: begin.elapsed().as_secs_f64(),
            });
            Ok(PointEnd::Done)
        }
        // A point whose results cannot be stored has not failed: the next run solves it again.
        Err(error) if error.stage == Stage::Store => Err(StudyError::NotStored {
            id: id.to_string(),
            reason: error.message,
        }),
        Err(error) => {
            mark_failed(options, inputs, &error)?;
            Ok(PointEnd::Failed(error.message))
        }
    }
}

/// How many points at once, and threads in each.
fn split_machine(
    open: &[&CheckedPoint],
    threads: usize,
    memory_bytes: Option<f64>,
) -> (usize, usize) {
    /// Taken where the machine does not say what it has free.
    const UNKNOWN_MEMORY: f64 = 4e9;
    let largest = open
        .iter()
        .filter_map(|c| c.built.as_ref().ok())
        .map(|b| b.estimate.bytes)
        .fold(1.0, f64::max);
    let free = memory_bytes
        .or_else(free_memory_bytes)
        .unwrap_or(UNKNOWN_MEMORY);
    split(free, largest, open.len(), threads)
}

/// As many points as the free memory takes, one thread each while there are more points than threads.
///
/// Solved intact bones are kept beside the points: a fifth of a point's memory is set aside for them.
fn split(free: f64, of_a_point: f64, points: usize, threads: usize) -> (usize, usize) {
    /// Share of the free memory that may be filled.
    const SHARE: f64 = 0.8;
    const KEPT: f64 = 0.2;
    let room = SHARE * free / of_a_point - KEPT;
    let threads = threads.max(1);
    let at_once = (room as usize).clamp(1, threads.min(points.max(1)));
    (at_once, (threads / at_once).max(1))
}

/// Is there a valid record of these very inputs? A damaged one is told of.
fn finished_before(options: &RunOptions<'_>, inputs: &PointInputs) -> bool {
    let folder = StudyFolder::new(options.out_dir);
    match read_record::<PointRecord>(&folder.record_file(&inputs.id)) {
        Ok(record) => record.digest == inputs.digest && record.status == Status::Done,
        Err(StoreError::Missing { .. }) => false,
        Err(e) => {
            (options.observer)(Event::Damaged {
                id: &inputs.id,
                reason: &e.within(folder.root()),
            });
            false
        }
    }
}

fn mark_failed(
    options: &RunOptions<'_>,
    inputs: &PointInputs,
    error: &PointError,
) -> Result<(), StudyError> {
    (options.observer)(Event::Failed {
        id: &inputs.id,
        stage: error.stage.name(),
        reason: &error.message,
    });
    write_point(options, &failed_record(inputs, error))
}

fn write_point(options: &RunOptions<'_>, record: &PointRecord) -> Result<(), StudyError> {
    let folder = StudyFolder::new(options.out_dir);
    create_folder(&folder.point_folder(&record.id))?;
    write_record(&folder.record_file(&record.id), record)?;
    Ok(())
}

/// Reasons, each once, with the points it holds for.
fn distinct_reasons(checked: &[CheckedPoint]) -> Vec<String> {
    let mut reasons: Vec<(String, Vec<&str>)> = Vec::new();
    for c in checked {
        if let Err(reason) = &c.built {
            match reasons.iter_mut().find(|(r, _)| r == reason) {
                Some((_, ids)) => ids.push(&c.point.id),
                None => reasons.push((reason.clone(), vec![&c.point.id])),
            }
        }
    }
    reasons
        .into_iter()
        .map(|(reason, ids)| format!("{reason}\n  at: {}", ids.join(", ")))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::split;

    #[test]
    fn points_at_once_keep_within_memory_threads_and_points() {
        let gb = 1e9;
        assert_eq!(split(24.0 * gb, 2.0 * gb, 6, 4), (4, 1), "threads");
        assert_eq!(split(24.0 * gb, 2.0 * gb, 2, 8), (2, 4), "points");
        assert_eq!(split(8.0 * gb, 2.0 * gb, 6, 8), (3, 2), "memory");
        assert_eq!(split(1.0 * gb, 2.0 * gb, 6, 8), (1, 8), "one at least");
        assert_eq!(split(8.0 * gb, 2.0 * gb, 6, 0), (1, 1));
    }
}
