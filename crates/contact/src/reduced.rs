//! The contact problem with the structure replaced by its compliance: block Gauss-Seidel, point by point.
//!
//! Each visit puts one point right under its law with all others as they are (Jourdan, Alart and Jean 1998,
//! Comput Methods Appl Mech Eng 155:31): its pressure by the gap, its shear by a step against the slip, cut
//! back to μ times the pressure.

use crate::Law;
use crate::compliance::Compliance;
use bicolumn_base::{Mat3, Vec3};

/// What holds at the rows of the reduced problem.
pub(crate) struct Conditions<'a> {
    /// Law of each spot.
    pub(crate) laws: &'a [Law],
    /// Gap before loading of each spot, mm.
    pub(crate) gaps: &'a [f64],
    /// Motion at each row from which slip or a bond counts, mm.
    pub(crate) starts: &'a [f64],
    /// Slabs under a given force: (V/A times the force, D_aaaa V); `None`: the length is kept.
    pub(crate) pulls: &'a [Option<(f64, f64)>],
}

/// Most sweeps of one solution.
const SWEEPS: usize = 400;

/// Makes the forces of all rows agree with their conditions. `forces` are those that belong to the
/// `motions`; both are changed. Gives the sweeps it took.
pub(crate) fn solve(
    s: &Compliance,
    on: &Conditions<'_>,
    accuracy: f64,
    forces: &mut [f64],
    motions: &mut [f64],
) -> usize {
    for sweep in 1..=SWEEPS {
        let (mut changed, mut size) = (0.0, 0.0);
        for (k, pull) in on.pulls.iter().enumerate() {
            if let Some((wanted, stiffness)) = pull {
                // f·u + s D V = F V / A, with the force −s on the row.
                let slack = stiffness - s.values[k][k];
                let d = (motions[k] - wanted - stiffness * forces[k]) / slack;
                step(s, k, d, forces, motions);
                let scale = s.values[k][k] / slack;
                changed += (d * scale).powi(2);
                size += forces[k].powi(2);
            }
        }
        for (k, spot) in s.spots.iter().enumerate() {
            let rows = spot.first..spot.first + spot.count;
            let old = at(forces, spot.first, spot.count);
            match on.laws[k] {
                Law::Apart => {
                    for r in rows {
                        step(s, r, -forces[r], forces, motions);
                    }
                }
                Law::Bonded => {
                    let error = at(motions, spot.first, spot.count)
                        - at(on.starts, spot.first, spot.count);
                    let inverse = block(s, spot.first, spot.count).try_inverse();
                    let d = inverse.map_or_else(Vec3::zeros, |i| -(i * error));
                    for (c, r) in rows.enumerate() {
                        step(s, r, d[c], forces, motions);
                    }
                }
                law => {
                    let n = spot.first;
                    let gap = on.gaps[k] + motions[n];
                    let pressed = (forces[n] - gap / s.values[n][n]).max(0.0);
                    step(s, n, pressed - forces[n], forces, motions);
                    if spot.count == 3 {
                        shear(s, n, law.friction() * pressed, on.starts, forces, motions);
                    }
                }
            }
            let new = at(forces, spot.first, spot.count);
            changed += (new - old).norm_squared();
            size += new.norm_squared();
        }
        if changed <= accuracy * accuracy * size {
            return sweep;
        }
    }
    SWEEPS
}

/// One step of the shear at the two rows after `n`.
fn shear(
    s: &Compliance,
    n: usize,
    bound: f64,
    starts: &[f64],
    forces: &mut [f64],
    motions: &mut [f64],
) {
    let (a, b) = (n + 1, n + 2);
    let (saa, sab, sbb) = (s.values[a][a], s.values[a][b], s.values[b][b]);
    // Stuck, if the bound allows.
    let (ea, eb) = (motions[a] - starts[a], motions[b] - starts[b]);
    let det = saa * sbb - sab * sab;
    let mut to = [
        forces[a] - (sbb * ea - sab * eb) / det,
        forces[b] - (saa * eb - sab * ea) / det,
    ];
    if to[0].hypot(to[1]) > bound {
        let half = 0.5 * (saa + sbb);
        let largest = half + (0.25 * (saa - sbb).powi(2) + sab * sab).sqrt();
        to = [forces[a] - ea / largest, forces[b] - eb / largest];
        let size = to[0].hypot(to[1]);
        if size > bound {
            to = to.map(|t| t * (bound / size));
        }
    }
    step(s, a, to[0] - forces[a], forces, motions);
    step(s, b, to[1] - forces[b], forces, motions);
}

/// Changes one row's force, and all motions with it.
fn step(s: &Compliance, row: usize, by: f64, forces: &mut [f64], motions: &mut [f64]) {
    if by == 0.0 {
        return;
    }
    forces[row] += by;
    for (m, c) in motions.iter_mut().zip(&s.values[row]) {
        *m += c * by;
    }
}

fn at(v: &[f64], first: usize, count: usize) -> Vec3 {
    Vec3::from_fn(|c, _| if c < count { v[first + c] } else { 0.0 })
}

fn block(s: &Compliance, first: usize, count: usize) -> Mat3 {
    Mat3::from_fn(|i, j| match (i < count, j < count) {
        (true, true) => s.values[first + i][first + j],
        _ => f64::from(u8::from(i == j)),
    })
}
