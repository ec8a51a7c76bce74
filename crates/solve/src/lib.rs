//! Elements, assembly, linear solution and stress recovery.
//!
//! Doors: [`solve`] gives displacements of all load cases, [`StressField::recover`] the stress.

pub mod solution;
pub mod stress;

pub use solution::{Method, Solution, SolveError, SolveOptions, SolveReport, solve};
pub use stress::{PartNodes, StressField};
