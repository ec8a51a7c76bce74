//! Forecast of a solution's cost, known before it begins, with the method that makes it the cheaper one.

use crate::Method;

/// Forecast of a solution's cost by the model of [`crate::cost`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forecast {
    /// Method of solution.
    pub method: Method,
    /// Unknowns.
    pub unknowns: usize,
    /// Right-hand sides that are no multiples of each other.
    pub right_sides: usize,
    /// Memory of matrix, factor or hierarchy, and vectors, bytes.
    pub bytes: u64,
    /// Seconds on one thread, assembly left out.
    pub seconds: f64,
}

impl std::fmt::Display for Forecast {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let how = match self.method {
            Method::Direct => "by its factor",
            Method::AggregatedCoarse => "by multigrid with aggregation",
            Method::Auto | Method::FactoredCoarse => "by multigrid",
        };
        let sides = if self.right_sides == 1 { "" } else { "s" };
        write!(
            f,
            "{} unknowns, {} right side{sides} {how}: about {:.2} GB and {:.0} s on one thread",
            self.unknowns,
            self.right_sides,
            self.bytes as f64 / 1e9,
            self.seconds.max(1.0)
        )
    }
}
