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
/// Rows of the reduced problem for each point that can press: with all parts held by bonds, and where interfaces
/// alone hold some, as of screws that are tightened or threaded.
const ROWS: f64 = 0.66;
const ROWS_LOOSE: f64 = 2.1;
/// The same for each point of a thread, all of which are held.
const ROWS_THREADED: f64 = 2.25;
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
    let (mut pressing, mut threaded) = (0.0, 0.0);
    for p in interfaces.points() {
        match laws[p.set] {
            Law::Apart => {}
            Law::Threaded { .. } => threaded += 1.0,
            Law::Bonded | Law::Frictional { .. } | Law::Frictionless => pressing += 1.0,
        }
    }
    let is_loose = threaded > 0.0 || steps.iter().any(|s| !s.pull.is_empty());
    let rows = ROWS_THREADED * threaded + pressing * if is_loose { ROWS_LOOSE } else { ROWS };
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
