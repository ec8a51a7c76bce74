//! The ten-node tetrahedron: geometry, stiffness, strain.

use crate::quadrature::{FOUR, FOURTEEN, Point};
use crate::shape::{EDGES, derivatives};
use bicolumn_base::{Mat3, SymTensor, Vec3};
use bicolumn_model::{Along, Elasticity};
use bicolumn_sparse::Block;

/// A midside node farther from its chord's middle than this share of the chord makes an element curved.
const STRAIGHT: f64 = 1e-9;

/// The stiffness of one element: the 55 blocks (a, b), a ≤ b, row by row.
pub type Stiffness = [Block<f64>; 55];

/// Place of block (a, b), a ≤ b, in a [`Stiffness`].
pub const fn place(a: usize, b: usize) -> usize {
    a * 10 - a * (a + 1) / 2 + b
}

/// Node positions of one element.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Element {
    nodes: [Vec3; 10],
    straight: bool,
}

/// An element whose Jacobian is not positive somewhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Inverted;

impl Element {
    /// From its nodes' positions.
    pub fn new(nodes: [Vec3; 10]) -> Self {
        let straight = EDGES.into_iter().enumerate().all(|(k, [i, j])| {
            let middle = 0.5 * (nodes[i] + nodes[j]);
            (nodes[4 + k] - middle).norm() <= STRAIGHT * (nodes[i] - nodes[j]).norm()
        });
        Element { nodes, straight }
    }

    /// Are all edges straight?
    pub fn is_straight(&self) -> bool {
        self.straight
    }

    /// The quadrature that its stiffness takes.
    pub fn rule(&self) -> &'static [Point] {
        if self.straight { &FOUR } else { &FOURTEEN }
    }

    /// Position of a point.
    pub fn position(&self, l: [f64; 4]) -> Vec3 {
        let n = crate::shape::values(l);
        self.nodes.iter().zip(n).map(|(x, v)| x * v).sum()
    }

    /// Gradients of the ten shape functions, 1/mm, and det J (six times the volume, if straight), mm³.
    pub fn gradients(&self, l: [f64; 4]) -> ([Vec3; 10], f64) {
        let d = derivatives(l);
        // J maps reference directions (l₁, l₂, l₃; l₀ = 1 − the rest) to space.
        let mut j = Mat3::zeros();
        for (x, d) in self.nodes.iter().zip(&d) {
            for c in 0..3 {
                let slope = d[c + 1] - d[0];
                for r in 0..3 {
                    j[(r, c)] += x[r] * slope;
                }
            }
        }
        let (a, b, c) = (j.column(0), j.column(1), j.column(2));
        let (bc, ca, ab) = (b.cross(&c), c.cross(&a), a.cross(&b));
        let det = a.dot(&bc);
        let inverse = 1.0 / det;
        let gradients =
            d.map(|d| (bc * (d[1] - d[0]) + ca * (d[2] - d[0]) + ab * (d[3] - d[0])) * inverse);
        (gradients, det)
    }

    /// Volume, mm³.
    pub fn volume(&self) -> f64 {
        self.rule()
            .iter()
            .map(|&(l, w)| self.gradients(l).1 * w / 6.0)
            .sum()
    }

    /// Stiffness for Lamé's constants, N/mm: [`Element::stiffness_of`] an isotropic solid.
    ///
    /// # Errors
    /// [`Inverted`] when det J is not positive at a quadrature point.
    pub fn stiffness(&self, lambda: f64, mu: f64) -> Result<Stiffness, Inverted> {
        let along = None;
        self.stiffness_of(&Elasticity { lambda, mu, along })
    }

    /// Stiffness for an elasticity, N/mm.
    ///
    /// K_ab = λ H + μ Hᵀ + μ tr(H) I with H = ∫ ∇N_a ⊗ ∇N_b dV, and for an axis a more
    /// α (Ha aᵀ + a (Hᵀa)ᵀ) + m (tr(H) a aᵀ + a (Ha)ᵀ + Hᵀa aᵀ + (a·Ha) I) + β (a·Ha) a aᵀ. About 2000 multiplications for a straight
    /// element, 7000 for a curved one.
    ///
    /// # Errors
    /// [`Inverted`] when det J is not positive at a quadrature point.
    pub fn stiffness_of(&self, elasticity: &Elasticity) -> Result<Stiffness, Inverted> {
        let (lambda, mu) = (elasticity.lambda, elasticity.mu);
        let mut k = [[[0.0; 3]; 3]; 55];
        for &(l, weight) in self.rule() {
            let (g, det) = self.gradients(l);
            if det.is_nan() || det <= 0.0 {
                return Err(Inverted);
            }
            let scale = weight * det / 6.0;
            let mut at = k.iter_mut();
            for a in 0..10 {
                let s = g[a] * scale;
                for (b, block) in g[a..].iter().zip(&mut at) {
                    for r in 0..3 {
                        for c in 0..3 {
                            block[r][c] += s[r] * b[c];
                        }
                    }
                }
            }
        }
        for block in &mut k {
            let h = *block;
            let shear = mu * (h[0][0] + h[1][1] + h[2][2]);
            for r in 0..3 {
                for c in 0..3 {
                    block[r][c] = lambda * h[r][c] + mu * h[c][r];
                }
                block[r][r] += shear;
            }
            if let Some(along) = &elasticity.along {
                add_axis(block, &h, along);
            }
        }
        Ok(k)
    }

    /// Stress at a point for given nodal displacements, MPa.
    pub fn stress(
        &self,
        l: [f64; 4],
        displacement: &[Vec3; 10],
        elasticity: &Elasticity,
    ) -> SymTensor {
        stress_of(&self.gradients(l).0, displacement, elasticity)
    }
}

