//! Parametric distal humerus, fracture, plates and screws as implicit solids.
//!
//! Door: [`Construct::build`] takes a [`ConstructSpec`] and gives the solids, or a [`GeometryError`]
//! that names the parts at fault. Everything downstream reads surfaces through [`Field`].

#![cfg_attr(test, allow(clippy::unwrap_used))]

pub mod bone;
pub mod construct;
pub mod error;
pub mod field;
pub mod plate;
mod redistance;
pub mod screw;
pub mod spec;
mod spline_grid;

pub use bone::{ArticularSurface, Bone, CardRow, Landmarks};
pub use construct::{Construct, Fracture};
pub use error::GeometryError;
pub use field::Field;
pub use plate::{Hole, Plate};
pub use screw::{Screw, ScrewRow};
pub use spec::{BoneSpec, ConstructSpec, FractureSpec, PlateSpec};
