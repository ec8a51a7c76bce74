//! The contact problem with the structure replaced by its compliance.
//!
//! Two moves by turns. Block Gauss-Seidel (Jourdan, Alart and Jean 1998, Comput Methods Appl Mech Eng
//! 155:31) puts one point after the other right under its law: its pressure by the gap, its shear by a step
//! against the slip, cut back to μ times the pressure. That finds who touches, sticks and slips, but is slow
//! where a soft structure couples all points; so a Newton step for all that press follows, cut back to the laws
//! and taken only if it brings the points nearer to them (compare the truncated nonsmooth Newton methods of
//! Gräser and Kornhuber 2009, J Comput Math 27:1).

use crate::Law;
use crate::compliance::{Compliance, Spot};
use bicolumn_base::{Mat3, Vec3};
use nalgebra::{DMatrix, DVector, Dyn, LU};

/// What holds at the rows of the reduced problem.
pub(crate) struct Conditions<'a> {
    /// Law of each spot.
    pub(crate) laws: &'a [Law],
    /// Gap before loading of each spot, mm.
    pub(crate) gaps: &'a [f64],
    /// Motion at each row from which slip or a bond counts, mm.
    pub(crate) starts: &'a [f64],
    /// Slabs under a given force: (the force, their stiffness); `None`: the length is kept.
    pub(crate) pulls: &'a [Option<(f64, f64)>],
}

/// What could move freely under the laws last, and the factor of its compliance.
///
/// The factor serves as long as the same rows are free and its steps still gain: directions of slip change
/// a little in every step, which is no reason for a new one.
#[derive(Default)]
pub(crate) struct Face {
    free: Vec<Freedom>,
    factor: Option<LU<f64, Dyn, Dyn>>,
    is_stale: bool,
}

/// A force that may change: on up to three rows from `row` on, judged by their motion in the share `seen`.
/// Where a point slips its pressure takes μ times itself of shear along.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Freedom {
    row: usize,
    force: [f64; 3],
    seen: [f64; 3],
    /// A compliance of its own.
    extra: f64,
}

impl Freedom {
    fn of(row: usize) -> Self {
        Freedom {
            row,
            force: [1.0, 0.0, 0.0],
            seen: [1.0, 0.0, 0.0],
            extra: 0.0,
        }
    }

    fn product(&self, s: &[Vec<f64>], other: &Freedom) -> f64 {
        let pairs = on_rows(self.row, self.seen).map(|(i, v)| {
            let row = &s[i];
            let forces = on_rows(other.row, other.force);
            v * forces.map(|(j, w)| row[j] * w).sum::<f64>()
        });
        pairs.sum()
    }
}

fn on_rows(first: usize, weights: [f64; 3]) -> impl Iterator<Item = (usize, f64)> {
    (first..).zip(weights).filter(|(_, w)| *w != 0.0)
}

/// Rounds of both moves, and sweeps in each.
const ROUNDS: usize = 40;
const SWEEPS: usize = 4;

/// Makes the forces of all rows agree with their conditions. `forces` are those that belong to the
/// `motions`; both are changed.
pub(crate) fn solve(
    compliance: &Compliance,
    on: &Conditions<'_>,
    accuracy: f64,
    face: &mut Face,
    forces: &mut [f64],
    motions: &mut [f64],
) {
    let spots = &compliance.spots;
    let freed = Freed::new(&compliance.values, on.pulls, forces, motions);
    let s: &[Vec<f64>] = match &freed {
        Some(f) => {
            face.free.clear();
            face.factor = None;
            &f.values
        }
        None => &compliance.values,
    };
    if let Some(f) = &freed {
        f.ahead(motions);
    }
    let before = forces.to_vec();
    for _ in 0..ROUNDS {
        let last = forces.to_vec();
        for _ in 0..SWEEPS {
            sweep(s, spots, on, forces, motions);
        }
        correct(s, spots, on, face, forces, motions);
        let size: f64 = forces.iter().map(|f| f * f).sum();
        let changed: f64 = forces.iter().zip(&last).map(|(n, o)| (n - o).powi(2)).sum();
        if changed <= accuracy * accuracy * size {
            break;
        }
    }
    if let Some(f) = &freed {
        f.finish(&before, forces);
    }
}

/// The reduced problem with the shrink of pulled slabs eliminated: f·u − k q = F at each, for the
/// force q on its row.
struct Freed {
    slabs: Vec<usize>,
    /// Inverse of k − S at the slabs.
    inverse: DMatrix<f64>,
    /// What the slabs lack.
    lack: DVector<f64>,
    /// S at the slabs, by row.
    across: Vec<Vec<f64>>,
    values: Vec<Vec<f64>>,
}

