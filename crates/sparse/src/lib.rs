//! Sparse linear algebra for three unknowns a node: matrices of 3×3 blocks, nested dissection, Cholesky,
//! Chebyshev smoothing, the two-level preconditioner and conjugate gradients on many right sides at once.
//!
//! Knows nothing of elements or bones. Right sides travel interleaved: the value of all load cases of one
//! unknown lie side by side, so that one sweep over the matrix serves them all.
//!
//! Every sum runs in an order that does not depend on the number of threads: same input, same bits.
#![cfg_attr(test, allow(clippy::unwrap_used))]

pub mod cholesky;
pub mod error;
pub mod krylov;
pub mod matrix;
pub mod multigrid;
pub mod simd;
pub mod team;

pub use cholesky::factor::{Analysis, BlockCholesky};
pub use error::SparseError;
pub use krylov::conjugate_gradients::{Convergence, Limits, conjugate_gradients};
pub use krylov::{conjugate_gradients, refinement, rounding};
pub use matrix::node_blocks::NodeBlocks;
pub use matrix::node_matrix::{self, NodeMatrix};
pub use matrix::operator::{AddedBlocks, Operator};
pub use matrix::pattern::Pattern;
pub use matrix::product::{Local, Magnitudes, Matrix, Order, Product, Rowwise};
pub use matrix::symmetric_blocks::{Block, SymmetricBlocks};
pub use multigrid::chebyshev;
pub use multigrid::cycle_products::{CycleProducts, OpenCycle, SparseVector};
pub use multigrid::transfer::prolongation::{Follows, Prolongation};
pub use multigrid::two_level::{self, CoarseMatrix, TwoLevel};
pub use simd::columns::{Aligned, NodeColumns, NodeVector};
pub use simd::{columns, kernel, lanes};
pub use team::Team;
