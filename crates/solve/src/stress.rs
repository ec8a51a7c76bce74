//! Stress: recovered at the nodes, part by part, never averaged across an interface.

use crate::element::Element;
use crate::quadrature::FOUR;
use crate::shape::{NODES, values};
use bicolumn_base::{SymTensor, Vec3};
use bicolumn_mesh::TetMesh;
use bicolumn_model::{Elasticity, Problem};

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
        let count = part_nodes.node.len();
        let mut sums = vec![SymTensor::zeros(); count];
        let mut weights = vec![0.0; count];
        for (t, to) in part_nodes.of_tet.iter().enumerate() {
            let (element, u, elasticity) = of_tet(problem, t, displacement);
            let samples = FOUR.map(|(l, _)| element.stress(l, &u, &elasticity));
            let volume = element.volume();
            for (&at, l) in to.iter().zip(NODES) {
                sums[at as usize] = sums[at as usize] + through_samples(&samples, l) * volume;
                weights[at as usize] += volume;
            }
        }
        let values = sums
            .into_iter()
            .zip(weights)
            .map(|(s, w)| s * (1.0 / w))
            .collect();
        StressField { values }
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
    let (element, u, elasticity) = of_tet(problem, tet, displacement);
    element.stress(barycentric, &u, &elasticity)
}

fn of_tet(
    problem: &Problem,
    tet: usize,
    displacement: &[Vec3],
) -> (Element, [Vec3; 10], Elasticity) {
    let nodes = problem.mesh.tets[tet];
    (
        Element::new(nodes.map(|n| problem.mesh.nodes[n as usize])),
        nodes.map(|n| displacement[n as usize]),
        problem.elasticity_of(tet),
    )
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
