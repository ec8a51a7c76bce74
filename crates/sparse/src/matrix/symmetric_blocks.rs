//! Symmetric matrices of 3×3 blocks, assembled, and their products with many vectors.

use crate::matrix::product::{Epilogue, Magnitudes, Order, Product};
use crate::simd::columns::{Aligned, CHUNK};
use crate::simd::kernel::{Kernel, Sums, dispatch};
use crate::{NodeColumns, Pattern, Team};
use std::ops::Range;
use std::sync::Arc;

/// A 3×3 block, row by row.
pub type Block<T> = [[T; 3]; 3];

/// A symmetric block matrix in double precision: the upper half is stored.
///
/// Bytes moved by a product with `W` vectors: about 72 for each upper block (its second use finds it in
/// cache when rows are numbered along a space-filling curve), 4 for each index, 48 W for each row.
#[derive(Debug, Clone)]
pub struct SymmetricBlocks {
    /// Sparsity pattern.
    pub pattern: Arc<Pattern>,
    /// Upper blocks in the order of the pattern.
    pub upper: Vec<Block<f64>>,
}

impl SymmetricBlocks {
    /// The zero matrix of a pattern.
    pub fn zeros(pattern: Arc<Pattern>) -> Self {
        let upper = vec![[[0.0; 3]; 3]; pattern.upper_len()];
        SymmetricBlocks { pattern, upper }
    }

    /// Diagonal block of a row.
    pub fn diagonal(&self, row: usize) -> &Block<f64> {
        &self.upper[self.pattern.upper_starts()[row]]
    }

    /// Bytes of the values.
    pub fn bytes(&self) -> u64 {
        (self.upper.capacity() * 72) as u64
    }
}

impl Order for SymmetricBlocks {
    fn rows(&self) -> usize {
        self.pattern.rows()
    }
}

impl Product<f64> for SymmetricBlocks {
    fn multiply_with<const W: usize, R: Epilogue<f64, W>>(
        &self,
        team: &Team,
        x: &[NodeColumns<f64, W>],
        _: &mut Vec<NodeColumns<f64, W>>,
        rows: R,
    ) {
        sweep(team, self, x, rows);
    }
}

/// Rows of a product that stay in the nearest cache until the epilogue is applied.
const STRIP: usize = 64;

/// Product A x by chunks of rows, with an epilogue.
fn sweep<const W: usize, R: Epilogue<f64, W>>(
    team: &Team,
    matrix: &SymmetricBlocks,
    x: &[NodeColumns<f64, W>],
    rows: R,
) {
    let mut rest = rows;
    let mut jobs = vec![];
    for first in (0..x.len()).step_by(CHUNK) {
        let range = first..(first + CHUNK).min(x.len());
        let (now, later) = rest.split_at(range.len());
        jobs.push((range, now));
        rest = later;
    }
    team.each(jobs, |(range, rows)| {
        dispatch(Sweep {
            matrix,
            x,
            range,
            rows,
        });
    });
}

struct Sweep<'a, R, const W: usize> {
    matrix: &'a SymmetricBlocks,
    x: &'a [NodeColumns<f64, W>],
    range: Range<usize>,
    rows: R,
}

impl<R: Epilogue<f64, W>, const W: usize> Kernel for Sweep<'_, R, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let mut rest = self.rows;
        let mut strip = [Aligned([[0.0; W]; 3]); STRIP];
        for first in self.range.clone().step_by(STRIP) {
            let range = first..(first + STRIP).min(self.range.end);
            for (to, row) in strip.iter_mut().zip(range.clone()) {
                to.0 = self.matrix.row_product::<W, FUSED>(row, self.x);
            }
            let (now, later) = rest.split_at(range.len());
            now.apply::<FUSED>(&strip[..range.len()]);
            rest = later;
        }
    }
}

