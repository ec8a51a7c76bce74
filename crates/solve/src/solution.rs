//! Displacements of all load cases, and how they were found.

use crate::Prepared;
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
    /// Conjugate gradients preconditioned on two levels, the linear one by Cholesky.
    Multigrid,
    /// The same with the linear level by smoothed aggregation: slower, but its memory grows no faster
    /// than the mesh.
    Aggregation,
    /// Sparse Cholesky.
    Direct,
}

bicolumn_base::words! { Method {
    Auto = "auto",
    Multigrid = "multigrid",
    Aggregation = "aggregation",
    Direct = "direct",
} }

/// Options of [`solve`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SolveOptions {
    /// Method.
    pub method: Method,
    /// Relative residual to reach. Where rounding forbids it, the solution stops at the rounding floor
    /// ([`bicolumn_sparse::rounding`]) and the report says so.
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
            tolerance: 1e-7,
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
    /// Smallest relative residual of each load case that double precision can promise
    /// ([`bicolumn_sparse::rounding`]).
    pub rounding_floors: Vec<f64>,
    /// Load cases whose residual ended at the rounding floor, above the tolerance asked for.
    pub stopped_at_floor: Vec<bool>,
    /// Largest residual over the load cases, by iteration.
    pub history: Vec<f64>,
    pub assemble_s: f64,
    pub setup_s: f64,
    pub solve_s: f64,
    /// Estimated and measured bytes of matrices, factors and vectors.
    pub estimated_bytes: u64,
    pub used_bytes: u64,
    /// Imbalance of loads and reactions by load case, the larger of force and moment: force error over
    /// max(|F|, |M| / 100 mm), moment error about the origin over max(|M|, |F| × 100 mm).
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
    /// A tetrahedron turned inside out.
    #[error("tetrahedron {tet} of {part} is inverted")]
    Inverted {
        /// Its index.
        tet: usize,
        /// Part name.
        part: String,
    },
    /// The factor does not fit in memory.
    #[error("no memory for a factor of {bytes} bytes: coarsen the mesh")]
    NoMemory {
        /// Bytes asked for.
        bytes: u64,
    },
}

/// Solves a problem once; see [`Prepared`] to ask the same system again.
///
/// Held nodes are eliminated; load vectors that are multiples of each other are solved once. The result
/// has the same bits for any number of threads.
///
/// # Errors
/// [`SolveError`], with the part or the residual at fault.
pub fn solve(problem: &Problem, options: &SolveOptions) -> Result<Solution, SolveError> {
    Prepared::new(problem, options)?.solve_cases()
}
