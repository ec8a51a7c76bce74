//! Stiffness and loads as Matrix Market files.

use bicolumn_model::Problem;
use bicolumn_solve::SolveError;
use bicolumn_solve::assembled::{load_matrix, stiffness_matrix};
use nalgebra_sparse::CsrMatrix;
use nalgebra_sparse::io::save_to_matrix_market;
use thiserror::Error;

/// Why matrices could not be given.
#[derive(Debug, Error)]
pub enum MatrixError {
    /// The stiffness could not be assembled.
    #[error(transparent)]
    Assembly(#[from] SolveError),
    /// The text could not be written.
    #[error("writing a matrix: {0}")]
    Write(std::io::Error),
}

/// `stiffness.mtx` and `loads.mtx`: K and f of all 3 N displacement components before supports, coordinate format with
/// general symmetry; row 3 n + c is component c of node n, a column of the loads is a load case.
///
/// # Errors
/// [`MatrixError`].
pub fn matrix_market(problem: &Problem) -> Result<[(&'static str, Vec<u8>); 2], MatrixError> {
    let text = |matrix: &CsrMatrix<f64>| {
        let mut bytes = vec![];
        save_to_matrix_market(&mut bytes, matrix).map_err(MatrixError::Write)?;
        Ok::<_, MatrixError>(bytes)
    };
    Ok([
        ("stiffness.mtx", text(&stiffness_matrix(problem)?)?),
        ("loads.mtx", text(&load_matrix(problem))?),
    ])
}
