//! Semismooth Newton steps on the active set.
//!
//! With the status of every point held, the laws are linear and one linear system settles them all (a primal-dual
//! active set step). Its unknowns are changes of force along directions c_k, its equations ask that combinations
//! r_k·j of the jumps become right:
//!
//! ```text
//! status          unknown: c_k                     equation: r_k                     right-hand side
//! tied            1 on each row                    the same row                      s
//! stick           1 on n; 1 on each t              the same row                      g; s
//! slip along d    1 on n and μ d on t              n                                 g
//!                 d⊥ on t (turn of the shear)      d⊥ on t, plus κ on the diagonal   d⊥·s
//! open, free      none: λ = 0
//!
//! A_kl = r_k·S c_l + κ_k δ_kl,    κ = max(0, −s·d) / (μ λ_n),    A δ = right-hand side,    λ ← λ − Σ δ_k c_k
//! ```
//!
//! where d = λ_t/|λ_t| projected and d⊥ = (−d₂, d₁). κ is the derivative of the direction of slip: on the edge of the
//! Coulomb disk the slip over the bound resists a turn of the shear. A is not symmetric where friction slips.

use crate::condensed::Condensed;
use crate::dense::{Lu, Square, Symmetric};
use crate::reduced::iterate::{Iterate, project_onto_disk};
use crate::reduced::laws::{Conditions, Constraint, Rows, Unilateral};
use crate::reduced::residual::residual;

/// Active set of the last Newton step with the factors of its matrix A.
///
/// Factors serve as long as the same rows are active and steps with them still gain: directions of slip change a
/// little in every step, which is no reason for new factors.
#[derive(Default)]
pub(crate) struct ActiveSet {
    unknowns: Vec<Unknown>,
    factors: Option<Lu>,
    is_stale: bool,
    /// Compliance with the sections of given tension eliminated.
    pub(super) condensed: Option<Condensed>,
}

/// Unknown and equation of the Newton system, on the rows of one point.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Unknown {
    rows: Rows,
    /// Direction c_k: weight of each row.
    force: [f64; 3],
    /// Test direction r_k.
    test: [f64; 3],
    /// κ_k.
    curvature: f64,
}

/// Direction along the first row alone.
const FIRST: [f64; 3] = [1.0, 0.0, 0.0];

impl Unknown {
    /// Force on one row, tested by its jump.
    fn on_row(row: usize) -> Self {
        Unknown {
            rows: Rows::present([Some(row)]),
            force: FIRST,
            test: FIRST,
            curvature: 0.0,
        }
    }

    /// Rows with the weights of c_k that are not zero.
    fn forces(&self) -> impl Iterator<Item = (usize, f64)> {
        let rows = self.rows.list().iter().copied();
        rows.zip(self.force).filter(|(_, w)| *w != 0.0)
    }

    /// r_k·j.
    fn tested(&self, jumps: &[f64]) -> f64 {
        let rows = self.rows.list();
        match self.test {
            FIRST => jumps[rows[0]],
            test => rows.iter().zip(test).map(|(r, w)| w * jumps[*r]).sum(),
        }
    }
}

/// Matrix A of the Newton system.
fn matrix(s: &Symmetric, unknowns: &[Unknown]) -> Square {
    let mut out = Square::zeros(unknowns.len());
    let mut mixed = vec![];
    for (l, of) in unknowns.iter().enumerate() {
        let jumps: &[f64] = if of.force == FIRST {
            s.row(of.rows.list()[0])
        } else {
            mixed.clear();
            mixed.resize(s.len(), 0.0);
            for (row, w) in of.forces() {
                for (m, c) in mixed.iter_mut().zip(s.row(row)) {
                    *m += w * c;
                }
            }
            &mixed
        };
        for (to, k) in out.column(l).iter_mut().zip(unknowns) {
            *to = k.tested(jumps);
        }
        out.column(l)[l] += of.curvature;
    }
    out
}

/// Status of a constraint in a Newton step.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Status {
    Free,
    Tied,
    Open,
    Stick,
    /// Slip, with the shear along these two weights.
    Slip([f64; 2]),
}

/// Are all statuses the same, but for the direction of slip?
fn same_statuses(a: &[Status], b: &[Status]) -> bool {
    let kind = std::mem::discriminant::<Status>;
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| kind(a) == kind(b))
}

