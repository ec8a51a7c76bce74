//! A solved model with its stress recovered for every load case.

use crate::Solved;
use crate::facet_point::FacetPoint;
use bicolumn_base::{Fragment, Part};
use bicolumn_base::{SymTensor, Tissue};
use bicolumn_mesh::TetMesh;
use bicolumn_solve::{PartNodes, StressField};

/// Mesh, displacement and stress of one model.
pub(crate) struct Recovered<'a> {
    pub(crate) solved: Solved<'a>,
    pub(crate) mesh: &'a TetMesh,
    pub(crate) part_nodes: PartNodes,
    /// By load case.
    pub(crate) stress: Vec<StressField>,
}

impl<'a> Recovered<'a> {
    pub(crate) fn new(solved: Solved<'a>) -> Self {
        let mesh: &'a TetMesh = &solved.problem.mesh;
        let part_nodes = PartNodes::of(mesh);
        let stress = solved
            .solution
            .displacement
            .iter()
            .map(|u| StressField::recover(solved.problem, &part_nodes, u))
            .collect();
        Recovered {
            solved,
            mesh,
            part_nodes,
            stress,
        }
    }

    /// Stress of a load case at a facet point.
    pub(crate) fn stress_at(&self, case: usize, p: &FacetPoint) -> SymTensor {
        self.stress[case].at(&self.part_nodes, p.tet as usize, p.barycentric)
    }

    /// Is the tetrahedron cortical bone of the proximal fragment (of the whole bone without one)?
    pub(crate) fn is_shaft_cortex(&self, tet: usize) -> bool {
        self.mesh.part_of(tet) == Part::Bone(Fragment::Proximal, Tissue::Cortical)
    }
}
