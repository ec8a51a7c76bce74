//! Preconditioned block conjugate gradients for many right-hand sides at once.
//!
//! With one column for each right-hand side, residual R = B − A X and preconditioner M⁻¹, an iteration is
//!
//! - Z = M⁻¹ R
//! - P ← Z − P (Pᵀ A P)⁺ (A P)ᵀ Z
//! - α = (Pᵀ A P)⁺ Pᵀ R, X ← X + P α, R ← R − A P α
//!
//! The right-hand sides share every sweep over the matrix, the smoother and the coarse factor, and also their search directions
//! P (O'Leary 1980, Linear Algebra Appl 29:293): each iteration minimises the energy error of every right-hand side over the
//! directions of all, so that the few slow modes of a structure are found once, not by each one for itself. Directions that have
//! become dependent drop out by the pseudo-inverse of their small energy matrix Pᵀ A P. The direction update is the flexible one
//! (Notay 2000, SIAM J Sci Comput 22:1444), which forgives a preconditioner rounded to single precision.

use crate::krylov::directions::{advance, direction, gram, grams, product, pseudo_inverse};
use crate::krylov::rounding::floors;
use crate::matrix::product::Matrix;
use crate::multigrid::chebyshev::Workspace;
use crate::simd::columns::{column, dot, interleave, written};
use crate::{NodeColumns, NodeVector, Operator, SparseError, Team, TwoLevel};

/// Stopping criteria.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Relative residual to reach, ‖b − A x‖ / ‖b‖. Where rounding forbids it, the rounding floor
    /// ([`crate::krylov::rounding`]) is the goal instead, and [`Convergence`] says so.
    pub tolerance: f64,
    /// Most iterations.
    pub max_iterations: usize,
}

/// Convergence history of a solution.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Convergence {
    /// Iterations.
    pub iterations: usize,
    /// True relative residual of each right-hand side, computed anew at the end.
    pub residuals: Vec<f64>,
    /// Rounding floor of each right-hand side, relative like the residuals.
    pub floors: Vec<f64>,
    /// Right-hand sides that stopped at their floor, above the tolerance.
    pub at_floor: Vec<bool>,
    /// Largest relative residual over the right-hand sides after each iteration.
    pub history: Vec<f64>,
}

impl Convergence {
    /// Adds the history of another group of right-hand sides.
    pub fn absorb(&mut self, other: Convergence) {
        self.iterations = self.iterations.max(other.iterations);
        self.residuals.extend(other.residuals);
        self.floors.extend(other.floors);
        self.at_floor.extend(other.at_floor);
        for (k, h) in other.history.into_iter().enumerate() {
            match self.history.get_mut(k) {
                Some(old) => *old = old.max(h),
                None => self.history.push(h),
            }
        }
    }
}

/// Iterations without a new least residual that count as stagnation.
const PATIENCE: usize = 40;
/// Restarts from a residual computed anew.
const RESTARTS: usize = 3;
/// Relative residual at which the rounding floor is computed.
const LOOK_UP: f64 = 1e-6;
/// Share of the floor that the recurrence goes on to: its residual and the true one part there.
const BELOW_FLOOR: f64 = 0.5;

/// Solves A x = b for all right-hand sides, eight at a time, from given guesses (none: from zero).
///
/// # Errors
/// [`SparseError::NotConverged`] with the residual reached and the reason;
/// [`SparseError::NotPositiveDefinite`] when a direction of no or negative energy appears.
pub fn conjugate_gradients<M: Matrix>(
    team: &Team,
    operator: &Operator<'_, M>,
    preconditioner: &TwoLevel<M>,
    right_hand_sides: &[NodeVector],
    guesses: Option<&[NodeVector]>,
    limits: &Limits,
) -> Result<(Vec<NodeVector>, Convergence), SparseError> {
    let mut solutions = Vec::with_capacity(right_hand_sides.len());
    let mut all = Convergence::default();
    for (group, rhs) in right_hand_sides.chunks(8).enumerate() {
        let vectors: Vec<&[[f64; 3]]> = rhs.iter().map(Vec::as_slice).collect();
        let start: Vec<&[[f64; 3]]> = guesses.map_or_else(Vec::new, |g| {
            let of_group = g.iter().skip(8 * group).take(rhs.len());
            of_group.map(Vec::as_slice).collect()
        });
        let solve = match rhs.len() {
            1 => solve_group::<M, 1>,
            2 => solve_group::<M, 2>,
            3..=4 => solve_group::<M, 4>,
            // Five and six are padded: eight fill the vector registers evenly and run faster.
            _ => solve_group::<M, 8>,
        };
        let (x, c) =
            team.inside(|| solve(team, operator, preconditioner, &vectors, &start, limits))?;
        solutions.extend(x);
        all.absorb(c);
    }
    Ok((solutions, all))
}

