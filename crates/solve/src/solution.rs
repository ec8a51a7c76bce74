//! Displacements of all load cases with the report of their solution.

use crate::Prepared;
use bicolumn_base::Vec3;
use bicolumn_model::Problem;
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Solver of the linear system.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Default)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// The solver with the least estimated time.
    #[default]
    Auto,
    /// Conjugate gradients with the two-level preconditioner, its coarse level solved by a Cholesky factor.
    #[serde(rename = "multigrid")]
    FactoredCoarse,
    /// Conjugate gradients with the two-level preconditioner, its coarse level solved by smoothed aggregation: memory grows no
    /// faster than the mesh.
    #[serde(rename = "aggregation")]
    AggregatedCoarse,
    /// Sparse Cholesky factor of the whole matrix.
    Direct,
}

bicolumn_base::words! { Method {
    Auto = "auto": "the solver with the least estimated time",
    FactoredCoarse = "multigrid": "conjugate gradients, two levels, the coarse one by a Cholesky factor",
    AggregatedCoarse = "aggregation": "conjugate gradients, two levels, the coarse one by smoothed aggregation: least memory",
    Direct = "direct": "sparse Cholesky factor of the whole matrix",
} }

/// Options of [`solve`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SolveOptions {
    /// Solver to use.
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

/// Report of a solution.
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

/// Displacements and reactions of all load cases.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// Displacement of each node, by load case, mm.
    pub displacement: Vec<Vec<Vec3>>,
    /// Reaction of each supported node (order of `Problem::constraints`), by load case, N.
    pub reactions: Vec<Vec<Vec3>>,
    /// Report of the solution.
    pub report: SolveReport,
}

/// The reason why there is no solution.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum SolveError {
    /// A part with rigid-body modes that no support takes.
    #[error("{part} is not held: {motion}")]
    NotHeld {
        /// Part name.
        part: String,
        /// The motion left to it.
        motion: String,
    },
    /// The iteration did not converge.
    #[error(
        "the iteration stopped at a relative residual of {residual:.1e} after {iterations} iterations: {reason}"
    )]
    NotConverged {
        /// Residual reached.
        residual: f64,
        /// Number of iterations.
        iterations: usize,
        /// Reason for the stop, in words.
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
    /// An inverted tetrahedron.
    #[error("tetrahedron {tet} of {part} is inverted")]
    Inverted {
        /// Index of the tetrahedron.
        tet: usize,
        /// Part name.
        part: String,
    },
    /// The factor does not fit in memory.
    #[error("no memory for a factor of {bytes} bytes: coarsen the mesh")]
    NoMemory {
        /// Bytes of the factor.
        bytes: u64,
    },
}

/// Solves a problem once; see [`Prepared`] to ask the same system again.
///
/// Nodes held in all components are eliminated, single constrained components projected out
/// ([`bicolumn_sparse::ConstrainedRows`]); prescribed displacements are lifted into the right-hand side. Load vectors
/// that are multiples of each other are solved once. The result has the same bits for any number of threads.
///
/// # Errors
/// [`SolveError`], with the part or the residual at fault.
pub fn solve(problem: &Problem, options: &SolveOptions) -> Result<Solution, SolveError> {
    Prepared::new(problem, options)?.solve_cases()
}
