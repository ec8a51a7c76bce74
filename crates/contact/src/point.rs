//! Contact points: places where an interface's law acts.

use bicolumn_base::Vec3;
use std::collections::BTreeMap;

/// Contact point: a place where an interface's law acts, one for each corner of its facets or for a patch of them
/// ([`crate::Interfaces::coarsened`]), whose hat functions then add up to one.
///
/// The jump there is the mean of the jump over the facets around, weighted by the corner's linear hat ψ_k,
/// j_k = ∫ ψ_k (u_b − u_a) dA / ∫ ψ_k dA, and its traction spreads by the same hat. Quadratic
/// displacements against linear tractions are a stable pair (Wohlmuth 2001, Discretization Methods and
/// Iterative Solvers Based on Domain Decomposition, from memory); a law at every quadrature point would
/// ask for more than the displacements can give, and a law at every node would find no force at the
/// corners, where the consistent load of a uniform pressure vanishes.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Point {
    /// Index of the set.
    pub(crate) set: usize,
    /// Quadrature points on side a with their weights, of unit sum, for means over the point.
    pub(crate) places: Vec<(Vec3, f64)>,
    /// Mean unit normal from a to b.
    pub(crate) normal: Vec3,
    /// Mean normal before normalisation.
    pub(crate) mean_normal: Vec3,
    /// ∫ ψ_k dA, mm².
    pub(crate) area: f64,
    /// Mean gap before loading, mm; negative: the sides overlap and press when closed.
    pub(crate) gap: f64,
    /// (node on a, node on b, weight) of the jump.
    pub(crate) stencil: Vec<(u32, u32, f64)>,
    /// Facet pairs around, with their share of the area.
    pub(crate) around: Vec<(u32, f64)>,
}

impl Point {
    /// Patch: one point with the sum of the hat functions of several points of a set.
    pub(crate) fn joined(members: &[Point]) -> Self {
        let area: f64 = members.iter().map(|p| p.area).sum();
        let mut stencil: BTreeMap<(u32, u32), f64> = BTreeMap::new();
        let mut around: BTreeMap<u32, f64> = BTreeMap::new();
        let (mut places, mut normal, mut gap) = (vec![], Vec3::zeros(), 0.0);
        for p in members {
            let share = p.area / area;
            places.extend(p.places.iter().map(|(x, w)| (*x, w * share)));
            normal += p.mean_normal * share;
            gap += p.gap * share;
            for (a, b, w) in &p.stencil {
                *stencil.entry((*a, *b)).or_default() += w * share;
            }
            for (k, w) in &p.around {
                *around.entry(*k).or_default() += w * share;
            }
        }
        Point {
            set: members.first().map_or(0, |p| p.set),
            places,
            normal: normal.normalize(),
            mean_normal: normal,
            area,
            gap,
            stencil: stencil.into_iter().map(|((a, b), w)| (a, b, w)).collect(),
            around: around.into_iter().collect(),
        }
    }

    /// Centroid on side a, mm.
    pub(crate) fn centre(&self) -> Vec3 {
        self.places.iter().map(|(x, w)| x * *w).sum()
    }

    /// Mean jump of a nodal field, u_b − u_a.
    pub(crate) fn jump(&self, u: &[Vec3]) -> Vec3 {
        self.stencil
            .iter()
            .map(|(a, b, w)| (u[*b as usize] - u[*a as usize]) * *w)
            .sum()
    }

    /// Adds a contact force on side b, and its opposite on side a, to nodal forces.
    pub(crate) fn add_force(&self, force: Vec3, nodal: &mut [Vec3]) {
        for (a, b, w) in &self.stencil {
            nodal[*b as usize] += force * *w;
            nodal[*a as usize] -= force * *w;
        }
    }
}
