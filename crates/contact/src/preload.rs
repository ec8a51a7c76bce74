//! Preload: a slab of a screw's shank that shrinks along the axis.
//!
//! A cut through the shank with one unknown, the overlap d of its faces, is the limit of a slab of
//! thickness t with the eigenstrain −(d/t) a ⊗ a as t goes to zero. With f_e = ∫ Bᵀ D (a ⊗ a) dV and
//! the shrink s, the slab's mean axial section force is N = (A/V) (f_e·u + s D_aaaa V). While the force
//! is given, s follows from it; later s is kept and N is what is left of the preload.

use bicolumn_base::{Mat3, Vec3};
use bicolumn_model::Problem;
use bicolumn_solve::element::Element;
use serde::{Deserialize, Serialize};

/// A preloaded slab.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Preload {
    /// Name: `screw.03`.
    pub name: String,
    /// Tension that is pulled on it, N.
    pub force_n: f64,
    /// Unit axis.
    pub axis: [f64; 3],
    /// Section area of the shank, mm².
    pub area_mm2: f64,
    /// Tetrahedra of the slab: they must fill the whole section.
    pub tets: Vec<u32>,
}

/// The slab's vectors.
#[derive(Debug, Clone)]
pub(crate) struct Slab {
    /// f_e on the nodes that it touches, sorted by node, N.
    pub(crate) force: Vec<(u32, Vec3)>,
    /// D_aaaa V, N·mm.
    pub(crate) stiffness: f64,
    /// V / A, mm.
    pub(crate) length: f64,
}

impl Slab {
    pub(crate) fn new(problem: &Problem, preload: &Preload) -> Self {
        let axis = Vec3::from(preload.axis).normalize();
        let mesh = &problem.mesh;
        let mut nodal = std::collections::BTreeMap::<u32, Vec3>::new();
        let (mut stiffness, mut volume) = (0.0, 0.0);
        for &t in &preload.tets {
            let tet = mesh.tets[t as usize];
            let (lambda, mu) = problem.material_of(t as usize).lame();
            let stress = Mat3::identity() * lambda + axis * axis.transpose() * (2.0 * mu);
            let element = Element::new(tet.map(|n| mesh.nodes[n as usize]));
            for &(l, weight) in element.rule() {
                let (gradients, det) = element.gradients(l);
                let dv = weight * det / 6.0;
                volume += dv;
                stiffness += dv * (lambda + 2.0 * mu);
                for (n, g) in tet.iter().zip(gradients) {
                    *nodal.entry(*n).or_insert_with(Vec3::zeros) += stress * g * dv;
                }
            }
        }
        Slab {
            force: nodal.into_iter().collect(),
            stiffness,
            length: volume / preload.area_mm2,
        }
    }

    /// f_e · u, N·mm.
    pub(crate) fn work(&self, u: &[Vec3]) -> f64 {
        self.force.iter().map(|(n, f)| f.dot(&u[*n as usize])).sum()
    }

    /// Mean section force, N.
    pub(crate) fn section_force(&self, u: &[Vec3], shrink: f64) -> f64 {
        (self.work(u) + shrink * self.stiffness) / self.length
    }
}
