//! From a job file to design points; one point end to end; many points.
//!
//! A job passes three types, each in its file: [`job_raw::RawJob`] (as written), [`job::Job`] (valid),
//! [`inputs::PointInputs`] (resolved: what decides one point's result). All keys are listed once, in
//! [`key_table`]. [`run_study`] runs a plan, [`check_job`] only looks at it.
//!
//! # Known limits
//! Designs are full factorials or one factor at a time, without replication other than other lattice poses. A point is
//! computed on one machine, in memory. A point that fails has no responses; the analysis goes on without it.

#![cfg_attr(test, allow(clippy::unwrap_used))]

pub mod blame;
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
pub mod inputs;
pub mod intact;
pub mod job;
pub mod job_error;
pub mod job_raw;
pub mod key_reference;
pub mod key_table;
pub mod keys;
#[cfg(test)]
mod mirror_test;
pub mod model_build;
pub mod plan;
pub mod point;
pub mod presets;
pub mod refine;
mod regions;
pub mod resolve;
pub mod runner;
#[cfg(test)]
mod runner_test;
pub mod settings;
mod shared;
mod size_field_file;
pub mod size_from_error;
mod solved_bonded;
pub mod study_folder;
pub mod study_record;
pub mod surface;
pub mod value;

pub use bones::BoneCache;
pub use check::{CheckedPoint, check_job};
pub use inputs::{LoadInputs, Materials, PointError, PointInputs, Stage};
pub use intact::IntactCache;
pub use job::Job;
pub use job_error::{JobError, JobErrors};
pub use plan::{DesignPoint, Plan};
pub use point::{PointContext, run_point};
pub use resolve::{ENGINE_VERSION, resolve};
pub use runner::{Event, Outcome, RunOptions, StudyError, run_study};
