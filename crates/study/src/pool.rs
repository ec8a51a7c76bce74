//! The pool of open points: how many at once, each to its record whatever happens inside it.

use crate::bones::BoneCache;
use crate::cache::Cache;
use crate::check::CheckedPoint;
use crate::filing::{FailedBefore, copy_point};
use crate::free_memory::free_memory_bytes;
use crate::intact::IntactCache;
use crate::point::PointContext;
use crate::record::{failed_record, skipped_record};
use crate::runner::{Event, Outcome, RunOptions, SolvePoint, StudyError};
use crate::stage::{PointError, Stage};
use crate::wire::{FromWorker, Order};
use crate::worker::solve_caught;
use crate::worker_pool::{End, WorkerPool, WorkerProcess};
use bicolumn_job::PointInputs;
use bicolumn_solve::Forecast;
use bicolumn_store::{
    PointRecord, StopRecord, StudyFolder, create_folder, gather, remove_temporary, write_record,
};
use std::collections::{BTreeMap, VecDeque};
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

/// A study whose open points are in the pool.
pub(crate) struct PooledStudy<'a> {
    /// Name before the ids of its points in events; empty for the only study of a run.
    pub(crate) name: &'a str,
    /// Its job's file.
    pub(crate) job_file: &'a Path,
    /// Its job's text.
    pub(crate) job_text: &'a str,
    /// Draws of its job, where they are not as many as it asks for.
    pub(crate) draws: Option<usize>,
    /// Its folder.
    pub(crate) folder: StudyFolder,
    /// Are its tables written as its points end? Not by a shard: others write there too.
    pub(crate) has_tables: bool,
}

impl PooledStudy<'_> {
    /// Id of a point as events tell it.
    pub(crate) fn label(&self, id: &str) -> String {
        match self.name.is_empty() {
            true => id.to_owned(),
            false => format!("{}/{id}", self.name),
        }
    }
}

/// A point to be solved: the index of its study, and what was found when it was checked.
pub(crate) type Open<'a> = (usize, &'a CheckedPoint);

/// Resources that the points of a run share.
pub(crate) struct Team<'a> {
    pub(crate) options: &'a RunOptions<'a>,
    /// Points solved before, by any job.
    pub(crate) cache: Option<&'a Cache>,
    pub(crate) bones: &'a BoneCache,
    pub(crate) intact: &'a IntactCache<'a>,
    pub(crate) solve_point: &'a SolvePoint<'a>,
    /// Processes that points are solved in; `None`: in this one, by `solve_point`.
    pub(crate) workers: Option<&'a WorkerPool<'a>>,
}

/// Groups of points that are still to be begun, in their order, and the time that is left for them.
struct Queue {
    groups: VecDeque<usize>,
    /// Moment by which the run is to be over.
    until: Option<Instant>,
    /// Largest measured time of a point over its forecast; 1 before one has ended.
    pace: Option<f64>,
}

impl Queue {
    /// The first group whose forecast fits the time left.
    fn next(&mut self, seconds: &dyn Fn(usize) -> f64) -> Option<usize> {
        let left = self
            .until
            .map(|u| u.saturating_duration_since(Instant::now()));
        let pace = self.pace.unwrap_or(1.0);
        let fits = |group: usize| {
            left.is_none_or(|left| !left.is_zero() && pace * seconds(group) <= left.as_secs_f64())
        };
        let at = self.groups.iter().position(|g| fits(*g))?;
        self.groups.remove(at)
    }

    /// Takes note of the time that a point took.
    fn note(&mut self, measured: f64, forecast: f64) {
        if forecast > 0.0 {
            let pace = measured / forecast;
            self.pace = Some(self.pace.map_or(pace, |p| p.max(pace)));
        }
    }
}

