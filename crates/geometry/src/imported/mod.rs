//! An imported closed surface in place of the parametric bone's outer one.
//!
//! [`read_stl`] reads it, [`audit`] checks and repairs it, [`crate::Bone::on_surface`] makes a bone of
//! it: signed distance to the triangles, sampled on the grid that the parametric bone uses.

mod audit;
mod crossing;
mod field;
#[cfg(test)]
mod shapes;
mod stl;
mod surface_error;
mod tree;

pub use audit::{Audited, audit};
pub(crate) use field::{distances, fits, reaches};
pub use stl::{TriangleSurface, read_stl};
pub use surface_error::SurfaceError;