impl Freed {
    fn new(
        s: &[Vec<f64>],
        pulls: &[Option<(f64, f64)>],
        forces: &[f64],
        motions: &[f64],
    ) -> Option<Self> {
        let pulled: Vec<(usize, f64, f64)> = pulls
            .iter()
            .enumerate()
            .filter_map(|(k, p)| p.map(|(wanted, stiffness)| (k, wanted, stiffness)))
            .collect();
        if pulled.is_empty() {
            return None;
        }
        let n = pulled.len();
        let slack = DMatrix::from_fn(n, n, |i, j| {
            let own = if i == j { pulled[i].2 } else { 0.0 };
            own - s[pulled[i].0][pulled[j].0]
        });
        let inverse = slack.try_inverse()?;
        let lack = DVector::from_fn(n, |i, _| {
            let (k, wanted, stiffness) = pulled[i];
            motions[k] - wanted - stiffness * forces[k]
        });
        let slabs: Vec<usize> = pulled.iter().map(|p| p.0).collect();
        let across: Vec<Vec<f64>> = slabs.iter().map(|k| s[*k].clone()).collect();
        let mut values = s.to_vec();
        for (i, row) in values.iter_mut().enumerate() {
            for a in 0..n {
                let through: f64 = (0..n).map(|b| inverse[(a, b)] * across[b][i]).sum();
                for (v, c) in row.iter_mut().zip(&across[a]) {
                    *v += through * c;
                }
            }
        }
        Some(Freed {
            slabs,
            inverse,
            lack,
            across,
            values,
        })
    }

    /// Lets the slabs shrink as far as they will with all other forces as they are.
    fn ahead(&self, motions: &mut [f64]) {
        let by = &self.inverse * &self.lack;
        for (row, d) in self.across.iter().zip(by.iter()) {
            for (m, c) in motions.iter_mut().zip(row) {
                *m += c * d;
            }
        }
    }

    /// Sets the forces of the slabs after those of the points.
    fn finish(&self, before: &[f64], forces: &mut [f64]) {
        let lack = DVector::from_fn(self.slabs.len(), |a, _| {
            let rows = self.across[a].iter().zip(before.iter().zip(&*forces));
            self.lack[a] + rows.map(|(c, (b, f))| c * (f - b)).sum::<f64>()
        });
        for (k, d) in self.slabs.iter().zip((&self.inverse * lack).iter()) {
            forces[*k] += d;
        }
    }
}

/// Visits every spot once.
fn sweep(
    s: &[Vec<f64>],
    spots: &[Spot],
    on: &Conditions<'_>,
    forces: &mut [f64],
    motions: &mut [f64],
) {
    for (k, spot) in spots.iter().enumerate() {
        let rows = spot.first..spot.first + spot.count;
        match on.laws[k] {
            Law::Apart => {
                for r in rows {
                    step(s, r, -forces[r], forces, motions);
                }
            }
            Law::Bonded => {
                let error = at(motions, spot) - at(on.starts, spot);
                let inverse = block(s, spot).try_inverse();
                let d = inverse.map_or_else(Vec3::zeros, |i| -(i * error));
                for (c, r) in rows.enumerate() {
                    step(s, r, d[c], forces, motions);
                }
            }
            law => {
                let n = spot.first;
                let gap = on.gaps[k] + motions[n];
                let pressed = (forces[n] - gap / s[n][n]).max(0.0);
                step(s, n, pressed - forces[n], forces, motions);
                if spot.count == 3 {
                    shear(s, n, law.friction() * pressed, on.starts, forces, motions);
                }
            }
        }
    }
}

/// One step of the shear at the two rows after `n`.
fn shear(
    s: &[Vec<f64>],
    n: usize,
    bound: f64,
    starts: &[f64],
    forces: &mut [f64],
    motions: &mut [f64],
) {
    let (a, b) = (n + 1, n + 2);
    let (saa, sab, sbb) = (s[a][a], s[a][b], s[b][b]);
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
        cut(&mut to, bound);
    }
    step(s, a, to[0] - forces[a], forces, motions);
    step(s, b, to[1] - forces[b], forces, motions);
}

fn cut(shear: &mut [f64; 2], bound: f64) {
    let size = shear[0].hypot(shear[1]);
    if size > bound {
        *shear = shear.map(|t| t * (bound / size));
    }
}

/// What a point does in a Newton step.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Doing {
    Nothing,
    Bonded,
    Open,
    Stuck,
    /// Slips with its shear along these two weights.
    Slipping([f64; 2]),
}

