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
    /// `solution.json`: method, unknowns, iterations, residuals, equilibrium and reactions by load case.
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
    let solution = match &bundle.interfaces {
        None => bicolumn_solve::solve(problem, options)?,
        Some(interfaces) => {
            let options = ContactOptions {
                tolerance: options.tolerance,
                linear: *options,
                ..ContactOptions::default()
            };
            let found = bicolumn_contact::solve(problem, interfaces, &[], &[], &options)?;
            if let Some(report) = found.cases.iter().find(|c| !c.is_converged()) {
                let reason = format!("residual {:.1e}", report.residual);
                return Err(BundleSolveError::NotConverged(report.name.clone(), reason));
            }
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
            json!({
                "name": case.name,
                "residual": at(&r.residuals, k),
                "equilibrium_error": at(&r.equilibrium, k),
                "reaction_n": [sum.x, sum.y, sum.z],
                "largest_displacement_mm": largest.fold(0.0, f64::max),
            })
        })
        .collect();
    let record = json!({
        "method": r.method,
        "unknowns": r.unknowns,
        "iterations": r.iterations,
        "interfaces": bundle.interfaces.as_ref().map_or(0, |i| i.sets().len()),
        "loads": cases,
    });
    Ok(SolvedBundle {
        solution,
        grid,
        record,
    })
}
