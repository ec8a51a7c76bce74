//! Parametric distal humerus, fracture, plates and screws as implicit solids.
//!
//! Door: [`Construct::build`] takes a [`ConstructSpec`] and gives the solids, or a [`GeometryError`]
//! that names the parts at fault. Everything downstream reads surfaces through [`Field`].
//!
//! # Known limits
//! One bone shape with dimensions from published means, or one imported surface: no anatomical variants. Two plates at
//! most, each following the bone's surface at a constant stand-off. Screws are smooth cylinders without threads. Fracture
//! faces are planes: one supracondylar fracture, with or without a sagittal split of the articular block.

#![cfg_attr(test, allow(clippy::unwrap_used))]

pub mod as_built;
pub mod bone;
pub mod bone_spec;
mod canal;
pub mod canal_floor;
mod centre_line;
mod clash;
mod concession;
pub mod construct;
mod distal_screws;
pub mod error;
mod fault;
pub mod field;
mod fit;
mod footprint;
pub mod fracture;
mod fracture_edges;
mod freedom;
pub mod head;
pub mod imported;
mod independent;
mod laid;
mod limits;
pub mod plate;
mod quantities_of_spec;
pub mod quantity;
pub mod range;
mod redistance;
mod rod;
mod row_choice;
pub mod screw;
mod screw_limits;
mod screw_row;
mod seat;
mod shaft_row;
mod shaft_screws;
pub mod spec;
mod spline_grid;
pub mod split;
pub mod subject;
mod wide;

pub use as_built::ScrewAsBuilt;
pub use bone::{ArticularSurface, Bone, Landmarks};
pub use bone_spec::{BoneDimension, BonePreset, BoneSpec, CardRow};
pub use canal_floor::CanalFloor;
pub use concession::Concession;
pub use construct::Construct;
pub use error::GeometryError;
pub use field::Field;
pub use fracture::{Fracture, Step};
pub use freedom::{Fit, Freedom, Moved};
pub use head::Head;
pub use imported::{
    Audited, SurfaceError, SurfaceFrame, SurfaceUnit, TriangleSurface, audit, read_stl,
    surface_bytes,
};
pub use plate::{Hole, Plate};
pub use quantity::{CLEARANCE_MM, FractureQuantity, IndependentQuantity, PlateQuantity};
pub use range::Range;
pub use screw::Screw;
pub use screw_row::ScrewRow;
pub use shaft_row::{ShaftPattern, TakenUpBy};
pub use spec::{
    ColumnContact, ConstructSpec, FractureSpec, HeadSide, IndependentScrewSpec, PlateSpec,
    ScrewHold, SplitSpec,
};
pub use split::Split;
pub use subject::{Member, Subject};