/// Most Newton steps in a row.
const STEPS: usize = 8;
/// Share of the residual at the start that is as good as none.
const DONE: f64 = 1e-9;
/// Share of the residual before that a step by old factors must come down to.
const GAIN: f64 = 0.04;

/// Parts of the way of all Newton steps that are tried in turn where the whole raises the residual.
const PARTS: [f64; 4] = [0.5, 0.25, 0.1, 0.03];

/// Newton steps for all constraints together, taken as far as they lower the residual of the laws.
pub(super) fn correct(on: &Conditions<'_>, active: &mut ActiveSet, x: &mut Iterate<'_>) {
    let (old, old_jumps) = (x.forces.to_vec(), x.jumps.to_vec());
    let before = residual(on, x);
    let mut statuses = vec![];
    let mut last = before;
    for _ in 0..STEPS {
        let constraints = on.constraints.iter().enumerate();
        let next: Vec<Status> = constraints
            .map(|(k, c)| status(c, on, x, statuses.get(k).copied()))
            .collect();
        let settled = same_statuses(&next, &statuses);
        statuses = next;
        for (constraint, status) in on.constraints.iter().zip(&statuses) {
            enforce(*status, constraint, x);
        }
        if settled && last <= DONE * before {
            break;
        }
        let Some(is_new) = step(on, &statuses, active, x) else {
            break;
        };
        let now = residual(on, x);
        active.is_stale = now > GAIN * last;
        // A residual that its own factors do not lower is rounding.
        if is_new && settled && active.is_stale {
            break;
        }
        last = now;
    }
    project(on, x);
    if residual(on, x) < before {
        return;
    }
    // Where statuses would alternate, a part of the way still gains; on it all forces keep within their bounds.
    let (new, new_jumps) = (x.forces.to_vec(), x.jumps.to_vec());
    for share in PARTS {
        blend(&old, &new, share, x.forces);
        blend(&old_jumps, &new_jumps, share, x.jumps);
        if residual(on, x) < before {
            return;
        }
    }
    x.forces.copy_from_slice(&old);
    x.jumps.copy_from_slice(&old_jumps);
}

/// Projects all forces onto their bounds: no tension, shear within the Coulomb disk.
fn project(on: &Conditions<'_>, x: &mut Iterate<'_>) {
    for constraint in on.constraints {
        if let Constraint::Unilateral(p) = constraint {
            let pressed = x.forces[p.normal].max(0.0);
            let mut to = p.tangential.pair(|r| x.forces[r]);
            project_onto_disk(&mut to, p.friction * pressed);
            x.set_point(p, pressed, to);
        }
    }
}

fn blend(from: &[f64], to: &[f64], share: f64, out: &mut [f64]) {
    for ((out, from), to) in out.iter_mut().zip(from).zip(to) {
        *out = from + share * (to - from);
    }
}

/// Status of a constraint in the next step by its force and jump; `last`: its status in the step before.
fn status(
    constraint: &Constraint,
    on: &Conditions<'_>,
    x: &Iterate<'_>,
    last: Option<Status>,
) -> Status {
    let p = match constraint {
        Constraint::Free(_) => return Status::Free,
        Constraint::Tied(_) => return Status::Tied,
        Constraint::Unilateral(p) => p,
    };
    let n = p.normal;
    let gap = x.gap(p);
    let pressed = match last {
        // Exactly at its law after a Newton step: the sign of the other quantity tells.
        Some(Status::Open) => gap < 0.0,
        Some(_) => x.forces[n] > 0.0,
        None => x.forces[n] - gap / x.s.diagonal(n) > 0.0,
    };
    if !pressed {
        return Status::Open;
    }
    if p.tangential.list().is_empty() || p.friction == 0.0 {
        return Status::Slip([0.0; 2]);
    }
    let bound = p.friction * x.forces[n].max(0.0);
    let own = x.tangential_compliance(&p.tangential);
    let slip = |r: usize| x.jumps[r] - on.references[r];
    let trial = p.tangential.pair(|r| x.forces[r] - slip(r) / own);
    let size = trial[0].hypot(trial[1]);
    if size <= bound {
        Status::Stick
    } else {
        Status::Slip(trial.map(|t| t / size))
    }
}

