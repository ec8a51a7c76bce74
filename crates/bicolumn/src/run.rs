//! `bicolumn run`: the main job.

use crate::args::RunArgs;
use crate::console::Console;
use crate::progress::Progress;
use crate::{ALL_WELL, CANNOT_RUN, SOME_FAILED};
use bicolumn_job::{Job, JobErrors, Plan};
use bicolumn_study::{Outcome, RunOptions, StudyError, run_study};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

/// Set by Ctrl-C, and by the signals that end a session or a batch job (SIGTERM, SIGHUP).
static STOP: AtomicBool = AtomicBool::new(false);
/// Line that stays on the screen once it is set.
const STOPPING: &str = "stopping after the points under way; once more to stop at once";

pub(crate) fn run(args: &RunArgs, console: &mut Console<'_>) -> u8 {
    let (job, plan) = match read(&args.job) {
        Ok(read) => read,
        Err(e) => {
            console.error(&e);
            return CANNOT_RUN;
        }
    };
    let out_dir = args
        .out
        .clone()
        .unwrap_or_else(|| default_folder(&args.job));
    listen_for_interrupt();

    let progress = Progress::new(console, plan.points.len(), args.quiet, args.json);
    let options = RunOptions {
        out_dir: &out_dir,
        threads: threads(&job, args.threads),
        memory_bytes: args.memory.map(|gib| gib * 1024f64.powi(3)),
        stop: &STOP,
        observer: &|event| progress.hear(event),
    };
    let result = progress.with_notice(&STOP, STOPPING, || run_study(&job, &plan, &options));
    progress.end();

    let outcome = match result {
        Ok(outcome) => outcome,
        Err(e) => {
            console.error(&e);
            if let StudyError::Store(_) | StudyError::NotStored { .. } = e {
                console
                    .say("  hint: what is finished is kept; the same command goes on from there");
            }
            return CANNOT_RUN;
        }
    };
    let report = bicolumn_report::write_report(&out_dir);
    if !args.quiet {
        tell_end(&outcome, args, console);
    }
    match &report {
        Ok(path) if args.json => console.data(&finished_line(&outcome, Some(path))),
        Ok(path) => console.data(&path.display().to_string()),
        Err(e) => {
            console.error(&format!(
                "the points are stored, but the report cannot be written: {e}"
            ));
            if args.json {
                console.data(&finished_line(&outcome, None));
            }
        }
    }
    exit_status(&outcome, report.is_ok())
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

/// The first Ctrl-C, SIGTERM or SIGHUP lets the points under way finish; the second ends at once, which costs only
/// these.
fn listen_for_interrupt() {
    // Fails only where a handler is set already: one run after another in the same process.
    let _ = ctrlc::set_handler(|| {
        if STOP.swap(true, Ordering::Relaxed) {
            #[allow(clippy::exit)] // nothing is half written at any moment
            std::process::exit(130);
        }
    });
}

fn tell_end(outcome: &Outcome, args: &RunArgs, console: &mut Console<'_>) {
    let mut parts = vec![format!("{} solved", outcome.done.len())];
    if !outcome.kept.is_empty() {
        parts.push(format!("{} kept from before", outcome.kept.len()));
    }
    if !outcome.failed.is_empty() {
        parts.push(format!("{} failed", outcome.failed.len()));
    }
    if !outcome.left.is_empty() {
        parts.push(format!("{} left", outcome.left.len()));
    }
    console.say(&format!("points: {}", parts.join(", ")));
    if !outcome.failed.is_empty() {
        let ids: Vec<&str> = outcome.failed.iter().map(|(id, _)| id.as_str()).collect();
        console.say(&format!(
            "failed: {}; the report and results.csv give each one's reason",
            ids.join(", ")
        ));
    }
    if !outcome.left.is_empty() {
        let out = match &args.out {
            Some(dir) => format!(" --out {}", dir.display()),
            None => String::new(),
        };
        console.say(&format!(
            "stopped; to go on: bicolumn run {}{out}",
            args.job.display()
        ));
    }
    console.say(bicolumn_report::CAUTION);
}

fn finished_line(outcome: &Outcome, report: Option<&PathBuf>) -> String {
    let failed: Vec<serde_json::Value> = outcome
        .failed
        .iter()
        .map(|(id, reason)| serde_json::json!({"id": id, "reason": reason}))
        .collect();
    serde_json::json!({
        "event": "finished",
        "done": outcome.done,
        "kept": outcome.kept,
        "failed": failed,
        "left": outcome.left,
        "report": report,
    })
    .to_string()
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
            };
            assert_eq!(exit_status(&outcome, true), status, "{outcome:?}");
        }
        let outcome = Outcome {
            done: points(1),
            ..Outcome::default()
        };
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
