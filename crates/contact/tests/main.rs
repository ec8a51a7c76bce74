//! Tests of contact, in one program.

mod blocks;
mod clamp;
mod support;
mod threads;
