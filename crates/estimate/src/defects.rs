//! Smoothed stress less the elements' own, and products of such differences.

use bicolumn_base::{Mat3, SymTensor, Vec3};
use bicolumn_model::{Elasticity, Problem};
use bicolumn_solve::element::Element;
use bicolumn_solve::quadrature::FOURTEEN;
use bicolumn_solve::shape::{EDGES, NODES, values};
use bicolumn_solve::{PartNodes, StressField, stress_of};
use bicolumn_sparse::Team;
use nalgebra::Matrix6;
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
        // C⁻¹ and the mass matrix act on the first field of a pair: fields that come first are few.
        let mut first: Vec<usize> = pairs.iter().map(|p| p.0).collect();
        first.sort_unstable();
        first.dedup();
        let mut place = vec![0; self.displacements.len()];
        for (k, field) in first.iter().enumerate() {
            place[*field] = k;
        }
        let of_chunk = team.collect(tets.div_ceil(CHUNK), |c| {
            let range = c * CHUNK..tets.min((c + 1) * CHUNK);
            let mut found = vec![Product::default(); pairs.len()];
            let mut compliance: Option<(Elasticity, Matrix6<f64>)> = None;
            let none = [Components::zeros(); MOST_POINTS];
            let mut defects = vec![none; self.displacements.len()];
            let mut weighted = vec![none; first.len()];
            for t in range {
                let elasticity = self.problem.elasticity_of(t);
                let compliance = match &compliance {
                    Some((of, found)) if *of == elasticity => *found,
                    _ => {
                        let found = elasticity.compliance().0;
                        compliance.insert((elasticity, found)).1
                    }
                };
                let points = self.of_element(t, &elasticity, &mut defects);
                for (to, field) in weighted.iter_mut().zip(&first) {
                    let strain = defects[*field].map(|d| compliance * d);
                    if points == MASS_POINTS {
                        for (to, row) in to.iter_mut().zip(&*MASS) {
                            let terms = row.iter().zip(strain);
                            *to = terms.fold(Components::zeros(), |s, (m, d)| s + d * *m);
                        }
                    } else {
                        *to = strain;
                    }
                }
                for (p, &(a, b)) in found.iter_mut().zip(pairs) {
                    let both = weighted[place[a]][..points].iter();
                    let both = both.zip(&defects[b][..points]);
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

    /// The differences of one element, by field: at the ten nodes of a straight one, times the root of its volume, at points of
    /// weight one of a curved one; how many.
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
            // quadratic, and the quadratic's mass matrix integrates its square.
            let gradients = barycentric_gradients(&element);
            let scale = element.volume().sqrt();
            for ((u, smooth), out) in fields.zip(out) {
                let own = corner_stress(&gradients, &u, elasticity);
                for (a, to) in out[..MASS_POINTS].iter_mut().enumerate() {
                    let linear = match a.checked_sub(4) {
                        None => own[a],
                        Some(edge) => {
                            let [i, j] = EDGES[edge];
                            (own[i] + own[j]) * 0.5
                        }
                    };
                    *to = (smooth[a] - linear).0 * scale;
                }
            }
            MASS_POINTS
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

/// Gradients of the barycentric coordinates of a straight element, 1/mm.
fn barycentric_gradients(element: &Element) -> [Vec3; 4] {
    // At corner 0 the gradients of the other corners' shape functions are −∇λ.
    let [_, g1, g2, g3, ..] = element.gradients(NODES[0]).0;
    [g1 + g2 + g3, -g1, -g2, -g3]
}

/// Stress of a straight element at its corners, MPa. There, of the gradients of the shape functions, corner k has 3 ∇λₖ,
/// another corner j −∇λⱼ, the edge between them 4 ∇λⱼ, other edges none.
fn corner_stress(
    gradients: &[Vec3; 4],
    displacement: &[Vec3; 10],
    elasticity: &Elasticity,
) -> [SymTensor; 4] {
    let mut slopes: [Mat3; 4] =
        std::array::from_fn(|k| displacement[k] * 3.0 * gradients[k].transpose());
    for (edge, [i, j]) in EDGES.into_iter().enumerate() {
        let middle = displacement[4 + edge] * 4.0;
        slopes[i] += (middle - displacement[j]) * gradients[j].transpose();
        slopes[j] += (middle - displacement[i]) * gradients[i].transpose();
    }
    slopes.map(|slope| elasticity.stress(&SymTensor::from_matrix(&slope)))
}

type Components = nalgebra::Vector6<f64>;
/// Points of an element with curved edges, which has more than a straight one.
const MOST_POINTS: usize = FOURTEEN.len();

/// Values that a straight element's difference is known by.
const MASS_POINTS: usize = 10;

/// Mass matrix of the ten shape functions over a straight tetrahedron of unit volume.
static MASS: LazyLock<[[f64; MASS_POINTS]; MASS_POINTS]> = LazyLock::new(|| {
    let mut mass = [[0.0; MASS_POINTS]; MASS_POINTS];
    for (l, weight) in FOURTEEN {
        let n = values(l);
        for (row, a) in mass.iter_mut().zip(n) {
            for (m, b) in row.iter_mut().zip(n) {
                *m += a * b * weight;
            }
        }
    }
    mass
});
