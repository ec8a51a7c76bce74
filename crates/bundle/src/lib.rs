//! Audit bundles: a posed problem and its solution in files that any other code can read and write.
//!
//! Doors: [`read_bundle`] for a folder with `mesh.vtu` and `model.json`, [`solve_bundle`] for its displacements and stress,
//! [`mesh_grid`], [`model_json`] and [`solution_grid`] to write such files. The format is told in
//! `docs/reference/bundle.md`.
//!
//! # Known limits
//! Ten-node tetrahedra only. Interfaces are solved from their facet pairs, with the gaps that the mesh gives and a constant
//! more; the laws of an interface are the same in every step. A load case that displaces supports is not solved together
//! with interfaces.
#![cfg_attr(test, allow(clippy::unwrap_used))]

mod construct;
mod cursor;
mod error;
mod interfaces;
mod matrix_market;
mod mesh_file;
mod model_file;
mod preparation;
mod solved;
mod write;

pub use construct::construct_json;
pub use error::BundleError;
pub use matrix_market::{MatrixError, matrix_market};
pub use model_file::{PosedContact, ReadBundle, read_bundle};
pub use solved::{BundleSolveError, SolvedBundle, solve_bundle};
pub use write::{mesh_grid, model_json, solution_grid, write_bundle};
