//! Studies run to their tables: what is done already, what is open, and what becomes of points that fail.

use crate::bones::BoneCache;
use crate::cache::Cache;
use crate::check::{CheckedPoint, check_points};
use crate::draws::{Replaced, Settled, settle};
use crate::filing::{self, Filed};
use crate::heartbeat::Heartbeat;
use crate::intact::IntactCache;
use crate::point::{PointContext, run_point};
use crate::pool::{
    Open, PooledStudy, Team, all_memory_bytes, keep_failure, mark_failed, mark_skipped, run_pool,
};
use crate::share::Share;
use crate::stage::{PointError, Stage};
use crate::study_folder::{self, Ended, FolderError};
use crate::study_record::study_record;
use crate::worker_pool::{IntactTurns, PointLimits, WorkerPool, WorkerProgram};
use bicolumn_job::{DesignPoint, Job, Plan, PointInputs, resolve};
use bicolumn_solve::Forecast;
use bicolumn_store::{
    Hold, MovedRecord, PointRecord, StoreError, StudyFolder, create_folder, gather, write_record,
};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::time::Instant;
use thiserror::Error;

/// A job to be run into a folder.
#[derive(Debug, Clone, Copy)]
pub struct StudyTask<'a> {
    /// Name before the ids of its points in events; empty where it is the only one.
    pub name: &'a str,
    /// The job.
    pub job: &'a Job,
    /// Its design.
    pub plan: &'a Plan,
    /// The study's folder.
    pub out_dir: &'a Path,
}

/// How to run studies.
pub struct RunOptions<'a> {
    /// Threads for all points together.
    pub threads: usize,
    /// Memory for all points together, bytes; `None`: what machine, control group, limits and scheduler leave.
    pub memory_bytes: Option<f64>,
    /// Points of each study that this run takes on.
    pub share: Share,
    /// Program that solves each point in a process of its own, so that one that aborts or takes too much costs itself alone;
    /// `None`: points are solved in this process, without limits.
    pub worker: Option<&'a WorkerProgram>,
    /// Limits of a point in a process of its own.
    pub limits: PointLimits,
    /// Moment by which the run is to be over: no point is begun whose forecast does not fit, and one under way then is
    /// broken off where it has a process of its own.
    pub until: Option<Instant>,
    /// Folder of points solved before, by any job, and for those solved now.
    pub cache: Option<&'a Path>,
    /// Set from outside to stop: points under way are finished, no new one is begun.
    pub stop: &'a AtomicBool,
    /// Hears what happens, from several threads.
    pub observer: &'a (dyn Fn(Event<'_>) + Sync),
}

