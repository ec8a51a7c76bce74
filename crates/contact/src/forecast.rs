//! What a contact solution will cost, told before it begins.
//!
//! Constants were fitted on one machine to three constructs of 0.3 to 0.48 million unknowns, on one thread: good for
//! telling minutes from hours, no more.

use crate::solution::{ContactOptions, Step};
use crate::{Interfaces, Law};
use bicolumn_solve::{Forecast, SolveReport};

/// Iterations of an increment.
const ITERATIONS: f64 = 22.0;
/// One of them without the compliances, seconds an unknown, and for each further load case beside.
const ITERATION_S: f64 = 2.7e-7;
const BESIDE_S: f64 = 0.5e-7;
/// Rows of the reduced problem for each point that can press, without tightened screws and with them.
const ROWS: f64 = 0.66;
const ROWS_TIGHTENED: f64 = 2.1;
/// A row with all that is done to it, seconds an unknown.
const ROW_S: f64 = 4.2e-8;
/// What is kept of a row beside its compliances, bytes.
const ROW_BYTES: f64 = 24_000.0;

/// From what the preconditioner's set-up tells.
pub(crate) fn forecast(
    ready: &SolveReport,
    interfaces: &Interfaces,
    steps: &[Step],
    options: &ContactOptions,
) -> Forecast {
    let laws = interfaces.laws();
    let points = interfaces.points().iter();
    let pressing = points.filter(|p| laws[p.set] != Law::Apart).count() as f64;
    let is_tightened = steps.iter().any(|s| !s.pull.is_empty());
    let rows = pressing * if is_tightened { ROWS_TIGHTENED } else { ROWS };
    let paths: f64 = steps.iter().map(|s| s.increments.max(1) as f64).sum();
    let cases = ready.right_sides.max(1) as f64;
    let loaded = options.increments.max(1) as f64;
    let cycles =
        ITERATIONS * (paths * ITERATION_S + loaded * (ITERATION_S + (cases - 1.0) * BESIDE_S));
    let unknowns = ready.unknowns as f64;
    // The compliances and, for each load case, a factor.
    let dense = 8.0 * rows * rows * (1.0 + cases);
    Forecast {
        method: ready.method,
        unknowns: ready.unknowns,
        right_sides: ready.right_sides,
        bytes: ready.estimated_bytes + (dense + ROW_BYTES * rows) as u64,
        seconds: ready.setup_s + unknowns * (cycles + ROW_S * rows),
    }
}
