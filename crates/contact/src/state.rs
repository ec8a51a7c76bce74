//! State of a construct on its load path.

use crate::law::Law;
use crate::point::Point;
use bicolumn_base::Vec3;

/// Displacement, contact forces and history variables at one moment of a load path.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct State {
    /// Displacement u, mm.
    pub(crate) u: Vec<Vec3>,
    /// K u at the free nodes, N.
    pub(crate) ku: Vec<Vec3>,
    /// Contact force on side b of each point, N.
    pub(crate) force: Vec<Vec3>,
    /// Reference jump of each point, from which its slip or its bond counts, mm.
    pub(crate) reference: Vec<Vec3>,
    /// Shortening of each preload section, mm.
    pub(crate) shortening: Vec<f64>,
}

/// Contact status of a point; the tie of a thread along its axis does not count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum ContactStatus {
    Open,
    Stick,
    Slip,
}

/// Share of a force along the normal that is as good as none.
const ROUNDING: f64 = 1e-12;
/// Share of the Coulomb bound from which a point counts as slipping.
const AT_BOUND: f64 = 1.0 - 1e-6;

impl State {
    pub(crate) fn unloaded(nodes: usize, points: usize, sections: usize) -> Self {
        State {
            u: vec![Vec3::zeros(); nodes],
            ku: vec![Vec3::zeros(); nodes],
            force: vec![Vec3::zeros(); points],
            reference: vec![Vec3::zeros(); points],
            shortening: vec![0.0; sections],
        }
    }

    /// Normal force of a point, positive in compression, N, and its shear.
    pub(crate) fn parts(&self, k: usize, point: &Point) -> (f64, Vec3) {
        let force = self.force[k];
        let normal = point.normal.dot(&force);
        if normal.abs() <= ROUNDING * force.norm() {
            // A thread that holds where nothing presses must not seem to press.
            return (0.0, force);
        }
        (normal, force - point.normal * normal)
    }

    /// Frictional part of a point's shear, without the force of a thread along its axis, N.
    fn frictional(&self, k: usize, point: &Point, law: Law) -> Vec3 {
        let (_, shear) = self.parts(k, point);
        match law.at(point.normal) {
            law @ Law::Threaded { .. } => {
                let [_, round] = law.tangents(point.normal);
                round * round.dot(&shear)
            }
            _ => shear,
        }
    }

    /// Contact status of a point under its law.
    pub(crate) fn status(&self, k: usize, point: &Point, law: Law) -> ContactStatus {
        let (normal, _) = self.parts(k, point);
        let shear = self.frictional(k, point, law);
        match law {
            Law::Bonded => ContactStatus::Stick,
            Law::Apart => ContactStatus::Open,
            _ if normal <= 0.0 => ContactStatus::Open,
            law if shear.norm() < AT_BOUND * law.friction() * normal => ContactStatus::Stick,
            _ => ContactStatus::Slip,
        }
    }

    /// Sets the reference jump of the points whose law changes: a bond made now keeps the jump of this moment.
    pub(crate) fn change_laws(&mut self, points: &[Point], old: &[Law], new: &[Law]) {
        for (k, p) in points.iter().enumerate() {
            if old[p.set] != new[p.set] {
                self.reference[k] = p.jump(&self.u);
            }
        }
    }

    /// Frictional dissipation since the references, N·mm: −Σ shear · slip.
    pub(crate) fn dissipation(&self, points: &[Point], laws: &[Law]) -> f64 {
        let mut sum = 0.0;
        for (k, p) in points.iter().enumerate() {
            if self.status(k, p, laws[p.set]) == ContactStatus::Slip {
                let shear = self.frictional(k, p, laws[p.set]);
                sum -= shear.dot(&(p.jump(&self.u) - self.reference[k]));
            }
        }
        sum
    }
}
