//! Forecast of the cost of a contact solution.
//!
//! Constants were fitted on one machine to three constructs of 0.3 to 0.48 million unknowns, on one thread: good for
//! telling minutes from hours, no more.

use crate::solution::{ContactOptions, Step};
use crate::{Interfaces, Law};
use bicolumn_solve::{Forecast, SolveReport};

/// Typical iterations of an increment.
const ITERATIONS: f64 = 22.0;
/// Seconds of an iteration without the compliances, for each unknown.
const ITERATION_S: f64 = 2.7e-7;
/// Seconds of an iteration for each unknown and each further load case.
const FURTHER_CASE_S: f64 = 0.5e-7;
/// Rows of the reduced problem for each point that can press, where all parts are held by bonds.
const ROWS: f64 = 0.66;
/// Rows for each point that can press, where interfaces alone hold some parts, as of screws that are tightened or
/// threaded.
const ROWS_FLOATING: f64 = 2.1;
/// Rows for each point of a thread, all of which are tied.
const ROWS_THREADED: f64 = 2.25;
/// Seconds of all work on a row, for each unknown.
const ROW_S: f64 = 4.2e-8;
/// Bytes of a row beside its compliances.
const ROW_BYTES: f64 = 24_000.0;

/// Forecast from the report of the preconditioner's set-up.
pub(crate) fn forecast(
    prepared: &SolveReport,
    interfaces: &Interfaces,
    steps: &[Step],
    options: &ContactOptions,
) -> Forecast {
    let laws = interfaces.laws();
    let (mut pressing, mut threaded) = (0.0, 0.0);
    for p in interfaces.points() {
        match laws[p.set] {
            Law::Apart => {}
            Law::Threaded { .. } => threaded += 1.0,
            Law::Bonded | Law::Frictional { .. } | Law::Frictionless => pressing += 1.0,
        }
    }
    let has_floating_parts = threaded > 0.0 || steps.iter().any(|s| !s.tightened.is_empty());
    let rows = ROWS_THREADED * threaded
        + pressing
            * if has_floating_parts {
                ROWS_FLOATING
            } else {
                ROWS
            };
    let paths: f64 = steps.iter().map(|s| s.increments.max(1) as f64).sum();
    let cases = prepared.right_sides.max(1) as f64;
    let loaded = options.increments.max(1) as f64;
    let cycles = ITERATIONS
        * (paths * ITERATION_S + loaded * (ITERATION_S + (cases - 1.0) * FURTHER_CASE_S));
    let unknowns = prepared.unknowns as f64;
    // The compliances and, for each load case, a factor.
    let dense = 8.0 * rows * rows * (1.0 + cases);
    Forecast {
        method: prepared.method,
        unknowns: prepared.unknowns,
        right_sides: prepared.right_sides,
        bytes: prepared.estimated_bytes + (dense + ROW_BYTES * rows) as u64,
        seconds: prepared.setup_s + unknowns * (cycles + ROW_S * rows),
    }
}
