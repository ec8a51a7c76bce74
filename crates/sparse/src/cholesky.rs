//! Sparse Cholesky factors: ordering, symbolic analysis, numbers, solution of many right sides.
//!
//! The factorisation is faer's supernodal LLᵀ on one thread, behind our nested dissection. The
//! triangular solves are our own sweep over its supernodes, all right sides at once.

use crate::kernel::{Hot, Real, dispatch};
use crate::ordering::nested_dissection;
use crate::{NodeColumns, Pattern, SparseError, SymmetricBlocks, Team};
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::llt::factor::{LltError, LltRegularization};
use faer::perm::PermRef;
use faer::sparse::linalg::SupernodalThreshold;
use faer::sparse::linalg::cholesky::supernodal::SupernodalLltRef;
use faer::sparse::linalg::cholesky::{
    CholeskySymbolicParams, SymbolicCholesky, SymbolicCholeskyRaw, SymmetricOrdering,
    factorize_symbolic_cholesky,
};
use faer::sparse::{SparseColMatRef, SymbolicSparseColMatRef};
use faer::{Par, Side, Spec};

/// Order, fill and bytes of a factor, known before any number is computed.
#[derive(Debug)]
pub struct Analysis {
    symbolic: SymbolicCholesky<usize>,
    /// Scalar lower half by columns: starts and rows.
    starts: Vec<usize>,
    rows: Vec<usize>,
    order: Vec<u32>,
}

impl Analysis {
    /// Orders the nodes and counts the fill.
    ///
    /// # Errors
    /// [`SparseError::NoMemory`] when the index arrays do not fit.
    pub fn of(pattern: &Pattern) -> Result<Self, SparseError> {
        let order = nested_dissection(pattern);
        let n = 3 * pattern.rows();
        let mut starts = Vec::with_capacity(n + 1);
        let mut rows = Vec::with_capacity(9 * pattern.upper_len());
        starts.push(0);
        // Column 3i + c of the lower half is row 3i + c of the upper half.
        for i in 0..pattern.rows() {
            for c in 0..3 {
                for &j in pattern.upper_row(i) {
                    let first = if j as usize == i { c } else { 0 };
                    rows.extend((first..3).map(|r| 3 * j as usize + r));
                }
                starts.push(rows.len());
            }
        }
        let forward: Vec<usize> = order
            .iter()
            .flat_map(|&o| (0..3).map(move |c| 3 * o as usize + c))
            .collect();
        let mut inverse = vec![0; n];
        for (k, &o) in forward.iter().enumerate() {
            inverse[o] = k;
        }
        let symbolic = factorize_symbolic_cholesky(
            SymbolicSparseColMatRef::new_checked(n, n, &starts, None, &rows),
            Side::Lower,
            SymmetricOrdering::Custom(PermRef::new_checked(&forward, &inverse, n)),
            CholeskySymbolicParams {
                supernodal_flop_ratio_threshold: SupernodalThreshold::FORCE_SUPERNODAL,
                ..Default::default()
            },
        )
        .map_err(|_| SparseError::NoMemory {
            bytes: 16 * rows.len() as u64,
        })?;
        Ok(Analysis {
            symbolic,
            starts,
            rows,
            order,
        })
    }

    /// Bytes of the factor's numbers.
    pub fn factor_bytes(&self) -> u64 {
        8 * self.symbolic.len_val() as u64
    }

    /// Bytes needed for a while during factorisation, beyond the factor.
    pub fn scratch_bytes(&self) -> u64 {
        let scratch = self
            .symbolic
            .factorize_numeric_llt_scratch::<f64>(Par::Seq, Spec::default());
        (scratch.unaligned_bytes_required() + 24 * self.rows.len()) as u64
    }

    /// Multiplications of the factorisation.
    pub fn multiplications(&self) -> f64 {
        let SymbolicCholeskyRaw::Supernodal(s) = self.symbolic.raw() else {
            return 0.0;
        };
        let ends = s.supernode_end();
        (0..s.n_supernodes())
            .map(|k| {
                let node = s.supernode(k);
                let columns = ends[k] - node.start();
                let rows = columns + node.pattern().len();
                (0..columns)
                    .map(|c| ((rows - c) as f64).powi(2) / 2.0)
                    .sum::<f64>()
            })
            .sum()
    }

