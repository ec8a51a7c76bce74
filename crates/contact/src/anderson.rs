//! Anderson acceleration: mixing of the last iterates of a fixed-point iteration (Anderson 1965, J ACM 12:547; Walker
//! and Ni 2011, SIAM J Numer Anal 49:1715), in the norm of the preconditioner.
//!
//! Once the interface's status has settled the iteration is linear, and mixing makes it converge about as
//! conjugate gradients do.

use nalgebra::{DMatrix, DVector};

/// Iterates kept.
pub(crate) const DEPTH: usize = 12;
/// Added to the unit diagonal of the scaled matrix of scalar products.
const REGULAR: f64 = 1e-10;

/// The weights, of sum one, that make the mixed step least, from the scalar products of the steps.
/// `None` where rounding leaves none.
pub(crate) fn weights(products: &DMatrix<f64>) -> Option<Vec<f64>> {
    let n = products.nrows();
    let scale: Vec<f64> = (0..n).map(|i| products[(i, i)].max(0.0).sqrt()).collect();
    if scale.iter().any(|s| !(*s > 0.0 && s.is_finite())) {
        return None;
    }
    let unit = DMatrix::from_fn(n, n, |i, j| {
        let regular = if i == j { REGULAR } else { 0.0 };
        0.5 * (products[(i, j)] + products[(j, i)]) / (scale[i] * scale[j]) + regular
    });
    // Relative to the smallest step, lest the numbers part by many decades.
    let least = scale.iter().copied().fold(f64::INFINITY, f64::min);
    let ones = DVector::from_fn(n, |i, _| least / scale[i]);
    let solved = unit.cholesky()?.solve(&ones);
    let raw: Vec<f64> = (0..n).map(|i| solved[i] * least / scale[i]).collect();
    let sum: f64 = raw.iter().sum();
    (sum > 0.0 && sum.is_finite()).then(|| raw.iter().map(|r| r / sum).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mixing_finds_the_combination_that_cancels() {
        // Steps (1, 0), (−1, 2), (0, −2) of which some combination with sum one is nothing.
        let steps = [[1.0, 0.0], [-1.0, 2.0], [0.0, -2.0]];
        let products = DMatrix::from_fn(3, 3, |i, j| {
            steps[i][0] * steps[j][0] + steps[i][1] * steps[j][1]
        });
        let w = weights(&products).unwrap();
        assert!((w.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        for c in 0..2 {
            let mixed: f64 = (0..3).map(|k| w[k] * steps[k][c]).sum();
            assert!(mixed.abs() < 1e-4, "{mixed}");
        }
    }
}
