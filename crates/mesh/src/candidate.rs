//! Finished complex before its checks.

use bicolumn_base::{Part, Vec3};

/// Labelled tetrahedra with the classification of their vertices, ready to be checked.
#[derive(Clone)]
pub(crate) struct Candidate {
    pub(crate) position: Vec<Vec3>,
    /// Surfaces of each vertex.
    pub(crate) on: Vec<u128>,
    pub(crate) tets: Vec<[u32; 4]>,
    pub(crate) part: Vec<Part>,
}

impl Candidate {
    pub(crate) fn corners(&self, t: usize) -> [Vec3; 4] {
        self.tets[t].map(|v| self.position[v as usize])
    }
}
