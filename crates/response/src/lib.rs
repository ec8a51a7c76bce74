//! Every response of the program: one row each with name, unit, exact definition, words, and the way its
//! discretisation error is estimated.
//!
//! Doors: [`ResponseId`], the typed handle that measures fill in, records store and tables show;
//! [`ResponseName`], its name in a file, which an older program may have written.
//!
//! ```
//! use bicolumn_response::{LastScrew, Load, PlateColumn, ResponseId};
//! let hotspot = ResponseId::from(LastScrew::Structural.of(PlateColumn::Medial));
//! assert_eq!(hotspot.name(), "last_screw_medial_mpa");
//! assert_eq!(hotspot.unit().symbol(), "MPa");
//! assert_eq!(ResponseId::from_name("stiffness_n_per_mm"), Some(Load::Stiffness.into()));
//! ```
//!
//! # Known limits
//! Texts are English. A response has one unit; a file in other units is not foreseen.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod bone_stress;
mod check;
mod choice;
mod contact;
mod hardware;
mod id;
mod load;
mod motion;
mod name;
mod place;
mod row;
mod screw_table;

pub use bone_stress::{
    BeyondEnd, BeyondEndAt, LargestOfPlates, LastScrew, LastScrewAt, PlateColumn, Shaft,
};
pub use check::Check;
pub use choice::Choice;
pub use contact::{Contact, ContactAt, FractureColumn, InterfaceKind, Preload};
pub use hardware::{
    Carrier, Hardware, PlateForce, PlateForceAt, PlateStress, PlateStressAt, ScrewForce, Share,
    ShareAt,
};
pub use id::ResponseId;
pub use load::Load;
pub use motion::{FaceRegion, Motion, MotionAxis};
pub use name::ResponseName;
pub use place::{Aspect, Edge, Place};
pub use row::ErrorEstimation;
pub use screw_table::{SCREW_COLUMNS, ScrewColumn};
