//! The preconditioner: the quadratic level smoothed, the linear level solved.
//!
//! p-multigrid on one mesh (Rønquist and Patera 1987, J Sci Comput 2:389): Chebyshev smoothing on the
//! fine matrix; on the coarse one, which must be near PᵀAP, Cholesky or, where its factor would be too large,
//! smoothed aggregation of corners that also turn. Symmetric, so it serves conjugate gradients.

use crate::matrix::product::Matrix;
use crate::multigrid::aggregation::cycle::Aggregation;
use crate::multigrid::chebyshev::{Chebyshev, Workspace};
use crate::{
    Analysis, BlockCholesky, NodeColumns, NodeMatrix, Prolongation, SparseError, SymmetricBlocks,
    Team,
};
use std::sync::Arc;

/// How the coarse factor is stored: it was found to cost no iteration (docs/performance.md).
pub type CoarseNumber = f32;

/// The coarse level's matrix, and how it is to be solved.
#[derive(Debug)]
pub enum CoarseMatrix {
    /// Of coarse nodes that only move: by its factor, with the analysis of its pattern.
    Factored(Box<SymmetricBlocks>, Analysis),
    /// Of coarse nodes that only move: by smoothed aggregation, given where they lie, mm.
    Moving(NodeMatrix<3>, Vec<[f64; 3]>),
    /// The same of nodes that turn as well.
    Turning(NodeMatrix<6>, Vec<[f64; 3]>),
}

/// Smoother, interpolation and coarse solver.
#[derive(Debug)]
pub struct TwoLevel<M> {
    smoother: Chebyshev<Arc<M>>,
    prolongation: Arc<Prolongation>,
    coarse: Coarse,
}

#[derive(Debug)]
enum Coarse {
    Factored(Box<BlockCholesky<CoarseNumber>>),
    Aggregated(Box<Aggregation>),
}

impl Coarse {
    fn solve<const W: usize>(&self, team: &Team, x: &mut [NodeColumns<f64, W>]) {
        match self {
            Coarse::Factored(factor) => factor.solve(team, x),
            Coarse::Aggregated(level) => level.solve(team, x),
        }
    }

    fn bytes(&self) -> u64 {
        match self {
            Coarse::Factored(factor) => factor.bytes(),
            Coarse::Aggregated(level) => level.bytes(),
        }
    }
}

impl<M: Matrix> TwoLevel<M> {
    /// Sets up both levels.
    ///
    /// # Errors
    /// [`SparseError`] of the factorisation or of a diagonal block. A row named by the coarse factor is
    /// translated to the fine row of that coarse node.
    pub fn new(
        team: &Team,
        fine: Arc<M>,
        coarse: CoarseMatrix,
        prolongation: Arc<Prolongation>,
        degree: usize,
    ) -> Result<Self, SparseError> {
        let diagonal = fine.diagonal(team);
        // Side by side: neither keeps all threads busy throughout.
        let (smoother, coarse) = team.join(
            || Chebyshev::new(team, fine, diagonal.iter(), degree),
            || match coarse {
                CoarseMatrix::Factored(matrix, analysis) => analysis
                    .factor(team, &matrix)
                    .map(|f| Coarse::Factored(Box::new(f))),
                CoarseMatrix::Moving(matrix, places) => Aggregation::moving(team, matrix, places)
                    .map(|a| Coarse::Aggregated(Box::new(a))),
                CoarseMatrix::Turning(matrix, places) => Aggregation::turning(team, matrix, places)
                    .map(|a| Coarse::Aggregated(Box::new(a))),
            },
        );
        let coarse = coarse.map_err(|e| match e {
            SparseError::NotPositiveDefinite { row } => SparseError::NotPositiveDefinite {
                row: prolongation.fine_of(row).unwrap_or(0),
            },
            other => other,
        })?;
        Ok(TwoLevel {
            smoother: smoother?,
            prolongation,
            coarse,
        })
    }

    /// Bytes held, without the matrix.
    pub fn bytes(&self) -> u64 {
        self.smoother.bytes() + self.prolongation.bytes() + self.coarse.bytes()
    }

    /// Bytes of an aggregated level of so many nodes with `R` unknowns and so many couplings, about.
    pub fn aggregated_bytes<const R: usize>(nodes: usize, blocks: usize) -> u64 {
        Aggregation::bytes_for::<R>(nodes, blocks)
    }

    /// Number of fine block rows.
    pub fn rows(&self) -> usize {
        self.prolongation.fine_rows()
    }

    pub(crate) fn smoother(&self) -> &Chebyshev<Arc<M>> {
        &self.smoother
    }

    pub(crate) fn prolongation(&self) -> &Prolongation {
        &self.prolongation
    }

    /// Solves on the coarse level, in place.
    pub(crate) fn solve_coarse<const W: usize>(&self, team: &Team, x: &mut [NodeColumns<f64, W>]) {
        self.coarse.solve(team, x);
    }

    /// What of the coarse factor right sides on some coarse rows reach; nothing where there is no factor.
    pub(crate) fn reach_coarse(&self, rows: impl Iterator<Item = u32>) -> Vec<bool> {
        match &self.coarse {
            Coarse::Factored(factor) => factor.reach(rows),
            Coarse::Aggregated(_) => vec![],
        }
    }

    /// Solves on the coarse level for right sides that reach `up`, and rightly in the rows that reach `down`.
    pub(crate) fn solve_coarse_between<const W: usize>(
        &self,
        team: &Team,
        x: &mut [NodeColumns<f64, W>],
        up: &[bool],
        down: &[bool],
    ) {
        match &self.coarse {
            Coarse::Factored(factor) => factor.solve_between(team, x, up, down),
            Coarse::Aggregated(level) => level.solve(team, x),
        }
    }

    /// Number of coarse block rows.
    pub fn coarse_rows(&self) -> usize {
        self.prolongation.coarse_rows()
    }

    /// One symmetric cycle on `work.side`; the result is `work.solution`.
    pub(crate) fn apply<const W: usize>(
        &self,
        team: &Team,
        work: &mut Workspace<W>,
        coarse: &mut [NodeColumns<f64, W>],
    ) {
        self.open_on(team, work, coarse);
        self.close_on(team, coarse, work);
    }

    /// The first half of a cycle: smoothing from zero, the coarse solution.
    pub(crate) fn open_on<const W: usize>(
        &self,
        team: &Team,
        work: &mut Workspace<W>,
        coarse: &mut [NodeColumns<f64, W>],
    ) {
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
        self.prolongation.prolong(team, coarse, &mut work.solution);
        self.smoother.smooth_on(team, work);
    }
}
