//! Candidates: components of points that the laws call for and that the reduced problem does not have yet.

use crate::compliance::{AXIAL, CIRCUMFERENTIAL, NORMAL};
use crate::law::Law;
use crate::path::LoadPath;
use crate::system::System;
use bicolumn_base::Vec3;
use std::collections::{BTreeMap, BTreeSet};

/// Most points taken into the reduced problem at once for their penetration.
const MOST_NEW: usize = 40;
/// First waves of each iteration, in which no two points that share nodes are taken in at once: one often spares its
/// neighbours.
const SPARSE_WAVES: usize = 3;
/// Penetration over tolerance times the largest jump from which a point is a candidate.
const PENETRATION_SHARE: f64 = 0.01;

/// Component of a point: (point, component).
pub(crate) type Component = (usize, usize);

impl LoadPath<'_> {
    /// Points that penetrate at a displacement and whose normal component the reduced problem lacks, with their
    /// penetration −g, mm.
    fn penetrating(&self, system: &System<'_>, u: &[Vec3]) -> Vec<(usize, f64)> {
        let points = system.interfaces.points().iter().enumerate();
        let mut largest: f64 = 0.0;
        let mut out = vec![];
        for (k, p) in points {
            let jump = p.jump(u);
            largest = largest.max(jump.norm());
            if system.compliance.has(k, NORMAL) || p.stencil.is_empty() {
                continue;
            }
            match self.law_at(p) {
                Law::Apart | Law::Bonded => {}
                Law::Frictional { .. } | Law::Frictionless | Law::Threaded { .. } => {
                    out.push((k, -(p.gap + p.normal.dot(&jump))));
                }
            }
        }
        out.retain(|(_, depth)| *depth > PENETRATION_SHARE * self.tolerance * largest);
        out
    }

    /// Tied components, of bonds and threads, that the reduced problem lacks.
    fn untied(&self, system: &System<'_>) -> Vec<Component> {
        let points = system.interfaces.points().iter().enumerate();
        let points = points.filter(|(_, p)| !p.stencil.is_empty());
        let tied = points.flat_map(|(k, p)| {
            let components: &[usize] = match self.law_at(p) {
                Law::Bonded => &[NORMAL, AXIAL, CIRCUMFERENTIAL],
                Law::Threaded { .. } => &[AXIAL],
                Law::Frictional { .. } | Law::Frictionless | Law::Apart => &[],
            };
            components.iter().map(move |c| (k, *c))
        });
        tied.filter(|(k, c)| !system.compliance.has(*k, *c))
            .collect()
    }

    /// Tangential components that the reduced problem lacks and that friction calls for where these contact forces
    /// press.
    fn without_shear(&self, system: &System<'_>, forces: &[f64]) -> Vec<Component> {
        let points = system.interfaces.points();
        let active = system.compliance.active.iter();
        let pressed = active.filter(|s| s.rows[NORMAL].is_some_and(|n| forces[n] > 0.0));
        let called = pressed.flat_map(|s| {
            let components = frictional(self.law_at(&points[s.point]));
            components.iter().map(|c| (s.point, *c))
        });
        called
            .filter(|(k, c)| !system.compliance.has(*k, *c))
            .collect()
    }

    /// Does the reduced problem have every candidate at this displacement and these contact forces?
    pub(crate) fn is_complete(&self, system: &System<'_>, u: &[Vec3], forces: &[f64]) -> bool {
        self.penetrating(system, u).is_empty()
            && self.untied(system).is_empty()
            && self.without_shear(system, forces).is_empty()
    }
}

/// Components of a law that resist slip by friction.
fn frictional(law: Law) -> &'static [usize] {
    match law {
        Law::Frictional { mu } if mu > 0.0 => &[AXIAL, CIRCUMFERENTIAL],
        Law::Threaded { mu, .. } if mu > 0.0 => &[CIRCUMFERENTIAL],
        _ => &[],
    }
}

/// Iterate of a load path as far as the half cycle tells it.
pub(crate) struct Ahead<'a> {
    pub(crate) path: &'a LoadPath<'a>,
    /// Displacement, mm.
    pub(crate) u: Vec<Vec3>,
    /// Contact force λ of each row, N.
    pub(crate) forces: &'a [f64],
}

/// Components to take in next: all ties, the points that penetrate deepest, and shear where anything presses.
pub(crate) fn candidates(system: &System<'_>, ahead: &[Ahead<'_>], wave: usize) -> Vec<Component> {
    let points = system.interfaces.points();
    let mut depth: BTreeMap<usize, f64> = BTreeMap::new();
    let mut tied = BTreeSet::new();
    let mut tangential = BTreeSet::new();
    for Ahead { path, u, forces } in ahead {
        for (k, deep) in path.penetrating(system, u) {
            let at = depth.entry(k).or_insert(0.0);
            *at = at.max(deep);
        }
        tied.extend(path.untied(system));
        tangential.extend(path.without_shear(system, forces));
    }
    let mut order: Vec<(usize, f64)> = depth.into_iter().collect();
    order.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let is_sparse = wave < SPARSE_WAVES;
    let mut taken = BTreeSet::new();
    let mut out: Vec<Component> = tied.iter().copied().collect();
    let mut count = 0;
    for (k, _) in order {
        let nodes = || points[k].stencil.iter().map(|(a, _, _)| *a);
        let is_neighbour = is_sparse && nodes().any(|n| taken.contains(&n));
        if count >= MOST_NEW || is_neighbour {
            continue;
        }
        taken.extend(nodes());
        count += 1;
        out.push((k, NORMAL));
        // Where friction alone may hold a part, an iteration without it would throw the part off.
        if system.has_floating_parts {
            let laws = ahead.iter().map(|a| a.path.law_at(&points[k]));
            tangential.extend(laws.flat_map(|law| frictional(law).iter().map(move |c| (k, *c))));
        }
    }
    out.extend(
        tangential
            .difference(&tied)
            .filter(|(k, c)| !system.compliance.has(*k, *c)),
    );
    out
}
