//! `bicolumn run`: the main job.

use crate::args::RunArgs;
use crate::console::Console;
use crate::job_list::{JobList, ReadJob};
use crate::progress::Progress;
use crate::set_key::{SetKey, with_set};
use crate::{ALL_WELL, CANNOT_RUN, SOME_FAILED, signals, solve_points};
use bicolumn_job::{Job, JobErrors, Plan};
use bicolumn_report::{ReportError, WrittenReport, write_report, write_summary};
use bicolumn_study::{
    Outcome, PointLimits, RunOptions, Share, StudyError, StudyTask, numbers_in_words, run_studies,
};
use std::path::{Path, PathBuf};

pub(crate) fn run(args: &RunArgs, console: &mut Console<'_>) -> u8 {
    let list = JobList::read(&args.jobs, &args.set, console);
    let Some(first) = list.jobs.first() else {
        return CANNOT_RUN;
    };
    if let (true, Some(_)) = (list.has_several(), &args.points) {
        console.error(&"--points takes numbers of one job; accepted: one job file, or no --points");
        return CANNOT_RUN;
    }
    let folders: Vec<PathBuf> = list
        .jobs
        .iter()
        .map(|job| list.folder(job, args.out.as_deref()))
        .collect();
    let jobs = list.jobs.iter().zip(&folders);
    let tasks: Vec<StudyTask<'_>> = jobs
        .map(|(read, out_dir)| StudyTask {
            name: if list.has_several() { &read.name } else { "" },
            job: &read.job,
            plan: &read.plan,
            out_dir,
        })
        .collect();
    let stop = signals::listen();

    let total = tasks.iter().map(|t| t.plan.points.len()).sum();
    let progress = Progress::new(console, total, args.quiet, args.json);
    let options = RunOptions {
        threads: threads(&first.job, args.threads),
        memory_bytes: args.memory.map(bytes),
        share: share(args),
        worker: solve_points::program(),
        limits: PointLimits {
            seconds: args.point_minutes.map(|m| 60.0 * m),
            memory_bytes: args.point_memory.map(bytes),
        },
        until: signals::until(args.minutes),
        cache: args.cache.as_deref(),
        stop,
        observer: &|event| progress.hear(event),
    };
    let results = progress.with_notice(stop, signals::STOPPING, || run_studies(&tasks, &options));
    progress.end();

    let mut statuses = vec![];
    let mut reported = vec![];
    for ((task, read), result) in tasks.iter().zip(&list.jobs).zip(results) {
        match result {
            Ok(outcome) => {
                let report = args.shard.is_none().then(|| write_report(task.out_dir));
                statuses.push(tell_study(&outcome, report, args, task, read, console));
                reported.push(read.name.as_str());
            }
            Err(e) => {
                match task.name {
                    "" => console.error(&e),
                    name => console.error(&format!("{name}: {e}")),
                }
                if let StudyError::Store(_)
                | StudyError::NotStored { .. }
                | StudyError::NoWorker { .. } = e
                {
                    console.say(
                        "  hint: what is finished is kept; the same command goes on from there",
                    );
                }
                statuses.push(CANNOT_RUN);
            }
        }
    }
    statuses.extend(vec![CANNOT_RUN; list.unread]);
    if list.has_several() && args.shard.is_none() && !reported.is_empty() {
        statuses.push(summarise(&reported, args, console));
    }
    if !args.quiet {
        console.say(bicolumn_report::CAUTION);
    }
    of_all(&statuses)
}

/// Bytes of so many GiB.
fn bytes(gib: f64) -> f64 {
    gib * 1024f64.powi(3)
}

/// Exit status of several jobs: theirs where they agree, else some failed.
pub(crate) fn of_all(statuses: &[u8]) -> u8 {
    match statuses {
        [] => CANNOT_RUN,
        [first, rest @ ..] if rest.iter().all(|s| s == first) => *first,
        _ => SOME_FAILED,
    }
}

/// The page that sets several studies side by side, in the folder that theirs are in.
fn summarise(studies: &[&str], args: &RunArgs, console: &mut Console<'_>) -> u8 {
    let root = args.out.clone().unwrap_or_else(|| PathBuf::from("results"));
    match write_summary(&root, studies) {
        Ok(path) if args.json => {
            let line = serde_json::json!({"event": "summary", "page": path});
            console.json(&line.to_string());
            ALL_WELL
        }
        Ok(path) => {
            console.data(&path.display().to_string());
            ALL_WELL
        }
        Err(e) => {
            console.error(&format!("the summary of all jobs cannot be written: {e}"));
            SOME_FAILED
        }
    }
}

