//! Direct solution with iterative refinement, x ← x + (L Lᵀ)⁻¹ (b − A x), until the residual meets the tolerance or the rounding
//! floor.

use crate::krylov::conjugate_gradients::{Convergence, Limits};
use crate::krylov::rounding::floors;
use crate::matrix::product::{Magnitudes, Product};
use crate::simd::columns::{column, interleave};
use crate::{BlockCholesky, NodeColumns, NodeVector, Operator, SparseError, Team};

/// Refinement steps after the first solution.
const STEPS: usize = 3;

/// Solves A x = b by the factor of A, one right-hand side after the other.
///
/// # Errors
/// [`SparseError::NotConverged`] when refinement (Higham 2002, chapter 12) stays above both the
/// tolerance and the rounding floor.
pub fn refined_direct<M: Product<f64> + Magnitudes>(
    team: &Team,
    operator: &Operator<'_, M>,
    factor: &BlockCholesky<f64>,
    right_hand_sides: &[NodeVector],
    limits: &Limits,
) -> Result<(Vec<NodeVector>, Convergence), SparseError> {
    let mut all = Convergence::default();
    let mut solutions = vec![];
    for b in right_hand_sides {
        let (x, convergence) = one(team, operator, factor, b, limits)?;
        solutions.push(x);
        all.absorb(convergence);
    }
    Ok((solutions, all))
}

fn one<M: Product<f64> + Magnitudes>(
    team: &Team,
    operator: &Operator<'_, M>,
    factor: &BlockCholesky<f64>,
    b: &NodeVector,
    limits: &Limits,
) -> Result<(NodeVector, Convergence), SparseError> {
    let b = interleave::<1>(&[b]);
    let size = norm(&b);
    let mut x = vec![[[0.0]; 3]; b.len()];
    let mut product = x.clone();
    let mut scratch = vec![];
    let mut residual = b.clone();
    let mut report = Convergence::default();
    loop {
        factor.solve(team, &mut residual);
        for (x, d) in x.iter_mut().zip(&residual) {
            for c in 0..3 {
                x[c][0] += d[c][0];
            }
        }
        operator.multiply(team, &x, &mut scratch, &mut product);
        for ((r, b), q) in residual.iter_mut().zip(&b).zip(&product) {
            for c in 0..3 {
                r[c][0] = b[c][0] - q[c][0];
            }
        }
        let reached = if size > 0.0 {
            norm(&residual) / size
        } else {
            0.0
        };
        report.history.push(reached);
        if reached > limits.tolerance && report.iterations < STEPS {
            report.iterations += 1;
            continue;
        }
        let [floor] = floors(team, operator, &x, &b);
        if reached > limits.tolerance.max(floor) {
            return Err(SparseError::NotConverged {
                residual: reached,
                iterations: report.iterations,
                reason: format!(
                    "refinement of the direct solution stays above the tolerance; rounding alone \
                     would allow {floor:.1e}"
                ),
            });
        }
        report.residuals = vec![reached];
        report.floors = vec![floor];
        report.at_floor = vec![reached > limits.tolerance];
        return Ok((column(&x, 0), report));
    }
}

fn norm(v: &[NodeColumns<f64, 1>]) -> f64 {
    let squares = v.iter().flatten().flatten().map(|a| a * a);
    squares.sum::<f64>().sqrt()
}
