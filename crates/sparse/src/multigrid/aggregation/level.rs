//! One level of the aggregation hierarchy: its smoother, its smoothed prolongator P and the restrictor Pᵀ, and the coarse operator
//! that it leaves to the next level.

use crate::csr::Csr;
use crate::matrix::node_blocks::NodeBlocks;
use crate::matrix::node_matrix::{
    NodeMatrix, Square, for_chunks, from_right, part, transposed_from_left,
};
use crate::matrix::product::Order;
use crate::multigrid::aggregation::aggregates::{
    Aggregates, RigidBodyModes, tentative_prolongator,
};
use crate::multigrid::aggregation::galerkin::coarse_operator;
use crate::multigrid::aggregation::prolongator::{Prolongator, smoothed_prolongator};
use crate::multigrid::chebyshev::Chebyshev;
use crate::simd::columns::{CHUNK, add};
use crate::simd::kernel::{Kernel, dispatch, multiply_add, transposed_multiply_add};
use crate::{Block, NodeColumns, SparseError, Team};
use std::ops::Range;

/// Damping ω of the prolongator's Jacobi step, over the largest eigenvalue (Vaněk, Mandel and Brezina 1996).
const DAMPING: f64 = 4.0 / 3.0;
/// Nodes of an aggregate of aggregates; left-over ones may join beyond. Larger aggregates make a smaller next level, but miss more
/// of the slow modes (docs/performance.md).
const COARSER_SIZE: usize = 8;
/// Aggregates that a thread takes up together.
const TOGETHER: usize = 64;

/// A block row of P: three rows of the six modes of an aggregate, translations and rotations apart.
type HalfRow = [Block<f32>; 2];

/// The displacements and rotations of an aggregate, all right-hand sides.
type Pair<const W: usize> = [NodeColumns<f32, W>; 2];

/// A level of nodes with `R` degrees of freedom.
#[derive(Debug)]
pub(crate) struct Level<const R: usize> {
    pub(crate) smoother: Chebyshev<NodeBlocks<R>>,
    /// P: block rows against aggregates.
    prolongator: Csr<HalfRow>,
    /// The blocks of P by aggregate, each one as in P.
    restrictor: Csr<HalfRow>,
}

/// The next coarser problem: its operator A_c with unit diagonal blocks, the aggregates of its nodes and their rigid-body modes.
pub(crate) struct CoarseProblem {
    pub(crate) operator: NodeMatrix<6>,
    pub(crate) aggregates: Aggregates,
    pub(crate) modes: RigidBodyModes<6>,
}

/// The error of a level below the finest, whose rows have no name outside.
pub(crate) fn not_positive(row: usize) -> SparseError {
    SparseError::NotPositiveDefinite { row }
}

const UNIT: Block<f64> = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

impl<const R: usize> Level<R> {
    /// Sets up a level from a matrix with unit diagonal blocks.
    ///
    /// # Errors
    /// [`SparseError::NotPositiveDefinite`] when the coarse operator has a diagonal block without a Cholesky root.
    pub(crate) fn new(
        team: &Team,
        matrix: &NodeMatrix<R>,
        aggregates: &Aggregates,
        modes: &RigidBodyModes<R>,
        degree: usize,
    ) -> Result<(Self, CoarseProblem), SparseError> {
        let rounded = NodeBlocks::rounded(team, matrix);
        let units = std::iter::repeat_n(&UNIT, rounded.rows());
        let smoother = Chebyshev::new(team, rounded, units, degree)?;
        let (tentative, mut coarse_modes) = tentative_prolongator(team, aggregates, modes);
        let damping = DAMPING / smoother.largest();
        let p = smoothed_prolongator(team, matrix, aggregates, &tentative, damping);
        let transposed_pattern = p.transposed_pattern(aggregates.count);
        let mut operator = coarse_operator(team, matrix, &p, &transposed_pattern);
        let coarser = Aggregates::form(&operator, COARSER_SIZE);
        let roots = operator.normalise(team).map_err(|_| not_positive(0))?;
        for (modes, root) in coarse_modes.modes.iter_mut().zip(&roots.roots) {
            *modes = transposed_from_left(root, modes);
        }
        let prolongator = half_rows(team, &p, &roots.inverses);
        let level = Level {
            smoother,
            restrictor: half_columns::<R>(team, &prolongator, &transposed_pattern),
            prolongator,
        };
        let coarse = CoarseProblem {
            operator,
            aggregates: coarser,
            modes: coarse_modes,
        };
        Ok((level, coarse))
    }

    /// Bytes held.
    pub(crate) fn bytes(&self) -> u64 {
        self.smoother.bytes()
            + self.smoother.matrix().bytes()
            + self.prolongator.bytes()
            + self.restrictor.bytes()
    }

    /// Number of block rows of the next level, two an aggregate.
    pub(crate) fn coarse_rows(&self) -> usize {
        2 * self.restrictor.rows()
    }

    /// coarse = Pᵀ fine.
    pub(crate) fn restrict<const W: usize>(
        &self,
        team: &Team,
        fine: &[NodeColumns<f32, W>],
        coarse: &mut [NodeColumns<f32, W>],
    ) {
        let jobs: Vec<_> = coarse.chunks_mut(2 * TOGETHER).enumerate().collect();
        team.each(jobs, |(chunk, coarse)| {
            dispatch(Restrict {
                restrictor: &self.restrictor,
                first: chunk * TOGETHER,
                fine,
                coarse: coarse.as_chunks_mut::<2>().0,
            });
        });
    }