impl SymmetricBlocks {
    /// (A x) of one row.
    #[inline(always)]
    fn row_product<const W: usize, const FUSED: bool>(
        &self,
        row: usize,
        x: &[NodeColumns<f64, W>],
    ) -> NodeColumns<f64, W> {
        let SymmetricBlocks { pattern, upper } = self;
        let mut sum = Sums::new();
        for (&j, &at) in pattern.lower_row(row).iter().zip(pattern.mirror_row(row)) {
            sum.add_transposed::<FUSED>(&upper[at as usize], &x[j as usize]);
        }
        let from = pattern.upper_starts()[row];
        let columns = pattern.upper_row(row);
        for (b, &j) in upper[from..from + columns.len()].iter().zip(columns) {
            sum.add::<FUSED>(b, &x[j as usize]);
        }
        sum.total()
    }
}

impl Magnitudes for SymmetricBlocks {
    fn magnitudes<const W: usize>(
        &self,
        team: &Team,
        x: &[NodeColumns<f64, W>],
    ) -> Vec<NodeColumns<f64, W>> {
        let (pattern, upper) = (&self.pattern, &self.upper);
        let chunks = team.collect(self.rows().div_ceil(CHUNK), |chunk| {
            let range = chunk * CHUNK..((chunk + 1) * CHUNK).min(self.rows());
            let row = |i: usize| {
                let mut sum = [[0.0; W]; 3];
                let mut add = |a: &dyn Fn(usize, usize) -> f64, x: &NodeColumns<f64, W>| {
                    for r in 0..3 {
                        for c in 0..3 {
                            for k in 0..W {
                                sum[r][k] += a(r, c).abs() * x[c][k].abs();
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
                sum
            };
            range.map(row).collect::<Vec<_>>()
        });
        chunks.concat()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{NodeBlocks, NodeMatrix};

    /// Seven nodes in a ring with a chord; entries by formula, symmetric.
    fn ring() -> SymmetricBlocks {
        let joined = |i: usize, j: usize| {
            i == j || (i + 1) % 7 == j || (j + 1) % 7 == i || (i.min(j), i.max(j)) == (1, 4)
        };
        let mut starts = vec![0];
        let mut columns = vec![];
        for i in 0..7 {
            columns.extend((0..7).filter(|&j| joined(i, j)).map(|j| j as u32));
            starts.push(columns.len());
        }
        let mut a = SymmetricBlocks::zeros(Arc::new(Pattern::new(starts, columns)));
        for (k, block) in a.upper.iter_mut().enumerate() {
            *block = [0, 1, 2].map(|r| [0, 1, 2].map(|c| (3 * k + 2 * r + c) as f64 / 8.0));
        }
        for i in 0..7 {
            let at = a.pattern.upper_starts()[i];
            for (r, c) in [(1, 0), (2, 0), (2, 1)] {
                a.upper[at][r][c] = a.upper[at][c][r];
            }
        }
        a
    }

    #[test]
    fn products_agree_with_the_dense_matrix() {
        let a = ring();
        let dense = nalgebra::DMatrix::from_fn(21, 21, |r, c| {
            let (i, j) = (r / 3, c / 3);
            if i <= j {
                a.pattern
                    .upper_at(i, j)
                    .map_or(0.0, |k| a.upper[k][r % 3][c % 3])
            } else {
                a.pattern
                    .upper_at(j, i)
                    .map_or(0.0, |k| a.upper[k][c % 3][r % 3])
            }
        });
        let x: Vec<NodeColumns<f64, 2>> = (0..7)
            .map(|i| [0, 1, 2].map(|c| [(i * 3 + c) as f64, 1.0 - c as f64]))
            .collect();
        let team = Team::new(1);
        let mut y = vec![[[0.0; 2]; 3]; 7];
        a.multiply(&team, &x, &mut vec![], &mut y);
        // In single precision with both halves stored.
        let single: Vec<_> = x.iter().map(|v| v.map(|r| r.map(|v| v as f32))).collect();
        let mut full = vec![[[0.0f32; 2]; 3]; 7];
        let nodes = NodeBlocks::rounded(&team, &NodeMatrix::of(&team, &a));
        nodes.multiply(&team, &single, &mut vec![], &mut full);
        for k in 0..2 {
            let exact = &dense * nalgebra::DVector::from_fn(21, |r, _| x[r / 3][r % 3][k]);
            for r in 0..21 {
                assert!((y[r / 3][r % 3][k] - exact[r]).abs() < 1e-12);
                assert!((f64::from(full[r / 3][r % 3][k]) - exact[r]).abs() < 1e-3);
            }
        }
    }
}
