//! Smoothed stress less the elements' own, and products of such differences.

use bicolumn_base::{SymTensor, Vec3};
use bicolumn_model::{Elasticity, Problem};
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
    /// Defects of displacement fields and their stress smoothed by [`crate::Smoothing`], in the same order.
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
        let tets = self.problem.mesh().tets.len();
        let of_chunk = team.collect(tets.div_ceil(CHUNK), |c| {
            let range = c * CHUNK..tets.min((c + 1) * CHUNK);
            let mut found = vec![Product::default(); pairs.len()];
            let mut root: Option<(Elasticity, Root)> = None;
            let mut defects = vec![[Components::zeros(); MOST_POINTS]; self.displacements.len()];
            for t in range {
                let elasticity = self.problem.elasticity_of(t);
                let root = match &root {
                    Some((of, root)) if *of == elasticity => *root,
                    _ => root.insert((elasticity, root_of(&elasticity))).1,
                };
                let points = self.of_element(t, &elasticity, &mut defects);
                for defect in &mut defects {
                    for d in &mut defect[..points] {
                        *d = root * *d;
                    }
                }
                for (p, &(a, b)) in found.iter_mut().zip(pairs) {
                    let both = defects[a][..points].iter().zip(&defects[b][..points]);
                    let value = both.map(|(a, b)| a.dot(b)).sum::<f64>();
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

    /// The differences of one element, by field, at points of weight one; how many points.
    fn of_element(
        &self,
        t: usize,
        elasticity: &Elasticity,
        out: &mut [[Components; MOST_POINTS]],
    ) -> usize {
        let mesh = self.problem.mesh();
        let element = Element::new(mesh.tets[t].map(|n| mesh.nodes[n as usize]));
        let nodes = self.part_nodes.of_tet[t];
        let fields = self.displacements.iter().zip(self.smoothed).map(|(u, s)| {
            let u = mesh.tets[t].map(|n| u[n as usize]);
            (u, nodes.map(|n| s.values[n as usize]))
        });
        if element.is_straight() {
            // The element's stress is linear: its values at the corners say it all, the difference is a
            // quadratic, and the factor of the quadratic's mass matrix integrates its square.
            let gradients = [0, 1, 2, 3].map(|k| element.gradients(NODES[k]).0);
            let scale = element.volume().sqrt();
            for ((u, smooth), out) in fields.zip(out) {
                let own = gradients.map(|g| stress_of(&g, &u, elasticity));
                let difference: [Components; 10] = std::array::from_fn(|a| {
                    let linear = own.iter().zip(NODES[a]);
                    let linear = linear.fold(SymTensor::zeros(), |s, (o, l)| s + *o * l);
                    (smooth[a] - linear).0 * scale
                });
                for (b, to) in out[..10].iter_mut().enumerate() {
                    *to = weighted(b, &difference);
                }
            }
            10
        } else {
            let points = FOURTEEN.map(|(l, weight)| {
                let (gradients, det) = element.gradients(l);
                (gradients, values(l), (weight * det / 6.0).sqrt())
            });
            for ((u, smooth), out) in fields.zip(out) {
                for ((gradients, shape, scale), to) in points.iter().zip(out) {
                    let smoothed = smooth.iter().zip(shape);
                    let smoothed = smoothed.fold(SymTensor::zeros(), |s, (v, n)| s + *v * *n);
                    *to = (smoothed - stress_of(gradients, &u, elasticity)).0 * *scale;
                }
            }
            FOURTEEN.len()
        }
    }
}

type Components = nalgebra::Vector6<f64>;
/// Points of an element with curved edges, which has more than a straight one.
const MOST_POINTS: usize = FOURTEEN.len();

/// R with a : C⁻¹ : b = (R a)·(R b).
type Root = nalgebra::Matrix6<f64>;

fn root_of(elasticity: &Elasticity) -> Root {
    // Every admissible elasticity has a positive definite compliance.
    Cholesky::new_unchecked(elasticity.compliance().0)
        .unpack()
        .transpose()
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
