//! Tests of studies without solving, in one program.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::print_stderr)]

mod plausible_designs;

#[path = "support/plausible.rs"]
mod plausible;
