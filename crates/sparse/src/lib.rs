//! Sparse linear algebra for nodes with three or six degrees of freedom: block matrices, multifrontal Cholesky factorisation,
//! p-multigrid and smoothed aggregation, preconditioned conjugate gradients for many right-hand sides at once.
//!
//! Knows nothing of elements or bones. Right-hand sides travel interleaved: the values of all load cases at one degree of freedom
//! lie side by side, so that one sweep over the matrix serves them all.
//!
//! Shelves: [`csr`] compressed rows and their transpose; [`simd`] arithmetic in vectors; [`matrix`] block matrices and operators;
//! [`krylov`] iterations; [`multigrid`] the preconditioner; [`cholesky`] direct factors.
//!
//! Every sum runs in an order that does not depend on the number of threads: same input, same bits.
//!
//! Known limits: symmetric positive definite matrices only; 32-bit indices; the ordering falls back to the natural one for more
//! than 2³¹ rows or blocks.
#![cfg_attr(test, allow(clippy::unwrap_used))]

pub mod cholesky;
pub mod csr;
pub mod error;
pub mod krylov;
pub mod matrix;
pub mod multigrid;
pub mod preconditioner;
pub mod simd;
pub mod team;

pub use cholesky::exact::{ExactBasis, ExactHalf};
pub use cholesky::factor::{Analysis, BlockCholesky};
pub use csr::Csr;
pub use error::SparseError;
pub use krylov::conjugate_gradients::{Convergence, Limits, conjugate_gradients};
pub use krylov::{conjugate_gradients, refinement, rounding};
pub use matrix::constrained_rows::{ConstrainedRows, projected, projected_diagonal};
pub use matrix::node_blocks::NodeBlocks;
pub use matrix::node_matrix::{self, NodeMatrix};
pub use matrix::operator::{AddedBlocks, Operator};
pub use matrix::pattern::Pattern;
pub use matrix::product::{Epilogue, Local, Magnitudes, Matrix, Order, Product};
pub use matrix::symmetric_blocks::{Block, SymmetricBlocks};
pub use multigrid::chebyshev;
pub use multigrid::cycle_basis::CycleBasis;
pub use multigrid::half_cycle::HalfCycle;
pub use multigrid::transfer::prolongation::{Master, Prolongation};
pub use multigrid::two_level::{self, CoarseMatrix, TwoLevel};
pub use preconditioner::{Preconditioner, SparseVector};
pub use simd::columns::{Aligned, NodeColumns, NodeVector};
pub use simd::{columns, kernel, lanes};
pub use team::Team;
