//! The two-level preconditioner M⁻¹: p-multigrid with the quadratic level smoothed, the linear level solved.
//!
//! p-multigrid on one mesh (Rønquist and Patera 1987, J Sci Comput 2:389). One V-cycle on b, with the Chebyshev smoother S on the
//! fine matrix A, the prolongation P and a coarse operator A_c that is, or is near, Pᵀ A P:
//!
//! - x ← S b, r ← b − A x (pre-smoothing from zero)
//! - c ← A_c⁻¹ Pᵀ r (coarse solution), x ← x + P c (coarse correction)
//! - x ← S(x, b) (post-smoothing)
//!
//! A_c⁻¹ is a Cholesky factor or, where that would be too large, one V-cycle of smoothed aggregation, perhaps over coarse nodes with
//! rotational degrees of freedom. Pre- and post-smoothing are the same polynomial, so M⁻¹ is symmetric and serves conjugate
//! gradients.

use crate::matrix::product::Matrix;
use crate::multigrid::aggregation::hierarchy::Aggregation;
use crate::multigrid::chebyshev::{Chebyshev, Workspace};
use crate::{
    Analysis, BlockCholesky, NodeColumns, NodeMatrix, Prolongation, SparseError, SymmetricBlocks,
    Team,
};
use std::sync::Arc;

/// Number type of the stored coarse factor: single precision was found to cost no iteration (docs/performance.md).
pub type CoarseNumber = f32;

/// The coarse operator A_c with the solver of the coarse level.
#[derive(Debug)]
pub enum CoarseMatrix {
    /// Coarse nodes that translate, solved by a Cholesky factor; with the analysis of the pattern.
    Factored(Box<SymmetricBlocks>, Analysis),
    /// Coarse nodes that translate, solved by smoothed aggregation; with their coordinates, mm.
    Translational(NodeMatrix<3>, Vec<[f64; 3]>),
    /// Coarse nodes that translate and rotate, solved by smoothed aggregation; with their coordinates, mm.
    Rotational(NodeMatrix<6>, Vec<[f64; 3]>),
}

/// The two-level preconditioner: smoother, prolongation and coarse solver.
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
        let held = prolongation.constrained_nodes();
        // Side by side: neither keeps all threads busy throughout.
        let (smoother, coarse) = team.join(
            || Chebyshev::new(team, fine, diagonal.iter(), degree),
            || match coarse {
                CoarseMatrix::Factored(matrix, analysis) => analysis
                    .factor(team, &matrix)
                    .map(|f| Coarse::Factored(Box::new(f))),
                CoarseMatrix::Translational(matrix, places) => {
                    Aggregation::translational(team, matrix, places, held)
                        .map(|a| Coarse::Aggregated(Box::new(a)))
                }
                CoarseMatrix::Rotational(matrix, places) => {
                    Aggregation::rotational(team, matrix, places, held)
                        .map(|a| Coarse::Aggregated(Box::new(a)))
                }
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

    /// Bytes of an aggregation hierarchy for so many nodes with `R` degrees of freedom and so many couplings: an estimate.
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

    /// x ← A_c⁻¹ x.
    pub(crate) fn solve_coarse<const W: usize>(&self, team: &Team, x: &mut [NodeColumns<f64, W>]) {
        self.coarse.solve(team, x);
    }

    /// The supernodes of the coarse factor that right-hand sides on some coarse rows reach; none where there is no factor.
    pub(crate) fn coarse_reach(&self, rows: impl Iterator<Item = u32>) -> Vec<bool> {
        match &self.coarse {
            Coarse::Factored(factor) => factor.reach(rows),
            Coarse::Aggregated(_) => vec![],
        }
    }

    /// x ← A_c⁻¹ x for right-hand sides that reach the supernodes `up`; by a factor, the solution is right in the rows that reach
    /// `down` alone.
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

    /// One V-cycle on `work.rhs`; the result is `work.solution`.
    pub(crate) fn apply<const W: usize>(
        &self,
        team: &Team,
        work: &mut Workspace<W>,
        coarse: &mut [NodeColumns<f64, W>],
    ) {
        self.first_half(team, work, coarse);
        self.second_half(team, coarse, work);
    }

    /// The first half of a cycle: pre-smoothing from zero and the coarse solution c, left in `coarse`.
    pub(crate) fn first_half<const W: usize>(
        &self,
        team: &Team,
        work: &mut Workspace<W>,
        coarse: &mut [NodeColumns<f64, W>],
    ) {
        self.smoother.smooth_from_zero(team, work);
        self.prolongation.restrict(team, &work.residual, coarse);
        self.coarse.solve(team, coarse);
    }

    /// The second half of a cycle: the coarse correction P c and post-smoothing.
    pub(crate) fn second_half<const W: usize>(
        &self,
        team: &Team,
        coarse: &[NodeColumns<f64, W>],
        work: &mut Workspace<W>,
    ) {
        self.prolongation.prolong(team, coarse, &mut work.solution);
        self.smoother.smooth_on(team, work);
    }
}
