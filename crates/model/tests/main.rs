//! Tests of supports and loads, in one program.

mod fixed_resultants;
mod loads;
