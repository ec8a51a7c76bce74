//! Small algebra of block conjugate gradients: the directions of all right sides together.

use crate::columns::CHUNK;
use crate::kernel::{Real, fast};
use crate::{NodeColumns, Team};
use nalgebra::DMatrix;

/// A small dense matrix, row by row.
pub(crate) type Square<const W: usize> = [[f64; W]; W];

/// Directions whose energy matrix, scaled to a unit diagonal, has eigenvalues below this share of the
/// largest are dependent but for rounding.
const DEPENDENT: f64 = 1e-12;

/// AᵀB: entry (i, j) is the scalar product of column i of `a` and column j of `b`.
pub(crate) fn gram<T: Real, const W: usize>(
    team: &Team,
    a: &[NodeColumns<f64, W>],
    b: &[NodeColumns<T, W>],
) -> Square<W> {
    let parts = team.collect(a.len().div_ceil(CHUNK), |chunk| {
        let range = chunk * CHUNK..((chunk + 1) * CHUNK).min(a.len());
        let mut sum = [[0.0; W]; W];
        fast(|| {
            for (a, b) in a[range.clone()].iter().zip(&b[range]) {
                for c in 0..3 {
                    let b = b[c].map(Real::to_f64);
                    for i in 0..W {
                        for j in 0..W {
                            sum[i][j] += a[c][i] * b[j];
                        }
                    }
                }
            }
        });
        sum
    });
    let mut total = [[0.0; W]; W];
    for part in parts {
        for i in 0..W {
            for j in 0..W {
                total[i][j] += part[i][j];
            }
        }
    }
    total
}

/// A B of small matrices.
pub(crate) fn product<const W: usize>(a: &Square<W>, b: &Square<W>) -> Square<W> {
    let mut out = [[0.0; W]; W];
    for i in 0..W {
        for k in 0..W {
            for j in 0..W {
                out[i][j] += a[i][k] * b[k][j];
            }
        }
    }
    out
}

/// Inverse of a symmetric positive semidefinite matrix on the space that it does not flatten.
///
/// Columns of very different size are put on one scale first.
pub(crate) fn pseudo_inverse<const W: usize>(a: &Square<W>) -> Square<W> {
    let scale: [f64; W] = std::array::from_fn(|k| {
        let d = a[k][k];
        if d > 0.0 { 1.0 / d.sqrt() } else { 0.0 }
    });
    let unit = DMatrix::from_fn(W, W, |i, j| 0.5 * (a[i][j] + a[j][i]) * scale[i] * scale[j]);
    let eigen = unit.symmetric_eigen();
    let largest = eigen.eigenvalues.max();
    let mut out = [[0.0; W]; W];
    for (k, &value) in eigen.eigenvalues.iter().enumerate() {
        if value > DEPENDENT * largest {
            let v = eigen.eigenvectors.column(k);
            for i in 0..W {
                for j in 0..W {
                    out[i][j] += scale[i] * v[i] * v[j] * scale[j] / value;
                }
            }
        }
    }
    out
}

/// P ← Z + P β.
pub(crate) fn direction<const W: usize>(
    team: &Team,
    p: &mut [NodeColumns<f64, W>],
    z: &[NodeColumns<f32, W>],
    beta: &Square<W>,
) {
    let jobs: Vec<_> = p.chunks_mut(CHUNK).zip(z.chunks(CHUNK)).collect();
    team.each(jobs, |(p, z)| {
        fast(|| {
            for (p, z) in p.iter_mut().zip(z) {
                let mut next = z.map(|row| row.map(f64::from));
                add_combination(&mut next, p, beta, 1.0);
                *p = next;
            }
        });
    });
}

/// to += sign · from c, one node.
#[inline(always)]
pub(crate) fn add_combination<const W: usize>(
    to: &mut NodeColumns<f64, W>,
    from: &NodeColumns<f64, W>,
    c: &Square<W>,
    sign: f64,
) {
    for r in 0..3 {
        for i in 0..W {
            let v = sign * from[r][i];
            for k in 0..W {
                to[r][k] += v * c[i][k];
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pseudo_inverse_of_dependent_columns_solves_what_can_be_solved() {
        // Energy matrix of directions u, v, u + v with very different sizes; the fourth is zero.
        let sizes = [1.0, 1e6, 1e-5, 0.0];
        let base = [[2.0, 0.5], [0.5, 1.0]];
        let coordinates = [[1.0, 0.0], [0.0, 1.0], [1.0, 1.0], [0.0, 0.0]];
        let a: Square<4> = std::array::from_fn(|i| {
            std::array::from_fn(|j| {
                let mut sum = 0.0;
                for p in 0..2 {
                    for q in 0..2 {
                        sum += coordinates[i][p] * base[p][q] * coordinates[j][q];
                    }
                }
                sum * sizes[i] * sizes[j]
            })
        });
        let inverse = pseudo_inverse(&a);
        // A A⁺ A = A.
        let back = product(&product(&a, &inverse), &a);
        for i in 0..4 {
            for j in 0..4 {
                let scale = sizes[i] * sizes[j];
                assert!((back[i][j] - a[i][j]).abs() <= 1e-9 * scale, "{i} {j}");
            }
        }
    }

    #[test]
    fn gram_is_the_table_of_scalar_products() {
        let a: Vec<NodeColumns<f64, 2>> = vec![[[1.0, 2.0], [0.0, 1.0], [3.0, -1.0]]; 2500];
        let b: Vec<NodeColumns<f32, 2>> = vec![[[2.0, 0.5], [1.0, 1.0], [0.0, 4.0]]; 2500];
        let g = gram(&Team::new(2), &a, &b);
        let one = [[2.0, 12.5], [5.0, -2.0]];
        for i in 0..2 {
            for j in 0..2 {
                assert_eq!(g[i][j], 2500.0 * one[i][j]);
            }
        }
    }
}
