//! Cuts through a part of the mesh.

use bicolumn_base::{Part, Vec3};
use bicolumn_mesh::TetMesh;
use std::collections::BTreeSet;

/// The tetrahedra of a part that a cut passes, and their nodes on its pulled side.
pub(crate) fn slab(
    mesh: &TetMesh,
    part: Part,
    is_pulled: impl Fn(Vec3) -> bool,
) -> (Vec<u32>, Vec<u32>) {
    let is_pulled = |n: &u32| is_pulled(mesh.nodes[*n as usize]);
    let tets: Vec<u32> = (0..mesh.tets.len() as u32)
        .filter(|t| mesh.part_of(*t as usize) == part)
        .filter(|t| {
            let nodes = &mesh.tets[*t as usize];
            nodes.iter().any(is_pulled) && !nodes.iter().all(is_pulled)
        })
        .collect();
    let nodes = tets.iter().flat_map(|t| mesh.tets[*t as usize]);
    let pulled: BTreeSet<u32> = nodes.filter(is_pulled).collect();
    (tets, pulled.into_iter().collect())
}