/// Bytes of the iteration's vectors for a matrix and so many right-hand sides.
pub fn vector_bytes<M: Matrix>(matrix: &M, coarse_rows: usize, right_hand_sides: usize) -> u64 {
    let width = match right_hand_sides {
        0..=2 => right_hand_sides,
        3..=4 => 4,
        _ => 8,
    };
    // b, x, r, p, q and the sums of the rounding floor in double, four of the smoother in single; coarse vector and
    // its permutation; the plain right-hand sides and solutions.
    let rows = matrix.rows();
    let interleaved = rows * (6 * 24 + 4 * 12) + coarse_rows * (24 + 12);
    let scratch = matrix.scratch_bytes(width, 4) + matrix.scratch_bytes(width, 8);
    (interleaved * width + 2 * 24 * rows * right_hand_sides) as u64 + scratch
}

/// Vectors of the iteration: q = A p.
struct State<const W: usize> {
    b: Vec<NodeColumns<f64, W>>,
    x: Vec<NodeColumns<f64, W>>,
    r: Vec<NodeColumns<f64, W>>,
    p: Vec<NodeColumns<f64, W>>,
    q: Vec<NodeColumns<f64, W>>,
    scratch: Vec<NodeColumns<f64, W>>,
    work: Workspace<W>,
    coarse: Vec<NodeColumns<f64, W>>,
    /// Relative residual at which each column is done.
    goals: [f64; W],
    /// Rounding floors for the x at which they were looked up.
    floors: Option<[f64; W]>,
}

impl<const W: usize> State<W> {
    /// r ← b − A x, computed anew; gives its norms. Uses q.
    fn true_residual<M: Matrix>(&mut self, team: &Team, operator: &Operator<'_, M>) -> [f64; W] {
        operator.multiply(team, &self.x, &mut self.scratch, &mut self.q);
        for ((r, b), q) in self.r.iter_mut().zip(&self.b).zip(&self.q) {
            for c in 0..3 {
                for k in 0..W {
                    r[c][k] = b[c][k] - q[c][k];
                }
            }
        }
        dot(team, &self.r, &self.r).map(f64::sqrt)
    }
}

fn solve_group<M: Matrix, const W: usize>(
    team: &Team,
    operator: &Operator<'_, M>,
    preconditioner: &TwoLevel<M>,
    vectors: &[&[[f64; 3]]],
    guesses: &[&[[f64; 3]]],
    limits: &Limits,
) -> Result<(Vec<NodeVector>, Convergence), SparseError> {
    let rows = operator.rows();
    let zeros = |n: usize| written([[0.0; W]; 3], n);
    let mut b = interleave::<W>(vectors);
    // Unit right-hand sides: all residuals are then relative ones, and single precision cannot overflow.
    let norms = dot(team, &b, &b).map(f64::sqrt);
    let scale = norms.map(|n| if n > 0.0 { 1.0 / n } else { 0.0 });
    let rescale = |v: &mut [NodeColumns<f64, W>], by: [f64; W]| {
        for node in v.iter_mut().flatten() {
            for k in 0..W {
                node[k] *= by[k];
            }
        }
    };
    rescale(&mut b, scale);
    let mut s = State {
        x: zeros(rows),
        r: b.clone(),
        b,
        p: zeros(rows),
        q: zeros(rows),
        scratch: vec![],
        work: Workspace::new(rows),
        coarse: zeros(preconditioner.coarse_rows()),
        goals: [limits.tolerance; W],
        floors: None,
    };
    if !guesses.is_empty() {
        s.x = interleave::<W>(guesses);
        rescale(&mut s.x, scale);
        s.true_residual(team, operator);
    }
    let mut report = Convergence::default();
    let mut round = 0;
    let (residuals, floors) = loop {
        let halt = iterate(team, operator, preconditioner, &mut s, limits, &mut report)?;
        let residuals = s.true_residual(team, operator);
        // The floors depend on the size of x, which a residual of LOOK_UP has fixed well enough.
        let floors = s
            .floors
            .unwrap_or_else(|| floors(team, operator, &s.x, &s.b));
        if (0..W).all(|k| residuals[k] <= limits.tolerance.max(floors[k])) {
            break (residuals, floors);
        }
        let reason = match halt {
            Halt::Iterations => Some("the allowed number of iterations is used up"),
            Halt::Stagnation => Some("no progress in 40 iterations"),
            Halt::Goal if round == RESTARTS => {
                Some("the residual computed anew stays above what the recurrence says")
            }
            Halt::Goal => None,
        };
        if let Some(reason) = reason {
            let floor = largest(&floors);
            return Err(SparseError::NotConverged {
                residual: largest(&residuals),
                iterations: report.iterations,
                reason: format!("{reason}; rounding alone would allow {floor:.1e}"),
            });
        }
        s.goals = floors.map(|f| limits.tolerance.max(BELOW_FLOOR * f));
        s.p.fill([[0.0; W]; 3]);
        round += 1;
    };
    rescale(&mut s.x, norms);
    let count = vectors.len();
    report.residuals = residuals[..count].to_vec();
    report.floors = floors[..count].to_vec();
    report.at_floor = (0..count)
        .map(|k| residuals[k] > limits.tolerance)
        .collect();
    let solutions = (0..count).map(|k| column(&s.x, k)).collect();
    Ok((solutions, report))
}

