//! Preload: a section across a screw's shank, one side of which is pulled along the axis.
//!
//! The section is a layer of tetrahedra between pulled and other nodes. With φ = 1 on the pulled nodes and 0 on the
//! others, its tetrahedra see the displacement u + s φ a, a the axis: s is the shortening of the shank. The nodal force
//! f = K_cut φ a gives the axial force across the section, exact by equilibrium whatever its shape:
//! N = f·u + s φa·K_cut φa. While N is given, s follows from it; later s is kept and N is the preload left.

use bicolumn_base::Vec3;
use bicolumn_model::Problem;
use bicolumn_solve::SolveError;
use bicolumn_solve::element::{Element, forces};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// A screw that can be tightened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Preload {
    /// Name: `screw.03`.
    pub name: String,
    /// Tension that is pulled on it, N.
    pub force_n: f64,
    /// Unit axis, from the other side of the section to the pulled one.
    pub axis: [f64; 3],
    /// Tetrahedra of the section: all of the shank with nodes on both its sides.
    pub tets: Vec<u32>,
    /// Nodes of these tetrahedra on the pulled side. No other body may touch them but by an interface.
    pub pulled: Vec<u32>,
}

/// Vectors of a preload section.
#[derive(Debug, Clone)]
pub(crate) struct Section {
    /// f on the nodes that it touches, sorted by node, N/mm.
    pub(crate) force: Vec<(u32, Vec3)>,
    /// φa·K_cut φa, N/mm.
    pub(crate) stiffness: f64,
}

impl Section {
    /// Force and stiffness of a section.
    ///
    /// # Errors
    /// [`SolveError::Inverted`] for a tetrahedron that is.
    pub(crate) fn new(problem: &Problem, preload: &Preload) -> Result<Self, SolveError> {
        let axis = Vec3::from(preload.axis).normalize();
        let mesh = problem.mesh();
        let pulled: BTreeSet<u32> = preload.pulled.iter().copied().collect();
        let mut nodal = BTreeMap::<u32, Vec3>::new();
        for &t in &preload.tets {
            let tet = mesh.tets[t as usize];
            let (lambda, mu) = problem.material_of(t as usize).lame();
            let element = Element::new(tet.map(|n| mesh.nodes[n as usize]));
            let stiffness = element
                .stiffness(lambda, mu)
                .map_err(|_| SolveError::Inverted {
                    tet: t as usize,
                    part: mesh.part_of(t as usize).to_string(),
                })?;
            let moved = tet.map(|n| match pulled.contains(&n) {
                true => axis,
                false => Vec3::zeros(),
            });
            for (n, f) in tet.iter().zip(forces(&stiffness, &moved)) {
                *nodal.entry(*n).or_default() += f;
            }
        }
        Ok(Section {
            stiffness: pulled
                .iter()
                .filter_map(|n| nodal.get(n))
                .map(|f| f.dot(&axis))
                .sum(),
            force: nodal.into_iter().collect(),
        })
    }

    /// f · u, N.
    pub(crate) fn work(&self, u: &[Vec3]) -> f64 {
        self.force.iter().map(|(n, f)| f.dot(&u[*n as usize])).sum()
    }

    /// Axial force across the section, N.
    pub(crate) fn section_force(&self, u: &[Vec3], shortening: f64) -> f64 {
        self.work(u) + shortening * self.stiffness
    }
}
