//! Stress smoothed over patches: a quadratic fitted round each corner to the stress of its elements.
//!
//! Round each corner of each part, all elements of that part give their stress at the four points where
//! it is most accurate; a full quadratic goes through them by least squares (Zienkiewicz and Zhu 1992,
//! Int J Numer Methods Eng 33:1331). A corner takes the value of its own quadratic, the middle of an edge
//! the mean of those of its two ends. Quadratic stress comes back exactly on straight-sided elements.

use bicolumn_base::{SymTensor, Vec3};
use bicolumn_model::Problem;
use bicolumn_solve::element::Element;
use bicolumn_solve::quadrature::FOUR;
use bicolumn_solve::shape::EDGES;
use bicolumn_solve::{PartNodes, StressField, stress_of};
use bicolumn_sparse::Team;
use nalgebra::{Cholesky, Const, SMatrix};

/// Terms of a quadratic in space.
const TERMS: usize = 10;
/// Weight, for each sample, that draws the curvature of a fit to zero: what few elements at a boundary or
/// in a thin part leave open is left straight. Beside a hole on three meshes (`crates/verify/tests/error_estimate.rs`) the estimate of
/// the peak stress, with its sign, came to 0.6, 0.3 and 0.0 of the error at 1e-4, 0.7, 0.8 and 0.4 at 1e-5, 0.7, 1.1
/// and 1.1 at 1e-6, where the energy was overestimated by a tenth.
const FLATTENING: f64 = 1e-5;

/// Fields that are smoothed together: what an element's geometry costs is shared. A fixed number, so that the
/// bits do not depend on the threads.
const TOGETHER: usize = 4;
/// Stress components of these.
const COLUMNS: usize = 6 * TOGETHER;

type Square = SMatrix<f64, TERMS, TERMS>;
type Coefficients = SMatrix<f64, TERMS, COLUMNS>;

/// The patches of a problem's mesh, ready for any number of stress fields.
pub struct Smoothing<'a> {
    problem: &'a Problem,
    part_nodes: &'a PartNodes,
    /// Patch of each part-node that is a corner.
    patch_of: Vec<u32>,
    patches: Vec<Patch>,
}

/// The fit round one corner.
struct Patch {
    centre: Vec3,
    /// Distance to the farthest sample, mm.
    radius: f64,
    factor: Cholesky<f64, Const<TERMS>>,
}

/// No patch: the part-node is the middle of an edge.
const NONE: u32 = u32::MAX;

impl<'a> Smoothing<'a> {
    /// Lays the patches.
    pub fn new(problem: &'a Problem, part_nodes: &'a PartNodes) -> Self {
        let mesh = problem.mesh();
        let mut patch_of = vec![NONE; part_nodes.node.len()];
        let mut centres: Vec<Vec3> = vec![];
        for of_tet in &part_nodes.of_tet {
            for &at in &of_tet[..4] {
                if patch_of[at as usize] == NONE {
                    patch_of[at as usize] = centres.len() as u32;
                    centres.push(mesh.nodes[part_nodes.node[at as usize] as usize]);
                }
            }
        }
        let samples = |t: usize| {
            let element = Element::new(mesh.tets[t].map(|n| mesh.nodes[n as usize]));
            FOUR.map(|(l, _)| element.position(l))
        };
        let mut radius = vec![0.0_f64; centres.len()];
        for (t, of_tet) in part_nodes.of_tet.iter().enumerate() {
            let at = samples(t);
            for &corner in &of_tet[..4] {
                let patch = patch_of[corner as usize] as usize;
                for x in at {
                    radius[patch] = radius[patch].max((x - centres[patch]).norm());
                }
            }
        }
        let mut normal = vec![Square::zeros(); centres.len()];
        let mut count = vec![0.0; centres.len()];
        for (t, of_tet) in part_nodes.of_tet.iter().enumerate() {
            let at = samples(t);
            for &corner in &of_tet[..4] {
                let patch = patch_of[corner as usize] as usize;
                for x in at {
                    let terms = terms(x, centres[patch], radius[patch]);
                    for i in 0..TERMS {
                        for j in 0..=i {
                            normal[patch][(i, j)] += terms[i] * terms[j];
                        }
                    }
                    count[patch] += 1.0;
                }
            }
        }
        let patches = normal.into_iter().enumerate().map(|(k, mut normal)| {
            for i in 4..TERMS {
                normal[(i, i)] += FLATTENING * count[k];
            }
            Patch {
                centre: centres[k],
                radius: radius[k],
                // One element's four samples settle the straight part and the flattening the rest, so that the
                // matrix is positive definite.
                factor: Cholesky::new_unchecked(normal),
            }
        });
        Smoothing {
            problem,
            part_nodes,
            patch_of,
            patches: patches.collect(),
        }
    }