    /// Computes the factor.
    ///
    /// # Errors
    /// [`SparseError::NotPositiveDefinite`] with the block row of the offending pivot;
    /// [`SparseError::NoMemory`].
    pub fn factor(self, matrix: &SymmetricBlocks) -> Result<BlockCholesky, SparseError> {
        let pattern = &matrix.pattern;
        let mut values = Vec::with_capacity(self.rows.len());
        for i in 0..pattern.rows() {
            let from = pattern.upper_starts()[i];
            let blocks = &matrix.upper[from..from + pattern.upper_row(i).len()];
            for c in 0..3 {
                values.extend_from_slice(&blocks[0][c][c..]);
                for b in &blocks[1..] {
                    values.extend_from_slice(&b[c]);
                }
            }
        }
        let n = 3 * pattern.rows();
        let no_memory = SparseError::NoMemory {
            bytes: self.factor_bytes() + self.scratch_bytes(),
        };
        let scratch = self
            .symbolic
            .factorize_numeric_llt_scratch::<f64>(Par::Seq, Spec::default());
        let mut numbers: Vec<f64> = Vec::new();
        numbers
            .try_reserve_exact(self.symbolic.len_val())
            .map_err(|_| no_memory.clone())?;
        numbers.resize(self.symbolic.len_val(), 0.0);
        let mut memory = MemBuffer::try_new(scratch).map_err(|_| no_memory)?;
        self.symbolic
            .factorize_numeric_llt(
                &mut numbers,
                SparseColMatRef::new(
                    SymbolicSparseColMatRef::new_checked(n, n, &self.starts, None, &self.rows),
                    &values,
                ),
                Side::Lower,
                LltRegularization::default(),
                Par::Seq,
                MemStack::new(&mut memory),
                Spec::default(),
            )
            .map_err(|e| {
                let LltError::NonPositivePivot { index } = e;
                let row = self.order.get(index / 3).map_or(0, |&o| o as usize);
                SparseError::NotPositiveDefinite { row }
            })?;
        Ok(BlockCholesky {
            symbolic: self.symbolic,
            numbers,
            order: self.order,
        })
    }
}

/// A Cholesky factor of a block matrix.
#[derive(Debug)]
pub struct BlockCholesky {
    symbolic: SymbolicCholesky<usize>,
    numbers: Vec<f64>,
    order: Vec<u32>,
}

impl BlockCholesky {
    /// Bytes of the factor.
    pub fn bytes(&self) -> u64 {
        8 * self.numbers.capacity() as u64
    }

    /// Solves for all columns, in place. Reads the factor twice, whatever the number of columns.
    pub fn solve<const W: usize>(&self, _team: &Team, x: &mut [NodeColumns<f64, W>]) {
        let mut permuted: Vec<[f64; W]> = self.order.iter().flat_map(|&o| x[o as usize]).collect();
        if let SymbolicCholeskyRaw::Supernodal(symbolic) = self.symbolic.raw() {
            dispatch(Triangles {
                factor: SupernodalLltRef::new(symbolic, &self.numbers),
                x: &mut permuted,
            });
        }
        for (&o, v) in self.order.iter().zip(permuted.as_chunks::<3>().0) {
            x[o as usize] = *v;
        }
    }
}

/// Forward and backward substitution over the supernodes.
struct Triangles<'a, const W: usize> {
    factor: SupernodalLltRef<'a, usize, f64>,
    x: &'a mut [[f64; W]],
}

/// a − l b, lane by lane.
#[inline(always)]
fn minus<const W: usize, const FUSED: bool>(a: &mut [f64; W], l: f64, b: &[f64; W]) {
    for k in 0..W {
        a[k] = (-l).times_plus::<FUSED>(b[k], a[k]);
    }
}

