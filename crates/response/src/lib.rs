//! Every response of the program: one row each with name, unit, exact definition, words, and the way its
//! discretisation error is estimated.
//!
//! Doors: [`ResponseId`], the typed handle that measures fill in, records store and tables show;
//! [`ResponseName`], its name in a file, which an older program may have written.
//!
//! ```
//! use bicolumn_response::{Load, PlateColumn, PlateEnd, ResponseId};
//! let hotspot = ResponseId::from(PlateEnd::Hotspot.of(PlateColumn::Medial));
//! assert_eq!(hotspot.name(), "plate_end_hotspot_medial_mpa");
//! assert_eq!(hotspot.unit().symbol(), "MPa");
//! assert_eq!(ResponseId::from_name("stiffness_n_per_mm"), Some(Load::Stiffness.into()));
//! ```
//!
//! # Known limits
//! Texts are English. A response has one unit; a file in other units is not foreseen.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod check;
mod contact;
mod hardware;
mod id;
mod load;
mod motion;
mod name;
mod plate_end;
mod row;

pub use check::Check;
pub use contact::{Contact, ContactAt, FractureColumn, InterfaceKind, Preload};
pub use hardware::{
    Carrier, Hardware, PlateForce, PlateForceAt, PlateStress, PlateStressAt, ScrewForce, Share,
    ShareAt,
};
pub use id::ResponseId;
pub use load::Load;
pub use motion::{FaceRegion, Motion, MotionAxis};
pub use name::ResponseName;
pub use plate_end::{PlateColumn, PlateEnd, PlateEndAt, PlateEndMax, Shaft};
pub use row::ErrorEstimation;
