//! Conjugate gradients on all right sides at once.
//!
//! Each right side has its own coefficients; what they share is every sweep over the matrix, the
//! smoother and the coarse factor. The direction update is the flexible one (Notay 2000, SIAM J Sci
//! Comput 22:1444), which forgives a preconditioner rounded to single precision.

use crate::chebyshev::Workspace;
use crate::columns::{CHUNK, column, dot, interleave};
use crate::{NodeColumns, NodeVector, SparseError, SymmetricBlocks, Team, TwoLevel};

/// When to stop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Relative residual to reach, ‖b − A x‖ / ‖b‖.
    pub tolerance: f64,
    /// Most iterations.
    pub max_iterations: usize,
}

/// How the iteration went.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Convergence {
    /// Iterations.
    pub iterations: usize,
    /// True relative residual of each right side, computed anew at the end.
    pub residuals: Vec<f64>,
    /// Largest relative residual over the right sides after each iteration.
    pub history: Vec<f64>,
}

/// Iterations without a new least residual that count as stagnation.
const PATIENCE: usize = 40;
/// How often the residual is computed anew and the iteration taken up again.
const RESTARTS: usize = 3;

/// Solves A x = b for all right sides, eight at a time.
///
/// # Errors
/// [`SparseError::NotConverged`] with the residual reached and the reason;
/// [`SparseError::NotPositiveDefinite`] when a direction of no or negative energy appears.
pub fn conjugate_gradients(
    team: &Team,
    matrix: &SymmetricBlocks,
    preconditioner: &TwoLevel,
    right_sides: &[NodeVector],
    limits: &Limits,
) -> Result<(Vec<NodeVector>, Convergence), SparseError> {
    let mut solutions = Vec::with_capacity(right_sides.len());
    let mut all = Convergence::default();
    for group in right_sides.chunks(8) {
        let vectors: Vec<&[[f64; 3]]> = group.iter().map(Vec::as_slice).collect();
        let solve = match group.len() {
            1 => solve_group::<1>,
            2 => solve_group::<2>,
            3..=4 => solve_group::<4>,
            // Five and six are padded: eight fill the vector registers evenly and run faster.
            _ => solve_group::<8>,
        };
        let (x, c) = solve(team, matrix, preconditioner, &vectors, limits)?;
        solutions.extend(x);
        all.iterations = all.iterations.max(c.iterations);
        all.residuals.extend(c.residuals);
        for (k, h) in c.history.into_iter().enumerate() {
            match all.history.get_mut(k) {
                Some(old) => *old = old.max(h),
                None => all.history.push(h),
            }
        }
    }
    Ok((solutions, all))
}

/// Bytes of vectors that the iteration holds for so many rows and right sides.
pub fn vector_bytes(rows: usize, coarse_rows: usize, right_sides: usize) -> u64 {
    let width = match right_sides {
        0..=2 => right_sides,
        3..=4 => 4,
        _ => 8,
    };
    // b, x, r, p, q in double, four of the smoother in single; coarse vector and its permutation; the
    // plain right sides and solutions.
    let interleaved = rows * (5 * 24 + 4 * 12) + coarse_rows * 2 * 24;
    (interleaved * width + 2 * 24 * rows * right_sides) as u64
}

struct State<const W: usize> {
    x: Vec<NodeColumns<f64, W>>,
    r: Vec<NodeColumns<f64, W>>,
    p: Vec<NodeColumns<f64, W>>,
    q: Vec<NodeColumns<f64, W>>,
    work: Workspace<W>,
    coarse: Vec<NodeColumns<f64, W>>,
}

fn solve_group<const W: usize>(
    team: &Team,
    matrix: &SymmetricBlocks,
    preconditioner: &TwoLevel,
    vectors: &[&[[f64; 3]]],
    limits: &Limits,
) -> Result<(Vec<NodeVector>, Convergence), SparseError> {
    let rows = matrix.rows();
    let zeros = |n: usize| vec![[[0.0; W]; 3]; n];
    let mut b = interleave::<W>(vectors);
    // Unit right sides: all residuals are then relative ones, and single precision cannot overflow.
    let norms = dot(team, &b, &b).map(f64::sqrt);
    let scale = norms.map(|n| if n > 0.0 { 1.0 / n } else { 0.0 });
    for node in b.iter_mut().flatten() {
        for k in 0..W {
            node[k] *= scale[k];
        }
    }
    let mut s = State {
        x: zeros(rows),
        r: b.clone(),
        p: zeros(rows),
        q: zeros(rows),
        work: Workspace::new(rows),
        coarse: zeros(preconditioner.coarse_rows()),
    };
    let mut report = Convergence::default();
    let stop = |report: &Convergence, residual: f64, reason: &str| SparseError::NotConverged {
        residual,
        iterations: report.iterations,
        reason: reason.to_owned(),
    };
    let mut true_residual = norms.map(|n| if n > 0.0 { 1.0 } else { 0.0 });
    for round in 0..=RESTARTS {
        iterate(team, matrix, preconditioner, &mut s, limits, &mut report)?;
        matrix.multiply(team, &s.x, &mut s.q);
        for ((r, b), q) in s.r.iter_mut().zip(&b).zip(&s.q) {
            for c in 0..3 {
                for k in 0..W {
                    r[c][k] = b[c][k] - q[c][k];
                }
            }
        }
        true_residual = dot(team, &s.r, &s.r).map(f64::sqrt);
        let worst = largest(&true_residual);
        if worst <= limits.tolerance {
            break;
        }
        if report.iterations >= limits.max_iterations {
            return Err(stop(
                &report,
                worst,
                "the allowed number of iterations is used up",
            ));
        }
        if round == RESTARTS {
            return Err(stop(
                &report,
                worst,
                "rounding: the residual computed anew stays above the tolerance",
            ));
        }
        s.p.iter_mut().for_each(|p| *p = [[0.0; W]; 3]);
    }
    for node in s.x.iter_mut().flatten() {
        for k in 0..W {
            node[k] *= norms[k];
        }
    }
    report.residuals = true_residual[..vectors.len()].to_vec();
    let solutions = (0..vectors.len()).map(|k| column(&s.x, k)).collect();
    Ok((solutions, report))
}