/// Sets the force of a constraint as its status asks before the Newton step.
fn enforce(status: Status, constraint: &Constraint, x: &mut Iterate<'_>) {
    match (constraint, status) {
        (Constraint::Free(rows), _) => x.release(rows),
        (Constraint::Unilateral(p), Status::Open) => x.set_point(p, 0.0, [0.0; 2]),
        (Constraint::Unilateral(p), Status::Slip(d)) => {
            let pressed = x.forces[p.normal];
            let bound = p.friction * pressed.max(0.0);
            x.set_point(p, pressed, d.map(|d| bound * d));
        }
        (Constraint::Unilateral(_) | Constraint::Tied(_), _) => {}
    }
}

/// Unknowns of the Newton system with their right-hand side.
#[derive(Default)]
struct Equations {
    unknowns: Vec<Unknown>,
    right_hand_side: Vec<f64>,
}

impl Equations {
    fn add(&mut self, unknown: Unknown, right_hand_side: f64) {
        self.unknowns.push(unknown);
        self.right_hand_side.push(right_hand_side);
    }

    fn new(on: &Conditions<'_>, statuses: &[Status], x: &Iterate<'_>) -> Self {
        let mut out = Equations::default();
        for (constraint, status) in on.constraints.iter().zip(statuses) {
            match constraint {
                Constraint::Free(_) => {}
                Constraint::Tied(rows) => {
                    for r in rows.list() {
                        out.add(Unknown::on_row(*r), x.jumps[*r] - on.references[*r]);
                    }
                }
                Constraint::Unilateral(p) => out.add_point(p, *status, on, x),
            }
        }
        out
    }

    fn add_point(&mut self, p: &Unilateral, status: Status, on: &Conditions<'_>, x: &Iterate<'_>) {
        let slip = |r: usize| x.jumps[r] - on.references[r];
        let n = p.normal;
        let gap = x.jumps[n] + p.gap;
        match (status, p.tangential.list()) {
            (Status::Stick, tangential) => {
                self.add(Unknown::on_row(n), gap);
                for t in tangential {
                    self.add(Unknown::on_row(*t), slip(*t));
                }
            }
            (Status::Slip(d), &[t, ref more @ ..]) => {
                let mu = p.friction;
                let other = more.first().copied();
                let press = Unknown {
                    rows: Rows::present([Some(n), Some(t), other]),
                    force: [1.0, mu * d[0], mu * d[1]],
                    ..Unknown::on_row(n)
                };
                self.add(press, gap);
                let bound = mu * x.forces[n];
                if let Some(u) = other.filter(|_| bound > 0.0) {
                    let along = -(slip(t) * d[0] + slip(u) * d[1]);
                    let turn = Unknown {
                        rows: Rows::present([Some(t), Some(u)]),
                        force: [-d[1], d[0], 0.0],
                        test: [-d[1], d[0], 0.0],
                        curvature: along.max(0.0) / bound,
                    };
                    self.add(turn, slip(u) * d[0] - slip(t) * d[1]);
                }
            }
            (Status::Slip(_), []) => self.add(Unknown::on_row(n), gap),
            (Status::Open | Status::Free | Status::Tied, _) => {}
        }
    }
}

/// One Newton step; tells whether its factors are new, or `None` where the matrix is singular or nothing is active.
fn step(
    on: &Conditions<'_>,
    statuses: &[Status],
    active: &mut ActiveSet,
    x: &mut Iterate<'_>,
) -> Option<bool> {
    let Equations {
        unknowns,
        right_hand_side: mut delta,
    } = Equations::new(on, statuses, x);
    if unknowns.is_empty() {
        return None;
    }
    let pairs = unknowns.iter().zip(&active.unknowns);
    let same_rows =
        unknowns.len() == active.unknowns.len() && { pairs }.all(|(a, b)| a.rows == b.rows);
    let is_new =
        active.factors.is_none() || !same_rows || (active.is_stale && unknowns != active.unknowns);
    if is_new {
        active.factors = Lu::of(matrix(x.s, &unknowns));
        active.unknowns.clone_from(&unknowns);
    }
    active.factors.as_ref()?.solve(&mut delta);
    for (u, d) in unknowns.iter().zip(&delta) {
        for (r, w) in u.forces() {
            x.add(r, -d * w);
        }
    }
    Some(is_new)
}
