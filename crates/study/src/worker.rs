//! A process that solves points for a run: orders come in, stages and records go out, one JSON object a line.

use crate::bones::BoneCache;
use crate::check::{WORKER, panic_text};
use crate::intact::{IntactCache, IntactFiles, Turn};
use crate::point::{PointContext, run_point};
use crate::stage::{PointError, Stage};
use crate::wire::{FromWorker, Order, ToWorker};
use bicolumn_job::{ENGINE_VERSION, Job, Plan, PointInputs, resolve};
use bicolumn_store::{PointRecord, Record};
use std::io::{BufRead, BufReader, Read, Write};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::Mutex;
use std::sync::mpsc::{self, Receiver};

/// Intact solutions kept in memory by a process: others are read again from their files.
const INTACT_KEPT: usize = 2;

/// Solves the points that are ordered through `input` until it ends, and tells through `output`; `gone` is called as soon
/// as it ends, also in the middle of a point: nobody waits for it any more.
pub fn solve_orders(
    input: impl Read + Send + 'static,
    output: &mut (dyn Write + Send),
    gone: fn(),
) {
    let mut lines = BufReader::new(input).lines().map_while(Result::ok);
    let first = lines.next().map(|line| serde_json::from_str(&line));
    let Some(Ok(ToWorker::Begin { intact })) = first else {
        return;
    };
    let (orders, ordered) = mpsc::channel();
    let (answers, answered) = mpsc::channel();
    std::thread::spawn(move || {
        for line in lines {
            let passed = match serde_json::from_str(&line) {
                Ok(ToWorker::Solve(order)) => orders.send(order).is_ok(),
                Ok(ToWorker::Intact { solve }) => answers.send(solve).is_ok(),
                Ok(ToWorker::Begin { .. }) | Err(_) => false,
            };
            if !passed {
                break;
            }
        }
        gone();
    });
    let output = Mutex::new(output);
    // A run that is no more hears nothing, and the end of the input says so.
    let say = |message: &FromWorker| {
        let line = serde_json::to_string(message).unwrap_or_default();
        if let Ok(mut out) = output.lock() {
            let _ = writeln!(out, "{line}");
            let _ = out.flush();
        }
    };
    let answered = Mutex::new(answered);
    let files = AskedFiles {
        folder: intact,
        say: &say,
        answered: &answered,
    };
    let bones = BoneCache::default();
    let intact = IntactCache::in_files(INTACT_KEPT, &files);
    say(&FromWorker::Ready {
        version: ENGINE_VERSION.to_owned(),
    });
    for order in ordered {
        say(&solve_order(&order, (&bones, &intact), &say));
    }
}

/// Solves one point, whatever happens inside it.
fn solve_order(
    order: &Order,
    (bones, intact): (&BoneCache, &IntactCache<'_>),
    say: &(dyn Fn(&FromWorker) + Sync),
) -> FromWorker {
    let stage = Mutex::new(Stage::Geometry);
    let progress = |s: Stage| {
        if let Ok(mut current) = stage.lock() {
            *current = s;
        }
        say(&FromWorker::Stage { stage: s });
    };
    let context = PointContext {
        out_dir: &order.out_dir,
        progress: &progress,
        forecast: &|f| say(&FromWorker::Forecast(f.into())),
        bones,
        intact,
        threads: order.threads,
    };
    let solved = inputs_of(order)
        .and_then(|inputs| solve_caught(&|| run_point(&inputs, &context), order.threads, &stage));
    let told = solved.and_then(|record| {
        let json = record.to_json();
        json.map_err(|e| PointError {
            stage: Stage::Store,
            message: e.to_string(),
        })
    });
    match told {
        Ok(record) => FromWorker::Done { record },
        Err(PointError { stage, message }) => FromWorker::Failed { stage, message },
    }
}

/// Solves a point in a pool of threads of its own; a panic is its failure, at the stage that it had come to.
pub(crate) fn solve_caught(
    solve: &(dyn Fn() -> Result<PointRecord, PointError> + Sync),
    threads: usize,
    stage: &Mutex<Stage>,
) -> Result<PointRecord, PointError> {
    let work = || catch_unwind(AssertUnwindSafe(solve));
    // A pool of its own keeps what a point does in parallel within its share of the machine.
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .thread_name(move |n| format!("{WORKER}{n}"))
        .build();
    let result = match pool {
        Ok(pool) => pool.install(work),
        Err(_) => work(),
    };
    result.unwrap_or_else(|panic| {
        Err(PointError {
            stage: stage.lock().map_or(Stage::Geometry, |s| *s),
            message: panic_text(&*panic),
        })
    })
}

/// Inputs of the point ordered.
fn inputs_of(order: &Order) -> Result<PointInputs, PointError> {
    let failed = |message: String| PointError {
        stage: Stage::Geometry,
        message,
    };
    let job = Job::parse(&order.job_file, &order.job_text).map_err(|e| failed(e.to_string()))?;
    let job = match order.draws {
        Some(draws) => job.with_draws(draws),
        None => job,
    };
    let plan = Plan::of(&job).map_err(|e| failed(e.to_string()))?;
    let point = plan.points.iter().find(|p| p.id == order.point);
    let point = point.ok_or_else(|| failed(format!("the job has no point {}", order.point)))?;
    let inputs = resolve(&job, point);
    match inputs.digest == order.digest {
        true => Ok(inputs),
        false => Err(failed(
            "a file that the job names has changed since the run began".to_owned(),
        )),
    }
}

/// Solved intact bones in a folder that the run looks after: it says whose turn it is to solve one.
struct AskedFiles<'a> {
    folder: PathBuf,
    say: &'a (dyn Fn(&FromWorker) + Sync),
    answered: &'a Mutex<Receiver<bool>>,
}

impl IntactFiles for AskedFiles<'_> {
    fn turn(&self, key: &str) -> Turn {
        let path = self.folder.join(format!("{key}.bin"));
        (self.say)(&FromWorker::IntactWanted {
            key: key.to_owned(),
        });
        let answer = self.answered.lock().ok().and_then(|a| a.recv().ok());
        match answer {
            Some(false) => Turn::Read(path),
            Some(true) | None => Turn::Solve(path),
        }
    }

    fn ended(&self, key: &str) {
        (self.say)(&FromWorker::IntactEnded {
            key: key.to_owned(),
        });
    }
}