impl<const W: usize> Hot for Triangles<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let Triangles { factor, x } = self;
        let symbolic = factor.symbolic();
        let ends = symbolic.supernode_end();
        let values = factor.values();
        let places = symbolic.col_ptr_for_val();
        let mut below: Vec<[f64; W]> = Vec::new();
        for s in 0..symbolic.n_supernodes() {
            let node = symbolic.supernode(s);
            let (start, pattern) = (node.start(), node.pattern());
            let columns = ends[s] - start;
            let height = columns + pattern.len();
            let l = &values[places[s]..places[s + 1]];
            let top = &mut x[start..start + columns];
            for (j, column) in l.chunks_exact(height).enumerate() {
                let (done, rest) = top.split_at_mut(j + 1);
                let pivot = 1.0 / column[j];
                done[j] = done[j].map(|v| v * pivot);
                for (t, &v) in rest.iter_mut().zip(&column[j + 1..columns]) {
                    minus::<W, FUSED>(t, v, &done[j]);
                }
            }
            if pattern.is_empty() {
                continue;
            }
            below.clear();
            below.resize(pattern.len(), [0.0; W]);
            // Four columns a pass, so that the partial sums are read and written a quarter as often.
            let mut quads = l.chunks_exact(4 * height);
            let mut j = 0;
            for quad in &mut quads {
                let (a, rest) = quad.split_at(height);
                let (b, rest) = rest.split_at(height);
                let (c, d) = rest.split_at(height);
                let t = [top[j], top[j + 1], top[j + 2], top[j + 3]];
                let tails = a[columns..].iter().zip(&b[columns..]);
                let tails = tails.zip(c[columns..].iter().zip(&d[columns..]));
                for (sum, ((a, b), (c, d))) in below.iter_mut().zip(tails) {
                    for k in 0..W {
                        let two = a.times_plus::<FUSED>(t[0][k], sum[k]);
                        let three = b.times_plus::<FUSED>(t[1][k], two);
                        let four = c.times_plus::<FUSED>(t[2][k], three);
                        sum[k] = d.times_plus::<FUSED>(t[3][k], four);
                    }
                }
                j += 4;
            }
            for column in quads.remainder().chunks_exact(height) {
                for (sum, a) in below.iter_mut().zip(&column[columns..]) {
                    for k in 0..W {
                        sum[k] = a.times_plus::<FUSED>(top[j][k], sum[k]);
                    }
                }
                j += 1;
            }
            for (&row, sum) in pattern.iter().zip(&below) {
                for k in 0..W {
                    x[row][k] -= sum[k];
                }
            }
        }
        for s in (0..symbolic.n_supernodes()).rev() {
            let node = symbolic.supernode(s);
            let (start, pattern) = (node.start(), node.pattern());
            let columns = ends[s] - start;
            let height = columns + pattern.len();
            let l = &values[places[s]..places[s + 1]];
            below.clear();
            below.extend(pattern.iter().map(|&row| x[row]));
            let top = &mut x[start..start + columns];
            let mut quads = l.chunks_exact(4 * height);
            let mut j = 0;
            for quad in &mut quads {
                let (a, rest) = quad.split_at(height);
                let (b, rest) = rest.split_at(height);
                let (c, d) = rest.split_at(height);
                let mut sums = [[0.0; W]; 4];
                let tails = a[columns..].iter().zip(&b[columns..]);
                let tails = tails.zip(c[columns..].iter().zip(&d[columns..]));
                for (v, ((a, b), (c, d))) in below.iter().zip(tails) {
                    for k in 0..W {
                        sums[0][k] = a.times_plus::<FUSED>(v[k], sums[0][k]);
                        sums[1][k] = b.times_plus::<FUSED>(v[k], sums[1][k]);
                        sums[2][k] = c.times_plus::<FUSED>(v[k], sums[2][k]);
                        sums[3][k] = d.times_plus::<FUSED>(v[k], sums[3][k]);
                    }
                }
                for (t, s) in top[j..j + 4].iter_mut().zip(&sums) {
                    minus::<W, FUSED>(t, 1.0, s);
                }
                j += 4;
            }
            for column in quads.remainder().chunks_exact(height) {
                let mut sum = [0.0; W];
                for (v, a) in below.iter().zip(&column[columns..]) {
                    for k in 0..W {
                        sum[k] = a.times_plus::<FUSED>(v[k], sum[k]);
                    }
                }
                minus::<W, FUSED>(&mut top[j], 1.0, &sum);
                j += 1;
            }
            for (j, column) in l.chunks_exact(height).enumerate().rev() {
                let (head, rest) = top.split_at_mut(j + 1);
                let t = &mut head[j];
                for (v, &a) in rest.iter().zip(&column[j + 1..columns]) {
                    minus::<W, FUSED>(t, a, v);
                }
                let pivot = 1.0 / column[j];
                *t = t.map(|v| v * pivot);
            }
        }
    }
}
