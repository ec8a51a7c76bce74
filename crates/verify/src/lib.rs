//! Exact solutions, structured test meshes and boundary conditions for verification.
//!
//! [`exact`] holds closed-form solutions with their sources; [`meshes`] ten-node meshes of simple
//! bodies; [`imposed`] solves a body with imposed displacements and tractions through the same door
//! as any construct. The cases themselves are tests: published ones, one file each, in the
//! workspace's `tests/published/`, invariants in this crate's `tests/`.
#![cfg_attr(test, allow(clippy::unwrap_used))]

pub mod coarse_construct;
pub mod exact;
pub mod humerus_surface;
pub mod imposed;
pub mod meshes;
pub mod mutation;
pub mod shared_models;
