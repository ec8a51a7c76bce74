//! Tests of the whole solver on bone models, constructs and shared models, in one program: linking one for each file took longer than most of them run.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::print_stderr)]

mod bone_shaft;
mod bone_stress;
mod damaged_inputs;
mod error_estimate;
mod hard_bodies;
mod invariants;
mod rates;
mod real_construct;
mod section_forces;
mod shared_models;
mod support;
