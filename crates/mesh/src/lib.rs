//! Conforming multi-material tetrahedra by lattice, cut and improvement.
//!
//! Doors: [`mesh_construct`] for a construct, [`build`] for any [`Blueprint`].

pub mod blueprint;
pub mod error;
pub mod program;
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
