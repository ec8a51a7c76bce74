//! The preconditioner: the quadratic level smoothed, the linear level solved.
//!
//! p-multigrid on one mesh (Rønquist and Patera 1987, J Sci Comput 2:389): Chebyshev smoothing on the
//! fine matrix, Cholesky on the coarse one, which must be PᵀAP. Symmetric, so it serves conjugate
//! gradients.

use crate::chebyshev::{Chebyshev, Workspace};
use crate::{
    Analysis, BlockCholesky, NodeColumns, Prolongation, SparseError, SymmetricBlocks, Team,
};
use std::sync::Arc;

/// How the coarse factor is stored: it was found to cost no iteration (docs/performance.md).
pub type CoarseNumber = f32;

/// Smoother, interpolation and coarse factor.
#[derive(Debug)]
pub struct TwoLevel {
    smoother: Chebyshev,
    prolongation: Arc<Prolongation>,
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
        prolongation: Arc<Prolongation>,
        degree: usize,
    ) -> Result<Self, SparseError> {
        let smoother = Chebyshev::new(team, fine, degree);
        let coarse = analysis.factor(team, coarse);
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

    /// Bytes held.
    pub fn bytes(&self) -> u64 {
        self.smoother.bytes() + self.prolongation.bytes() + self.coarse.bytes()
    }

    /// Bytes of the coarse factor.
    pub fn factor_bytes(&self) -> u64 {
        self.coarse.bytes()
    }

    /// Number of coarse block rows.
    pub fn coarse_rows(&self) -> usize {
        self.prolongation.coarse_rows()
    }

    /// Products with the fine matrix in one application.
    pub fn products(&self) -> usize {
        self.smoother.products()
    }

    /// One symmetric cycle on a residual; the result is `work.solution`.
    pub(crate) fn apply<const W: usize>(
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
        self.prolongation
            .prolong(team, coarse, &mut work.step, &mut work.solution);
        self.smoother.smooth_on(team, work);
    }
}
