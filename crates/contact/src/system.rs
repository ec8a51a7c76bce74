//! Elastic bodies with their interfaces and preloaded slabs, and where they are on their path.

use crate::compliance::Compliance;
use crate::interfaces::{Interfaces, Point};
use crate::law::Law;
use crate::preload::Slab;
use bicolumn_base::Vec3;
use bicolumn_solve::Prepared;

/// What all paths share.
pub(crate) struct System<'a> {
    pub(crate) interfaces: &'a Interfaces,
    pub(crate) ready: Prepared<'a>,
    pub(crate) slabs: Vec<Slab>,
    /// Is the node held?
    pub(crate) held: Vec<bool>,
    /// Displacement beyond which a part counts as lost, mm.
    pub(crate) farthest_mm: f64,
    /// Do interfaces alone hold some part?
    pub(crate) is_loose: bool,
    pub(crate) compliance: Compliance,
}

/// Where a construct is on its path.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct State {
    /// Displacement, mm.
    pub(crate) u: Vec<Vec3>,
    /// K u at the free nodes, N.
    pub(crate) ku: Vec<Vec3>,
    /// Force on side b of each point, N.
    pub(crate) force: Vec<Vec3>,
    /// Jump of each point from which its slip or its bond counts, mm.
    pub(crate) start: Vec<Vec3>,
    /// Shrink of each slab.
    pub(crate) shrink: Vec<f64>,
}

/// What a point does, the hold of a thread apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Contact {
    Open,
    Stuck,
    Slipping,
}

/// Share of a force along the normal that is as good as none.
const ROUNDING: f64 = 1e-12;
/// Share of the bound from which a point counts as slipping.
const AT_BOUND: f64 = 1.0 - 1e-6;

impl State {
    pub(crate) fn unloaded(nodes: usize, points: usize, slabs: usize) -> Self {
        State {
            u: vec![Vec3::zeros(); nodes],
            ku: vec![Vec3::zeros(); nodes],
            force: vec![Vec3::zeros(); points],
            start: vec![Vec3::zeros(); points],
            shrink: vec![0.0; slabs],
        }
    }

    /// Pressing force of a point, N, and its shear.
    pub(crate) fn parts(&self, k: usize, point: &Point) -> (f64, Vec3) {
        let force = self.force[k];
        let pressing = point.normal.dot(&force);
        if pressing.abs() <= ROUNDING * force.norm() {
            // A thread that holds where nothing presses must not seem to press.
            return (0.0, force);
        }
        (pressing, force - point.normal * pressing)
    }

    /// The part of a point's shear that only friction bears, N.
    fn rubbing(&self, k: usize, point: &Point, law: Law) -> Vec3 {
        let (_, shear) = self.parts(k, point);
        match law.at(point.normal) {
            law @ Law::Threaded { .. } => {
                let [_, round] = law.across(point.normal);
                round * round.dot(&shear)
            }
            _ => shear,
        }
    }

    /// What a point does.
    pub(crate) fn contact(&self, k: usize, point: &Point, law: Law) -> Contact {
        let (pressing, _) = self.parts(k, point);
        let shear = self.rubbing(k, point, law);
        match law {
            Law::Bonded => Contact::Stuck,
            Law::Apart => Contact::Open,
            _ if pressing <= 0.0 => Contact::Open,
            law if shear.norm() < AT_BOUND * law.friction() * pressing => Contact::Stuck,
            _ => Contact::Slipping,
        }
    }

    /// Starts a new law at the points whose law changes: a bond made now holds the jump it finds.
    pub(crate) fn change_laws(&mut self, points: &[Point], old: &[Law], new: &[Law]) {
        for (k, p) in points.iter().enumerate() {
            if old[p.set] != new[p.set] {
                self.start[k] = p.jump(&self.u);
            }
        }
    }

    /// Energy that friction took since the starts, N·mm: −Σ shear · slip.
    pub(crate) fn dissipation(&self, points: &[Point], laws: &[Law]) -> f64 {
        let mut sum = 0.0;
        for (k, p) in points.iter().enumerate() {
            if self.contact(k, p, laws[p.set]) == Contact::Slipping {
                let shear = self.rubbing(k, p, laws[p.set]);
                sum -= shear.dot(&(p.jump(&self.u) - self.start[k]));
            }
        }
        sum
    }
}
