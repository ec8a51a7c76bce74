//! Block Gauss-Seidel over the points: each in turn is put right under its law, the others as they are.

use crate::reduced::iterate::{Iterate, project_onto_disk};
use crate::reduced::laws::{Conditions, Constraint, Rows, Unilateral};
use nalgebra::{Matrix2, Matrix3, Vector2, Vector3};

/// Visits every constraint once.
pub(super) fn sweep(on: &Conditions<'_>, x: &mut Iterate<'_>) {
    for constraint in on.constraints {
        match constraint {
            Constraint::Free(rows) => x.release(rows),
            Constraint::Tied(rows) => tie(rows, on.references, x),
            Constraint::Unilateral(p) => {
                let n = p.normal;
                let gap = x.gap(p);
                let pressed = (x.forces[n] - gap / x.s.diagonal(n)).max(0.0);
                x.set(n, pressed);
                set_shear(p, p.friction * pressed, on.references, x);
            }
        }
    }
}

/// Takes the jump of tied rows back to its reference.
fn tie(rows: &Rows, references: &[f64], x: &mut Iterate<'_>) {
    let slip = |x: &Iterate<'_>, r: usize| x.jumps[r] - references[r];
    let rows = rows.list();
    if let [row] = *rows {
        return x.add(row, -slip(x, row) / x.s.diagonal(row));
    }
    let block = Matrix3::from_fn(|i, j| match (rows.get(i), rows.get(j)) {
        (Some(a), Some(b)) => x.s.row(*a)[*b],
        _ => f64::from(u8::from(i == j)),
    });
    let error = Vector3::from_fn(|i, _| rows.get(i).map_or(0.0, |r| slip(x, *r)));
    let by = block
        .try_inverse()
        .map_or_else(Vector3::zeros, |i| -(i * error));
    for (row, by) in rows.iter().zip(by.iter()) {
        x.add(*row, *by);
    }
}

/// Sets the shear of a point: that which takes its slip back, if the Coulomb disk of radius `bound` allows; if not, one
/// projected gradient step.
fn set_shear(p: &Unilateral, bound: f64, references: &[f64], x: &mut Iterate<'_>) {
    match *p.tangential.list() {
        [a] => {
            // Round a screw: one way to slip, and back.
            let stuck = x.forces[a] - (x.jumps[a] - references[a]) / x.s.diagonal(a);
            let mut to = [stuck, 0.0];
            project_onto_disk(&mut to, bound);
            x.set(a, to[0]);
        }
        [a, b] => {
            let rows = [a, b];
            let block = Matrix2::from_fn(|i, j| x.s.row(rows[i])[rows[j]]);
            let slip = Vector2::from(rows.map(|r| x.jumps[r] - references[r]));
            let force = Vector2::from(rows.map(|r| x.forces[r]));
            let stuck = block.try_inverse().map_or(force, |i| force - i * slip);
            let to = if stuck.norm() > bound {
                // The largest eigenvalue of S_tt makes the step safe.
                let (half, off) = (0.5 * block.trace(), block[(0, 1)]);
                let largest =
                    half + (0.25 * (block[(0, 0)] - block[(1, 1)]).powi(2) + off * off).sqrt();
                let mut to: [f64; 2] = (force - slip / largest).into();
                project_onto_disk(&mut to, bound);
                to
            } else {
                stuck.into()
            };
            x.set(a, to[0]);
            x.set(b, to[1]);
        }
        _ => {}
    }
}