/// Solves open points in the order given, several at once; points of the same digest once for all. Gives the outcome
/// and, where results could not be stored, the error of each study.
pub(crate) fn run_pool(
    studies: &[&PooledStudy<'_>],
    open: &[Open<'_>],
    team: &Team<'_>,
) -> Vec<(Outcome, Option<StudyError>)> {
    let mut ends: Vec<(Outcome, Option<StudyError>)> =
        studies.iter().map(|_| (Outcome::default(), None)).collect();
    if open.is_empty() {
        return ends;
    }
    let options = team.options;
    // Points with the same inputs have the same results, bit for bit: the first of them is solved.
    let mut alike: Vec<Vec<usize>> = vec![];
    let mut group_of: BTreeMap<&str, usize> = BTreeMap::new();
    for (n, (_, c)) in open.iter().enumerate() {
        let group = *group_of.entry(&c.inputs.digest).or_insert_with(|| {
            alike.push(vec![]);
            alike.len() - 1
        });
        alike[group].push(n);
    }
    let (at_once, threads_each) =
        split_machine(open, alike.len(), options.threads, options.memory_bytes);
    (options.observer)(Event::Planned {
        points: open.len(),
        at_once,
        threads_each,
    });
    let tables: Vec<Mutex<TableClock>> = studies.iter().map(|_| Mutex::default()).collect();
    let forecast = |group: usize| {
        let of_first = alike[group].first().map(|n| open[*n].1.built.as_ref());
        let seconds = of_first
            .and_then(Result::ok)
            .map_or(0.0, |b| b.estimate.seconds);
        seconds / threads_each as f64
    };
    let queue = Mutex::new(Queue {
        groups: (0..alike.len()).collect(),
        until: options.until,
        pace: None,
    });
    let next = || queue.lock().ok()?.next(&forecast);
    let found: Mutex<Vec<(usize, Result<PointEnd, StudyError>)>> = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..at_once {
            scope.spawn(|| {
                let mut process = None;
                while !options.stop.load(Ordering::Relaxed) {
                    let Some(group) = next() else {
                        break;
                    };
                    let begin = Instant::now();
                    let members = &alike[group];
                    let ends =
                        finish_alike(members, studies, open, (team, &mut process), threads_each);
                    if let (Some((_, Ok(PointEnd::Done))), Ok(mut queue)) =
                        (ends.first(), queue.lock())
                    {
                        queue.note(begin.elapsed().as_secs_f64(), forecast(group));
                    }
                    for (n, end) in ends {
                        // A folder that cannot be written any more ends the run, not just the point.
                        if end.is_err() {
                            options.stop.store(true, Ordering::Relaxed);
                        } else if let Ok(mut clock) = tables[open[n].0].lock() {
                            clock.write(studies[open[n].0]);
                        }
                        if let Ok(mut found) = found.lock() {
                            found.push((n, end));
                        }
                    }
                }
            });
        }
    });
    let mut found = found.into_inner().unwrap_or_default();
    found.sort_by_key(|e| e.0);
    let mut is_left = vec![true; open.len()];
    for (n, end) in found {
        is_left[n] = matches!(end, Ok(PointEnd::BrokenOff));
        let (study, c) = open[n];
        let (outcome, error) = &mut ends[study];
        let id = c.point.id.clone();
        match end {
            Ok(PointEnd::Done) => outcome.done.push(id),
            Ok(PointEnd::Failed(error, _)) => outcome.failed.push((id, error.message)),
            Ok(PointEnd::BrokenOff) => {}
            Err(e) => {
                error.get_or_insert(e);
            }
        }
    }
    for (n, (study, c)) in open.iter().enumerate() {
        if is_left[n] {
            ends[*study].0.left.push(c.point.id.clone());
        }
    }
    ends
}

/// When the tables of a study were last written, and how long that took.
#[derive(Default)]
struct TableClock {
    last: Option<(Instant, Duration)>,
}

impl TableClock {
    /// Writes the tables, unless that would take more than a twentieth of the time. The end of the run writes them
    /// in any case, so that an error here is told then.
    fn write(&mut self, study: &PooledStudy<'_>) {
        const SHARE: u32 = 20;
        let is_due = self
            .last
            .is_none_or(|(at, took)| at.elapsed() > took * SHARE);
        if study.has_tables && is_due {
            let begin = Instant::now();
            let _ = gather(&study.folder);
            self.last = Some((Instant::now(), begin.elapsed()));
        }
    }
}

enum PointEnd {
    Done,
    /// Failed, by a limit or without one.
    Failed(PointError, Option<StopRecord>),
    /// The time of the run was up.
    BrokenOff,
}

