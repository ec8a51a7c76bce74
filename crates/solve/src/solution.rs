//! Displacements of all load cases, and how they were found.

use bicolumn_base::Vec3;
use bicolumn_model::Problem;
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// How to solve the linear system.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Default)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// By an estimate of memory and time.
    #[default]
    Auto,
    /// Conjugate gradients with the two-level preconditioner.
    Multigrid,
    /// Sparse Cholesky.
    Direct,
}

/// Options of [`solve`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SolveOptions {
    /// Method.
    pub method: Method,
    /// Relative residual to reach.
    pub tolerance: f64,
    /// Iterations after which stagnation is declared.
    pub max_iterations: usize,
    /// Threads to use inside this solve. The result does not depend on it.
    pub threads: usize,
}

impl Default for SolveOptions {
    fn default() -> Self {
        SolveOptions {
            method: Method::Auto,
            tolerance: 1e-9,
            max_iterations: 200,
            threads: 1,
        }
    }
}

/// What the solver did.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct SolveReport {
    pub method: Method,
    pub unknowns: usize,
    /// Load cases actually solved; the others are multiples of one of them.
    pub right_sides: usize,
    pub iterations: usize,
    /// Relative residual of each load case at the end, ‖b − K u‖ / ‖b‖.
    pub residuals: Vec<f64>,
    /// Largest residual over the load cases, by iteration.
    pub history: Vec<f64>,
    pub assemble_s: f64,
    pub setup_s: f64,
    pub solve_s: f64,
    /// Estimated and measured bytes of matrices, factors and vectors.
    pub estimated_bytes: u64,
    pub used_bytes: u64,
    /// |sum of reactions + sum of loads| / |sum of loads| by load case (force balance), largest of force
    /// and moment (moment about the origin, over the largest of load moment and force × 100 mm).
    pub equilibrium: Vec<f64>,
}

/// Displacements.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// Displacement of each node, by load case, mm.
    pub displacement: Vec<Vec<Vec3>>,
    /// Reaction of each held node (order of `Problem::fixed`), by load case, N.
    pub reactions: Vec<Vec<Vec3>>,
    /// How it was found.
    pub report: SolveReport,
}

/// Why there is no solution.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum SolveError {
    /// A part that nothing holds.
    #[error("{part} is not held: {motion}")]
    NotHeld {
        /// Part name.
        part: String,
        /// What it can do.
        motion: String,
    },
    /// The iteration did not converge.
    #[error(
        "the iteration stopped at a relative residual of {residual:.1e} after {iterations} iterations: {reason}"
    )]
    NotConverged {
        /// Residual reached.
        residual: f64,
        /// Iterations done.
        iterations: usize,
        /// Why it is thought to have stopped.
        reason: String,
    },
    /// The matrix is not positive definite.
    #[error("the stiffness matrix is not positive definite near node {node} of {part}")]
    NotPositiveDefinite {
        /// Node.
        node: u32,
        /// Part name.
        part: String,
    },
}

/// Solves a problem.
///
/// # Errors
/// [`SolveError`], with the part or the residual at fault.
pub fn solve(_problem: &Problem, _options: &SolveOptions) -> Result<Solution, SolveError> {
    todo!()
}
