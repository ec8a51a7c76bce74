//! The sealed discrete problem.

use crate::{LoadCase, Material};
use bicolumn_mesh::TetMesh;
use std::sync::Arc;
use thiserror::Error;

/// A problem that cannot be posed.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ProblemError {
    /// No node is held.
    #[error("nothing holds the model: no facet lies on the potting plane")]
    NoSupport,
    /// A part without material.
    #[error("part {0} has no material")]
    NoMaterial(String),
    /// A load patch with no facet.
    #[error("the load patch {0} has no facet on the bone surface")]
    EmptyPatch(String),
}

/// Mesh, materials, supports and load cases.
#[derive(Debug, Clone)]
pub struct Problem {
    /// The mesh.
    pub mesh: Arc<TetMesh>,
    /// Material of each part, in the order of `mesh.parts`.
    pub materials: Vec<Material>,
    /// Nodes held in all three directions, sorted.
    pub fixed: Vec<u32>,
    /// Load cases.
    pub cases: Vec<LoadCase>,
}
