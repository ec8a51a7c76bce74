//! The preconditioner: the quadratic level smoothed, the linear level solved.
//!
//! p-multigrid on one mesh (Rønquist and Patera 1987, J Sci Comput 2:389): Chebyshev smoothing on the
//! fine matrix, Cholesky on the coarse one, which must be PᵀAP. Symmetric, so it serves conjugate
//! gradients.

use crate::chebyshev::{Chebyshev, Workspace};
use crate::columns::{CHUNK, dot, interleave};
use crate::{Analysis, BlockCholesky, NodeColumns, NodeVector, SparseError, SymmetricBlocks, Team};

/// Interpolation from coarse to fine nodes: each fine node is the mean of two coarse ones.
///
/// A node that is itself a coarse node names it twice; a parent that is held is [`Prolongation::NONE`].
#[derive(Debug, Clone, PartialEq)]
pub struct Prolongation {
    parents: Vec<[u32; 2]>,
    /// Fine nodes fed by each coarse node, in order; a coarse node's own fine node appears twice.
    child_starts: Vec<u32>,
    children: Vec<u32>,
}

impl Prolongation {
    /// No coarse node.
    pub const NONE: u32 = u32::MAX;

    /// From the two parents of each fine node.
    pub fn new(parents: Vec<[u32; 2]>, coarse_rows: usize) -> Self {
        let mut child_starts = vec![0u32; coarse_rows + 1];
        for &p in parents.iter().flatten().filter(|&&p| p != Self::NONE) {
            child_starts[p as usize + 1] += 1;
        }
        for i in 0..coarse_rows {
            child_starts[i + 1] += child_starts[i];
        }
        let mut next = child_starts.clone();
        let mut children = vec![0; child_starts[coarse_rows] as usize];
        for (fine, pair) in parents.iter().enumerate() {
            for &p in pair.iter().filter(|&&p| p != Self::NONE) {
                children[next[p as usize] as usize] = fine as u32;
                next[p as usize] += 1;
            }
        }
        Prolongation {
            parents,
            child_starts,
            children,
        }
    }

    /// Parents of each fine node.
    pub fn parents(&self) -> &[[u32; 2]] {
        &self.parents
    }

    /// Number of coarse rows.
    pub fn coarse_rows(&self) -> usize {
        self.child_starts.len() - 1
    }

    /// Bytes held.
    pub fn bytes(&self) -> u64 {
        (8 * self.parents.capacity()
            + 4 * (self.children.capacity() + self.child_starts.capacity())) as u64
    }

    /// coarse = Pᵀ fine.
    fn restrict<const W: usize>(
        &self,
        team: &Team,
        fine: &[NodeColumns<f32, W>],
        coarse: &mut [NodeColumns<f64, W>],
    ) {
        let jobs: Vec<_> = coarse.chunks_mut(CHUNK).enumerate().collect();
        team.each(jobs, |(chunk, coarse)| {
            for (i, to) in (chunk * CHUNK..).zip(coarse) {
                *to = [[0.0; W]; 3];
                let range = self.child_starts[i] as usize..self.child_starts[i + 1] as usize;
                for &child in &self.children[range] {
                    let from = &fine[child as usize];
                    for c in 0..3 {
                        for k in 0..W {
                            to[c][k] += 0.5 * f64::from(from[c][k]);
                        }
                    }
                }
            }
        });
    }

    /// step = P coarse, solution += step.
    fn prolong<const W: usize>(
        &self,
        team: &Team,
        coarse: &[NodeColumns<f64, W>],
        work: &mut Workspace<W>,
    ) {
        let jobs: Vec<_> = work
            .step
            .chunks_mut(CHUNK)
            .zip(work.solution.chunks_mut(CHUNK))
            .zip(self.parents.chunks(CHUNK))
            .collect();
        team.each(jobs, |((step, solution), parents)| {
            for ((step, solution), pair) in step.iter_mut().zip(solution).zip(parents) {
                let mut sum = [[0.0; W]; 3];
                for &p in pair.iter().filter(|&&p| p != Self::NONE) {
                    let from = &coarse[p as usize];
                    for c in 0..3 {
                        for k in 0..W {
                            sum[c][k] += 0.5 * from[c][k];
                        }
                    }
                }
                *step = sum.map(|r| r.map(|v| v as f32));
                for c in 0..3 {
                    for k in 0..W {
                        solution[c][k] += step[c][k];
                    }
                }
            }
        });
    }
}

/// How the coarse factor is stored: it was found to cost no iteration (docs/performance.md).
pub type CoarseNumber = f32;

/// Smoother, interpolation and coarse factor.
#[derive(Debug)]
pub struct TwoLevel {
    smoother: Chebyshev,
    prolongation: Prolongation,
    coarse: BlockCholesky<CoarseNumber>,
}

