//! Matrices of 3×3 blocks and their products with many vectors.

use crate::columns::CHUNK;
use crate::kernel::{Hot, Real, Sums, dispatch};
use crate::{NodeColumns, Pattern, Team};
use std::sync::Arc;

/// A 3×3 block, row by row.
pub type Block<T> = [[T; 3]; 3];

/// A symmetric block matrix in double precision: the upper half is stored.
///
/// Bytes moved by a product with `W` vectors: about 72 for each upper block (its second use finds it in
/// cache when rows are numbered along a space-filling curve), 4 for each index, 48 W for each row.
#[derive(Debug, Clone)]
pub struct SymmetricBlocks {
    /// Which blocks there are.
    pub pattern: Arc<Pattern>,
    /// Upper blocks in the order of the pattern.
    pub upper: Vec<Block<f64>>,
}

impl SymmetricBlocks {
    /// All zero.
    pub fn zeros(pattern: Arc<Pattern>) -> Self {
        let upper = vec![[[0.0; 3]; 3]; pattern.upper_len()];
        SymmetricBlocks { pattern, upper }
    }

    /// Number of block rows.
    pub fn rows(&self) -> usize {
        self.pattern.rows()
    }

    /// Diagonal block of a row.
    pub fn diagonal(&self, row: usize) -> &Block<f64> {
        &self.upper[self.pattern.upper_starts()[row]]
    }

    /// y = A x for all columns in one sweep.
    pub fn multiply<const W: usize>(
        &self,
        team: &Team,
        x: &[NodeColumns<f64, W>],
        y: &mut [NodeColumns<f64, W>],
    ) {
        let jobs: Vec<_> = y.chunks_mut(CHUNK).enumerate().collect();
        team.each(jobs, |(chunk, y)| {
            dispatch(SymmetricSweep {
                matrix: self,
                first: chunk * CHUNK,
                x,
                y,
            });
        });
    }

    /// Bytes of the values.
    pub fn bytes(&self) -> u64 {
        (self.upper.capacity() * 72) as u64
    }
}

struct SymmetricSweep<'a, const W: usize> {
    matrix: &'a SymmetricBlocks,
    first: usize,
    x: &'a [NodeColumns<f64, W>],
    y: &'a mut [NodeColumns<f64, W>],
}

impl<const W: usize> Hot for SymmetricSweep<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let SymmetricBlocks { pattern, upper } = self.matrix;
        for (i, y) in (self.first..).zip(self.y.iter_mut()) {
            let mut sum = Sums::new();
            for (&j, &at) in pattern.lower_row(i).iter().zip(pattern.mirror_row(i)) {
                sum.add_transposed::<FUSED>(&upper[at as usize], &self.x[j as usize]);
            }
            let from = pattern.upper_starts()[i];
            let columns = pattern.upper_row(i);
            for (b, &j) in upper[from..from + columns.len()].iter().zip(columns) {
                sum.add::<FUSED>(b, &self.x[j as usize]);
            }
            *y = sum.total();
        }
    }
}

/// A block matrix with both halves stored: what the smoother sweeps, in single precision.
///
/// Bytes moved by a product with `W` vectors: 36 and 4 for each block, 24 W or so for each row.
#[derive(Debug, Clone)]
pub struct FullBlocks<T> {
    /// Which blocks there are.
    pub pattern: Arc<Pattern>,
    /// Blocks, row by row.
    pub values: Vec<Block<T>>,
}

impl<T: Real> FullBlocks<T> {
    /// Rounds a symmetric matrix.
    pub fn rounded(team: &Team, matrix: &SymmetricBlocks) -> Self {
        let pattern = &matrix.pattern;
        let mut values = vec![[[T::default(); 3]; 3]; pattern.len()];
        let mut jobs = vec![];
        let mut rest = values.as_mut_slice();
        for first in (0..pattern.rows()).step_by(CHUNK) {
            let last = (first + CHUNK).min(pattern.rows());
            let (now, later) = rest.split_at_mut(pattern.starts()[last] - pattern.starts()[first]);
            jobs.push((first..last, now));
            rest = later;
        }
        team.each(jobs, |(rows, values)| {
            let mut to = values.iter_mut();
            for i in rows {
                for (&at, v) in pattern.mirror_row(i).iter().zip(&mut to) {
                    let b = &matrix.upper[at as usize];
                    *v = [0, 1, 2].map(|r| [0, 1, 2].map(|c| T::from_f64(b[c][r])));
                }
                let from = pattern.upper_starts()[i];
                let upper = &matrix.upper[from..from + pattern.upper_row(i).len()];
                for (b, v) in upper.iter().zip(&mut to) {
                    *v = b.map(|r| r.map(T::from_f64));
                }
            }
        });
        FullBlocks {
            pattern: Arc::clone(pattern),
            values,
        }
    }

    /// y = A x for all columns in one sweep.
    pub fn multiply<const W: usize>(
        &self,
        team: &Team,
        x: &[NodeColumns<T, W>],
        y: &mut [NodeColumns<T, W>],
    ) {
        let jobs: Vec<_> = y.chunks_mut(CHUNK).enumerate().collect();
        team.each(jobs, |(chunk, y)| {
            dispatch(FullSweep {
                matrix: self,
                first: chunk * CHUNK,
                x,
                y,
            });
        });
    }

    /// (A x) of one row.
    #[inline(always)]
    pub(crate) fn row_product<const W: usize, const FUSED: bool>(
        &self,
        row: usize,
        x: &[NodeColumns<T, W>],
    ) -> NodeColumns<T, W> {
        let from = self.pattern.starts()[row];
        let columns = self.pattern.row(row);
        let mut sum = Sums::new();
        for (b, &j) in self.values[from..from + columns.len()].iter().zip(columns) {
            sum.add::<FUSED>(b, &x[j as usize]);
        }
        sum.total()
    }

    /// Bytes of the values.
    pub fn bytes(&self) -> u64 {
        (self.values.capacity() * std::mem::size_of::<Block<T>>()) as u64
    }
}

struct FullSweep<'a, T, const W: usize> {
    matrix: &'a FullBlocks<T>,
    first: usize,
    x: &'a [NodeColumns<T, W>],
    y: &'a mut [NodeColumns<T, W>],
}

impl<T: Real, const W: usize> Hot for FullSweep<'_, T, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (i, y) in (self.first..).zip(self.y.iter_mut()) {
            *y = self.matrix.row_product::<W, FUSED>(i, self.x);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
        a.multiply(&team, &x, &mut y);
        let mut full = y.clone();
        FullBlocks::<f64>::rounded(&team, &a).multiply(&team, &x, &mut full);
        for k in 0..2 {
            let exact = &dense * nalgebra::DVector::from_fn(21, |r, _| x[r / 3][r % 3][k]);
            for r in 0..21 {
                assert!((y[r / 3][r % 3][k] - exact[r]).abs() < 1e-12);
                assert!((full[r / 3][r % 3][k] - exact[r]).abs() < 1e-12);
            }
        }
    }
}