fn largest(values: &[f64]) -> f64 {
    values.iter().copied().fold(0.0, f64::max)
}

/// Reason why an iteration stopped.
enum Halt {
    /// The recurrence residual met the goals.
    Goal,
    /// The allowed number of iterations is used up.
    Iterations,
    /// No new least residual for long.
    Stagnation,
}

/// Iterates from the state's x and r until the recurrence residual meets the goals.
fn iterate<M: Matrix, const W: usize>(
    team: &Team,
    operator: &Operator<'_, M>,
    preconditioner: &TwoLevel<M>,
    s: &mut State<W>,
    limits: &Limits,
    report: &mut Convergence,
) -> Result<Halt, SparseError> {
    let mut inverse = [[0.0; W]; W];
    let mut residual = dot(team, &s.r, &s.r).map(f64::sqrt);
    let mut least = largest(&residual);
    let mut since_least = 0;
    let mut first = true;
    let mut looked_up = limits.tolerance >= LOOK_UP || s.floors.is_some();
    s.work.load(team, &s.r);
    loop {
        if !looked_up && largest(&residual) <= LOOK_UP {
            looked_up = true;
            let floors = floors(team, operator, &s.x, &s.b);
            s.floors = Some(floors);
            s.goals = floors.map(|f| limits.tolerance.max(BELOW_FLOOR * f));
        }
        if (0..W).all(|k| residual[k] <= s.goals[k]) {
            return Ok(Halt::Goal);
        }
        if report.iterations >= limits.max_iterations {
            return Ok(Halt::Iterations);
        }
        if since_least > PATIENCE {
            return Ok(Halt::Stagnation);
        }
        preconditioner.apply(team, &mut s.work, &mut s.coarse);
        // Z ← Z − P (PᵀAP)⁺ (AP)ᵀ Z, with P and AP of the last iteration.
        let beta = if first {
            [[0.0; W]; W]
        } else {
            let overlap = gram(team, &s.q, &s.work.solution);
            product(&inverse, &overlap).map(|row| row.map(|v| -v))
        };
        direction(team, &mut s.p, &s.work.solution, &beta);
        operator.multiply(team, &s.p, &mut s.scratch, &mut s.q);
        let (energy, pull) = grams(team, &s.p, &s.q, &s.r);
        for k in 0..W {
            let bad = energy[k][k].is_nan() || energy[k][k] <= 0.0 || pull[k][k].is_nan();
            if bad && residual[k] > s.goals[k] {
                return Err(SparseError::NotConverged {
                    residual: largest(&residual),
                    iterations: report.iterations,
                    reason: "a direction without energy: the matrix is not positive definite"
                        .to_owned(),
                });
            }
        }
        inverse = pseudo_inverse(&energy);
        let alpha = product(&inverse, &pull);
        let rounded = &mut s.work.rhs;
        residual = advance(team, &mut s.x, &mut s.r, rounded, &s.p, &s.q, &alpha).map(f64::sqrt);
        first = false;
        let worst = largest(&residual);
        report.iterations += 1;
        report.history.push(worst);
        if worst < least {
            least = worst;
            since_least = 0;
        } else {
            since_least += 1;
        }
    }
}
