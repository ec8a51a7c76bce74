//! Tests of job files, in one program.

mod one_thing_moves;
mod regions;
mod size_field;
