//! Elements, assembly, linear solution and stress recovery.
//!
//! Doors: [`solve`] gives displacements of all load cases, [`Prepared`] keeps a system to be asked again
//! (other forces, added interface stiffness, a guess), [`StressField::recover`] gives the stress.
//!
//! # Known limits
//! Small strains; linear materials, isotropic or transversely isotropic; bonded interfaces but for what
//! [`InterfaceStiffness`] adds. Poisson's ratios near 1/2 slow the iteration.
#![cfg_attr(test, allow(clippy::unwrap_used))]

pub mod assembly;
pub mod balance;
pub mod cost;
mod curve;
pub mod element;
mod element_kernel;
pub mod elements;
pub mod forecast;
pub mod held;
pub mod interface;
mod interpolation;
pub mod load_vectors;
pub mod numbering;
pub mod partition;
pub mod prepared;
pub mod quadrature;
pub mod shape;
pub mod solution;
mod stiffness;
pub mod stress;
pub mod turning;

pub use element::stress_of;
pub use forecast::Forecast;
pub use interface::InterfaceStiffness;
pub use prepared::{Answer, Ask, ForceProducts, OpenPrecondition, Prepared};
pub use solution::{Method, Solution, SolveError, SolveOptions, SolveReport, solve};
pub use stress::{PartNodes, StressField, element_stress};