/// What the axis of transverse isotropy adds to a block.
fn add_axis(block: &mut Block<f64>, h: &Block<f64>, along: &Along) {
    let a = along.axis;
    let trace = h[0][0] + h[1][1] + h[2][2];
    let (mut ha, mut hta) = (Vec3::zeros(), Vec3::zeros());
    for r in 0..3 {
        for c in 0..3 {
            ha[r] += h[r][c] * a[c];
            hta[c] += h[r][c] * a[r];
        }
    }
    let aha = a.dot(&ha);
    let (alpha, m) = (along.alpha, along.shear);
    for r in 0..3 {
        for c in 0..3 {
            block[r][c] += alpha * (ha[r] * a[c] + a[r] * hta[c])
                + m * (a[r] * ha[c] + hta[r] * a[c])
                + (m * trace + along.beta * aha) * a[r] * a[c];
        }
        block[r][r] += m * aha;
    }
}

/// Stress from the gradients of the shape functions and nodal displacements, MPa.
pub fn stress_of(
    gradients: &[Vec3; 10],
    displacement: &[Vec3; 10],
    elasticity: &Elasticity,
) -> SymTensor {
    let slope: Mat3 = displacement
        .iter()
        .zip(gradients)
        .map(|(u, g)| u * g.transpose())
        .sum();
    elasticity.stress(&SymTensor::from_matrix(&slope))
}

/// K u, node by node.
pub fn forces(stiffness: &Stiffness, displacement: &[Vec3; 10]) -> [Vec3; 10] {
    let mut f = [Vec3::zeros(); 10];
    for a in 0..10 {
        for b in a..10 {
            let block = Mat3::from(stiffness[place(a, b)]);
            // `Mat3::from` reads columns: `block` is the transpose of the row-wise one.
            f[a] += block.tr_mul(&displacement[b]);
            if a != b {
                f[b] += block * displacement[a];
            }
        }
    }
    f
}

/// The linear tetrahedron's 4×4 blocks hidden in the quadratic one: Pᵀ K P, where each midside node that
/// is `kept` follows the mean of its corners. Returns blocks (i, j), i ≤ j, row by row.
///
/// On a straight element with all nodes kept this is the four-node element's stiffness.
pub fn linear_part(stiffness: &Stiffness, kept: &[bool; 10]) -> [Block<f64>; 10] {
    const SUPPORT: [[usize; 4]; 4] = [[0, 4, 6, 7], [1, 4, 5, 8], [2, 5, 6, 9], [3, 7, 8, 9]];
    let mut out = [[[0.0; 3]; 3]; 10];
    let mut to = out.iter_mut();
    for i in 0..4 {
        for (j, out) in (i..4).zip(&mut to) {
            for (p, &a) in SUPPORT[i].iter().enumerate() {
                for (q, &b) in SUPPORT[j].iter().enumerate() {
                    if !(kept[a] && kept[b]) {
                        continue;
                    }
                    let weight = if p == 0 { 1.0 } else { 0.5 } * if q == 0 { 1.0 } else { 0.5 };
                    let block = &stiffness[if a <= b { place(a, b) } else { place(b, a) }];
                    for r in 0..3 {
                        for c in 0..3 {
                            let v = if a <= b { block[r][c] } else { block[c][r] };
                            out[r][c] += weight * v;
                        }
                    }
                }
            }
        }
    }
    out
}

