//! A solved model with its stress recovered for every load case.

use crate::Solved;
use crate::facet_point::FacetPoint;
use bicolumn_base::{Fragment, Part};
use bicolumn_base::{SymTensor, Tissue, Vec3};
use bicolumn_mesh::TetMesh;
use bicolumn_model::Problem;
use bicolumn_solve::{PartNodes, StressField};

/// The stress of a solved problem, recovered once for all who read it: the measures, the files, and
/// every construct that is compared with the same intact bone.
#[derive(Debug, Clone, PartialEq)]
pub struct RecoveredStress {
    /// Numbering of the nodal values.
    pub part_nodes: PartNodes,
    /// Stress by load case, MPa.
    pub fields: Vec<StressField>,
}

impl RecoveredStress {
    /// Recovers the stress of every displacement field of a problem, see [`StressField::recover`].
    pub fn of(problem: &Problem, displacement: &[Vec<Vec3>]) -> Self {
        let part_nodes = PartNodes::of(problem.mesh());
        let all: Vec<&[Vec3]> = displacement.iter().map(Vec::as_slice).collect();
        let fields = StressField::recover_all(problem, &part_nodes, &all);
        RecoveredStress { part_nodes, fields }
    }
}

/// Mesh, displacement and stress of one model.
#[derive(Clone, Copy)]
pub(crate) struct Recovered<'a> {
    pub(crate) solved: Solved<'a>,
    pub(crate) mesh: &'a TetMesh,
    pub(crate) stress: &'a RecoveredStress,
}

impl<'a> Recovered<'a> {
    pub(crate) fn new(solved: Solved<'a>, stress: &'a RecoveredStress) -> Self {
        Recovered {
            solved,
            mesh: solved.problem.mesh(),
            stress,
        }
    }

    /// Stress of a load case at a facet point.
    pub(crate) fn stress_at(&self, case: usize, p: &FacetPoint) -> SymTensor {
        let stress = self.stress;
        stress.fields[case].at(&stress.part_nodes, p.tet as usize, p.barycentric)
    }

    /// Is the tetrahedron cortical bone of the proximal fragment (of the whole bone without one)?
    pub(crate) fn is_shaft_cortex(&self, tet: usize) -> bool {
        self.mesh.part_of(tet) == Part::Bone(Fragment::Proximal, Tissue::Cortical)
    }
}
