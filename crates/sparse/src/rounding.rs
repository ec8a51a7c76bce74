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

use crate::columns::CHUNK;
use crate::{NodeColumns, Operator, Team};

/// C in C u ‖ |A| |x| + |b| ‖: one u for the stored matrix, one for the stored solution.
pub const ALLOWANCE: f64 = 2.0;

/// Unit roundoff of double precision.
const UNIT: f64 = f64::EPSILON / 2.0;

/// C u ‖ |A| |x| + |b| ‖ / ‖b‖ of each column; 0 where b is 0.
pub fn floors<const W: usize>(
    team: &Team,
    operator: &Operator<'_>,
    x: &[NodeColumns<f64, W>],
    b: &[NodeColumns<f64, W>],
) -> [f64; W] {
    let pattern = &operator.matrix.pattern;
    let upper = &operator.matrix.upper;
    let rows = pattern.rows();
    let mut added = vec![];
    if let Some(c) = operator.added {
        added.extend(c.entries());
    }
    let sums = team.collect(rows.div_ceil(CHUNK), |chunk| {
        let mut total = [[0.0; W]; 2];
        let range = chunk * CHUNK..((chunk + 1) * CHUNK).min(rows);
        let mut more = added[added.partition_point(|e| (e.0 as usize) < range.start)..]
            .iter()
            .peekable();
        for i in range {
            let mut row = b[i].map(|r| r.map(f64::abs));
            let mut add = |a: &dyn Fn(usize, usize) -> f64, x: &NodeColumns<f64, W>| {
                for r in 0..3 {
                    for c in 0..3 {
                        let a = a(r, c).abs();
                        for k in 0..W {
                            row[r][k] += a * x[c][k].abs();
                        }
                    }
                }
            };
            for (&j, &at) in pattern.lower_row(i).iter().zip(pattern.mirror_row(i)) {
                add(&|r, c| upper[at as usize][c][r], &x[j as usize]);
            }
            let from = pattern.upper_starts()[i];
            for (at, &j) in (from..).zip(pattern.upper_row(i)) {
                add(&|r, c| upper[at][r][c], &x[j as usize]);
            }
            while let Some((_, j, block)) = more.next_if(|e| e.0 as usize == i) {
                add(&|r, c| block[r][c], &x[*j as usize]);
            }
            for r in 0..3 {
                for k in 0..W {
                    total[0][k] += row[r][k] * row[r][k];
                    total[1][k] += b[i][r][k] * b[i][r][k];
                }
            }
        }
        total
    });
    let mut total = [[0.0; W]; 2];
    for part in sums {
        for (t, p) in total.iter_mut().zip(&part) {
            for k in 0..W {
                t[k] += p[k];
            }
        }
    }
    std::array::from_fn(|k| {
        if total[1][k] > 0.0 {
            ALLOWANCE * UNIT * (total[0][k] / total[1][k]).sqrt()
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
