//! The solver's tests, in one program.

mod asking_again;
mod elements;
mod linear_elasticity;
mod local_elasticity;
mod rounding_floor;
mod support;
mod supports;
