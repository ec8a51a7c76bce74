//! An iterate of the reduced problem: forces and jumps that belong together.

use crate::dense::Symmetric;
use crate::reduced::laws::{Rows, Unilateral};

/// Contact forces λ and the jumps j that they make: every change of λ changes j by S.
pub(super) struct Iterate<'a> {
    /// Compliance S.
    pub(super) s: &'a Symmetric,
    /// λ, N.
    pub(super) forces: &'a mut [f64],
    /// j, mm.
    pub(super) jumps: &'a mut [f64],
}

impl Iterate<'_> {
    /// Changes the force of one row by `by`, and all jumps with it.
    pub(super) fn add(&mut self, row: usize, by: f64) {
        if by == 0.0 {
            return;
        }
        self.forces[row] += by;
        for (j, c) in self.jumps.iter_mut().zip(self.s.row(row)) {
            *j += c * by;
        }
    }

    /// Sets the force of one row.
    pub(super) fn set(&mut self, row: usize, to: f64) {
        self.add(row, to - self.forces[row]);
    }

    /// Takes all force off rows.
    pub(super) fn release(&mut self, rows: &Rows) {
        for &row in rows.list() {
            self.add(row, -self.forces[row]);
        }
    }

    /// Sets the normal force and the shear of a point.
    pub(super) fn set_point(&mut self, p: &Unilateral, normal: f64, shear: [f64; 2]) {
        self.set(p.normal, normal);
        for (row, to) in p.tangential.list().iter().zip(shear) {
            self.set(*row, to);
        }
    }

    /// Gap g of a point.
    pub(super) fn gap(&self, p: &Unilateral) -> f64 {
        p.gap + self.jumps[p.normal]
    }

    /// Weight c_t of the tangential projection: the largest diagonal entry of S_tt.
    pub(super) fn tangential_compliance(&self, rows: &Rows) -> f64 {
        let rows = rows.list().iter();
        rows.fold(0.0, |most, r| self.s.diagonal(*r).max(most))
    }
}

/// P(v; b): projection of a shear onto the Coulomb disk of radius `bound`.
pub(super) fn project_onto_disk(shear: &mut [f64; 2], bound: f64) {
    let size = shear[0].hypot(shear[1]);
    if size > bound {
        *shear = shear.map(|t| t * (bound / size));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shear_within_the_coulomb_disk_stays_and_one_outside_goes_to_its_edge() {
        let mut within = [0.3, -0.4];
        project_onto_disk(&mut within, 0.5);
        assert_eq!(within, [0.3, -0.4]);
        let mut outside = [3.0, -4.0];
        project_onto_disk(&mut outside, 0.5);
        assert!((outside[0] - 0.3).abs() < 1e-15 && (outside[1] + 0.4).abs() < 1e-15);
    }
}
