//! One design point end to end; many points.
//!
//! Doors: [`run_point`] takes the inputs of one point to its record, [`run_study`] runs a plan, [`run_studies`] several in one pool, and
//! [`check_job`] only looks at it; [`converge`] and [`refine`] mesh a point anew, [`mesh_point`] and
//! [`export_point`] give its mesh and its audit bundle, [`build_model`] its construct, mesh and problem.
//!
//! # Known limits
//! A point is computed on one machine, in memory; in a process of its own where [`RunOptions::worker`] names one. A point that fails has no responses; the analysis goes on without it.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod bones;
mod bundle;
mod bundle_responses;
mod cache;
mod case_contact;
mod check;
mod clamp;
mod contact_model;
mod converge;
mod discretisation;
mod draws;
mod estimate;
mod export;
mod filing;
mod free_memory;
mod grid_convergence;
pub mod hardware;
mod heartbeat;
mod intact;
mod intact_file;
mod joint_support;
#[cfg(test)]
mod mirror_test;
mod model_build;
mod point;
mod pool;
mod record;
mod refine;
mod role;
mod rollers;
mod runner;
#[cfg(test)]
mod runner_test;
mod sensors;
mod share;
mod shared;
mod size_from_error;
mod slab;
mod solved_bonded;
mod stage;
mod study_folder;
mod study_record;
mod surface;
mod wire;
mod worker;
mod worker_pool;

pub use bones::BoneCache;
pub use bundle::{Bundle, Content};
pub use check::{BuiltPoint, CheckedDesign, CheckedPoint, WORKER, check_job};
pub use converge::{ConvergedResponse, Convergence, MeshSeries, converge, noise_uncertainty};
pub use discretisation::estimates;
pub use draws::Replaced;
pub use estimate::{Estimate, tetrahedra};
pub use export::{export_point, mesh_point};
pub use intact::IntactCache;
pub use model_build::{BuiltModel, ModelSolution, build_model, build_problem};
pub use point::{PointContext, run_point};
pub use refine::{End, Refinement, Step, Wanted, refine};
pub use runner::{Event, Outcome, RunOptions, StudyError, StudyTask, run_studies, run_study};
pub use share::{Shard, Share, numbers_in_words, point_numbers};
pub use stage::{PointError, Stage};
pub use worker::solve_orders;
pub use worker_pool::{PointLimits, WorkerProgram};
