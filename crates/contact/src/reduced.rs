//! The contact problem with the structure replaced by its compliance.
//!
//! Two moves by turns. Block Gauss-Seidel (Jourdan, Alart and Jean 1998, Comput Methods Appl Mech Eng
//! 155:31) puts one point after the other right under its law: its pressure by the gap, its shear by a step
//! against the slip, cut back to μ times the pressure. That finds who touches, sticks and slips, but is slow
//! where a soft structure couples all points; so a Newton step for all that press follows, cut back to the laws
//! and taken only if it brings the points nearer to them (compare the truncated nonsmooth Newton methods of
//! Gräser and Kornhuber 2009, J Comput Math 27:1).

use crate::dense::{Lu, Square};
use crate::freed::Freed;
use nalgebra::{Matrix2, Matrix3, Vector2, Vector3};

/// Up to three rows.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Rows {
    all: [usize; 3],
    count: usize,
}

impl Rows {
    /// Those that there are.
    pub(crate) fn of<const N: usize>(rows: [Option<usize>; N]) -> Self {
        let mut out = Rows::default();
        for (row, to) in rows.into_iter().flatten().zip(&mut out.all) {
            *to = row;
            out.count += 1;
        }
        out
    }

    fn list(&self) -> &[usize] {
        &self.all[..self.count]
    }

    /// A number for each of the first two; zero for those that are not there.
    fn pair(&self, of: impl Fn(usize) -> f64) -> [f64; 2] {
        let mut out = [0.0; 2];
        for (to, row) in out.iter_mut().zip(self.list()) {
            *to = of(*row);
        }
        out
    }
}

/// Rows of a point that are set together, and what holds there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Block {
    /// No force.
    Slack(Rows),
    /// No motion but that at the start: a bond, or a thread.
    Held(Rows),
    /// Pressure, and shear against slip.
    Pressing(Pressing),
}

/// Where sides press and lift.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pressing {
    pub(crate) normal: usize,
    /// Up to two rows.
    pub(crate) across: Rows,
    /// Most shear over pressure.
    pub(crate) friction: f64,
    /// Before loading, mm.
    pub(crate) gap: f64,
}

/// What holds at the rows of the reduced problem.
pub(crate) struct Conditions<'a> {
    /// In the order in which they are visited.
    pub(crate) blocks: &'a [Block],
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

/// Makes the forces of all rows agree with their conditions. `given` is the compliance, row by row; `forces`
/// are those that belong to the `motions`; both are changed. Gives how far they still are from their conditions: a length over that of all
/// motions, and of what the forces alone would move.
pub(crate) fn solve(
    given: &[Vec<f64>],
    on: &Conditions<'_>,
    accuracy: f64,
    face: &mut Face,
    forces: &mut [f64],
    motions: &mut [f64],
) -> f64 {
    let freed = Freed::updated(face.freed.take(), given, on.pulls);
    let s = freed.as_ref().map_or(given, |f| f.values.as_slice());
    let lack = freed
        .as_ref()
        .map(|f| f.ahead(given, on.pulls, forces, motions));
    let before = forces.to_vec();
    for _ in 0..ROUNDS {
        let last = forces.to_vec();
        for _ in 0..SWEEPS {
            sweep(s, on, forces, motions);
        }
        correct(s, on, face, forces, motions);
        let size: f64 = forces.iter().map(|f| f * f).sum();
        let changed: f64 = forces.iter().zip(&last).map(|(n, o)| (n - o).powi(2)).sum();
        if changed <= accuracy * accuracy * size {
            break;
        }
    }
    let off = discord(s, on, forces, motions);
    let rows = (0..forces.len()).map(|r| motions[r].powi(2) + (forces[r] * s[r][r]).powi(2));
    let size: f64 = rows.sum();
    if let (Some(f), Some(lack)) = (&freed, lack) {
        f.finish(given, &lack, &before, forces);
    }
    face.freed = freed;
    if size > 0.0 { (off / size).sqrt() } else { 0.0 }
}