/// Points that this run takes on.
fn share(args: &RunArgs) -> Share {
    match (&args.points, args.shard) {
        (_, Some(shard)) => Share::Shard(shard),
        (Some(numbers), None) => Share::Points(numbers.0.clone()),
        (None, None) if args.only_failed => Share::Failed,
        (None, None) => Share::All,
    }
}

/// Tells how a study ended and where its report is; `report` is none for a shard.
fn tell_study(
    outcome: &Outcome,
    report: Option<Result<WrittenReport, ReportError>>,
    args: &RunArgs,
    task: &StudyTask<'_>,
    read: &ReadJob,
    console: &mut Console<'_>,
) -> u8 {
    if !args.quiet {
        tell_end(outcome, args, task, read, console);
    }
    let path = match &report {
        Some(Ok(written)) => {
            for fault in &written.faults {
                console.error(fault);
            }
            if !written.faults.is_empty() {
                console.say("  hint: a point whose folder is removed is solved again");
            }
            Some(&written.page)
        }
        Some(Err(e)) => {
            console.error(&format!(
                "the points are stored, but the report cannot be written: {e}"
            ));
            None
        }
        None => None,
    };
    match path {
        _ if args.json => console.json(&finished_line(outcome, task.name, path)),
        Some(path) => console.data(&path.display().to_string()),
        None => {}
    }
    exit_status(
        outcome,
        report.is_none_or(|r| r.is_ok_and(|w| w.faults.is_empty())),
    )
}

/// All well, some failed or left, or nothing came of it.
fn exit_status(outcome: &Outcome, reported: bool) -> u8 {
    let solved = outcome.done.len() + outcome.kept.len();
    if solved == 0 && outcome.left.is_empty() && !outcome.failed.is_empty() {
        CANNOT_RUN
    } else if outcome.failed.is_empty() && outcome.left.is_empty() && reported {
        ALL_WELL
    } else {
        SOME_FAILED
    }
}

/// Reads and plans a job.
pub(crate) fn read(file: &Path) -> Result<(Job, Plan), JobErrors> {
    let job = Job::read(file)?;
    let plan = Plan::of(&job)?;
    Ok((job, plan))
}

/// Reads and plans a job with keys set on the command line, which are judged as if they stood in its file.
///
/// # Errors
/// All that is wrong, first with the file as it is.
pub(crate) fn read_with(file: &Path, set: &[SetKey]) -> Result<(Job, Plan), String> {
    let told = |e: JobErrors| e.to_string();
    let job = Job::read(file).map_err(told)?;
    if set.is_empty() {
        let plan = Plan::of(&job).map_err(told)?;
        return Ok((job, plan));
    }
    let own = std::fs::read_to_string(file).map_err(|e| format!("{}: {e}", file.display()))?;
    let text = with_set(&own, set).map_err(|e| format!("{}: {e}", file.display()))?;
    let planned = Job::parse(file, &text).and_then(|job| Ok((Plan::of(&job)?, job)));
    let (plan, job) = planned.map_err(|e| {
        let typed: Vec<&str> = set.iter().map(|s| s.typed.as_str()).collect();
        let typed = typed.join(" --set ");
        format!("with --set {typed}, which may have moved lines of the file:\n{e}")
    })?;
    Ok((job, plan))
}

/// Options of a command that sets keys, as they are typed.
pub(crate) fn set_in_words(set: &[SetKey]) -> String {
    set.iter()
        .map(|s| format!(" --set {}", quoted(&s.typed)))
        .collect()
}

/// A word as a shell takes it for one.
pub(crate) fn quoted(word: &str) -> String {
    let is_plain = |c: char| c.is_ascii_alphanumeric() || "_-./=,:@%+".contains(c);
    match !word.is_empty() && word.chars().all(is_plain) {
        true => word.to_owned(),
        false => format!("'{}'", word.replace('\'', "'\\''")),
    }
}

/// `results/NAME` for `anywhere/NAME.toml`.
pub(crate) fn default_folder(job: &Path) -> PathBuf {
    Path::new("results").join(job.file_stem().unwrap_or(job.as_os_str()))
}

/// Threads: as typed, else as the job says, else one a core.
pub(crate) fn threads(job: &Job, typed: Option<u16>) -> usize {
    if let Some(n) = typed {
        return usize::from(n);
    }
    match job.threads() {
        Some(n) => n,
        None => std::thread::available_parallelism().map_or(1, |n| n.get()),
    }
}

