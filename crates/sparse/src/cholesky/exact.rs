//! A Cholesky factor as the exact preconditioner M⁻¹ = A⁻¹.

use crate::simd::columns::{column, interleave};
use crate::{BlockCholesky, NodeVector, Preconditioner, SparseVector, Team};

/// The vectors of an exact preconditioner's basis.
#[derive(Debug, Default)]
pub struct ExactBasis {
    vectors: Vec<SparseVector>,
}

/// Solutions A⁻¹ s; nothing is left to be done to them.
#[derive(Debug)]
pub struct ExactHalf {
    solutions: Vec<NodeVector>,
}

impl BlockCholesky<f64> {
    fn solve_one(&self, team: &Team, rhs: &NodeVector) -> NodeVector {
        let mut x = interleave::<1>(&[rhs]);
        self.solve(team, &mut x);
        column(&x, 0)
    }
}

impl Preconditioner for BlockCholesky<f64> {
    type Basis = ExactBasis;
    type Half = ExactHalf;

    fn extend(&self, team: &Team, basis: &mut ExactBasis, new: Vec<SparseVector>) -> Vec<Vec<f64>> {
        basis.vectors.extend(new.iter().cloned());
        let products = new.iter().map(|b| {
            let mut rhs = vec![[0.0; 3]; self.rows()];
            for (row, v) in b {
                rhs[*row as usize] = *v;
            }
            let x = self.solve_one(team, &rhs);
            basis.vectors.iter().map(|b| dot(b, &x)).collect()
        });
        products.collect()
    }

    fn begin(&self, team: &Team, rhs: &[NodeVector]) -> ExactHalf {
        ExactHalf {
            solutions: rhs.iter().map(|s| self.solve_one(team, s)).collect(),
        }
    }

    fn approximation(&self, half: &ExactHalf) -> Vec<NodeVector> {
        half.solutions.clone()
    }

    fn products(&self, half: &ExactHalf, basis: &ExactBasis, first: usize) -> Vec<Vec<f64>> {
        let of_solution = |x: &NodeVector| {
            let vectors = basis.vectors[first..].iter();
            vectors.map(|b| dot(b, x)).collect()
        };
        half.solutions.iter().map(of_solution).collect()
    }

    fn add(
        &self,
        team: &Team,
        half: &mut ExactHalf,
        basis: &ExactBasis,
        coefficients: &[Vec<f64>],
    ) {
        for (x, coefficients) in half.solutions.iter_mut().zip(coefficients) {
            let mut rhs = vec![[0.0; 3]; self.rows()];
            for (b, coefficient) in basis.vectors.iter().zip(coefficients) {
                for (row, v) in b {
                    (0..3).for_each(|c| rhs[*row as usize][c] += v[c] * coefficient);
                }
            }
            for (x, more) in x.iter_mut().zip(self.solve_one(team, &rhs)) {
                (0..3).for_each(|c| x[c] += more[c]);
            }
        }
    }

    fn finish(&self, _: &Team, half: ExactHalf) -> Vec<NodeVector> {
        half.solutions
    }
}

/// b·x.
fn dot(b: &SparseVector, x: &NodeVector) -> f64 {
    b.iter()
        .map(|(row, v)| (0..3).map(|c| v[c] * x[*row as usize][c]).sum::<f64>())
        .sum()
}
