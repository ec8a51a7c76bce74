//! Sparse linear algebra for three unknowns a node: matrices of 3×3 blocks, nested dissection, Cholesky,
//! Chebyshev smoothing, the two-level preconditioner and conjugate gradients on many right sides at once.
//!
//! Knows nothing of elements or bones. Right sides travel interleaved: the value of all load cases of one
//! unknown lie side by side, so that one sweep over the matrix serves them all.
//!
//! Every sum runs in an order that does not depend on the number of threads: same input, same bits.
#![cfg_attr(test, allow(clippy::unwrap_used))]

mod aggregates;
mod aggregation;
pub mod blocks;
pub mod chebyshev;
pub mod cholesky;
pub mod columns;
pub mod conjugate_gradients;
mod coupling;
pub mod cycle_products;
mod directions;
mod elimination;
pub mod error;
mod front;
pub mod kernel;
pub mod lanes;
pub mod matrix;
mod node_blocks;
pub mod node_matrix;
pub mod operator;
pub mod ordering;
pub mod pattern;
mod prolongation;
pub mod refinement;
pub mod rounding;
pub mod team;
mod triangles;
pub mod two_level;

pub use blocks::{Block, SymmetricBlocks};
pub use cholesky::{Analysis, BlockCholesky};
pub use columns::{Aligned, NodeColumns, NodeVector};
pub use conjugate_gradients::{Convergence, Limits, conjugate_gradients};
pub use cycle_products::{CycleProducts, OpenCycle, SparseVector};
pub use error::SparseError;
pub use matrix::{Local, Magnitudes, Matrix, Order, Product, Rowwise};
pub use node_blocks::NodeBlocks;
pub use node_matrix::NodeMatrix;
pub use operator::{AddedBlocks, Operator};
pub use pattern::Pattern;
pub use prolongation::{Follows, Prolongation};
pub use team::Team;
pub use two_level::{CoarseMatrix, TwoLevel};
