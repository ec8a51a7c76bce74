//! What can go wrong in linear algebra.

use thiserror::Error;

/// A system that could not be solved.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum SparseError {
    /// A pivot that is not positive.
    #[error("the matrix is not positive definite at block row {row}")]
    NotPositiveDefinite {
        /// Block row (node) of the pivot.
        row: usize,
    },
    /// The iteration did not reach its tolerance.
    #[error(
        "stopped at a relative residual of {residual:.1e} after {iterations} iterations: {reason}"
    )]
    NotConverged {
        /// Largest relative residual over the right sides.
        residual: f64,
        /// Iterations done.
        iterations: usize,
        /// Why it stopped.
        reason: String,
    },
    /// No memory for a factor, or an index overflow.
    #[error("no memory for a factor of {bytes} bytes")]
    NoMemory {
        /// Bytes asked for.
        bytes: u64,
    },
}
