//! An imported closed surface in place of the parametric bone's outer one.
//!
//! [`surface_bytes`] and [`read_stl`] read it, [`audit`] checks and repairs it, [`crate::Bone::on_surface`] brings it into the
//! bone frame and makes a bone of it: signed distance to the triangles, sampled on the grid that the parametric bone uses.

mod audit;
mod crossing;
mod field;
mod placed;
#[cfg(test)]
mod shapes;
mod stl;
mod surface_error;
mod tree;

pub use audit::{Audited, audit};
pub(crate) use field::{distances, fits, reaches};
pub use placed::{SurfaceFrame, SurfaceUnit};
pub(crate) use placed::{check_size, placed};
pub use stl::{TriangleSurface, read_stl, surface_bytes};
pub use surface_error::SurfaceError;
