//! Block-sparse matrices of nodes and the traits by which the solvers see them.

pub mod constrained_rows;
pub mod node_blocks;
pub mod node_matrix;
pub mod operator;
pub mod pattern;
pub mod product;
pub mod symmetric_blocks;
