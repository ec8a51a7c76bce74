//! The sizing of tests that make many meshes.

use bicolumn_mesh::Sizing;

/// Cells about as coarse as these designs bear: for many meshes in little time.
pub(crate) fn coarse() -> Sizing {
    Sizing {
        finest_mm: 2.5,
        screw_ratio: 1.6,
        wall_ratio: 2.5,
        growth: 1.0,
        ..Sizing::default()
    }
}