fn largest(values: &[f64]) -> f64 {
    values.iter().copied().fold(0.0, f64::max)
}

/// Iterates from the state's x and r until the recurrence residual meets the tolerance.
fn iterate<const W: usize>(
    team: &Team,
    matrix: &SymmetricBlocks,
    preconditioner: &TwoLevel,
    s: &mut State<W>,
    limits: &Limits,
    report: &mut Convergence,
) -> Result<(), SparseError> {
    let mut energy = [0.0; W];
    let mut alpha = [0.0; W];
    let mut residual = dot(team, &s.r, &s.r).map(f64::sqrt);
    let mut least = largest(&residual);
    let mut since_least = 0;
    let mut first = true;
    while largest(&residual) > limits.tolerance && report.iterations < limits.max_iterations {
        for (to, from) in s.work.residual.iter_mut().zip(&s.r) {
            *to = from.map(|r| r.map(|v| v as f32));
        }
        preconditioner.apply(team, &mut s.work, &mut s.coarse);
        let (rz, zq) = two_dots(team, &s.work.solution, &s.r, &s.q);
        let mut beta = [0.0; W];
        for k in 0..W {
            if !first && energy[k] > 0.0 {
                beta[k] = -alpha[k] * zq[k] / energy[k];
            }
        }
        energy = rz;
        direction(team, &mut s.p, &s.work.solution, beta);
        matrix.multiply(team, &s.p, &mut s.q);
        let pq = dot(team, &s.p, &s.q);
        for k in 0..W {
            if residual[k] == 0.0 {
                alpha[k] = 0.0;
                continue;
            }
            if !(pq[k] > 0.0 && rz[k].is_finite()) {
                return Err(SparseError::NotConverged {
                    residual: largest(&residual),
                    iterations: report.iterations,
                    reason: "a direction without energy: the matrix is not positive definite"
                        .to_owned(),
                });
            }
            alpha[k] = rz[k] / pq[k];
        }
        residual = advance(team, s, alpha).map(f64::sqrt);
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
        if since_least > PATIENCE {
            return Err(SparseError::NotConverged {
                residual: worst,
                iterations: report.iterations,
                reason: format!("no progress in {PATIENCE} iterations"),
            });
        }
    }
    Ok(())
}

/// z·r and z·q in one pass.
fn two_dots<const W: usize>(
    team: &Team,
    z: &[NodeColumns<f32, W>],
    r: &[NodeColumns<f64, W>],
    q: &[NodeColumns<f64, W>],
) -> ([f64; W], [f64; W]) {
    let parts = team.collect(z.len().div_ceil(CHUNK), |chunk| {
        let range = chunk * CHUNK..((chunk + 1) * CHUNK).min(z.len());
        let mut sums = [[0.0; W]; 2];
        for ((z, r), q) in z[range.clone()]
            .iter()
            .zip(&r[range.clone()])
            .zip(&q[range])
        {
            for c in 0..3 {
                for k in 0..W {
                    let v = f64::from(z[c][k]);
                    sums[0][k] += v * r[c][k];
                    sums[1][k] += v * q[c][k];
                }
            }
        }
        sums
    });
    let mut total = [[0.0; W]; 2];
    for part in parts {
        for (t, p) in total.iter_mut().zip(&part) {
            for k in 0..W {
                t[k] += p[k];
            }
        }
    }
    (total[0], total[1])
}

/// p ← z + β p.
fn direction<const W: usize>(
    team: &Team,
    p: &mut [NodeColumns<f64, W>],
    z: &[NodeColumns<f32, W>],
    beta: [f64; W],
) {
    let jobs: Vec<_> = p.chunks_mut(CHUNK).zip(z.chunks(CHUNK)).collect();
    team.each(jobs, |(p, z)| {
        for (p, z) in p.iter_mut().zip(z) {
            for c in 0..3 {
                for k in 0..W {
                    p[c][k] = f64::from(z[c][k]) + beta[k] * p[c][k];
                }
            }
        }
    });
}

/// x ← x + α p, r ← r − α q; gives r·r.
fn advance<const W: usize>(team: &Team, s: &mut State<W>, alpha: [f64; W]) -> [f64; W] {
    let jobs: Vec<_> =
        s.x.chunks_mut(CHUNK)
            .zip(s.r.chunks_mut(CHUNK))
            .zip(s.p.chunks(CHUNK).zip(s.q.chunks(CHUNK)))
            .collect();
    team.each(jobs, |((x, r), (p, q))| {
        for ((x, r), (p, q)) in x.iter_mut().zip(r).zip(p.iter().zip(q)) {
            for c in 0..3 {
                for k in 0..W {
                    x[c][k] += alpha[k] * p[c][k];
                    r[c][k] -= alpha[k] * q[c][k];
                }
            }
        }
    });
    dot(team, &s.r, &s.r)
}
