//! The rounding floor: how small a residual double precision can make.
//!
//! Each entry of the stored matrix and of the stored solution is off by up to its own rounding,
//! |δA| ≤ u |A| and |δx| ≤ u |x| (u = 2⁻⁵³): even if x were the rounded exact solution, A x could miss b by
//! 2 u |A| |x|, row by row. A residual of that size belongs to the exact solution of a system that no
//! rounding can tell from the given one: the componentwise backward error of Oettli and Prager (Higham 2002,
//! Accuracy and Stability of Numerical Algorithms, 2nd ed., theorem 7.3; as a stopping rule: Arioli, Duff
//! and Ruiz 1992, SIAM J Matrix Anal Appl 13:138), here in the Euclidean norm that the tolerance uses. No
//! tolerance below it can be met or would mean anything. In a stiff, slender structure |A| |x| is very much
//! larger than b: rigid motion of the far end strains nothing, yet its rounding does.

use crate::matrix::product::Magnitudes;
use crate::simd::columns::dot;
use crate::{NodeColumns, Operator, Team};

/// C in C u ‖ |A| |x| + |b| ‖: one u for the stored matrix, one for the stored solution.
pub const ALLOWANCE: f64 = 2.0;

/// Unit roundoff of double precision.
const UNIT: f64 = f64::EPSILON / 2.0;

/// C u ‖ |A| |x| + |b| ‖ / ‖b‖ of each column; 0 where b is 0.
pub fn floors<M: Magnitudes, const W: usize>(
    team: &Team,
    operator: &Operator<'_, M>,
    x: &[NodeColumns<f64, W>],
    b: &[NodeColumns<f64, W>],
) -> [f64; W] {
    let mut sums = operator.magnitudes(team, x);
    for (sum, b) in sums.iter_mut().zip(b) {
        for r in 0..3 {
            for k in 0..W {
                sum[r][k] += b[r][k].abs();
            }
        }
    }
    let (size, of_b) = (dot(team, &sums, &sums), dot(team, b, b));
    std::array::from_fn(|k| {
        if of_b[k] > 0.0 {
            ALLOWANCE * UNIT * (size[k] / of_b[k]).sqrt()
        } else {
            0.0
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Pattern, SymmetricBlocks};
    use std::sync::Arc;

    #[test]
    fn floor_is_the_bound_written_out() {
        let pattern = Pattern::new(vec![0, 2, 4], vec![0, 1, 0, 1]);
        let mut a = SymmetricBlocks::zeros(Arc::new(pattern));
        a.upper[0] = [[4.0, -1.0, 0.0], [-1.0, 5.0, 0.0], [0.0, 0.0, 6.0]];
        a.upper[1] = [[0.0, -2.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, -3.0]];
        a.upper[2] = [[7.0, 0.0, 0.0], [0.0, 8.0, 0.0], [0.0, 0.0, 9.0]];
        let x = [[[1.0], [-1.0], [2.0]], [[0.5], [1.0], [-1.0]]];
        let b = [[[1.0], [0.0], [0.0]], [[0.0], [0.0], [-2.0]]];
        // |A||x| + |b|, row by row.
        let rows: [f64; 6] = [
            4.0 + 1.0 + 2.0 + 1.0,
            1.0 + 5.0 + 0.5,
            12.0 + 3.0,
            1.0 + 3.5,
            2.0 + 8.0,
            6.0 + 9.0 + 2.0,
        ];
        let size = rows.iter().map(|v| v * v).sum::<f64>().sqrt();
        let [floor] = floors(&Team::new(1), &Operator::of(&a), &x, &b);
        let exact = 2.0 * 2f64.powi(-53) * size / 5f64.sqrt();
        assert!((floor / exact - 1.0).abs() < 1e-14, "{floor} {exact}");
    }
}
