//! The solution of a bundle: displacements of every load case, and a short record of how they were found.

use crate::{ReadBundle, solution_grid};
use bicolumn_base::Vec3;
use bicolumn_contact::{ContactError, ContactOptions};
use bicolumn_formats::Grid;
use bicolumn_solve::{Solution, SolveError, SolveOptions};
use serde_json::{Value, json};
use thiserror::Error;

/// Why a bundle has no solution.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum BundleSolveError {
    /// Without interfaces.
    #[error(transparent)]
    Linear(#[from] SolveError),
    /// With interfaces.
    #[error(transparent)]
    Contact(#[from] ContactError),
    /// A load case whose contact did not converge.
    #[error("load case {0}: contact did not converge, {1}")]
    NotConverged(String, String),
}

/// A solved bundle.
#[derive(Debug, Clone)]
pub struct SolvedBundle {
    /// Displacements and reactions by load case.
    pub solution: Solution,
    /// `solution.vtu`: displacement and stress of every load case.
    pub grid: Grid,
    /// `solution.json`: method, unknowns, iterations, residuals, equilibrium, reactions and tensions of
    /// tightened screws by load case.
    pub record: Value,
}

/// Solves all load cases of a bundle.
///
/// # Errors
/// [`BundleSolveError`]: what is loose, does not converge or does not fit.
pub fn solve_bundle(
    bundle: &ReadBundle,
    options: &SolveOptions,
) -> Result<SolvedBundle, BundleSolveError> {
    let problem = &bundle.problem;
    let mut tensions: Vec<Vec<f64>> = vec![];
    let solution = match &bundle.contact {
        None => bicolumn_solve::solve(problem, options)?,
        Some(contact) => {
            let options = ContactOptions {
                tolerance: options.tolerance,
                increments: contact.increments,
                linear: *options,
                ..ContactOptions::default()
            };
            let found = bicolumn_contact::solve(
                problem,
                &contact.interfaces,
                &contact.preloads,
                &contact.steps,
                &options,
            )?;
            if let Some(report) = found.cases.iter().find(|c| !c.is_converged()) {
                let reason = format!("residual {:.1e}", report.residual);
                return Err(BundleSolveError::NotConverged(report.name.clone(), reason));
            }
            tensions = found
                .cases
                .iter()
                .map(|c| c.section_forces_n.clone())
                .collect();
            found.total
        }
    };
    let grid = solution_grid(problem, &solution.displacement);
    let r = &solution.report;
    let at = |values: &[f64], k: usize| values.get(k).copied();
    let cases: Vec<Value> = problem
        .cases()
        .iter()
        .enumerate()
        .map(|(k, case)| {
            let sum: Vec3 = solution.reactions[k].iter().sum();
            let largest = solution.displacement[k].iter().map(Vec3::norm);
            let mut one = json!({
                "name": case.name,
                "residual": at(&r.residuals, k),
                "equilibrium_error": at(&r.equilibrium, k),
                "reaction_n": [sum.x, sum.y, sum.z],
                "largest_displacement_mm": largest.fold(0.0, f64::max),
            });
            if let Some(tension) = tensions.get(k).filter(|t| !t.is_empty()) {
                one["tension_n"] = json!(tension);
            }
            one
        })
        .collect();
    let record = json!({
        "method": r.method,
        "unknowns": r.unknowns,
        "iterations": r.iterations,
        "interfaces": bundle.contact.as_ref().map_or(0, |c| c.interfaces.sets().len()),
        "loads": cases,
    });
    Ok(SolvedBundle {
        solution,
        grid,
        record,
    })
}
