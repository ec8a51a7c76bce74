//! Least squares over columns that describe the terms of a model.

use nalgebra::{DMatrix, DVector};

/// The least part of a column that the columns before it may leave of it, relative.
const INDEPENDENT: f64 = 1e-9;

/// A fit.
pub(crate) struct Fit {
    /// Coefficient of each column.
    pub(crate) coefficients: Vec<f64>,
    /// Sum of the squares that are left.
    pub(crate) left: f64,
}

/// The fit of `values` by the columns; `None` if the columns depend on one another.
pub(crate) fn fit(columns: &[Vec<f64>], values: &[f64]) -> Option<Fit> {
    if columns.len() > values.len() {
        return None;
    }
    let x = DMatrix::from_fn(values.len(), columns.len(), |i, j| columns[j][i]);
    let y = DVector::from_column_slice(values);
    let qr = x.clone().qr();
    let (q, r) = (qr.q(), qr.r());
    let is_independent = (0..columns.len()).all(|j| {
        let size = x.column(j).norm();
        r[(j, j)].abs() > INDEPENDENT * size && size > 0.0
    });
    if !is_independent {
        return None;
    }
    let coefficients = r.solve_upper_triangular(&q.tr_mul(&y))?;
    let left = (&y - &x * &coefficients).norm_squared();
    Some(Fit {
        coefficients: coefficients.iter().copied().collect(),
        left,
    })
}
