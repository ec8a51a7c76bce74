//! Messages between a run and the processes that solve its points: one JSON object a line.

use crate::stage::Stage;
use bicolumn_solve::{Forecast, Method};
use serde::{Deserialize, Serialize};
use std::path::PathBuf;

/// A message to a process that solves points.
#[derive(Debug, Serialize, Deserialize)]
#[serde(tag = "say", rename_all = "snake_case")]
pub(crate) enum ToWorker {
    /// First of all: folder of solved intact bones.
    Begin { intact: PathBuf },
    /// A point to be solved.
    Solve(Order),
    /// Answer to [`FromWorker::IntactWanted`]: solve it, or read it?
    Intact { solve: bool },
}

/// A point to be solved. Its inputs follow from the job, as they did where it was planned.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct Order {
    /// Job file: files that the job names are found from it.
    pub(crate) job_file: PathBuf,
    pub(crate) job_text: String,
    /// Draws of the job, where they are not as many as it asks for.
    pub(crate) draws: Option<usize>,
    /// Id of the point.
    pub(crate) point: String,
    /// Digest of its inputs, to be met.
    pub(crate) digest: String,
    /// The study's folder.
    pub(crate) out_dir: PathBuf,
    pub(crate) threads: usize,
}

/// A message of a process that solves points.
#[derive(Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "say", rename_all = "snake_case")]
pub(crate) enum FromWorker {
    /// It has begun, and is of this version.
    Ready { version: String },
    /// A stage begins.
    Stage { stage: Stage },
    /// Cost of a solution that begins.
    Forecast(ToldForecast),
    /// The solution of an intact bone is needed: is it there?
    IntactWanted { key: String },
    /// Its turn at a solution is over: stored, or not to be had.
    IntactEnded { key: String },
    /// The point is solved; its record as JSON.
    Done { record: String },
    /// The point is not solved.
    Failed { stage: Stage, message: String },
}

/// [`Forecast`] in a message.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct ToldForecast {
    method: Method,
    unknowns: usize,
    right_sides: usize,
    bytes: u64,
    seconds: f64,
}

impl From<&Forecast> for ToldForecast {
    fn from(f: &Forecast) -> Self {
        ToldForecast {
            method: f.method,
            unknowns: f.unknowns,
            right_sides: f.right_sides,
            bytes: f.bytes,
            seconds: f.seconds,
        }
    }
}

impl From<ToldForecast> for Forecast {
    fn from(f: ToldForecast) -> Self {
        Forecast {
            method: f.method,
            unknowns: f.unknowns,
            right_sides: f.right_sides,
            bytes: f.bytes,
            seconds: f.seconds,
        }
    }
}
