//! What a solve will cost, told before it begins, and which method that makes the better one.
//!
//! All constants were fitted on one machine, on one thread, and are fixed: the same job takes the same method, and
//! gives the same bits, everywhere. Seconds are therefore good for telling minutes from hours, no more.

use crate::Method;
use bicolumn_sparse::Analysis;

/// Unknowns up to which the factor of the whole matrix is looked at: beyond, it takes longer to order
/// it than to iterate.
const ORDERED_UP_TO: usize = 20_000;
/// Multiplications a second in a factorisation.
const MULTIPLICATIONS_A_SECOND: f64 = 9.5e9;
/// Ordering and analysis, seconds an unknown.
const ORDERING_S: f64 = 3e-6;
/// Reading a number of the factor twice, for one right side, s.
const SUBSTITUTION_S: f64 = 1.4e-9;
/// Hierarchy, seconds an unknown.
const HIERARCHY_S: f64 = 1.9e-6;
/// One iteration, seconds an unknown, of one, two, four and eight right sides together.
const ITERATION_S: [f64; 4] = [1.7e-7, 2.0e-7, 2.7e-7, 4.0e-7];
/// Iterations for each power of ten that the residual falls; it begins about a hundred times the load.
const ITERATIONS_A_DIGIT: f64 = 2.3;

/// What a solve will cost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forecast {
    /// How it will be solved.
    pub method: Method,
    /// Unknowns.
    pub unknowns: usize,
    /// Right sides that are no multiples of each other.
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
            Method::Aggregation => "by multigrid with aggregation",
            Method::Auto | Method::Multigrid => "by multigrid",
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

/// Is the whole matrix small enough that its factor is worth a look?
pub(crate) fn worth_ordering(unknowns: usize) -> bool {
    unknowns <= ORDERED_UP_TO
}

/// Seconds by the factor of the whole matrix.
pub(crate) fn direct_seconds(analysis: &Analysis, unknowns: usize, sides: usize) -> f64 {
    analysis.multiplications() / MULTIPLICATIONS_A_SECOND
        + ORDERING_S * unknowns as f64
        + SUBSTITUTION_S * analysis.numbers() as f64 * sides as f64
}

/// Seconds by iteration, to a relative residual.
pub(crate) fn iterative_seconds(unknowns: usize, sides: usize, tolerance: f64) -> f64 {
    let digits = 2.0 - tolerance.log10();
    let iterations = ITERATIONS_A_DIGIT * digits;
    // Right sides go eight at a time.
    let groups = (sides / 8) as f64 * ITERATION_S[3];
    let rest = match sides % 8 {
        0 => 0.0,
        1 => ITERATION_S[0],
        2 => ITERATION_S[1],
        3..=4 => ITERATION_S[2],
        _ => ITERATION_S[3],
    };
    (HIERARCHY_S + iterations * (groups + rest)) * unknowns as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn right_sides_beyond_eight_cost_another_group() {
        let of = |sides| iterative_seconds(1000, sides, 1e-8) - iterative_seconds(1000, 0, 1e-8);
        assert!((of(9) - of(8) - of(1)).abs() < 1e-12);
        assert!((of(16) - 2.0 * of(8)).abs() < 1e-12);
        assert!(of(5) == of(8) && of(2) < of(4));
    }

    #[test]
    fn a_tighter_tolerance_takes_longer_by_the_digits() {
        let of = |tolerance| iterative_seconds(1000, 1, tolerance) - HIERARCHY_S * 1000.0;
        // From a hundred down to 1e-6 are eight digits, to 1e-10 twelve.
        assert!((of(1e-10) / of(1e-6) - 1.5).abs() < 1e-12);
    }
}
