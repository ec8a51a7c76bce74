//! The ten-node tetrahedron: geometry, stiffness, strain.

use crate::element_kernel::{Curvature, Gradients};
use crate::quadrature::{FOUR, FOURTEEN, Point};
use crate::shape::{EDGES, derivatives};
use bicolumn_base::{Mat3, SymTensor, Vec3};
use bicolumn_model::{Along, Elasticity};
use bicolumn_sparse::Block;

/// A midside node farther from its chord's middle than this share of the chord makes an element curved.
const STRAIGHT: f64 = 1e-9;

/// The stiffness of one element: the 55 blocks (a, b), a ≤ b, row by row.
pub type Stiffness = [Block<f64>; 55];

/// Index of block (a, b), a ≤ b, in a [`Stiffness`].
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
    /// The element with nodes at these positions, mm.
    pub fn new(nodes: [Vec3; 10]) -> Self {
        let straight = is_straight(&nodes);
        Element { nodes, straight }
    }

    /// Are all edges straight?
    pub fn is_straight(&self) -> bool {
        self.straight
    }

    /// The quadrature rule for integrals over the element.
    pub fn rule(&self) -> &'static [Point] {
        if self.straight { &FOUR } else { &FOURTEEN }
    }

    /// The quadrature rule of the stiffness: four points, with gently curved edges five, with strongly curved ones eight.
    pub fn stiffness_rule(&self) -> &'static [Point] {
        Curvature::of(&self.nodes).rule()
    }

    /// Position of a point.
    pub fn position(&self, l: [f64; 4]) -> Vec3 {
        let n = crate::shape::values(l);
        self.nodes.iter().zip(n).map(|(x, v)| x * v).sum()
    }

    /// Gradients of the ten shape functions, 1/mm, and det J (six times the volume, if straight), mm³.
    pub fn gradients(&self, l: [f64; 4]) -> ([Vec3; 10], f64) {
        let d = derivatives(l);
        let (slopes, det) = slopes_from(&jacobian(&self.nodes, l));
        let gradients = d.map(|d| (0..3).map(|m| slopes[m] * (d[m + 1] - d[0])).sum());
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

    /// Stiffness for an elasticity, N/mm, by four quadrature points, with gently curved edges by five, with strongly curved
    /// ones by eight.
    ///
    /// K_ab = λ H + μ Hᵀ + μ tr(H) I with H = ∫ ∇N_a ⊗ ∇N_b dV, and for an axis a more
    /// α (Ha aᵀ + a (Hᵀa)ᵀ) + m (tr(H) a aᵀ + a (Ha)ᵀ + Hᵀa aᵀ + (a·Ha) I) + β (a·Ha) a aᵀ. About 3,500
    /// multiplications, up to 5,500 with curved edges.
    ///
    /// # Errors
    /// [`Inverted`] when det J is not positive at a quadrature point.
    pub fn stiffness_of(&self, elasticity: &Elasticity) -> Result<Stiffness, Inverted> {
        let gradients = Gradients::new(Curvature::of(&self.nodes), &self.nodes)?;
        Ok(stiffness_from(&gradients, elasticity))
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

/// Are all edges straight?
pub(crate) fn is_straight(nodes: &[Vec3; 10]) -> bool {
    EDGES.into_iter().enumerate().all(|(k, [i, j])| {
        let middle = 0.5 * (nodes[i] + nodes[j]);
        (nodes[4 + k] - middle).norm() <= STRAIGHT * (nodes[i] - nodes[j]).norm()
    })
}

/// The stiffness from the gradients at the quadrature points.
#[inline(always)]
pub(crate) fn stiffness_from(gradients: &Gradients, elasticity: &Elasticity) -> Stiffness {
    let mut k = [[[0.0; 3]; 3]; 55];
    for a in 0..10 {
        for b in a..10 {
            k[place(a, b)] = block_of(gradients.pairs(a, b), elasticity);
        }
    }
    k
}

/// Stiffness block λ H + μ Hᵀ + μ tr(H) I with H the sum of p ⊗ q, plus the terms of an axis.
#[inline(always)]
pub(crate) fn block_of(
    pairs: impl Iterator<Item = (Vec3, Vec3)>,
    elasticity: &Elasticity,
) -> Block<f64> {
    let mut h = [[0.0; 3]; 3];
    for (p, q) in pairs {
        for r in 0..3 {
            for c in 0..3 {
                h[r][c] += p[r] * q[c];
            }
        }
    }
    let (lambda, mu) = (elasticity.lambda, elasticity.mu);
    let shear = mu * (h[0][0] + h[1][1] + h[2][2]);
    let mut block = [[0.0; 3]; 3];
    for r in 0..3 {
        for c in 0..3 {
            block[r][c] = lambda * h[r][c] + mu * h[c][r];
        }
        block[r][r] += shear;
    }
    if let Some(along) = &elasticity.along {
        add_axis(&mut block, &h, along);
    }
    block
}

/// The Jacobian at a point: it maps reference directions (l₁, l₂, l₃; l₀ = 1 − the rest) to space, mm.
pub(crate) fn jacobian(nodes: &[Vec3; 10], l: [f64; 4]) -> Mat3 {
    let mut j = Mat3::zeros();
    for (x, d) in nodes.iter().zip(derivatives(l)) {
        for c in 0..3 {
            let slope = d[c + 1] - d[0];
            for r in 0..3 {
                j[(r, c)] += x[r] * slope;
            }
        }
    }
    j
}

/// Gradients of the barycentric coordinates l₁, l₂, l₃ for a Jacobian, 1/mm, and det J (six times the volume, if
/// straight), mm³.
pub(crate) fn slopes_from(j: &Mat3) -> ([Vec3; 3], f64) {
    let (a, b, c) = (j.column(0), j.column(1), j.column(2));
    let (bc, ca, ab) = (b.cross(&c), c.cross(&a), a.cross(&b));
    let det = a.dot(&bc);
    ([bc / det, ca / det, ab / det], det)
}

/// Terms of transverse isotropy: those of its axis, added to a block.
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

#[cfg(test)]
pub(crate) mod tests {
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

    pub(crate) fn dense(k: &Stiffness) -> DMatrix<f64> {
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
        // aᵀ K b against ∫ ε_a : C ε_b by the stiffness's own points, for random nodal vectors.
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
                .stiffness_rule()
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
