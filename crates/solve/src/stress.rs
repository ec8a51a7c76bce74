//! Stress: recovered at the nodes, part by part, never averaged across an interface.

use crate::element::{Element, stress_of};
use crate::quadrature::FOUR;
use crate::shape::{NODES, values};
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
    pub fn of(mesh: &TetMesh) -> Self {
        // Part-nodes of one node form a chain; nearly all have one link.
        const END: u32 = u32::MAX;
        let mut first = vec![END; mesh.nodes.len()];
        let mut next: Vec<u32> = vec![];
        let (mut node, mut part) = (vec![], vec![]);
        let of_tet = mesh
            .tets
            .iter()
            .zip(&mesh.part)
            .map(|(tet, &p)| {
                tet.map(|n| {
                    let mut at = first[n as usize];
                    while at != END && part[at as usize] != p {
                        at = next[at as usize];
                    }
                    if at == END {
                        at = node.len() as u32;
                        node.push(n);
                        part.push(p);
                        next.push(first[n as usize]);
                        first[n as usize] = at;
                    }
                    at
                })
            })
            .collect();
        PartNodes { of_tet, node, part }
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
    ///
    /// In each element the stress is sampled at the four points where it is most accurate (Barlow 1976,
    /// Int J Numer Methods Eng 10:243), carried to the ten nodes by the linear field through them, and
    /// averaged at each part-node with the element volumes as weights. Constant stress comes back
    /// exactly on any mesh, linear stress exactly on straight-sided elements.
    pub fn recover(problem: &Problem, part_nodes: &PartNodes, displacement: &[Vec3]) -> Self {
        let mut fields = Self::recover_all(problem, part_nodes, &[displacement]);
        fields.swap_remove(0)
    }

    /// The same for several displacement fields at once: each element's geometry is worked out once for
    /// all of them. The values are those of [`StressField::recover`], bit for bit.
    pub fn recover_all(
        problem: &Problem,
        part_nodes: &PartNodes,
        displacements: &[&[Vec3]],
    ) -> Vec<Self> {
        let count = part_nodes.node.len();
        let mut sums = vec![vec![SymTensor::zeros(); count]; displacements.len()];
        let mut weights = vec![0.0; count];
        for (t, to) in part_nodes.of_tet.iter().enumerate() {
            let nodes = problem.mesh.tets[t];
            let element = Element::new(nodes.map(|n| problem.mesh.nodes[n as usize]));
            let elasticity = problem.elasticity_of(t);
            let gradients = FOUR.map(|(l, _)| element.gradients(l).0);
            let volume = element.volume();
            for &at in to {
                weights[at as usize] += volume;
            }
            for (u, sums) in displacements.iter().zip(&mut sums) {
                let u = nodes.map(|n| u[n as usize]);
                let samples = gradients.map(|g| stress_of(&g, &u, &elasticity));
                for (&at, l) in to.iter().zip(NODES) {
                    sums[at as usize] = sums[at as usize] + through_samples(&samples, l) * volume;
                }
            }
        }
        let mean = |(s, w): (SymTensor, &f64)| s * (1.0 / w);
        sums.into_iter()
            .map(|sums| StressField {
                values: sums.into_iter().zip(&weights).map(mean).collect(),
            })
            .collect()
    }

    /// Stress inside a tetrahedron at barycentric coordinates, by quadratic interpolation.
    pub fn at(&self, part_nodes: &PartNodes, tet: usize, barycentric: [f64; 4]) -> SymTensor {
        part_nodes.of_tet[tet]
            .iter()
            .zip(values(barycentric))
            .fold(SymTensor::zeros(), |s, (&at, n)| {
                s + self.values[at as usize] * n
            })
    }
}

/// The element's own stress, not recovered, at barycentric coordinates, MPa.
pub fn element_stress(
    problem: &Problem,
    displacement: &[Vec3],
    tet: usize,
    barycentric: [f64; 4],
) -> SymTensor {
    let nodes = problem.mesh.tets[tet];
    let element = Element::new(nodes.map(|n| problem.mesh.nodes[n as usize]));
    let u = nodes.map(|n| displacement[n as usize]);
    element.stress(barycentric, &u, &problem.elasticity_of(tet))
}

/// The linear field through values at the points of [`FOUR`].
fn through_samples(samples: &[SymTensor; 4], l: [f64; 4]) -> SymTensor {
    // At sample k, coordinate k is A and the others B: λ_k of the small tetrahedron of samples is
    // (l_k − B) / (A − B).
    let [a, b] = [FOUR[0].0[0], FOUR[0].0[1]];
    samples
        .iter()
        .zip(l)
        .fold(SymTensor::zeros(), |sum, (s, l)| {
            sum + *s * ((l - b) / (a - b))
        })
}
