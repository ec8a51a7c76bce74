//! The solver's tests, in one program.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::print_stderr)]

mod asking_again;
mod elements;
mod linear_elasticity;
mod local_elasticity;
mod rounding_floor;
mod support;
mod supports;