impl<'a> RunOptions<'a> {
    /// All points, in this process, without limits.
    pub fn new(
        threads: usize,
        stop: &'a AtomicBool,
        observer: &'a (dyn Fn(Event<'_>) + Sync),
    ) -> RunOptions<'a> {
        RunOptions {
            threads,
            memory_bytes: None,
            share: Share::All,
            worker: None,
            limits: PointLimits::default(),
            until: None,
            cache: None,
            stop,
            observer,
        }
    }
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
    /// The work is laid out: points still to be solved, points at once, threads in each.
    Planned {
        points: usize,
        at_once: usize,
        threads_each: usize,
    },
    /// Finished before under another id, by the same digest; filed under this one.
    Moved {
        id: &'a str,
        before: &'a str,
    },
    /// So many finished points belong to no point of the job any more.
    SetAside {
        count: usize,
        folder: &'a Path,
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
    /// Copied from a point of the same inputs, solved in this run.
    Copied {
        id: &'a str,
        from: &'a str,
    },
    /// Copied from the folder of points solved before.
    Taken {
        id: &'a str,
    },
    Failed {
        id: &'a str,
        stage: &'a str,
        reason: &'a str,
    },
    /// Failed in an earlier run; tried again when asked or when its cause has gone.
    FailedBefore {
        id: &'a str,
        stage: &'a str,
        reason: &'a str,
    },
    /// Broken off, for the time of the run is up.
    BrokenOff {
        id: &'a str,
    },
    /// Left out, for its construct cannot be built.
    Skipped {
        id: &'a str,
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
    /// Points left out, since their constructs cannot be built and the job says so, with the reason.
    pub skipped: Vec<(String, String)>,
    /// Points not begun, because the run was stopped.
    pub left: Vec<String>,
    /// Points that are neither finished nor this run's to solve.
    pub others: Vec<String>,
    /// Draws that cannot be built.
    pub replaced: Replaced,
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
    /// A point that the design does not have.
    #[error("there is no point {number}; accepted: 1 to {count}")]
    NoSuchPoint {
        /// Number asked for.
        number: usize,
        /// Points of the design.
        count: usize,
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
    /// No process could be started to solve points in; the points after it are not begun.
    #[error("no process can be started to solve points in: {reason}")]
    NoWorker {
        /// Why.
        reason: String,
    },
}

/// Runs one study. Nothing is written before it is certain that at least one point can be built.
///
/// # Errors
/// [`StudyError`]. A point that fails is no error of the study: it is marked, with its reason.
pub fn run_study(task: StudyTask<'_>, options: &RunOptions<'_>) -> Result<Outcome, StudyError> {
    let mut outcomes = run_studies(&[task], options);
    outcomes.pop().unwrap_or_else(|| Ok(Outcome::default()))
}

/// Runs several studies as one pool of points, of several studies the longest point first; bones, intact solutions and
/// points of the same inputs are shared. One result for each task; a study that cannot be run does not stop the others.
pub fn run_studies(
    tasks: &[StudyTask<'_>],
    options: &RunOptions<'_>,
) -> Vec<Result<Outcome, StudyError>> {
    run_studies_by(tasks, options, &BoneCache::default(), &run_point)
}

/// How one point is solved: [`run_point`], or what a test puts in its place.
pub(crate) type SolvePoint<'a> =
    dyn Fn(&PointInputs, &PointContext<'_>) -> Result<PointRecord, PointError> + Sync + 'a;

/// [`run_studies`] with its bones and its way to solve a point.
pub(crate) fn run_studies_by(
    tasks: &[StudyTask<'_>],
    options: &RunOptions<'_>,
    bones: &BoneCache,
    solve_point: &SolvePoint<'_>,
) -> Vec<Result<Outcome, StudyError>> {
    let mut known = BTreeMap::new();
    let mut prepared = vec![];
    let cache = options.cache.map(Cache::in_folder);
    for task in tasks {
        prepared.push(prepare(task, options, (bones, cache.as_ref()), &mut known));
    }
    let ready = || prepared.iter().flatten();
    let studies: Vec<&PooledStudy<'_>> = ready().map(|p| &p.study).collect();
    let of_studies = ready().enumerate();
    let mut open: Vec<Open<'_>> = of_studies
        .flat_map(|(k, p)| p.open.iter().map(move |c| (k, c)))
        .collect();
    if tasks.len() > 1 {
        open.sort_by(|a, b| seconds(b.1).total_cmp(&seconds(a.1)));
    }
    // The next run that is killed by such a point has the others behind it.
    let tried: BTreeSet<&str> = ready()
        .flat_map(|p| &p.failed)
        .map(String::as_str)
        .collect();
    open.sort_by_key(|(_, c)| tried.contains(c.inputs.digest.as_str()));
    let intact = match &cache {
        Some(cache) => Some(cache.intact_folder()),
        None => studies.first().map(|s| s.folder.intact_folder()),
    };
    let workers = options.worker.map(|program| WorkerPool {
        program,
        limits: options.limits,
        all_memory_bytes: all_memory_bytes(options.memory_bytes),
        until: options.until,
        turns: IntactTurns::in_folder(intact.unwrap_or_default()),
    });
    let to_solve: Vec<(&str, PathBuf, usize)> = ready()
        .map(|p| {
            (
                p.study.name,
                p.study.folder.root().to_path_buf(),
                p.open.len(),
            )
        })
        .collect();
    let shard = match &options.share {
        Share::Shard(shard) => Some(shard.to_string()),
        Share::All | Share::Points(_) | Share::Failed => None,
    };
    let heartbeat = Heartbeat::of(&to_solve, shard.as_deref());
    let observer = |event: Event<'_>| {
        heartbeat.hear(&event);
        (options.observer)(event);
    };
    let observed = RunOptions {
        share: options.share.clone(),
        observer: &observer,
        ..*options
    };
    let team = Team {
        options: &observed,
        cache: cache.as_ref(),
        bones,
        intact: &IntactCache::default(),
        solve_point,
        workers: workers.as_ref(),
    };
    let mut ends = heartbeat
        .during(|| run_pool(&studies, &open, &team))
        .into_iter();
    drop(open);
    let one = |prepared: Result<Prepared<'_>, StudyError>| {
        let Prepared {
            study, mut outcome, ..
        } = prepared?;
        let (solved, error) = ends.next().unwrap_or_default();
        let tables = match study.has_tables {
            true => gather(&study.folder).map(drop),
            false => Ok(()),
        };
        if study.has_tables && solved.left.is_empty() && error.is_none() {
            // Made again where it is missed.
            let _ = std::fs::remove_dir_all(study.folder.intact_folder());
        }
        // What ended the run is told before what its tables lack.
        if let Some(error) = error {
            return Err(error);
        }
        tables?;
        outcome.done.extend(solved.done);
        outcome.failed.extend(solved.failed);
        outcome.left.extend(solved.left);
        Ok(outcome)
    };
    prepared.into_iter().map(one).collect()
}

/// A study that this run holds, with the points that it has to solve.
struct Prepared<'a> {
    study: PooledStudy<'a>,
    /// Outcome known before the pool begins: kept, failed, others'.
    outcome: Outcome,
    open: Vec<CheckedPoint>,
    /// Points that failed before, by digest.
    failed: BTreeSet<String>,
    /// Let go when the study has its tables.
    _hold: Hold,
}

/// Looks what is finished, builds the constructs of what is not, takes the folder, files finished records under their
/// points. `known`: folders of finished points by digest, of the tasks before.
fn prepare<'a>(
    task: &StudyTask<'a>,
    options: &RunOptions<'_>,
    (bones, cache): (&BoneCache, Option<&Cache>),
    known: &mut BTreeMap<String, PathBuf>,
) -> Result<Prepared<'a>, StudyError> {
    let folder = StudyFolder::new(task.out_dir);
    let asked = task.plan.points.iter().map(|p| resolve(task.job, p).digest);
    let asked: BTreeSet<String> = asked.collect();
    let digests: BTreeSet<&str> = asked.iter().map(String::as_str).collect();
    let ended = study_folder::look(task.out_dir, &task.job.text, &digests)?;
    let Settled {
        longer,
        checked: known_checked,
        replaced,
    } = settled(task, options, (bones, cache), &ended);
    let (job, plan) = match &longer {
        Some((job, plan)) => (job, plan),
        None => (task.job, task.plan),
    };
    let planned: Vec<PointInputs> = plan.points.iter().map(|p| resolve(job, p)).collect();
    let skipped_before = |n: usize| match job.has_next_draw() {
        true => ended.skipped.get(&planned[n].digest),
        false => None,
    };
    let memory = all_memory_bytes(options.memory_bytes);
    let kept_failure = |n: usize| {
        let before = ended.failed.get(&planned[n].digest)?;
        let stop = before.stopped_by;
        let has_gone = stop.is_some_and(|s| {
            let bytes = options.limits.memory_bytes.unwrap_or(memory);
            s.has_gone(options.limits.seconds, Some(bytes))
        });
        let is_kept = !has_gone && options.share != Share::Failed;
        is_kept.then_some(before)
    };
    let is_finished = |n: usize| ended.finished.contains(&planned[n].digest);
    let has_failed = |n: usize| ended.failed.contains_key(&planned[n].digest);
    let is_cached = |n: usize| cache.is_some_and(|c| c.has(&planned[n].digest));
    let is_open = |n: usize| {
        !is_finished(n) && !is_cached(n) && kept_failure(n).is_none() && skipped_before(n).is_none()
    };
    let (own, checked) = chosen((job, plan, known_checked), options, bones, &is_open, &|n| {
        has_failed(n) && !is_finished(n)
    })?;
    let nothing_finished = (0..planned.len()).all(is_open);
    // Where only some points were built, others may yet be.
    if nothing_finished
        && checked.len() == planned.len()
        && checked.iter().all(|c| c.built.is_err())
    {
        return Err(StudyError::NothingToSolve {
            reasons: distinct_reasons(&checked),
        });
    }

    create_folder(folder.root())?;
    let hold = study_folder::hold(folder.root(), &options.share)?;
    let is_shard = matches!(options.share, Share::Shard(_));
    if !is_shard {
        study_folder::clean(&folder);
    }
    let study = PooledStudy {
        name: task.name,
        job_file: &task.job.file,
        job_text: &task.job.text,
        draws: job.draws(),
        folder,
        has_tables: !is_shard,
    };
    let filed = file(&study, &planned, options)?;
    let mut built_bones = planned
        .iter()
        .filter_map(|p| bones.of(&p.construct.bone).ok());
    let landmarks = built_bones.next().map(|b| b.landmarks());
    let mut checked: BTreeMap<String, CheckedPoint> = checked
        .into_iter()
        .map(|c| (c.point.id.clone(), c))
        .collect();
    let moved = planned.iter().filter_map(|p| {
        let built = checked.get(&p.id).and_then(|c| c.built.as_ref().ok());
        let moved = built.map(|b| &b.moved).or(filed.finished.get(&p.id))?;
        Some((p.id.as_str(), moved.as_slice()))
    });
    let moved: Vec<(&str, &[MovedRecord])> = moved.collect();
    let record = study_record(job, plan, (&planned, &moved), &replaced, landmarks);
    write_record(&study.folder.study_file(), &record)?;

    let mut outcome = Outcome {
        replaced,
        ..Outcome::default()
    };
    let mut open = vec![];
    for (n, inputs) in planned.iter().enumerate() {
        let id = &inputs.id;
        let label = study.label(id);
        let is_own = own.contains(&n);
        if let Some(reason) = filed.damaged.get(id).filter(|_| is_own) {
            (options.observer)(Event::Damaged { id: &label, reason });
        }
        let is_finished = filed.finished.contains_key(id)
            || known.get(&inputs.digest).is_some_and(|from| {
                is_own && filing::copy_point(from, &study.folder, inputs).is_ok()
            });
        let is_taken = match cache {
            Some(cache) if is_own && !is_finished && cache.has(&inputs.digest) => {
                cache.take(&study.folder, inputs)?;
                true
            }
            _ => false,
        };
        if is_taken {
            (options.observer)(Event::Taken { id: &label });
            outcome.kept.push(id.clone());
            known.insert(inputs.digest.clone(), study.folder.point_folder(id));
            continue;
        }
        if is_finished {
            known.insert(inputs.digest.clone(), study.folder.point_folder(id));
        }
        match (is_own, is_finished) {
            (false, true) => continue,
            (false, false) => {
                outcome.others.push(id.clone());
                continue;
            }
            (true, true) => {
                (options.observer)(Event::Kept { id: &label });
                outcome.kept.push(id.clone());
                continue;
            }
            (true, false) => {}
        }
        if let Some(before) = kept_failure(n) {
            keep_failure(options, &study, inputs, before)?;
            outcome.failed.push((id.clone(), before.reason.clone()));
            continue;
        }
        if let Some(reason) = skipped_before(n).filter(|_| !checked.contains_key(id)) {
            mark_skipped(options, &study, inputs, reason)?;
            outcome.skipped.push((id.clone(), reason.clone()));
            continue;
        }
        // Lost since it was looked for: built with the next run.
        let Some(c) = checked.remove(id) else {
            outcome.left.push(id.clone());
            continue;
        };
        match &c.built {
            Ok(_) => open.push(c),
            Err(reason) if c.is_skipped => {
                mark_skipped(options, &study, inputs, reason)?;
                outcome.skipped.push((id.clone(), reason.clone()));
            }
            Err(reason) => {
                let error = PointError {
                    stage: Stage::Geometry,
                    message: reason.clone(),
                };
                mark_failed(options, &study, inputs, &error, None)?;
                outcome.failed.push((id.clone(), reason.clone()));
            }
        }
    }
    Ok(Prepared {
        study,
        outcome,
        open,
        failed: ended.failed.into_keys().collect(),
        _hold: hold,
    })
}