/// Visits every block once.
fn sweep(s: &[Vec<f64>], on: &Conditions<'_>, forces: &mut [f64], motions: &mut [f64]) {
    for block in on.blocks {
        match block {
            Block::Slack(rows) => slacken(s, rows, forces, motions),
            Block::Held(rows) => hold(s, rows, on.starts, forces, motions),
            Block::Pressing(p) => {
                let n = p.normal;
                let gap = p.gap + motions[n];
                let pressed = (forces[n] - gap / s[n][n]).max(0.0);
                step(s, n, pressed - forces[n], forces, motions);
                shear(s, p, p.friction * pressed, on.starts, forces, motions);
            }
        }
    }
}

/// Takes all force off rows.
fn slacken(s: &[Vec<f64>], rows: &Rows, forces: &mut [f64], motions: &mut [f64]) {
    for &row in rows.list() {
        step(s, row, -forces[row], forces, motions);
    }
}

/// Puts the pressure and the shear of a block where they are wanted.
fn set(
    s: &[Vec<f64>],
    p: &Pressing,
    (pressed, shear): (f64, [f64; 2]),
    forces: &mut [f64],
    motions: &mut [f64],
) {
    step(s, p.normal, pressed - forces[p.normal], forces, motions);
    for (row, to) in p.across.list().iter().zip(shear) {
        step(s, *row, to - forces[*row], forces, motions);
    }
}

/// Takes the jump of held rows back.
fn hold(s: &[Vec<f64>], rows: &Rows, starts: &[f64], forces: &mut [f64], motions: &mut [f64]) {
    let slip = |r: usize| motions[r] - starts[r];
    let rows = rows.list();
    if let [row] = *rows {
        return step(s, row, -slip(row) / s[row][row], forces, motions);
    }
    let block = Matrix3::from_fn(|i, j| match (rows.get(i), rows.get(j)) {
        (Some(a), Some(b)) => s[*a][*b],
        _ => f64::from(u8::from(i == j)),
    });
    let error = Vector3::from_fn(|i, _| rows.get(i).map_or(0.0, |r| slip(*r)));
    let by = block
        .try_inverse()
        .map_or_else(Vector3::zeros, |i| -(i * error));
    for (row, by) in rows.iter().zip(by.iter()) {
        step(s, *row, *by, forces, motions);
    }
}

/// One step of the shear of a block.
fn shear(
    s: &[Vec<f64>],
    p: &Pressing,
    bound: f64,
    starts: &[f64],
    forces: &mut [f64],
    motions: &mut [f64],
) {
    match *p.across.list() {
        [a] => {
            // Round a screw: one way to slip, and back.
            let stuck = forces[a] - (motions[a] - starts[a]) / s[a][a];
            let mut to = [stuck, 0.0];
            cut(&mut to, bound);
            step(s, a, to[0] - forces[a], forces, motions);
        }
        [a, b] => {
            let rows = [a, b];
            let block = Matrix2::from_fn(|i, j| s[rows[i]][rows[j]]);
            let slip = Vector2::from(rows.map(|r| motions[r] - starts[r]));
            let force = Vector2::from(rows.map(|r| forces[r]));
            // Stuck, if the bound allows.
            let stuck = block.try_inverse().map_or(force, |i| force - i * slip);
            let to = if stuck.norm() > bound {
                let (half, off) = (0.5 * block.trace(), block[(0, 1)]);
                let largest =
                    half + (0.25 * (block[(0, 0)] - block[(1, 1)]).powi(2) + off * off).sqrt();
                let mut to: [f64; 2] = (force - slip / largest).into();
                cut(&mut to, bound);
                to
            } else {
                stuck.into()
            };
            step(s, a, to[0] - forces[a], forces, motions);
            step(s, b, to[1] - forces[b], forces, motions);
        }
        _ => {}
    }
}