impl TwoLevel {
    /// Sets up both levels. `analysis` belongs to the pattern of `coarse`.
    ///
    /// # Errors
    /// [`SparseError`] of the factorisation or of a diagonal block. A row named by the coarse factor is
    /// translated to the fine row of that coarse node.
    pub fn new(
        team: &Team,
        fine: &SymmetricBlocks,
        coarse: &SymmetricBlocks,
        analysis: Analysis,
        prolongation: Prolongation,
        degree: usize,
    ) -> Result<Self, SparseError> {
        let smoother = Chebyshev::new(team, fine, degree);
        let coarse = analysis.factor(team, coarse);
        let coarse = coarse.map_err(|e| match e {
            SparseError::NotPositiveDefinite { row } => {
                let own = [row as u32; 2];
                let fine_row = prolongation.parents.iter().position(|p| *p == own);
                SparseError::NotPositiveDefinite {
                    row: fine_row.unwrap_or(0),
                }
            }
            other => other,
        })?;
        Ok(TwoLevel {
            smoother: smoother?,
            prolongation,
            coarse,
        })
    }

    /// Bytes held.
    pub fn bytes(&self) -> u64 {
        self.smoother.bytes() + self.prolongation.bytes() + self.coarse.bytes()
    }

    /// Bytes of the coarse factor.
    pub fn factor_bytes(&self) -> u64 {
        self.coarse.bytes()
    }

    /// Number of fine block rows.
    pub fn rows(&self) -> usize {
        self.prolongation.parents.len()
    }

    pub(crate) fn smoother(&self) -> &Chebyshev {
        &self.smoother
    }

    /// Coarse rows that a fine row is the mean of; twice the same where it is one of them.
    pub(crate) fn parents(&self, row: usize) -> impl Iterator<Item = u32> {
        let both = self.prolongation.parents[row].into_iter();
        both.filter(|p| *p != Prolongation::NONE)
    }

    /// Solves on the coarse level, in place.
    pub(crate) fn solve_coarse<const W: usize>(&self, team: &Team, x: &mut [NodeColumns<f64, W>]) {
        self.coarse.solve(team, x);
    }

    /// Number of coarse block rows.
    pub fn coarse_rows(&self) -> usize {
        self.prolongation.coarse_rows()
    }

    /// Products with the fine matrix in one application.
    pub fn products(&self) -> usize {
        self.smoother.products()
    }

    /// One symmetric cycle on each vector: what the preconditioner makes of it.
    pub fn cycle(&self, team: &Team, vectors: &[NodeVector]) -> Vec<NodeVector> {
        let mut out = Vec::with_capacity(vectors.len());
        for group in vectors.chunks(8) {
            out.extend(match group.len() {
                1 => self.cycle_group::<1>(team, group),
                2 => self.cycle_group::<2>(team, group),
                3..=4 => self.cycle_group::<4>(team, group),
                _ => self.cycle_group::<8>(team, group),
            });
        }
        out
    }

    fn cycle_group<const W: usize>(&self, team: &Team, vectors: &[NodeVector]) -> Vec<NodeVector> {
        let slices: Vec<&[[f64; 3]]> = vectors.iter().map(Vec::as_slice).collect();
        let mut sides = interleave::<W>(&slices);
        // Unit vectors inside: single precision cannot overflow.
        let norms = dot(team, &sides, &sides).map(f64::sqrt);
        for node in sides.iter_mut().flatten() {
            for k in 0..W {
                node[k] = if norms[k] > 0.0 {
                    node[k] / norms[k]
                } else {
                    0.0
                };
            }
        }
        let mut work = Workspace::new(sides.len());
        let mut coarse = vec![[[0.0; W]; 3]; self.coarse_rows()];
        team.inside(|| self.apply(team, &sides, &mut work, &mut coarse));
        (0..vectors.len())
            .map(|k| {
                let of_node = |n: &NodeColumns<f32, W>| n.map(|r| norms[k] * f64::from(r[k]));
                work.solution.iter().map(of_node).collect()
            })
            .collect()
    }

    /// One symmetric cycle on a residual; the result is `work.solution`.
    pub(crate) fn apply<const W: usize>(
        &self,
        team: &Team,
        residual: &[NodeColumns<f64, W>],
        work: &mut Workspace<W>,
        coarse: &mut [NodeColumns<f64, W>],
    ) {
        self.open_on(team, residual, work, coarse);
        self.close_on(team, coarse, work);
    }

    /// The first half of a cycle: smoothing from zero, the coarse solution.
    pub(crate) fn open_on<const W: usize>(
        &self,
        team: &Team,
        residual: &[NodeColumns<f64, W>],
        work: &mut Workspace<W>,
        coarse: &mut [NodeColumns<f64, W>],
    ) {
        work.load(team, residual);
        self.smoother.smooth_from_zero(team, work);
        self.prolongation.restrict(team, &work.residual, coarse);
        self.coarse.solve(team, coarse);
    }

    /// The second half: what the coarse solution gives, smoothed.
    pub(crate) fn close_on<const W: usize>(
        &self,
        team: &Team,
        coarse: &[NodeColumns<f64, W>],
        work: &mut Workspace<W>,
    ) {
        self.prolongation.prolong(team, coarse, work);
        self.smoother.smooth_on(team, work);
    }
}