/// Draws of a design, those among them that cannot be built, and what was looked at for it. Records tell the rest: a finished point
/// was built, and one that was left out could not be. A shard looks at all, since it needs the forecasts of all.
fn settled(
    task: &StudyTask<'_>,
    options: &RunOptions<'_>,
    (bones, cache): (&BoneCache, Option<&Cache>),
    ended: &Ended,
) -> Settled {
    let is_shard = matches!(options.share, Share::Shard(_));
    let remembered = |job: &Job, point: &DesignPoint| {
        let digest = resolve(job, point).digest;
        let is_built = ended.finished.contains(&digest) || cache.is_some_and(|c| c.has(&digest));
        match is_built {
            _ if is_shard => None,
            true => Some(true),
            false => ended.skipped.contains_key(&digest).then_some(false),
        }
    };
    settle(task.job, task.plan, &remembered, &|job, points| {
        build(job, points, options, bones)
    })
}

/// Builds the constructs of some points, and says how many are done.
fn build(
    job: &Job,
    points: Vec<&DesignPoint>,
    options: &RunOptions<'_>,
    bones: &BoneCache,
) -> Vec<CheckedPoint> {
    let total = points.len();
    check_points(job, &points, bones, options.threads, &|done| {
        (options.observer)(Event::Checked { done, total });
    })
}

