//! Materials, supports and loads on a mesh: the discrete problem, unsolved.
//!
//! Door: [`Problem`]. A load case is a set of consistent nodal forces; [`PatchLoad`] makes it from a
//! resultant on a surface patch.

pub mod load;
pub mod material;
pub mod problem;

pub use load::{LoadCase, Patch, PatchLoad};
pub use material::Material;
pub use problem::{Problem, ProblemError};
