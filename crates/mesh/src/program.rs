//! The cut program of a construct: which surfaces, in which order, at which sizes.

use crate::{LatticePose, MeshError, TetMesh};
use bicolumn_geometry::Construct;
use serde::{Deserialize, Serialize};

/// Wanted edge lengths by feature, mm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sizing {
    /// Finest lattice cell: plate ends, screws at the bone surface, hole rims.
    pub finest_mm: f64,
    /// Body of the plates, as a multiple of `finest_mm`.
    pub plate_ratio: f64,
    /// Fracture faces, as a multiple.
    pub fracture_ratio: f64,
    /// Far from all hardware, as a multiple.
    pub far_ratio: f64,
    /// Growth of the size with distance, mm per mm.
    pub growth: f64,
}

impl Default for Sizing {
    fn default() -> Self {
        Sizing {
            finest_mm: 1.25,
            plate_ratio: 1.7,
            fracture_ratio: 1.7,
            far_ratio: 4.0,
            growth: 0.35,
        }
    }
}

/// Meshes a construct.
///
/// # Errors
/// [`MeshError`] when no valid mesh was found, with the gate and the place.
pub fn mesh_construct(
    _construct: &Construct,
    _sizing: &Sizing,
    _pose: LatticePose,
) -> Result<TetMesh, MeshError> {
    todo!()
}
