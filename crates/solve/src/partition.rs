//! Tetrahedra in chunks that lie together in space.

use crate::curve::position;
use bicolumn_base::{Aabb, Vec3};
use bicolumn_mesh::TetMesh;
use std::ops::Range;

/// Tetrahedra a chunk: the vectors of its nodes fit a core's own cache. Fixed, so that sums never depend on
/// the number of threads.
const CHUNK: usize = 2048;

/// The tetrahedra of a mesh in another order, in chunks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Partition {
    order: Vec<u32>,
}

impl Partition {
    /// Along the space-filling curve.
    pub fn new(mesh: &TetMesh) -> Self {
        let bounds = Aabb::around(&mesh.nodes);
        let mut keys: Vec<(u64, u32)> = (0u32..)
            .zip(&mesh.tets)
            .map(|(t, tet)| {
                let sum: Vec3 = tet[..4].iter().map(|n| mesh.nodes[*n as usize]).sum();
                (position(&bounds, sum / 4.0), t)
            })
            .collect();
        keys.sort_unstable();
        Partition {
            order: keys.into_iter().map(|k| k.1).collect(),
        }
    }

    /// Number of chunks.
    pub fn len(&self) -> usize {
        self.order.len().div_ceil(CHUNK)
    }

    /// Is there none?
    pub fn is_empty(&self) -> bool {
        self.order.is_empty()
    }

    /// Tetrahedra of each chunk.
    pub fn chunks(&self) -> impl Iterator<Item = &[u32]> {
        self.order.chunks(CHUNK)
    }
}

/// Rows of a chunk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChunkRows {
    /// Rows that no other chunk touches.
    pub inner: Range<usize>,
    /// Rows that chunks after it touch, too; they follow the inner ones.
    pub border: Range<usize>,
}