fn cut(shear: &mut [f64; 2], bound: f64) {
    let size = shear[0].hypot(shear[1]);
    if size > bound {
        *shear = shear.map(|t| t * (bound / size));
    }
}

/// What a block does in a Newton step.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Doing {
    Nothing,
    Held,
    Open,
    Stuck,
    /// Slips with its shear along these two weights.
    Slipping([f64; 2]),
}

/// Do all blocks do the same, but for the direction of slip?
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

/// Parts of the way of all Newton steps that are tried in turn where the whole leads away from the laws.
const PARTS: [f64; 4] = [0.5, 0.25, 0.1, 0.03];

/// Newton steps for all blocks together, as far as they lead nearer to the laws.
fn correct(
    s: &[Vec<f64>],
    on: &Conditions<'_>,
    face: &mut Face,
    forces: &mut [f64],
    motions: &mut [f64],
) {
    let (old, old_motions) = (forces.to_vec(), motions.to_vec());
    let before = discord(s, on, forces, motions);
    let mut doing = vec![];
    let mut last = before;
    for _ in 0..STEPS {
        let blocks = on.blocks.iter().enumerate();
        let next: Vec<Doing> = blocks
            .map(|(k, block)| judge(s, block, on, forces, motions, doing.get(k).copied()))
            .collect();
        let settled = same_kinds(&next, &doing);
        doing = next;
        for (block, doing) in on.blocks.iter().zip(&doing) {
            cut_back(doing, block, s, forces, motions);
        }
        if settled && last <= DONE * before {
            break;
        }
        let Some(is_new) = newton(s, on, &doing, face, forces, motions) else {
            break;
        };
        let now = discord(s, on, forces, motions);
        face.is_stale = now > GAIN * last;
        // What its own factor does not mend is rounding.
        if is_new && settled && face.is_stale {
            break;
        }
        last = now;
    }
    bound(s, on, forces, motions);
    if discord(s, on, forces, motions) < before {
        return;
    }
    // Where states would alternate, a part of the way still gains; on it all forces keep within their bounds.
    let (new, new_motions) = (forces.to_vec(), motions.to_vec());
    for share in PARTS {
        blend(&old, &new, share, forces);
        blend(&old_motions, &new_motions, share, motions);
        if discord(s, on, forces, motions) < before {
            return;
        }
    }
    forces.copy_from_slice(&old);
    motions.copy_from_slice(&old_motions);
}

/// Cuts all forces back to what their laws allow.
fn bound(s: &[Vec<f64>], on: &Conditions<'_>, forces: &mut [f64], motions: &mut [f64]) {
    for block in on.blocks {
        if let Block::Pressing(p) = block {
            let pressed = forces[p.normal].max(0.0);
            let mut to = p.across.pair(|r| forces[r]);
            cut(&mut to, p.friction * pressed);
            set(s, p, (pressed, to), forces, motions);
        }
    }
}

fn blend(from: &[f64], to: &[f64], share: f64, out: &mut [f64]) {
    for ((out, from), to) in out.iter_mut().zip(from).zip(to) {
        *out = from + share * (to - from);
    }
}

/// What a block does next by its force and motion; `last`: what it did in the step before.
fn judge(
    s: &[Vec<f64>],
    block: &Block,
    on: &Conditions<'_>,
    forces: &[f64],
    motions: &[f64],
    last: Option<Doing>,
) -> Doing {
    let p = match block {
        Block::Slack(_) => return Doing::Nothing,
        Block::Held(_) => return Doing::Held,
        Block::Pressing(p) => p,
    };
    let n = p.normal;
    let gap = p.gap + motions[n];
    let pressed = match last {
        // Exactly at its law after a Newton step: the sign of the other quantity tells.
        Some(Doing::Open) => gap < 0.0,
        Some(_) => forces[n] > 0.0,
        None => forces[n] - gap / s[n][n] > 0.0,
    };
    if !pressed {
        return Doing::Open;
    }
    if p.across.list().is_empty() || p.friction == 0.0 {
        return Doing::Slipping([0.0; 2]);
    }
    let bound = p.friction * forces[n].max(0.0);
    let own = most_compliant(s, &p.across);
    let trial = p
        .across
        .pair(|r| forces[r] - (motions[r] - on.starts[r]) / own);
    let size = trial[0].hypot(trial[1]);
    if size <= bound {
        Doing::Stuck
    } else {
        Doing::Slipping(trial.map(|t| t / size))
    }
}

