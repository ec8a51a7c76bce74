//! Job files: keys, values, factors, design points, and the inputs of one point.
//!
//! A job passes three types, each in its file: `RawJob` (as written), [`Job`] (valid), [`PointInputs`]
//! (resolved: all that decides one point's result). Every key is declared once, in [`keys`]; its declaration
//! yields a typed handle that [`Settings::get`] reads by.
//!
//! # Known limits
//! A job describes one bone, at most two plates and two screws independent of plates. A factor drives one key and has
//! the levels that it lists; a plan is a full factorial or moves one factor at a time. Messages are English.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod blame;
mod catalogue;
mod composite;
mod declare;
mod design;
mod design_table;
mod fill;
mod given;
mod handle;
mod hypothesis;
mod idle;
mod inputs;
mod job;
mod job_error;
mod key;
mod key_reference;
mod load_case;
mod moved_key;
mod named_elsewhere;
mod named_path;
mod named_table;
mod plan;
mod presets;
mod published;
mod raw;
mod region;
mod resolve;
mod sampled;
mod sensor;
mod settings;
mod size_field_file;
mod text_file;
mod units;
mod value;
mod words;

pub use blame::{Refusal, explain, explain_refusal, explain_sizes};
pub use catalogue::{Keys, Side, keys};
pub use handle::{Key, KeyId};
pub use idle::warnings;
pub use inputs::{
    InterfaceInputs, InterfaceKind, Materials, NamedInterface, PointInputs, SupportInputs,
};
pub use job::{Factor, Job};
pub use job_error::{JobError, JobErrors};
pub use key::{Acts, Derived, Fallback, KeyRow, Kind};
pub use key_reference::markdown;
pub use moved_key::QuantityKey;
pub use plan::{DesignPoint, Plan};
pub use resolve::{ENGINE_VERSION, resolve};
pub use settings::{Setting, Settings};
pub use units::spoken_unit;
pub use value::Value;
pub use words::{DistalSupport, Meeting, ProximalSupport};
