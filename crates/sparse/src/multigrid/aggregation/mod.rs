//! Smoothed aggregation: aggregates, tentative and smoothed prolongator, the cycle over the levels.

mod aggregates;
mod coupling;
pub(crate) mod cycle;
