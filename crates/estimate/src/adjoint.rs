//! Adjoint solutions: the displacements under the nodal forces that read a response off a field.

use crate::Distinct;
use bicolumn_base::Vec3;
use bicolumn_model::Problem;
use bicolumn_solve::{Ask, Prepared, SolveError};
use nalgebra::{DMatrix, DVector};

/// Relative residual that adjoint solutions are solved to. An estimate needs no more: on a real construct
/// (docs/verification.md) the sizes of hot-spots' errors differ from those at 1e-6 by 5 % at most, all others by
/// less than a ten-thousandth, in half the iterations.
pub const TOLERANCE: f64 = 1e-2;

/// Fields solved for together: as many as share the solver's sweeps. Loads of others are not kept twice meanwhile.
const TOGETHER: usize = 8;

/// Solves for adjoint loads on a system in hand.
///
/// It starts from the combination of the solved load cases that is nearest in energy: what reads a
/// construct's motion has much in common with what loads it.
///
/// # Errors
/// As [`Prepared::solve_for`].
pub fn adjoints(
    ready: &Prepared<'_>,
    problem: &Problem,
    solved: &[Vec<Vec3>],
    loads: Vec<Vec<Vec3>>,
) -> Result<Vec<Vec<Vec3>>, SolveError> {
    let mut fields = Vec::with_capacity(loads.len());
    let mut loads = loads.into_iter();
    loop {
        let group: Vec<Vec<Vec3>> = loads.by_ref().take(TOGETHER).collect();
        if group.is_empty() {
            return Ok(fields);
        }
        let guess = nearest(problem, solved, &group);
        let ask = Ask {
            guess: guess.as_deref(),
            tolerance: Some(TOLERANCE),
        };
        fields.extend(ready.solve_for(&group, &ask)?.displacement);
    }
}

/// The combinations of solved fields with the least energy error; `None` without a solved field.
fn nearest(problem: &Problem, solved: &[Vec<Vec3>], sides: &[Vec<Vec3>]) -> Option<Vec<Vec<Vec3>>> {
    let fields: Vec<&[Vec3]> = solved.iter().map(Vec::as_slice).collect();
    let own = Distinct::of(&fields).first;
    // With K u = f the energy products of solved fields are works of their loads.
    let cases = problem.cases();
    let gram = DMatrix::from_fn(own.len(), own.len(), |i, j| {
        cases[own[i]].work(fields[own[j]])
    });
    let factor = gram.cholesky()?;
    let guess = sides.iter().map(|side| {
        let right = own.iter().map(|k| {
            let terms = side.iter().zip(fields[*k]);
            terms.map(|(f, u)| f.dot(u)).sum::<f64>()
        });
        let shares = factor.solve(&DVector::from_iterator(own.len(), right));
        let mut sum = vec![Vec3::zeros(); side.len()];
        for (k, share) in own.iter().zip(shares.iter()) {
            for (s, u) in sum.iter_mut().zip(fields[*k]) {
                *s += u * *share;
            }
        }
        sum
    });
    Some(guess.collect())
}
