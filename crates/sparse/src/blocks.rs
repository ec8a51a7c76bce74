//! Matrices of 3×3 blocks and their products with many vectors.

use crate::columns::CHUNK;
use crate::kernel::{Hot, Real, add_product, add_transposed_product, dispatch};
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
            let mut sum = [[0.0; W]; 3];
            for (&j, &at) in pattern.lower_row(i).iter().zip(pattern.mirror_row(i)) {
                add_transposed_product::<f64, W, FUSED>(
                    &mut sum,
                    &upper[at as usize],
                    &self.x[j as usize],
                );
            }
            let from = pattern.upper_starts()[i];
            let columns = pattern.upper_row(i);
            for (b, &j) in upper[from..from + columns.len()].iter().zip(columns) {
                add_product::<f64, W, FUSED>(&mut sum, b, &self.x[j as usize]);
            }
            *y = sum;
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

    /// (A x) of one row.
    #[inline(always)]
    pub(crate) fn row_product<const W: usize, const FUSED: bool>(
        &self,
        row: usize,
        x: &[NodeColumns<T, W>],
    ) -> NodeColumns<T, W> {
        let from = self.pattern.starts()[row];
        let columns = self.pattern.row(row);
        let mut sum = [[T::default(); W]; 3];
        for (b, &j) in self.values[from..from + columns.len()].iter().zip(columns) {
            add_product::<T, W, FUSED>(&mut sum, b, &x[j as usize]);
        }
        sum
    }

    /// Bytes of the values.
    pub fn bytes(&self) -> u64 {
        (self.values.capacity() * std::mem::size_of::<Block<T>>()) as u64
    }
}