    /// solution += P coarse.
    pub(crate) fn prolong<const W: usize>(
        &self,
        team: &Team,
        coarse: &[NodeColumns<f32, W>],
        solution: &mut [NodeColumns<f32, W>],
    ) {
        let jobs: Vec<_> = solution.chunks_mut(CHUNK).enumerate().collect();
        team.each(jobs, |(chunk, solution)| {
            dispatch(Prolong {
                prolongator: &self.prolongator,
                first: chunk * CHUNK,
                coarse: coarse.as_chunks::<2>().0,
                solution,
            });
        });
    }
}

/// P L⁻ᵀ by block rows, rounded; L are the Cholesky roots that the coarse operator's diagonal was normalised by.
fn half_rows<const R: usize>(
    team: &Team,
    p: &Prolongator<R>,
    inverse_roots: &[Square<6>],
) -> Csr<HalfRow> {
    let halves = R / 3;
    let mut starts = vec![0];
    for own in p.starts().windows(2) {
        let length = own[1] - own[0];
        starts.extend((1..=halves).map(|half| halves * own[0] + half * length));
    }
    let of_nodes: Vec<usize> = p.starts().iter().map(|s| halves * s).collect();
    let mut columns = Vec::with_capacity(halves * p.len());
    for i in 0..p.rows() {
        for _ in 0..halves {
            columns.extend_from_slice(p.columns_of(i));
        }
    }
    let mut values = vec![[[[0.0; 3]; 3]; 2]; halves * p.len()];
    for_chunks(team, &of_nodes, &mut values, |nodes, values| {
        dispatch(RoundRows {
            p,
            inverse_roots,
            nodes,
            values,
        });
    });
    Csr::new(starts, columns, values)
}

/// Rounds the rows of P, three at a time.
struct RoundRows<'a, const R: usize> {
    p: &'a Prolongator<R>,
    inverse_roots: &'a [Square<6>],
    nodes: Range<usize>,
    values: &'a mut [HalfRow],
}

impl<const R: usize> Kernel for RoundRows<'_, R> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let mut rest = self.values;
        for i in self.nodes {
            let length = self.p.range(i).len();
            let (now, later) = rest.split_at_mut(R / 3 * length);
            rest = later;
            for (k, (g, p)) in self.p.row(i).enumerate() {
                let scaled = from_right(p, &self.inverse_roots[g as usize]);
                for half in 0..R / 3 {
                    now[half * length + k] =
                        [0, 1].map(|k| part(&scaled, half, k).map(|r| r.map(|v| v as f32)));
                }
            }
        }
    }
}

/// The blocks of P by aggregate: for each node that the aggregate moves, its block rows in turn.
fn half_columns<const R: usize>(
    team: &Team,
    prolongator: &Csr<HalfRow>,
    transposed_pattern: &Csr<u32>,
) -> Csr<HalfRow> {
    let count = transposed_pattern.rows();
    let chunks = team.collect(count.div_ceil(CHUNK), |chunk| {
        let mut out = Csr::with_capacity(CHUNK, 0);
        for g in chunk * CHUNK..((chunk + 1) * CHUNK).min(count) {
            for i in transposed_pattern.columns_of(g) {
                for row in R / 3 * *i as usize..R / 3 * (*i as usize + 1) {
                    let mut own = prolongator.row(row).filter(|(h, _)| *h as usize == g);
                    if let Some((_, block)) = own.next() {
                        out.push(row as u32, *block);
                    }
                }
            }
            out.end_row();
        }
        out
    });
    Csr::stacked(chunks)
}

struct Restrict<'a, const W: usize> {
    restrictor: &'a Csr<HalfRow>,
    first: usize,
    fine: &'a [NodeColumns<f32, W>],
    coarse: &'a mut [Pair<W>],
}

impl<const W: usize> Kernel for Restrict<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (g, to) in (self.first..).zip(self.coarse) {
            let mut sums = [[[0.0; W]; 3]; 2];
            for (i, [a, b]) in self.restrictor.row(g) {
                let from = &self.fine[i as usize];
                transposed_multiply_add::<f32, W, FUSED>(&mut sums[0], a, from);
                transposed_multiply_add::<f32, W, FUSED>(&mut sums[1], b, from);
            }
            *to = sums;
        }
    }
}

struct Prolong<'a, const W: usize> {
    prolongator: &'a Csr<HalfRow>,
    first: usize,
    coarse: &'a [Pair<W>],
    solution: &'a mut [NodeColumns<f32, W>],
}

impl<const W: usize> Kernel for Prolong<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (i, solution) in (self.first..).zip(self.solution) {
            let mut sum = [[0.0; W]; 3];
            for (g, [a, b]) in self.prolongator.row(i) {
                let [u, t] = &self.coarse[g as usize];
                multiply_add::<f32, W, FUSED>(&mut sum, a, u);
                multiply_add::<f32, W, FUSED>(&mut sum, b, t);
            }
            add(solution, &sum);
        }
    }
}
