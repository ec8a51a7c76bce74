//! Preconditioned conjugate gradients for many right-hand sides, their rounding floor, refinement of direct solutions.

pub mod conjugate_gradients;
mod directions;
pub mod refinement;
pub mod rounding;
