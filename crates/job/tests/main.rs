//! Tests of job files, in one program.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::print_stderr)]

mod every_key;
mod load_cases;
mod one_thing_moves;
mod published;
mod regions;
mod sensors;
mod size_field;