/// Points that a run takes on, by index, and those of them that are open, built, each once; of a shard all points are built, as its
/// part must not depend on what is finished already.
///
/// # Errors
/// [`StudyError::NoSuchPoint`].
fn chosen(
    (job, plan, mut known): (&Job, &Plan, BTreeMap<usize, CheckedPoint>),
    options: &RunOptions<'_>,
    bones: &BoneCache,
    is_open: &dyn Fn(usize) -> bool,
    has_failed: &dyn Fn(usize) -> bool,
) -> Result<(BTreeSet<usize>, Vec<CheckedPoint>), StudyError> {
    let all = &plan.points;
    let mut build = |points: Vec<usize>| {
        let new = points.iter().filter(|n| !known.contains_key(n));
        let new: Vec<usize> = new.copied().collect();
        let built = build(job, new.iter().map(|n| &all[*n]).collect(), options, bones);
        known.extend(new.into_iter().zip(built));
        let found = points.iter().filter_map(|n| known.remove(n));
        found.collect::<Vec<CheckedPoint>>()
    };
    let own: BTreeSet<usize> = match &options.share {
        Share::Shard(shard) => {
            let checked = build((0..all.len()).collect());
            let costs: Vec<f64> = checked.iter().map(seconds).collect();
            return Ok((shard.of(&costs), checked));
        }
        Share::Points(numbers) => {
            if let Some(number) = numbers.iter().find(|n| **n > all.len()) {
                return Err(StudyError::NoSuchPoint {
                    number: *number,
                    count: all.len(),
                });
            }
            numbers.iter().map(|n| n - 1).collect()
        }
        Share::Failed => (0..all.len()).filter(|n| has_failed(*n)).collect(),
        Share::All => (0..all.len()).collect(),
    };
    let open = own.iter().copied().filter(|n| is_open(*n));
    let checked = build(open.collect());
    Ok((own, checked))
}

/// Files finished records under their points, and tells what moved. A shard does not move what others may read.
fn file(
    study: &PooledStudy<'_>,
    planned: &[PointInputs],
    options: &RunOptions<'_>,
) -> Result<Filed, StudyError> {
    if matches!(options.share, Share::Shard(_)) {
        return filing::as_filed(&study.folder, planned).ok_or_else(|| {
            StudyError::Folder(FolderError::NotFiled {
                dir: study.folder.root().to_path_buf(),
            })
        });
    }
    let filed = filing::file(&study.folder, planned)?;
    for (id, before) in &filed.moved {
        (options.observer)(Event::Moved {
            id: &study.label(id),
            before,
        });
    }
    if !filed.set_aside.is_empty() {
        (options.observer)(Event::SetAside {
            count: filed.set_aside.len(),
            folder: &study.folder.earlier_folder(),
        });
    }
    Ok(filed)
}

/// Forecast time of a point, s; 0 where it cannot be built.
fn seconds(checked: &CheckedPoint) -> f64 {
    checked.built.as_ref().map_or(0.0, |b| b.estimate.seconds)
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
