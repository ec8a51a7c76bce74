//! Solvers against dense algebra in nalgebra, on lattices of nodes with known stiffness. One program, since each one compiles the
//! solvers anew for its matrices.
#![allow(clippy::unwrap_used)]

mod cholesky;
mod conjugate_gradients;
mod half_cycle;
mod node_matrix;
mod support;
mod two_level;
