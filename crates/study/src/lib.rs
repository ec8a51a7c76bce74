//! One design point end to end; many points.
//!
//! [`run_point`] takes the inputs of one point to its record. [`run_study`] runs a plan, [`check_job`] only looks at it.
//!
//! # Known limits
//! Designs are full factorials or one factor at a time, without replication other than other lattice poses. A point is
//! computed on one machine, in memory. A point that fails has no responses; the analysis goes on without it.

#![cfg_attr(test, allow(clippy::unwrap_used))]

pub mod bones;
pub mod bundle;
mod case_contact;
pub mod check;
mod clamp;
pub mod contact_model;
mod contact_record;
pub mod converge;
pub mod discretisation;
pub mod estimate;
pub mod export;
pub mod grid_convergence;
pub mod intact;
#[cfg(test)]
mod mirror_test;
pub mod model_build;
pub mod point;
pub mod refine;
pub mod role;
pub mod runner;
#[cfg(test)]
mod runner_test;
mod shared;
pub mod size_from_error;
mod slab;
mod solved_bonded;
mod stage;
pub mod study_folder;
pub mod study_record;
pub mod surface;

pub use bones::BoneCache;
pub use check::{CheckedPoint, check_job};
pub use intact::IntactCache;
pub use point::{PointContext, run_point};
pub use runner::{Event, Outcome, RunOptions, StudyError, run_study};
pub use stage::{PointError, Stage};