/// Solves the first of some points with the same inputs, and copies its results to the others.
fn finish_alike(
    members: &[usize],
    studies: &[&PooledStudy<'_>],
    open: &[Open<'_>],
    (team, process): (&Team<'_>, &mut Option<WorkerProcess>),
    threads: usize,
) -> Vec<(usize, Result<PointEnd, StudyError>)> {
    let Some((&first, others)) = members.split_first() else {
        return vec![];
    };
    let (study, c) = open[first];
    let end = finish_point(&c.inputs, studies[study], (team, process), threads);
    let from = studies[study].folder.point_folder(&c.inputs.id);
    let first_label = studies[study].label(&c.inputs.id);
    let copied = others.iter().filter_map(|&n| {
        let (study, c) = open[n];
        let study = studies[study];
        let end = match &end {
            Ok(PointEnd::Done) => copy_point(&from, &study.folder, &c.inputs)
                .map(|()| PointEnd::Done)
                .map_err(StudyError::from),
            Ok(PointEnd::Failed(error, stop)) => {
                mark_failed(team.options, study, &c.inputs, error, *stop)
                    .map(|()| PointEnd::Failed(error.clone(), *stop))
            }
            Ok(PointEnd::BrokenOff) | Err(_) => return None,
        };
        if let Ok(PointEnd::Done) = end {
            (team.options.observer)(Event::Copied {
                id: &study.label(&c.inputs.id),
                from: &first_label,
            });
        }
        Some((n, end))
    });
    let copied: Vec<_> = copied.collect();
    std::iter::once((first, end)).chain(copied).collect()
}

/// Runs one point to its record, whatever happens inside it.
fn finish_point(
    inputs: &PointInputs,
    study: &PooledStudy<'_>,
    (team, process): (&Team<'_>, &mut Option<WorkerProcess>),
    threads: usize,
) -> Result<PointEnd, StudyError> {
    let options = team.options;
    let begin = Instant::now();
    let label = study.label(&inputs.id);
    let id = label.as_str();
    // What a run that was killed was writing.
    remove_temporary(&study.folder.point_folder(&inputs.id));
    let end = match team.workers {
        Some(workers) => {
            let order = Order {
                job_file: study.job_file.to_owned(),
                job_text: study.job_text.to_owned(),
                draws: study.draws,
                point: inputs.id.clone(),
                digest: inputs.digest.clone(),
                out_dir: study.folder.root().to_path_buf(),
                threads,
            };
            let tell = |message: &FromWorker| match message {
                FromWorker::Stage { stage } => {
                    (options.observer)(Event::Stage { id, stage: *stage });
                }
                FromWorker::Forecast(told) => {
                    let forecast = Forecast::from(*told);
                    (options.observer)(Event::Forecast { id, forecast });
                }
                _ => {}
            };
            let end = workers.solve(process, &order, &tell);
            remove_temporary(&study.folder.point_folder(&inputs.id));
            end.map_err(|reason| StudyError::NoWorker { reason })?
        }
        None => solve_here(inputs, study, team, threads),
    };
    match end {
        End::Done(record) => {
            write_point(&study.folder, &record)?;
            if let Some(cache) = team.cache {
                cache.add(&study.folder, inputs)?;
            }
            (options.observer)(Event::Done {
                id,
                seconds: begin.elapsed().as_secs_f64(),
            });
            Ok(PointEnd::Done)
        }
        // A point whose results cannot be stored has not failed: the next run solves it again.
        End::Failed(error, _) if error.stage == Stage::Store => Err(StudyError::NotStored {
            id: label,
            reason: error.message,
        }),
        End::Failed(error, stop) => {
            mark_failed(options, study, inputs, &error, stop)?;
            Ok(PointEnd::Failed(error, stop))
        }
        End::BrokenOff => {
            (options.observer)(Event::BrokenOff { id });
            Ok(PointEnd::BrokenOff)
        }
    }
}

/// Solves a point in this process.
fn solve_here(
    inputs: &PointInputs,
    study: &PooledStudy<'_>,
    team: &Team<'_>,
    threads: usize,
) -> End {
    let options = team.options;
    let label = study.label(&inputs.id);
    let id = label.as_str();
    let stage = Mutex::new(Stage::Geometry);
    let progress = |s: Stage| {
        if let Ok(mut current) = stage.lock() {
            *current = s;
        }
        (options.observer)(Event::Stage { id, stage: s });
    };
    let context = PointContext {
        out_dir: study.folder.root(),
        progress: &progress,
        forecast: &|f: &Forecast| (options.observer)(Event::Forecast { id, forecast: *f }),
        bones: team.bones,
        intact: team.intact,
        threads,
    };
    match solve_caught(&|| (team.solve_point)(inputs, &context), threads, &stage) {
        Ok(record) => End::Done(Box::new(record)),
        Err(error) => End::Failed(error, None),
    }
}

/// Memory for all points together, bytes: as asked for, else what is free.
pub(crate) fn all_memory_bytes(asked: Option<f64>) -> f64 {
    /// Taken where the machine does not say what it has free.
    const UNKNOWN_MEMORY: f64 = 4e9;
    asked.or_else(free_memory_bytes).unwrap_or(UNKNOWN_MEMORY)
}

/// How many points at once, and threads in each.
fn split_machine(
    open: &[Open<'_>],
    points: usize,
    threads: usize,
    memory_bytes: Option<f64>,
) -> (usize, usize) {
    let largest = open
        .iter()
        .filter_map(|(_, c)| c.built.as_ref().ok())
        .map(|b| b.estimate.bytes)
        .fold(1.0, f64::max);
    let free = all_memory_bytes(memory_bytes);
    split(free, largest, points, threads)
}

/// As many points as the free memory takes, one thread each while there are more points than threads.
///
/// Each keeps solved intact bones beside its point: a fifth of a point's memory is set aside for them.
fn split(free: f64, of_a_point: f64, points: usize, threads: usize) -> (usize, usize) {
    /// Share of the free memory that may be filled.
    const SHARE: f64 = 0.8;
    const KEPT: f64 = 0.2;
    let room = SHARE * free / ((1.0 + KEPT) * of_a_point);
    let threads = threads.max(1);
    let at_once = (room as usize).clamp(1, threads.min(points.max(1)));
    (at_once, (threads / at_once).max(1))
}

/// Marks a point as failed, with its reason.
///
/// # Errors
/// [`StudyError::Store`], when the record cannot be written.
pub(crate) fn mark_failed(
    options: &RunOptions<'_>,
    study: &PooledStudy<'_>,
    inputs: &PointInputs,
    error: &PointError,
    stopped_by: Option<StopRecord>,
) -> Result<(), StudyError> {
    (options.observer)(Event::Failed {
        id: &study.label(&inputs.id),
        stage: error.stage.name(),
        reason: &error.message,
    });
    let record = PointRecord {
        stopped_by,
        ..failed_record(inputs, error)
    };
    write_point(&study.folder, &record)
}

/// Keeps the failure of a point in an earlier run, under the id that it has now.
///
/// # Errors
/// [`StudyError::Store`], when the record cannot be written.
pub(crate) fn keep_failure(
    options: &RunOptions<'_>,
    study: &PooledStudy<'_>,
    inputs: &PointInputs,
    before: &FailedBefore,
) -> Result<(), StudyError> {
    (options.observer)(Event::FailedBefore {
        id: &study.label(&inputs.id),
        stage: before.stage.name(),
        reason: &before.reason,
    });
    if before.place == inputs.id {
        return Ok(());
    }
    let error = PointError {
        stage: before.stage,
        message: before.reason.clone(),
    };
    let record = PointRecord {
        stopped_by: before.stopped_by,
        ..failed_record(inputs, &error)
    };
    write_point(&study.folder, &record)
}

/// Marks a point that is left out, for its construct cannot be built.
pub(crate) fn mark_skipped(
    options: &RunOptions<'_>,
    study: &PooledStudy<'_>,
    inputs: &PointInputs,
    reason: &str,
) -> Result<(), StudyError> {
    (options.observer)(Event::Skipped {
        id: &study.label(&inputs.id),
        reason,
    });
    write_point(&study.folder, &skipped_record(inputs, reason))
}

fn write_point(folder: &StudyFolder, record: &PointRecord) -> Result<(), StudyError> {
    create_folder(&folder.point_folder(&record.id))?;
    write_record(&folder.record_file(&record.id), record)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::{Queue, split};
    use std::time::{Duration, Instant};

    #[test]
    fn no_point_is_begun_that_does_not_fit_the_time_left() {
        let forecasts = [100.0, 40.0, 10.0];
        let seconds = |group: usize| forecasts[group];
        let mut queue = Queue {
            groups: [0, 1, 2].into(),
            until: Some(Instant::now() + Duration::from_secs(50)),
            pace: None,
        };
        assert_eq!(queue.next(&seconds), Some(1), "100 s do not fit");
        // It took thrice its forecast.
        queue.note(120.0, 40.0);
        queue.note(10.0, 40.0);
        assert_eq!(queue.next(&seconds), Some(2), "3 x 10 s fit");
        assert_eq!(queue.next(&seconds), None);
        queue.until = None;
        assert_eq!(queue.next(&seconds), Some(0));
    }

    #[test]
    fn points_at_once_keep_within_memory_threads_and_points() {
        let gb = 1e9;
        assert_eq!(split(24.0 * gb, 2.0 * gb, 6, 4), (4, 1), "threads");
        assert_eq!(split(24.0 * gb, 2.0 * gb, 2, 8), (2, 4), "points");
        assert_eq!(split(8.0 * gb, 2.0 * gb, 6, 8), (2, 4), "memory");
        assert_eq!(split(1.0 * gb, 2.0 * gb, 6, 8), (1, 8), "one at least");
        assert_eq!(split(8.0 * gb, 2.0 * gb, 6, 0), (1, 1));
    }
}