/// Σ pₐ Kₐᵦ qᵦ: the block of Pᵀ K P between two coarse nodes with these weights in the ten nodes.
pub fn coarse_part(stiffness: &Stiffness, p: &[f64; 10], q: &[f64; 10]) -> Block<f64> {
    let mut out = [[0.0; 3]; 3];
    for (a, p) in p.iter().enumerate().filter(|(_, p)| **p != 0.0) {
        for (b, q) in q.iter().enumerate().filter(|(_, q)| **q != 0.0) {
            let block = &stiffness[if a <= b { place(a, b) } else { place(b, a) }];
            for r in 0..3 {
                for c in 0..3 {
                    out[r][c] += p * q * if a <= b { block[r][c] } else { block[c][r] };
                }
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_model::TransverseIsotropy;
    use nalgebra::DMatrix;

    fn straight(corners: [Vec3; 4]) -> [Vec3; 10] {
        let mut n = [Vec3::zeros(); 10];
        n[..4].copy_from_slice(&corners);
        for (k, [i, j]) in EDGES.into_iter().enumerate() {
            n[4 + k] = 0.5 * (corners[i] + corners[j]);
        }
        n
    }

    fn irregular() -> [Vec3; 10] {
        straight([
            Vec3::new(0.1, 0.0, -0.2),
            Vec3::new(1.3, 0.2, 0.1),
            Vec3::new(0.2, 0.9, 0.3),
            Vec3::new(0.4, 0.3, 1.6),
        ])
    }

    fn curved() -> [Vec3; 10] {
        let mut n = irregular();
        n[5] += Vec3::new(0.05, 0.06, 0.02);
        n[9] += Vec3::new(0.03, 0.02, 0.05);
        n
    }

    fn dense(k: &Stiffness) -> DMatrix<f64> {
        DMatrix::from_fn(30, 30, |r, c| {
            let (a, b) = (r / 3, c / 3);
            if a <= b {
                k[place(a, b)][r % 3][c % 3]
            } else {
                k[place(b, a)][c % 3][r % 3]
            }
        })
    }

    #[test]
    fn stiffness_is_symmetric_and_has_exactly_six_zero_modes() {
        for nodes in [irregular(), curved()] {
            let k = dense(&Element::new(nodes).stiffness(400.0, 300.0).unwrap());
            assert!((&k - k.transpose()).norm() < 1e-11 * k.norm());
            let mut e: Vec<f64> = k.symmetric_eigenvalues().iter().copied().collect();
            e.sort_by(f64::total_cmp);
            let top = e[29];
            assert!(e[..6].iter().all(|v| v.abs() < 1e-12 * top), "{e:?}");
            assert!(e[6] > 1e-4 * top, "{e:?}");
        }
    }

    #[test]
    fn fourteen_points_agree_with_four_on_a_straight_element() {
        let mut element = Element::new(irregular());
        assert!(element.is_straight());
        let four = element.stiffness(400.0, 300.0).unwrap();
        element.straight = false;
        let fourteen = element.stiffness(400.0, 300.0).unwrap();
        for (a, b) in four
            .iter()
            .flatten()
            .flatten()
            .zip(fourteen.iter().flatten().flatten())
        {
            assert!((a - b).abs() < 1e-10, "{a} {b}");
        }
    }

    #[test]
    fn coarse_part_is_the_linear_part_where_nodes_follow_their_edges() {
        let k = Element::new(curved()).stiffness(400.0, 300.0).unwrap();
        let weights: [[f64; 10]; 4] = std::array::from_fn(|i| {
            let mut w = [0.0; 10];
            w[i] = 1.0;
            for (k, edge) in EDGES.into_iter().enumerate() {
                w[4 + k] = if edge.contains(&i) { 0.5 } else { 0.0 };
            }
            w
        });
        let mut linear = linear_part(&k, &[true; 10]).into_iter();
        for i in 0..4 {
            for j in i..4 {
                let here = coarse_part(&k, &weights[i], &weights[j]);
                for (a, b) in here
                    .iter()
                    .flatten()
                    .zip(linear.next().unwrap().iter().flatten())
                {
                    assert!((a - b).abs() < 1e-9, "{a} {b}");
                }
            }
        }
    }

    #[test]
    fn linear_part_is_the_four_node_stiffness() {
        let nodes = irregular();
        let (lambda, mu) = (400.0, 300.0);
        let k = Element::new(nodes).stiffness(lambda, mu).unwrap();
        let linear = linear_part(&k, &[true; 10]);
        // Oracle: constant gradients from the inverse of the matrix of corner coordinates.
        let edges = Mat3::from_columns(&[
            nodes[1] - nodes[0],
            nodes[2] - nodes[0],
            nodes[3] - nodes[0],
        ]);
        let inverse = edges.try_inverse().unwrap();
        let volume = edges.determinant() / 6.0;
        let mut g = [Vec3::zeros(); 4];
        for i in 0..3 {
            g[i + 1] = inverse.row(i).transpose();
            let sum = g[0] - g[i + 1];
            g[0] = sum;
        }
        let mut at = linear.iter();
        for i in 0..4 {
            for j in i..4 {
                let h = g[i] * g[j].transpose() * volume;
                let exact = h * lambda + h.transpose() * mu + Mat3::identity() * (mu * h.trace());
                let got = Mat3::from(*at.next().unwrap()).transpose();
                assert!(
                    (got - exact).norm() < 1e-12 * exact.norm().max(1.0),
                    "{i} {j}"
                );
            }
        }
    }

    #[test]
    fn forces_are_the_matrix_product() {
        let k = Element::new(curved()).stiffness(400.0, 300.0).unwrap();
        let u =
            std::array::from_fn(|a| Vec3::new((a as f64).sin(), (a as f64).cos(), 0.1 * a as f64));
        let exact = dense(&k) * nalgebra::DVector::from_fn(30, |r, _| u[r / 3][r % 3]);
        for (a, f) in forces(&k, &u).iter().enumerate() {
            for c in 0..3 {
                assert!((f[c] - exact[3 * a + c]).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn anisotropic_stiffness_is_the_integral_of_stress_times_strain() {
        // aᵀ K b against ∫ ε_a : C ε_b by the element's own rule, for random nodal vectors.
        let elasticity = TransverseIsotropy::cortical().along(Vec3::new(0.3, -1.0, 0.5));
        for nodes in [irregular(), curved()] {
            let element = Element::new(nodes);
            let k = dense(&element.stiffness_of(&elasticity).unwrap());
            assert!((&k - k.transpose()).norm() < 1e-11 * k.norm());
            let u: [Vec3; 10] = std::array::from_fn(|a| {
                Vec3::new((a as f64).sin(), (2.0 * a as f64).cos(), 0.1 * a as f64)
            });
            let strain = |l| {
                let (g, _) = element.gradients(l);
                let slope: Mat3 = u.iter().zip(&g).map(|(u, g)| u * g.transpose()).sum();
                SymTensor::from_matrix(&slope)
            };
            let energy: f64 = element
                .rule()
                .iter()
                .map(|&(l, w)| w / 6.0 * element.gradients(l).1 * elasticity.energy(&strain(l)))
                .sum();
            let x = nalgebra::DVector::from_fn(30, |r, _| u[r / 3][r % 3]);
            let exact = 0.5 * x.dot(&(&k * &x));
            assert!((energy / exact - 1.0).abs() < 1e-12, "{energy} {exact}");
        }
    }

    #[test]
    fn inside_out_is_refused() {
        let mut nodes = irregular();
        nodes.swap(0, 1);
        nodes.swap(5, 6);
        nodes.swap(7, 8);
        assert_eq!(Element::new(nodes).stiffness(1.0, 1.0), Err(Inverted));
    }
}
