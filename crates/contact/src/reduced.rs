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
use crate::dense::{Lu, Square};
use crate::freed::Freed;
use nalgebra::{Matrix2, Matrix3, Vector2, Vector3};

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
    factor: Option<Lu>,
    is_stale: bool,
    freed: Option<Freed>,
}

/// A force that may change: on up to three rows, judged by their motion in the share `seen`. Where a point
/// slips its pressure takes μ times itself of shear along.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Freedom {
    rows: [usize; 3],
    force: [f64; 3],
    seen: [f64; 3],
    /// A compliance of its own.
    extra: f64,
}

const FIRST: [f64; 3] = [1.0, 0.0, 0.0];

impl Freedom {
    fn of(row: usize) -> Self {
        Freedom {
            rows: [row; 3],
            force: FIRST,
            seen: FIRST,
            extra: 0.0,
        }
    }
}

fn on_rows(rows: [usize; 3], weights: [f64; 3]) -> impl Iterator<Item = (usize, f64)> {
    rows.into_iter().zip(weights).filter(|(_, w)| *w != 0.0)
}

/// Motion of each freedom by a unit of each force.
fn matrix(s: &[Vec<f64>], free: &[Freedom]) -> Square {
    let mut out = Square::zeros(free.len());
    let mut mixed = vec![];
    for (j, by) in free.iter().enumerate() {
        let moved: &[f64] = if by.force == FIRST {
            &s[by.rows[0]]
        } else {
            mixed.clear();
            mixed.resize(s.len(), 0.0);
            for (row, w) in on_rows(by.rows, by.force) {
                for (m, c) in mixed.iter_mut().zip(&s[row]) {
                    *m += w * c;
                }
            }
            &mixed
        };
        for (to, f) in out.column(j).iter_mut().zip(free) {
            *to = if f.seen == FIRST {
                moved[f.rows[0]]
            } else {
                (0..3).map(|c| f.seen[c] * moved[f.rows[c]]).sum()
            };
        }
        out.column(j)[j] += by.extra;
    }
    out
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
    let given = &compliance.values;
    let freed = Freed::updated(face.freed.take(), given, on.pulls);
    let s = freed.as_ref().map_or(given, |f| &f.values);
    let lack = freed
        .as_ref()
        .map(|f| f.ahead(given, on.pulls, forces, motions));
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
    if let (Some(f), Some(lack)) = (&freed, lack) {
        f.finish(given, &lack, &before, forces);
    }
    face.freed = freed;
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
        let n = spot.normal;
        match on.laws[k] {
            Law::Apart => set_all(s, spot, [0.0; 3], forces, motions),
            Law::Bonded => bond(s, spot, on.starts, forces, motions),
            law => {
                let gap = on.gaps[k] + motions[n];
                let pressed = (forces[n] - gap / s[n][n]).max(0.0);
                step(s, n, pressed - forces[n], forces, motions);
                if let Some(t) = spot.across {
                    shear(s, t, law.friction() * pressed, on.starts, forces, motions);
                }
            }
        }
    }
}

/// Puts the forces of a spot where they are wanted: along the normal, then across.
fn set_all(s: &[Vec<f64>], spot: &Spot, to: [f64; 3], forces: &mut [f64], motions: &mut [f64]) {
    for (row, to) in spot.rows().zip(to) {
        step(s, row, to - forces[row], forces, motions);
    }
}

/// Takes the jump of a bonded spot back.
fn bond(s: &[Vec<f64>], spot: &Spot, starts: &[f64], forces: &mut [f64], motions: &mut [f64]) {
    let slip = |r: usize| motions[r] - starts[r];
    let n = spot.normal;
    let Some(t) = spot.across else {
        return step(s, n, -slip(n) / s[n][n], forces, motions);
    };
    let rows = [n, t, t + 1];
    let block = Matrix3::from_fn(|i, j| s[rows[i]][rows[j]]);
    let error = Vector3::from(rows.map(slip));
    let by = block
        .try_inverse()
        .map_or_else(Vector3::zeros, |i| -(i * error));
    for (row, by) in rows.into_iter().zip(by.iter()) {
        step(s, row, *by, forces, motions);
    }
}

/// One step of the shear at row `a` and the next.
fn shear(
    s: &[Vec<f64>],
    a: usize,
    bound: f64,
    starts: &[f64],
    forces: &mut [f64],
    motions: &mut [f64],
) {
    let block = Matrix2::from_fn(|i, j| s[a + i][a + j]);
    let slip = Vector2::from_fn(|i, _| motions[a + i] - starts[a + i]);
    let force = Vector2::new(forces[a], forces[a + 1]);
    // Stuck, if the bound allows.
    let stuck = block.try_inverse().map_or(force, |i| force - i * slip);
    let to = if stuck.norm() > bound {
        let (half, off) = (0.5 * block.trace(), block[(0, 1)]);
        let largest = half + (0.25 * (block[(0, 0)] - block[(1, 1)]).powi(2) + off * off).sqrt();
        let mut to: [f64; 2] = (force - slip / largest).into();
        cut(&mut to, bound);
        to
    } else {
        stuck.into()
    };
    step(s, a, to[0] - forces[a], forces, motions);
    step(s, a + 1, to[1] - forces[a + 1], forces, motions);
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

/// Do all points do the same, but for the direction of slip?
fn same_kinds(a: &[Doing], b: &[Doing]) -> bool {
    let kind = std::mem::discriminant::<Doing>;
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| kind(a) == kind(b))
}

