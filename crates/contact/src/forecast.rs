//! Forecast of a contact solution's cost from its sizes, by the cost model of `bicolumn_solve`.

use crate::options::{ContactOptions, Step};
use crate::{Interfaces, Law};
use bicolumn_solve::cost::{ContactSize, contact};
use bicolumn_solve::{Forecast, SolveReport};

/// Forecast from the report of the preconditioner's set-up.
pub(crate) fn forecast(
    prepared: &SolveReport,
    interfaces: &Interfaces,
    steps: &[Step],
    options: &ContactOptions,
) -> Forecast {
    let laws = interfaces.laws();
    let (mut pressing, mut threaded) = (0, 0);
    for p in interfaces.points() {
        match laws[p.set] {
            Law::Apart => {}
            Law::Threaded { .. } => threaded += 1,
            Law::Bonded | Law::Frictional { .. } | Law::Frictionless => pressing += 1,
        }
    }
    let cost = contact(&ContactSize {
        unknowns: prepared.unknowns,
        pressing,
        threaded,
        has_floating_parts: threaded > 0 || steps.iter().any(|s| !s.tightened.is_empty()),
        preload_increments: steps.iter().map(|s| s.increments.max(1)).sum(),
        increments: options.increments.max(1),
        cases: prepared.right_sides.max(1),
    });
    Forecast {
        method: prepared.method,
        unknowns: prepared.unknowns,
        right_sides: prepared.right_sides,
        bytes: prepared.estimated_bytes + cost.bytes as u64,
        seconds: prepared.setup_s + cost.seconds,
    }
}
