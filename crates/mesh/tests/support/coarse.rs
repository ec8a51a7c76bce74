//! The sizing of tests that make many meshes.

use bicolumn_mesh::Sizing;

/// For many meshes in little time. Coarser cells take longer: more designs then need another lattice.
pub(crate) fn coarse() -> Sizing {
    Sizing {
        finest_mm: 2.0,
        screw_ratio: 1.3,
        wall_ratio: 2.0,
        growth: 0.7,
        ..Sizing::default()
    }
}