/// Newton steps in a row.
const STEPS: usize = 8;
/// Share of the discord at the start that is as good as none.
const DONE: f64 = 1e-12;
/// Share of the discord before that a step by an old factor must come down to.
const GAIN: f64 = 0.04;

/// Newton steps for all points together; taken back if they lead away from the laws.
fn correct(
    s: &[Vec<f64>],
    spots: &[Spot],
    on: &Conditions<'_>,
    face: &mut Face,
    forces: &mut [f64],
    motions: &mut [f64],
) {
    let (old, old_motions) = (forces.to_vec(), motions.to_vec());
    let before = discord(s, spots, on, forces, motions);
    let mut doing = vec![];
    let mut last = before;
    for _ in 0..STEPS {
        let next: Vec<Doing> = (0..spots.len())
            .map(|k| {
                let last = doing.get(k).copied();
                judge(s, &spots[k], on, k, forces, motions, last)
            })
            .collect();
        let settled = next == doing;
        doing = next;
        for (k, spot) in spots.iter().enumerate() {
            cut_back(&doing[k], on.laws[k], spot, s, forces, motions);
        }
        if settled && last <= DONE * before {
            break;
        }
        let Some(is_new) = newton(s, spots, on, &doing, face, forces, motions) else {
            break;
        };
        let now = discord(s, spots, on, forces, motions);
        face.is_stale = now > GAIN * last;
        if is_new && settled {
            break;
        }
        last = now;
    }
    for (k, spot) in spots.iter().enumerate() {
        let n = spot.first;
        if matches!(on.laws[k], Law::Frictional { .. } | Law::Frictionless) {
            step(s, n, (-forces[n]).max(0.0), forces, motions);
            if spot.count == 3 {
                let mut t = [forces[n + 1], forces[n + 2]];
                cut(&mut t, on.laws[k].friction() * forces[n]);
                step(s, n + 1, t[0] - forces[n + 1], forces, motions);
                step(s, n + 2, t[1] - forces[n + 2], forces, motions);
            }
        }
    }
    if discord(s, spots, on, forces, motions) >= before {
        forces.copy_from_slice(&old);
        motions.copy_from_slice(&old_motions);
    }
}

/// What a point does next by its force and motion; `last`: what it did in the step before.
fn judge(
    s: &[Vec<f64>],
    spot: &Spot,
    on: &Conditions<'_>,
    k: usize,
    forces: &[f64],
    motions: &[f64],
    last: Option<Doing>,
) -> Doing {
    let n = spot.first;
    match on.laws[k] {
        Law::Apart => return Doing::Nothing,
        Law::Bonded => return Doing::Bonded,
        _ => {}
    }
    let gap = on.gaps[k] + motions[n];
    let pressed = match last {
        // Exactly at its law after a Newton step: the sign of the other quantity tells.
        Some(Doing::Open) => gap < 0.0,
        Some(_) => forces[n] > 0.0,
        None => forces[n] - gap / s[n][n] > 0.0,
    };
    if !pressed {
        return Doing::Open;
    }
    let bound = on.laws[k].friction() * forces[n].max(0.0);
    if spot.count != 3 || on.laws[k].friction() == 0.0 {
        return Doing::Slipping([0.0; 2]);
    }
    let own = s[n + 1][n + 1].max(s[n + 2][n + 2]);
    let trial = [1, 2].map(|c| forces[n + c] - (motions[n + c] - on.starts[n + c]) / own);
    let size = trial[0].hypot(trial[1]);
    if size <= bound {
        Doing::Stuck
    } else {
        Doing::Slipping(trial.map(|t| t / size))
    }
}

/// Puts a point's force where its state says before the Newton step.
fn cut_back(
    doing: &Doing,
    law: Law,
    spot: &Spot,
    s: &[Vec<f64>],
    forces: &mut [f64],
    motions: &mut [f64],
) {
    let n = spot.first;
    match *doing {
        Doing::Nothing | Doing::Open => {
            for r in n..n + spot.count {
                step(s, r, -forces[r], forces, motions);
            }
        }
        Doing::Slipping(d) if spot.count == 3 => {
            let bound = law.friction() * forces[n].max(0.0);
            for c in 0..2 {
                let r = n + 1 + c;
                step(s, r, bound * d[c] - forces[r], forces, motions);
            }
        }
        _ => {}
    }
}

