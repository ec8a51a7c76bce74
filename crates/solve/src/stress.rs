//! Stress: recovered at the nodes, part by part, never averaged across an interface.

use crate::element::{Element, stress_of};
use crate::quadrature::FOUR;
use crate::shape::{NODES, values};
use bicolumn_base::{SymTensor, Vec3};
use bicolumn_mesh::TetMesh;
use bicolumn_model::Problem;
use std::collections::BTreeMap;

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
            let nodes = problem.mesh().tets[t];
            let element = Element::new(nodes.map(|n| problem.mesh().nodes[n as usize]));
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

    /// Recovered stress at some part-nodes if this field were the elements' own: sampled where
    /// theirs is, carried to the nodes and averaged. The difference from the field is what recovery itself
    /// takes off or adds.
    pub fn recovered_again(
        &self,
        problem: &Problem,
        part_nodes: &PartNodes,
        wanted: &[u32],
    ) -> Vec<SymTensor> {
        let around = Around::new(problem, part_nodes, wanted);
        let mut sums = vec![SymTensor::zeros(); wanted.len()];
        for touch in &around.touches {
            let samples = FOUR.map(|(l, _)| self.at(part_nodes, touch.tet, l));
            for &(k, node) in &touch.wanted {
                sums[k] = sums[k] + through_samples(&samples, NODES[node]) * touch.volume;
            }
        }
        let mean = |(s, w): (SymTensor, &f64)| s * (1.0 / w);
        sums.into_iter().zip(&around.weights).map(mean).collect()
    }

    /// Nodal forces whose work on any displacement is Σ G : σ*, σ* the stress that [`StressField::recover`]
    /// finds of it at part-nodes, each with its own G: the transpose of recovery.
    pub fn load_of(
        problem: &Problem,
        part_nodes: &PartNodes,
        wanted: &[(u32, SymTensor)],
    ) -> Vec<Vec3> {
        let nodes: Vec<u32> = wanted.iter().map(|w| w.0).collect();
        let around = Around::new(problem, part_nodes, &nodes);
        let mut forces = vec![Vec3::zeros(); problem.mesh().nodes.len()];
        for touch in &around.touches {
            let tet = problem.mesh().tets[touch.tet];
            let element = Element::new(tet.map(|n| problem.mesh().nodes[n as usize]));
            let elasticity = problem.elasticity_of(touch.tet);
            for (s, (l, _)) in FOUR.into_iter().enumerate() {
                let mut pulled = SymTensor::zeros();
                for &(k, node) in &touch.wanted {
                    let share = sample_share(s, NODES[node]) * touch.volume / around.weights[k];
                    pulled = pulled + wanted[k].1 * share;
                }
                let pull = elasticity.stress(&pulled);
                let gradients = element.gradients(l).0;
                for (n, g) in tet.iter().zip(gradients) {
                    forces[*n as usize] += pull.traction(g);
                }
            }
        }
        forces
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
    let nodes = problem.mesh().tets[tet];
    let element = Element::new(nodes.map(|n| problem.mesh().nodes[n as usize]));
    let u = nodes.map(|n| displacement[n as usize]);
    element.stress(barycentric, &u, &problem.elasticity_of(tet))
}

/// The linear field through values at the points of [`FOUR`].
fn through_samples(samples: &[SymTensor; 4], l: [f64; 4]) -> SymTensor {
    let each = samples.iter().enumerate();
    each.fold(SymTensor::zeros(), |sum, (k, s)| {
        sum + *s * sample_share(k, l)
    })
}

/// Weight of sample k in the linear field through the points of [`FOUR`].
fn sample_share(k: usize, l: [f64; 4]) -> f64 {
    // At sample k, coordinate k is A and the others B: λ_k of the small tetrahedron of samples is
    // (l_k − B) / (A − B).
    let [a, b] = [FOUR[0].0[0], FOUR[0].0[1]];
    (l[k] - b) / (a - b)
}

/// The tetrahedra round some part-nodes.
struct Around {
    touches: Vec<Touch>,
    /// Volume of the tetrahedra round each part-node, mm³.
    weights: Vec<f64>,
}

/// A tetrahedron that has some of them.
struct Touch {
    tet: usize,
    volume: f64,
    /// (index among those asked for, local node).
    wanted: Vec<(usize, usize)>,
}

impl Around {
    fn new(problem: &Problem, part_nodes: &PartNodes, wanted: &[u32]) -> Self {
        let place: BTreeMap<u32, usize> = wanted.iter().copied().zip(0..).collect();
        let mut is_wanted = vec![false; part_nodes.node.len()];
        wanted.iter().for_each(|w| is_wanted[*w as usize] = true);
        let mut weights = vec![0.0; wanted.len()];
        let mut touches = vec![];
        for (t, of_tet) in part_nodes.of_tet.iter().enumerate() {
            if of_tet.iter().all(|n| !is_wanted[*n as usize]) {
                continue;
            }
            let tet = problem.mesh().tets[t];
            let volume = Element::new(tet.map(|n| problem.mesh().nodes[n as usize])).volume();
            let local = of_tet.iter().enumerate();
            let found: Vec<(usize, usize)> = local
                .filter_map(|(a, n)| place.get(n).map(|k| (*k, a)))
                .collect();
            for (k, _) in &found {
                weights[*k] += volume;
            }
            touches.push(Touch {
                tet: t,
                volume,
                wanted: found,
            });
        }
        Around { touches, weights }
    }
}
