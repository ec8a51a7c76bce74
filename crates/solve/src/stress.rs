//! Stress: recovered at the nodes, part by part, never averaged across an interface.

use bicolumn_base::{SymTensor, Vec3};
use bicolumn_mesh::TetMesh;
use bicolumn_model::Problem;

/// Numbering of (part, node) pairs: a node on an interface has one number for each part it touches.
#[derive(Debug, Clone, PartialEq)]
pub struct PartNodes {
    /// Part-node of each local node of each tetrahedron.
    pub of_tet: Vec<[u32; 10]>,
    /// Mesh node of each part-node.
    pub node: Vec<u32>,
    /// Part of each part-node: index in the mesh's `parts`.
    pub part: Vec<u16>,
}

impl PartNodes {
    /// Numbers the pairs of a mesh, in order of first appearance.
    pub fn of(_mesh: &TetMesh) -> Self {
        todo!()
    }
}

/// Recovered stress of one load case.
#[derive(Debug, Clone, PartialEq)]
pub struct StressField {
    /// Stress at each part-node, MPa.
    pub values: Vec<SymTensor>,
}

impl StressField {
    /// Recovers the stress of one displacement field.
    pub fn recover(_problem: &Problem, _part_nodes: &PartNodes, _displacement: &[Vec3]) -> Self {
        todo!()
    }

    /// Stress inside a tetrahedron at barycentric coordinates, by quadratic interpolation.
    pub fn at(&self, _part_nodes: &PartNodes, _tet: usize, _barycentric: [f64; 4]) -> SymTensor {
        todo!()
    }
}
