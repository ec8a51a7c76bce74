//! The multigrid preconditioner: Chebyshev smoothing, transfer between levels, smoothed aggregation, the V-cycle and its two halves.

mod aggregation;
pub mod chebyshev;
pub mod cycle_basis;
pub mod half_cycle;
pub mod transfer;
pub mod two_level;
