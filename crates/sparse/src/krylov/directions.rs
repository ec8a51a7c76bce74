//! Search directions of block conjugate gradients: Gram matrices, the pseudo-inverse of the energy matrix, combinations of columns.

use crate::simd::columns::CHUNK;
use crate::simd::kernel::{Kernel, Real, dispatch};
use crate::{NodeColumns, Team};
use nalgebra::DMatrix;

/// A small dense matrix, row by row.
pub(crate) type Square<const W: usize> = [[f64; W]; W];

/// Directions whose energy matrix, scaled to a unit diagonal, has eigenvalues below this share of the
/// largest are dependent but for rounding.
const DEPENDENT: f64 = 1e-12;

/// Nodes whose values stay in the nearest cache while all columns of a Gram matrix take their turn.
const STRIP: usize = 64;

/// AᵀB: entry (i, j) is the scalar product of column i of `a` and column j of `b`.
pub(crate) fn gram<T: Real, const W: usize>(
    team: &Team,
    a: &[NodeColumns<f64, W>],
    b: &[NodeColumns<T, W>],
) -> Square<W> {
    let parts = team.collect(a.len().div_ceil(CHUNK), |chunk| {
        let range = chunk * CHUNK..((chunk + 1) * CHUNK).min(a.len());
        gram_of(&a[range.clone()], &b[range])
    });
    parts.iter().fold([[0.0; W]; W], sum)
}

/// AᵀB and AᵀC, reading `a` once.
pub(crate) fn grams<const W: usize>(
    team: &Team,
    a: &[NodeColumns<f64, W>],
    b: &[NodeColumns<f64, W>],
    c: &[NodeColumns<f64, W>],
) -> (Square<W>, Square<W>) {
    let strips = a.len().div_ceil(CHUNK);
    let parts = team.collect(strips, |chunk| {
        let range = chunk * CHUNK..((chunk + 1) * CHUNK).min(a.len());
        let mut sums = ([[0.0; W]; W], [[0.0; W]; W]);
        for first in range.clone().step_by(SHARED) {
            let part = first..(first + SHARED).min(range.end);
            let a = &a[part.clone()];
            sums.0 = sum(sums.0, &gram_of(a, &b[part.clone()]));
            sums.1 = sum(sums.1, &gram_of(a, &c[part]));
        }
        sums
    });
    let zero = [[0.0; W]; W];
    let add = |(b, c), part: &(_, _)| (sum(b, &part.0), sum(c, &part.1));
    parts.iter().fold((zero, zero), add)
}

/// Nodes whose values stay in a core's cache from one Gram matrix to the next.
const SHARED: usize = 512;

fn gram_of<T: Real, const W: usize>(
    a: &[NodeColumns<f64, W>],
    b: &[NodeColumns<T, W>],
) -> Square<W> {
    let mut sum = [[0.0; W]; W];
    dispatch(Gram {
        a,
        b,
        sum: &mut sum,
    });
    sum
}

fn sum<const W: usize>(a: Square<W>, b: &Square<W>) -> Square<W> {
    let row = |i: usize| std::array::from_fn(|j| a[i][j] + b[i][j]);
    std::array::from_fn(row)
}

struct Gram<'a, T, const W: usize> {
    a: &'a [NodeColumns<f64, W>],
    b: &'a [NodeColumns<T, W>],
    sum: &'a mut Square<W>,
}

impl<T: Real, const W: usize> Kernel for Gram<'_, T, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (a, b) in self.a.chunks(STRIP).zip(self.b.chunks(STRIP)) {
            // As many rows of the Gram matrix at a time as the registers hold.
            match W {
                1 => gram_rows::<T, W, 1, FUSED>(a, b, self.sum),
                2 => gram_rows::<T, W, 2, FUSED>(a, b, self.sum),
                _ => gram_rows::<T, W, 4, FUSED>(a, b, self.sum),
            }
        }
    }
}

