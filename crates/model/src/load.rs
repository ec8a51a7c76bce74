//! Loads.

use bicolumn_base::Vec3;

/// Facets that share a load, with the area weights that make nodal forces consistent.
#[derive(Debug, Clone, PartialEq)]
pub struct Patch {
    /// Name: `capitellum`, `trochlea`.
    pub name: String,
    /// Indices into the mesh's facet list.
    pub facets: Vec<u32>,
}

/// A force and a moment to be spread over a patch.
#[derive(Debug, Clone, PartialEq)]
pub struct PatchLoad {
    /// Index of the patch.
    pub patch: usize,
    /// Resultant force, N.
    pub force_n: Vec3,
    /// Resultant moment about the patch's centroid, N·mm.
    pub moment_nmm: Vec3,
}

/// One load case: nodal forces that are statically equivalent to its resultant.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadCase {
    /// Name: `axial`, `posterior_bending`, ...
    pub name: String,
    /// Nodal forces (node, N), sorted by node, one entry a node.
    pub forces: Vec<(u32, Vec3)>,
}

impl LoadCase {
    /// Sum of the forces, N.
    pub fn resultant_force(&self) -> Vec3 {
        self.forces.iter().map(|f| f.1).sum()
    }

    /// Moment of the forces about a point, N·mm.
    pub fn resultant_moment(&self, nodes: &[Vec3], about: Vec3) -> Vec3 {
        self.forces
            .iter()
            .map(|(n, f)| (nodes[*n as usize] - about).cross(f))
            .sum()
    }
}
