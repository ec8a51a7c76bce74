//! The multigrid preconditioner: Chebyshev smoothing, transfer between levels, smoothed aggregation, the cycle.

mod aggregation;
pub mod chebyshev;
pub mod cycle_products;
pub mod transfer;
pub mod two_level;