/// sum += AᵀB, `R` rows of the Gram matrix at a time.
#[inline(always)]
fn gram_rows<T: Real, const W: usize, const R: usize, const FUSED: bool>(
    a: &[NodeColumns<f64, W>],
    b: &[NodeColumns<T, W>],
    sum: &mut Square<W>,
) {
    for (rows, sum) in sum.as_chunks_mut::<R>().0.iter_mut().enumerate() {
        let mut part = *sum;
        for (a, b) in a.iter().zip(b) {
            for c in 0..3 {
                let b = b[c].map(Real::to_f64);
                for r in 0..R {
                    let a = a[c][R * rows + r];
                    for k in 0..W {
                        part[r][k] = a.times_plus::<FUSED>(b[k], part[r][k]);
                    }
                }
            }
        }
        *sum = part;
    }
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
    team.each(jobs, |(p, z)| dispatch(Direction { p, z, beta }));
}

struct Direction<'a, const W: usize> {
    p: &'a mut [NodeColumns<f64, W>],
    z: &'a [NodeColumns<f32, W>],
    beta: &'a Square<W>,
}

impl<const W: usize> Kernel for Direction<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (p, z) in self.p.iter_mut().zip(self.z) {
            let mut start = [[0.0; W]; 3];
            for c in 0..3 {
                for k in 0..W {
                    start[c][k] = f64::from(z[c][k]);
                }
            }
            *p = combined::<W, FUSED>(&start, p, self.beta);
        }
    }
}

/// x ← x + P α, r ← r − Q α, the latter also rounded; gives r·r, column by column.
pub(crate) fn advance<const W: usize>(
    team: &Team,
    x: &mut [NodeColumns<f64, W>],
    r: &mut [NodeColumns<f64, W>],
    rounded: &mut [NodeColumns<f32, W>],
    p: &[NodeColumns<f64, W>],
    q: &[NodeColumns<f64, W>],
    alpha: &Square<W>,
) -> [f64; W] {
    let minus = alpha.map(|row| row.map(|v| -v));
    let jobs: Vec<_> = x
        .chunks_mut(CHUNK)
        .zip(r.chunks_mut(CHUNK).zip(rounded.chunks_mut(CHUNK)))
        .zip(p.chunks(CHUNK).zip(q.chunks(CHUNK)))
        .collect();
    let parts = team.map(jobs, |((x, (r, rounded)), (p, q))| {
        let mut size = [0.0; W];
        dispatch(Advance {
            x,
            r,
            rounded,
            p,
            q,
            alpha,
            minus: &minus,
            size: &mut size,
        });
        size
    });
    let mut total = [0.0; W];
    for part in parts {
        for k in 0..W {
            total[k] += part[k];
        }
    }
    total
}

struct Advance<'a, const W: usize> {
    x: &'a mut [NodeColumns<f64, W>],
    r: &'a mut [NodeColumns<f64, W>],
    rounded: &'a mut [NodeColumns<f32, W>],
    p: &'a [NodeColumns<f64, W>],
    q: &'a [NodeColumns<f64, W>],
    alpha: &'a Square<W>,
    minus: &'a Square<W>,
    size: &'a mut [f64; W],
}

impl<const W: usize> Kernel for Advance<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let mut size = [0.0; W];
        let all = self.x.iter_mut().zip(self.r.iter_mut()).zip(self.rounded);
        for (((x, r), rounded), (p, q)) in all.zip(self.p.iter().zip(self.q)) {
            *x = combined::<W, FUSED>(x, p, self.alpha);
            *r = combined::<W, FUSED>(r, q, self.minus);
            for c in 0..3 {
                for k in 0..W {
                    // Not by `map`, which goes through the stack.
                    rounded[c][k] = r[c][k] as f32;
                    size[k] = r[c][k].times_plus::<FUSED>(r[c][k], size[k]);
                }
            }
        }
        *self.size = size;
    }
}

/// start + from · c for one node: a combination of its columns.
#[inline(always)]
fn combined<const W: usize, const FUSED: bool>(
    start: &NodeColumns<f64, W>,
    from: &NodeColumns<f64, W>,
    c: &Square<W>,
) -> NodeColumns<f64, W> {
    let mut to = *start;
    for i in 0..W {
        for r in 0..3 {
            for k in 0..W {
                to[r][k] = from[r][i].times_plus::<FUSED>(c[i][k], to[r][k]);
            }
        }
    }
    to
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
    fn gram_is_the_matrix_of_scalar_products() {
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
