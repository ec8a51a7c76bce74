//! Smoothed stress less the elements' own, and products of such differences.

use bicolumn_base::{SymTensor, Vec3};
use bicolumn_model::{Compliance, Elasticity, Problem};
use bicolumn_solve::element::Element;
use bicolumn_solve::quadrature::FOURTEEN;
use bicolumn_solve::shape::{NODES, values};
use bicolumn_solve::{PartNodes, StressField, stress_of};
use bicolumn_sparse::Team;
use nalgebra::{Cholesky, SMatrix};
use std::sync::LazyLock;

/// Elements a job takes: fixed, so that sums do not depend on the number of threads.
const CHUNK: usize = 2048;

/// Displacement fields with their smoothed stress.
pub struct Defects<'a> {
    problem: &'a Problem,
    part_nodes: &'a PartNodes,
    displacements: &'a [&'a [Vec3]],
    smoothed: &'a [StressField],
}

/// Two of the fields, by index; the same twice for the energy of one.
pub type Pair = (usize, usize);

/// ∫ (σ* − σ) : C⁻¹ : (σ* − σ) of two fields over the body, N·mm.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Product {
    /// The integral.
    pub sum: f64,
    /// The sum of the absolute values of the elements' parts: what would be left without cancellation.
    pub absolute: f64,
    /// The elements' parts, where they were asked for.
    pub by_element: Vec<f64>,
}

impl<'a> Defects<'a> {
    /// Of fields and their stress smoothed by [`crate::Smoothing`], in the same order.
    pub fn new(
        problem: &'a Problem,
        part_nodes: &'a PartNodes,
        displacements: &'a [&'a [Vec3]],
        smoothed: &'a [StressField],
    ) -> Self {
        Defects {
            problem,
            part_nodes,
            displacements,
            smoothed,
        }
    }

    /// The estimated energy norm of each field's error, √∫ (σ* − σ) : C⁻¹ : (σ* − σ), √(N·mm). With the
    /// work f·u of its load, the relative error is that over √(f·u + its square).
    pub fn energy(&self, team: &Team) -> Vec<f64> {
        let own: Vec<Pair> = (0..self.displacements.len()).map(|k| (k, k)).collect();
        let products = self.products(team, &own, false);
        products.iter().map(|p| p.sum.max(0.0).sqrt()).collect()
    }

    /// The products of pairs of fields, and where wanted of every element.
    pub fn products(&self, team: &Team, pairs: &[Pair], by_element: bool) -> Vec<Product> {
        let tets = self.problem.mesh.tets.len();
        let of_chunk = team.collect(tets.div_ceil(CHUNK), |c| {
            let range = c * CHUNK..tets.min((c + 1) * CHUNK);
            let mut found = vec![Product::default(); pairs.len()];
            let mut compliance: Option<(Elasticity, Compliance)> = None;
            let mut defects = vec![];
            let mut strained = vec![];
            for t in range {
                let elasticity = self.problem.elasticity_of(t);
                let compliance = match &compliance {
                    Some((of, c)) if *of == elasticity => *c,
                    _ => compliance.insert((elasticity, elasticity.compliance())).1,
                };
                self.of_element(t, &elasticity, &mut defects);
                let each = strained_of(&defects, &compliance);
                strained.clear();
                strained.extend(each);
                for (p, &(a, b)) in found.iter_mut().zip(pairs) {
                    let (a, b) = (&defects[a], &strained[b]);
                    let value = (0..a.len()).map(|q| a[q].dot(&b[q])).sum::<f64>();
                    p.sum += value;
                    p.absolute += value.abs();
                    if by_element {
                        p.by_element.push(value);
                    }
                }
            }
            found
        });
        let mut all = vec![Product::default(); pairs.len()];
        for chunk in of_chunk {
            for (to, from) in all.iter_mut().zip(chunk) {
                to.sum += from.sum;
                to.absolute += from.absolute;
                to.by_element.extend(from.by_element);
            }
        }
        all
    }

    /// The differences of one element, by field: six components at points of weight one.
    fn of_element(&self, t: usize, elasticity: &Elasticity, out: &mut Vec<Vec<Components>>) {
        let mesh = &*self.problem.mesh;
        let element = Element::new(mesh.tets[t].map(|n| mesh.nodes[n as usize]));
        let nodes = self.part_nodes.of_tet[t];
        let smooth = |f: usize| nodes.map(|n| self.smoothed[f].values[n as usize]);
        let local = |f: usize| mesh.tets[t].map(|n| self.displacements[f][n as usize]);
        out.clear();
        if element.is_straight() {
            // The element's stress is linear: its values at the corners say it all, the difference is a
            // quadratic, and the factor of the quadratic's mass matrix integrates its square.
            let gradients = [0, 1, 2, 3].map(|k| element.gradients(NODES[k]).0);
            let scale = element.volume().sqrt();
            for f in 0..self.displacements.len() {
                let u = local(f);
                let own = gradients.map(|g| stress_of(&g, &u, elasticity));
                let smooth = smooth(f);
                let difference: [Components; 10] = std::array::from_fn(|a| {
                    let linear = own.iter().zip(NODES[a]);
                    let linear = linear.fold(SymTensor::zeros(), |s, (o, l)| s + *o * l);
                    (smooth[a] - linear).0
                });
                out.push((0..10).map(|b| weighted(b, &difference) * scale).collect());
            }
        } else {
            let points = FOURTEEN.map(|(l, weight)| {
                let (gradients, det) = element.gradients(l);
                (gradients, values(l), (weight * det / 6.0).sqrt())
            });
            for f in 0..self.displacements.len() {
                let u = local(f);
                let smooth = smooth(f);
                let at = |(gradients, shape, scale): &([Vec3; 10], [f64; 10], f64)| {
                    let smoothed = smooth.iter().zip(shape);
                    let smoothed = smoothed.fold(SymTensor::zeros(), |s, (v, n)| s + *v * *n);
                    (smoothed - stress_of(gradients, &u, elasticity)).0 * *scale
                };
                out.push(points.iter().map(at).collect());
            }
        }
    }
}

type Components = nalgebra::Vector6<f64>;

fn strained_of<'b>(
    defects: &'b [Vec<Components>],
    compliance: &'b Compliance,
) -> impl Iterator<Item = Vec<Components>> + 'b {
    let each = |d: &'b Vec<Components>| d.iter().map(|s| compliance.0 * s).collect();
    defects.iter().map(each)
}

/// Row b of Lᵀ d, with M = L Lᵀ the mass matrix of the quadratic shape functions on a unit volume.
fn weighted(b: usize, d: &[Components; 10]) -> Components {
    let l = &*MASS_FACTOR;
    (b..10).fold(Components::zeros(), |s, a| s + d[a] * l[(a, b)])
}

/// The factor L of the mass matrix of the ten shape functions over a straight tetrahedron of unit volume.
static MASS_FACTOR: LazyLock<SMatrix<f64, 10, 10>> = LazyLock::new(|| {
    let mut mass = SMatrix::<f64, 10, 10>::zeros();
    for (l, weight) in FOURTEEN {
        let n = SMatrix::<f64, 10, 1>::from(values(l));
        mass += n * n.transpose() * weight;
    }
    // Shape functions are independent, so that the matrix is positive definite.
    Cholesky::new_unchecked(mass).unpack()
});
