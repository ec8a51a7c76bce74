//! Errors of linear solvers.

use thiserror::Error;

/// The reason why a linear system could not be solved.
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
        /// Largest relative residual over the right-hand sides.
        residual: f64,
        /// Number of iterations.
        iterations: usize,
        /// Reason for the stop, in words.
        reason: String,
    },
    /// No memory for a factor, or an index overflow.
    #[error("no memory for a factor of {bytes} bytes")]
    NoMemory {
        /// Bytes of the factor.
        bytes: u64,
    },
}