    /// The smoothed stress of displacement fields.
    pub fn smooth(&self, team: &Team, displacements: &[&[Vec3]]) -> Vec<StressField> {
        let groups = displacements.chunks(TOGETHER).collect();
        let smoothed = team.map(groups, |group| self.smooth_group(group));
        smoothed.into_iter().flatten().collect()
    }

    fn smooth_group(&self, displacements: &[&[Vec3]]) -> Vec<StressField> {
        let mesh = self.problem.mesh();
        let mut sums = vec![Coefficients::zeros(); self.patches.len()];
        for (t, of_tet) in self.part_nodes.of_tet.iter().enumerate() {
            let tet = mesh.tets[t];
            let element = Element::new(tet.map(|n| mesh.nodes[n as usize]));
            let elasticity = self.problem.elasticity_of(t);
            let corners = [0, 1, 2, 3].map(|k| self.patch_of[of_tet[k] as usize] as usize);
            for (l, _) in FOUR {
                let gradients = element.gradients(l).0;
                let x = element.position(l);
                let mut samples = [0.0; COLUMNS];
                for (u, to) in displacements.iter().zip(samples.chunks_exact_mut(6)) {
                    let u = tet.map(|n| u[n as usize]);
                    let stress = stress_of(&gradients, &u, &elasticity);
                    to.copy_from_slice(stress.0.as_slice());
                }
                for k in corners {
                    let patch = &self.patches[k];
                    let terms = terms(x, patch.centre, patch.radius);
                    let columns = sums[k].as_mut_slice().chunks_exact_mut(TERMS);
                    for (column, s) in columns.zip(samples) {
                        for (to, term) in column.iter_mut().zip(terms) {
                            *to += term * s;
                        }
                    }
                }
            }
        }
        for (sum, patch) in sums.iter_mut().zip(&self.patches) {
            patch.factor.solve_mut(sum);
        }
        let none = vec![SymTensor::zeros(); self.part_nodes.node.len()];
        let mut fields = vec![StressField { values: none }; displacements.len()];
        let at = |corner: u32, x: Vec3| {
            let k = self.patch_of[corner as usize] as usize;
            let patch = &self.patches[k];
            let terms = SMatrix::<f64, TERMS, 1>::from(terms(x, patch.centre, patch.radius));
            sums[k].tr_mul(&terms)
        };
        let mut done = vec![false; self.part_nodes.node.len()];
        for of_tet in &self.part_nodes.of_tet {
            for (k, &node) in of_tet.iter().enumerate() {
                if std::mem::replace(&mut done[node as usize], true) {
                    continue;
                }
                let x = mesh.nodes[self.part_nodes.node[node as usize] as usize];
                let found = match k.checked_sub(4) {
                    None => at(node, x),
                    Some(edge) => {
                        let [i, j] = EDGES[edge];
                        (at(of_tet[i], x) + at(of_tet[j], x)) * 0.5
                    }
                };
                for (field, stress) in fields.iter_mut().zip(found.as_slice().chunks_exact(6)) {
                    field.values[node as usize].0.copy_from_slice(stress);
                }
            }
        }
        fields
    }
}

/// 1, x, y, z, x², y², z², xy, yz, zx of a place in the patch's own measure.
fn terms(x: Vec3, centre: Vec3, radius: f64) -> [f64; TERMS] {
    let r = (x - centre) / radius;
    [
        1.0,
        r.x,
        r.y,
        r.z,
        r.x * r.x,
        r.y * r.y,
        r.z * r.z,
        r.x * r.y,
        r.y * r.z,
        r.z * r.x,
    ]
}
