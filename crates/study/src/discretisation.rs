//! Estimates of the discretisation error of a solved point.

use crate::model_build::{BuiltModel, ModelSolution};
use crate::stage::{PointError, Stage};
use bicolumn_estimate::adjoints;
use bicolumn_measure::{CaseMeasures, Estimates, Goals, RecoveredStress};
use bicolumn_response::ResponseId;
use bicolumn_solve::Prepared;

/// Why a model with contact has no estimates.
pub(crate) const NOT_WITH_CONTACT: &str = "no estimate of the discretisation error: interfaces that open or slide make \
                                    the model nonlinear, and the estimate is one of linear models";

/// Solves for the adjoint fields of all responses that are estimated, on the system in hand, and estimates.
/// `by_element` names the responses of which every element's share is wanted.
///
/// # Errors
/// [`PointError`] at [`Stage::Estimate`]: an adjoint field could not be solved.
pub fn estimates(
    model: &BuiltModel,
    (solution, ready): (&ModelSolution, Prepared<'_>),
    (stress, measures): (&RecoveredStress, &[CaseMeasures]),
    threads: usize,
    by_element: &dyn Fn(usize, ResponseId) -> bool,
) -> Result<Estimates, PointError> {
    let solved = model.solved(solution);
    let mut goals = Goals::of(&solved, stress, measures);
    if let Some(held) = &model.held {
        goals.loads.iter_mut().for_each(|load| held.close(load));
    }
    let own = &solution.by_load.displacement;
    let loads = std::mem::take(&mut goals.loads);
    let fields = adjoints(&ready, &model.problem, own, loads).map_err(|e| PointError {
        stage: Stage::Estimate,
        message: e.to_string(),
    })?;
    // The matrix and its hierarchy are not needed any more: their memory is.
    drop(ready);
    Ok(goals.estimates(&solved, stress, &fields, threads, by_element))
}
