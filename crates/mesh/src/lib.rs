//! Conforming multi-material tetrahedra by lattice, cut and improvement.
//!
//! Doors: [`mesh_construct`] for a construct, [`build`] for any [`Blueprint`],
//! [`TetMesh::from_straight_tets`] for given tetrahedra.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod adjacency;
pub mod blueprint;
mod curved;
pub mod error;
pub mod program;
mod promote;
mod quality;
mod straight;
mod tet;
pub mod tet_mesh;

pub use blueprint::{Blueprint, CutStep, Label, LatticePose, SurfaceId};
pub use error::MeshError;
pub use program::{Sizing, mesh_construct};
pub use tet_mesh::{Facet, MeshStages, Quality, SurfaceName, TetMesh};

/// Meshes a blueprint.
///
/// # Errors
/// [`MeshError`] when a gate fails.
pub fn build(_blueprint: &Blueprint<'_>) -> Result<TetMesh, MeshError> {
    todo!()
}