/// One Newton step; tells whether its factor is new, or nothing where the matrix is singular or there is
/// nothing to solve.
fn newton(
    s: &[Vec<f64>],
    spots: &[Spot],
    on: &Conditions<'_>,
    doing: &[Doing],
    face: &mut Face,
    forces: &mut [f64],
    motions: &mut [f64],
) -> Option<bool> {
    let mut free = vec![];
    let mut errors = vec![];
    for (k, spot) in spots.iter().enumerate() {
        let n = spot.first;
        let mut add = |f: Freedom, error: f64| {
            free.push(f);
            errors.push(error);
        };
        let slip = |r: usize| motions[r] - on.starts[r];
        let gap = motions[n] + on.gaps[k];
        match doing[k] {
            Doing::Nothing | Doing::Open => {}
            Doing::Bonded => (n..n + spot.count).for_each(|r| add(Freedom::of(r), slip(r))),
            Doing::Stuck => {
                add(Freedom::of(n), gap);
                add(Freedom::of(n + 1), slip(n + 1));
                add(Freedom::of(n + 2), slip(n + 2));
            }
            Doing::Slipping(d) => {
                let mu = on.laws[k].friction();
                let mut press = Freedom::of(n);
                if spot.count == 3 {
                    press.force = [1.0, mu * d[0], mu * d[1]];
                }
                add(press, gap);
                let bound = mu * forces[n];
                if bound > 0.0 {
                    // Along the edge of the bound, where the slip over the bound resists a turn.
                    let along = -(slip(n + 1) * d[0] + slip(n + 2) * d[1]);
                    let turn = Freedom {
                        row: n + 1,
                        force: [-d[1], d[0], 0.0],
                        seen: [-d[1], d[0], 0.0],
                        extra: along.max(0.0) / bound,
                    };
                    add(turn, slip(n + 2) * d[0] - slip(n + 1) * d[1]);
                }
            }
        }
    }
    if free.is_empty() {
        return None;
    }
    let same_rows =
        free.len() == face.free.len() && free.iter().zip(&face.free).all(|(a, b)| a.row == b.row);
    let is_new = face.factor.is_none() || !same_rows || (face.is_stale && free != face.free);
    if is_new {
        let matrix = DMatrix::from_fn(free.len(), free.len(), |i, j| {
            let extra = if i == j { free[i].extra } else { 0.0 };
            extra + free[i].product(s, &free[j])
        });
        face.factor = Some(matrix.lu());
        face.free.clone_from(&free);
    }
    let factor = face.factor.as_ref()?;
    let by = factor.solve(&DVector::from_vec(errors))?;
    for (f, d) in free.iter().zip(by.iter()) {
        for (r, w) in on_rows(f.row, f.force) {
            step(s, r, -d * w, forces, motions);
        }
    }
    Some(is_new)
}

/// How far all points are from their laws: the sum of squares of what a visit would change.
fn discord(
    s: &[Vec<f64>],
    spots: &[Spot],
    on: &Conditions<'_>,
    forces: &[f64],
    motions: &[f64],
) -> f64 {
    let mut sum = 0.0;
    for (k, spot) in spots.iter().enumerate() {
        let n = spot.first;
        match on.laws[k] {
            Law::Apart => {}
            Law::Bonded => sum += (at(motions, spot) - at(on.starts, spot)).norm_squared(),
            law => {
                let gap = on.gaps[k] + motions[n];
                // A gap counts only as far as the force on it could open it.
                sum += gap.min(forces[n] * s[n][n]).powi(2);
                if spot.count == 3 {
                    let own = s[n + 1][n + 1].max(s[n + 2][n + 2]);
                    let slip = [0, 1].map(|c| motions[n + 1 + c] - on.starts[n + 1 + c]);
                    let mut to = [0, 1].map(|c| forces[n + 1 + c] - slip[c] / own);
                    cut(&mut to, law.friction() * forces[n]);
                    for c in 0..2 {
                        sum += ((to[c] - forces[n + 1 + c]) * own).powi(2);
                    }
                }
            }
        }
    }
    sum
}

/// Changes one row's force, and all motions with it.
fn step(s: &[Vec<f64>], row: usize, by: f64, forces: &mut [f64], motions: &mut [f64]) {
    if by == 0.0 {
        return;
    }
    forces[row] += by;
    for (m, c) in motions.iter_mut().zip(&s[row]) {
        *m += c * by;
    }
}

fn at(v: &[f64], spot: &Spot) -> Vec3 {
    Vec3::from_fn(|c, _| {
        if c < spot.count {
            v[spot.first + c]
        } else {
            0.0
        }
    })
}

fn block(s: &[Vec<f64>], spot: &Spot) -> Mat3 {
    Mat3::from_fn(|i, j| match (i < spot.count, j < spot.count) {
        (true, true) => s[spot.first + i][spot.first + j],
        _ => f64::from(u8::from(i == j)),
    })
}
