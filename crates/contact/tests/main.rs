//! Tests of contact, in one program.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::print_stderr)]

mod blocks;
mod clamp;
mod support;
mod threads;