fn tell_end(
    outcome: &Outcome,
    args: &RunArgs,
    task: &StudyTask<'_>,
    read: &ReadJob,
    console: &mut Console<'_>,
) {
    let mut parts = vec![format!("{} solved", outcome.done.len())];
    if !outcome.kept.is_empty() {
        parts.push(format!("{} kept from before", outcome.kept.len()));
    }
    if !outcome.failed.is_empty() {
        parts.push(format!("{} failed", outcome.failed.len()));
    }
    if !outcome.skipped.is_empty() {
        parts.push(format!(
            "{} left out, for the construct cannot be built",
            outcome.skipped.len()
        ));
    }
    if !outcome.left.is_empty() {
        parts.push(format!("{} left", outcome.left.len()));
    }
    if !outcome.others.is_empty() {
        parts.push(format!("{} of other runs not done", outcome.others.len()));
    }
    let of = match task.name {
        "" => String::new(),
        name => format!("{name}: "),
    };
    console.say(&format!("{of}points: {}", parts.join(", ")));
    if let Some(told) = outcome.replaced.told() {
        console.say(&format!("{of}draws: {told}"));
    }
    if !outcome.failed.is_empty() {
        let ids: Vec<&str> = outcome.failed.iter().map(|(id, _)| id.as_str()).collect();
        console.say(&format!(
            "{of}failed: {}; the report and results.csv give each one's reason, and --only-failed tries them again",
            ids.join(", ")
        ));
    }
    if !outcome.left.is_empty() && task.name.is_empty() {
        let out = match &args.out {
            Some(dir) => format!(" --out {}", dir.display()),
            None => String::new(),
        };
        let share = match (&args.points, args.shard) {
            (Some(numbers), _) => format!(" --points {}", numbers_in_words(&numbers.0)),
            (None, Some(shard)) => format!(" --shard {shard}"),
            (None, None) if args.only_failed => " --only-failed".to_owned(),
            (None, None) => String::new(),
        };
        console.say(&format!(
            "stopped; to go on: bicolumn run {}{out}{share}{}",
            read.file.display(),
            set_in_words(&args.set)
        ));
    }
    if args.shard.is_some() {
        console.say(&format!(
            "{of}when all shards are done: bicolumn report {}",
            task.out_dir.display()
        ));
    }
}

fn finished_line(outcome: &Outcome, job: &str, report: Option<&PathBuf>) -> String {
    let failed: Vec<serde_json::Value> = outcome
        .failed
        .iter()
        .map(|(id, reason)| serde_json::json!({"id": id, "reason": reason}))
        .collect();
    let skipped: Vec<&str> = outcome.skipped.iter().map(|(id, _)| id.as_str()).collect();
    let mut line = serde_json::json!({
        "event": "finished",
        "skipped": skipped,
        "replaced": outcome.replaced.pairs,
        "done": outcome.done,
        "kept": outcome.kept,
        "failed": failed,
        "left": outcome.left,
        "report": report,
    });
    if !outcome.others.is_empty() {
        line["others"] = serde_json::json!(outcome.others);
    }
    if !job.is_empty() {
        line["job"] = job.into();
    }
    line.to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_go_to_a_folder_named_after_the_job() {
        let dir = default_folder(Path::new("jobs/first-look.toml"));
        assert_eq!(dir, Path::new("results").join("first-look"));
    }

    #[test]
    fn the_exit_status_tells_all_well_from_some_and_none() {
        let points = |n: usize| vec!["p001".to_string(); n];
        let failed = |n: usize| vec![("p002".to_string(), "why".to_string()); n];
        for (done, kept, bad, left, status) in [
            (2, 0, 0, 0, ALL_WELL),
            (0, 2, 0, 0, ALL_WELL),
            (1, 0, 1, 0, SOME_FAILED),
            (0, 1, 1, 0, SOME_FAILED),
            (1, 0, 0, 1, SOME_FAILED),
            (0, 0, 0, 1, SOME_FAILED),
            (0, 0, 2, 0, CANNOT_RUN),
        ] {
            let outcome = Outcome {
                done: points(done),
                kept: points(kept),
                failed: failed(bad),
                left: points(left),
                ..Outcome::default()
            };
            assert_eq!(exit_status(&outcome, true), status, "{outcome:?}");
        }
        let outcome = Outcome {
            done: points(1),
            skipped: failed(2),
            ..Outcome::default()
        };
        assert_eq!(
            exit_status(&outcome, true),
            ALL_WELL,
            "left out is no failure"
        );
        assert_eq!(exit_status(&outcome, false), SOME_FAILED);
    }

    #[test]
    fn threads_are_typed_or_given_or_one_a_core() {
        let job = |t: &str| Job::parse(Path::new("x.toml"), t).unwrap();
        assert_eq!(threads(&job("run.threads = 3"), Some(5)), 5);
        assert_eq!(threads(&job("run.threads = 3"), None), 3);
        assert!(threads(&job(""), None) >= 1);
    }
}