/// Newton steps in a row.
const STEPS: usize = 8;
/// Share of the discord at the start that is as good as none.
const DONE: f64 = 1e-9;
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
        let settled = same_kinds(&next, &doing);
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
        // What its own factor does not mend is rounding.
        if is_new && settled && face.is_stale {
            break;
        }
        last = now;
    }
    for (k, spot) in spots.iter().enumerate() {
        if matches!(on.laws[k], Law::Frictional { .. } | Law::Frictionless) {
            let pressed = forces[spot.normal].max(0.0);
            let mut to = spot.across.map_or([0.0; 2], |t| [forces[t], forces[t + 1]]);
            cut(&mut to, on.laws[k].friction() * pressed);
            set_all(s, spot, [pressed, to[0], to[1]], forces, motions);
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
    let n = spot.normal;
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
    let Some(t) = spot.across.filter(|_| on.laws[k].friction() > 0.0) else {
        return Doing::Slipping([0.0; 2]);
    };
    let own = s[t][t].max(s[t + 1][t + 1]);
    let trial = [t, t + 1].map(|r| forces[r] - (motions[r] - on.starts[r]) / own);
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
    match *doing {
        Doing::Nothing | Doing::Open => set_all(s, spot, [0.0; 3], forces, motions),
        Doing::Slipping(d) => {
            let pressed = forces[spot.normal];
            let bound = law.friction() * pressed.max(0.0);
            set_all(
                s,
                spot,
                [pressed, bound * d[0], bound * d[1]],
                forces,
                motions,
            );
        }
        Doing::Bonded | Doing::Stuck => {}
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
        let n = spot.normal;
        let mut add = |f: Freedom, error: f64| {
            free.push(f);
            errors.push(error);
        };
        let slip = |r: usize| motions[r] - on.starts[r];
        let gap = motions[n] + on.gaps[k];
        match (doing[k], spot.across) {
            (Doing::Nothing | Doing::Open, _) => {}
            (Doing::Bonded, _) => spot.rows().for_each(|r| add(Freedom::of(r), slip(r))),
            (Doing::Stuck, across) => {
                add(Freedom::of(n), gap);
                if let Some(t) = across {
                    add(Freedom::of(t), slip(t));
                    add(Freedom::of(t + 1), slip(t + 1));
                }
            }
            (Doing::Slipping(_), None) => add(Freedom::of(n), gap),
            (Doing::Slipping(d), Some(t)) => {
                let mu = on.laws[k].friction();
                let press = Freedom {
                    rows: [n, t, t + 1],
                    force: [1.0, mu * d[0], mu * d[1]],
                    ..Freedom::of(n)
                };
                add(press, gap);
                let bound = mu * forces[n];
                if bound > 0.0 {
                    // Along the edge of the bound, where the slip over the bound resists a turn.
                    let along = -(slip(t) * d[0] + slip(t + 1) * d[1]);
                    let turn = Freedom {
                        rows: [t, t + 1, t],
                        force: [-d[1], d[0], 0.0],
                        seen: [-d[1], d[0], 0.0],
                        extra: along.max(0.0) / bound,
                    };
                    add(turn, slip(t + 1) * d[0] - slip(t) * d[1]);
                }
            }
        }
    }
    if free.is_empty() {
        return None;
    }
    let same_rows =
        free.len() == face.free.len() && free.iter().zip(&face.free).all(|(a, b)| a.rows == b.rows);
    let is_new = face.factor.is_none() || !same_rows || (face.is_stale && free != face.free);
    if is_new {
        face.factor = Lu::of(matrix(s, &free));
        face.free.clone_from(&free);
    }
    face.factor.as_ref()?.solve(&mut errors);
    for (f, d) in free.iter().zip(&errors) {
        for (r, w) in on_rows(f.rows, f.force) {
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
        let n = spot.normal;
        match on.laws[k] {
            Law::Apart => {}
            Law::Bonded => {
                let slips = spot.rows().map(|r| motions[r] - on.starts[r]);
                sum += slips.map(|s| s * s).sum::<f64>();
            }
            law => {
                let gap = on.gaps[k] + motions[n];
                // A gap counts only as far as the force on it could open it.
                sum += gap.min(forces[n] * s[n][n]).powi(2);
                if let Some(t) = spot.across {
                    let own = s[t][t].max(s[t + 1][t + 1]);
                    let slip = [t, t + 1].map(|r| motions[r] - on.starts[r]);
                    let mut to = [0, 1].map(|c| forces[t + c] - slip[c] / own);
                    cut(&mut to, law.friction() * forces[n]);
                    for c in 0..2 {
                        sum += ((to[c] - forces[t + c]) * own).powi(2);
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
