//! Smoothed aggregation: aggregates, tentative and smoothed prolongator, Galerkin coarse operator, the hierarchy and its V-cycle.

mod aggregates;
mod galerkin;
pub(crate) mod hierarchy;
mod level;
mod prolongator;
