//! Tests of supports and loads, in one program.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::print_stderr)]

mod fixed_resultants;
mod loads;