/// Largest motion of rows by a unit force on themselves.
fn most_compliant(s: &[Vec<f64>], rows: &Rows) -> f64 {
    rows.list().iter().fold(0.0, |most, r| s[*r][*r].max(most))
}

/// Puts a block's force where its state says before the Newton step.
fn cut_back(doing: &Doing, block: &Block, s: &[Vec<f64>], forces: &mut [f64], motions: &mut [f64]) {
    match (block, *doing) {
        (Block::Slack(rows), _) => slacken(s, rows, forces, motions),
        (Block::Pressing(p), Doing::Open) => set(s, p, (0.0, [0.0; 2]), forces, motions),
        (Block::Pressing(p), Doing::Slipping(d)) => {
            let pressed = forces[p.normal];
            let bound = p.friction * pressed.max(0.0);
            set(s, p, (pressed, d.map(|d| bound * d)), forces, motions);
        }
        _ => {}
    }
}

/// One Newton step; tells whether its factor is new, or nothing where the matrix is singular or there is
/// nothing to solve.
fn newton(
    s: &[Vec<f64>],
    on: &Conditions<'_>,
    doing: &[Doing],
    face: &mut Face,
    forces: &mut [f64],
    motions: &mut [f64],
) -> Option<bool> {
    let mut free = vec![];
    let mut errors = vec![];
    let slip = |r: usize| motions[r] - on.starts[r];
    for (block, doing) in on.blocks.iter().zip(doing) {
        let mut add = |f: Freedom, error: f64| {
            free.push(f);
            errors.push(error);
        };
        let p = match block {
            Block::Slack(_) => continue,
            Block::Held(rows) => {
                let rows = rows.list().iter();
                rows.for_each(|r| add(Freedom::of(*r), slip(*r)));
                continue;
            }
            Block::Pressing(p) => p,
        };
        let n = p.normal;
        let gap = motions[n] + p.gap;
        match (*doing, p.across.list()) {
            (Doing::Stuck, across) => {
                add(Freedom::of(n), gap);
                across.iter().for_each(|t| add(Freedom::of(*t), slip(*t)));
            }
            (Doing::Slipping(d), &[t, ref more @ ..]) => {
                let mu = p.friction;
                let other = more.first().copied();
                let press = Freedom {
                    rows: [n, t, other.unwrap_or(t)],
                    force: [1.0, mu * d[0], mu * d[1]],
                    ..Freedom::of(n)
                };
                add(press, gap);
                let bound = mu * forces[n];
                if let Some(u) = other.filter(|_| bound > 0.0) {
                    // Along the edge of the bound, where the slip over the bound resists a turn.
                    let along = -(slip(t) * d[0] + slip(u) * d[1]);
                    let turn = Freedom {
                        rows: [t, u, t],
                        force: [-d[1], d[0], 0.0],
                        seen: [-d[1], d[0], 0.0],
                        extra: along.max(0.0) / bound,
                    };
                    add(turn, slip(u) * d[0] - slip(t) * d[1]);
                }
            }
            (Doing::Slipping(_), []) => add(Freedom::of(n), gap),
            _ => {}
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
fn discord(s: &[Vec<f64>], on: &Conditions<'_>, forces: &[f64], motions: &[f64]) -> f64 {
    let mut sum = 0.0;
    let slip = |r: usize| motions[r] - on.starts[r];
    for block in on.blocks {
        match block {
            Block::Slack(_) => {}
            Block::Held(rows) => {
                let slips = rows.list().iter().map(|r| slip(*r));
                sum += slips.map(|s| s * s).sum::<f64>();
            }
            Block::Pressing(p) => {
                let n = p.normal;
                let gap = p.gap + motions[n];
                // A gap counts only as far as the force on it could open it.
                sum += gap.min(forces[n] * s[n][n]).powi(2);
                let own = most_compliant(s, &p.across);
                let mut to = p.across.pair(|r| forces[r] - slip(r) / own);
                cut(&mut to, p.friction * forces[n]);
                for (row, to) in p.across.list().iter().zip(to) {
                    sum += ((to - forces[*row]) * own).powi(2);
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

#[cfg(test)]
mod tests {
    use super::*;

    const POINTS: usize = 12;
    const ROWS: usize = 3 * POINTS;

    /// A dense compliance: a soft mode or two that all points share, on top of what each has of its own.
    fn compliance(modes: &[f64], soft: f64) -> Vec<Vec<f64>> {
        let mode = |k: usize, row: usize| modes[(k * ROWS + row) % modes.len()];
        let entry = |i: usize, j: usize| {
            let shared: f64 = (0..2).map(|k| mode(k, i) * mode(k, j)).sum();
            soft * shared + if i == j { 1.0 } else { 0.0 }
        };
        (0..ROWS)
            .map(|i| (0..ROWS).map(|j| entry(i, j)).collect())
            .collect()
    }

    fn off(values: Vec<Vec<f64>>, friction: f64, free: &[f64]) -> f64 {
        let blocks: Vec<Block> = (0..POINTS)
            .map(|p| {
                Block::Pressing(Pressing {
                    normal: 3 * p,
                    across: Rows::of([Some(3 * p + 1), Some(3 * p + 2)]),
                    friction,
                    gap: 0.0,
                })
            })
            .collect();
        let on = Conditions {
            blocks: &blocks,
            starts: &[0.0; ROWS],
            pulls: &[],
        };
        let (mut forces, mut motions) = (vec![0.0; ROWS], free.to_vec());
        let face = &mut Face::default();
        solve(&values, &on, 1e-10, face, &mut forces, &mut motions)
    }

    /// Numbers between -1 and 1 (Knuth's linear congruence).
    fn numbers(seed: &mut u64, count: usize) -> Vec<f64> {
        let mut next = || {
            *seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (*seed >> 11) as f64 / (1u64 << 52) as f64 - 1.0
        };
        (0..count).map(|_| next()).collect()
    }

    /// Points pressed and pulled at random: how far they are from their laws at the end.
    fn off_at_random(mut seed: u64, soft: f64, friction: f64) -> f64 {
        let modes = numbers(&mut seed, 2 * ROWS);
        let free = numbers(&mut seed, ROWS);
        off(compliance(&modes, soft), friction, &free)
    }

    #[test]
    fn points_on_a_soft_structure_are_brought_under_their_laws() {
        for (soft, friction) in [0.0, 1.0, 10.0]
            .into_iter()
            .flat_map(|s| [0.05, 0.3, 1.0].map(|f| (s, f)))
        {
            for seed in 1..100 {
                let off = off_at_random(seed, soft, friction);
                assert!(off < 1e-8, "{seed} {soft} {friction}: {off}");
            }
        }
    }

    #[test]
    fn a_part_of_the_way_is_taken_where_whole_newton_steps_alternate() {
        // Whole steps alone leave these at 1e-3 and more. They do not mend all that are so soft.
        for seed in [27, 150, 165, 174, 195, 220] {
            let off = off_at_random(seed, 200.0, 0.05);
            assert!(off < 1e-8, "{seed}: {off}");
        }
    }
}
