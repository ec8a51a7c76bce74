//! Linear operators as the solvers see them: products A x, without entries.

use crate::simd::columns::Aligned;
use crate::simd::kernel::Real;
use crate::{Block, NodeColumns, Team};
use std::sync::Arc;

/// The order of a square matrix with three degrees of freedom a block row.
pub trait Order: Sync {
    /// Number of block rows.
    fn rows(&self) -> usize;
}

/// An epilogue: an operation fused onto the rows of a product, for a range of rows.
pub trait Epilogue<T, const W: usize>: Send + Sized {
    /// The first `rows` rows, and the rest.
    fn split_at(self, rows: usize) -> (Self, Self);
    /// Applies the operation to the next rows of the product; `FUSED` as in [`crate::simd::kernel::Kernel`].
    fn apply<const FUSED: bool>(self, product: &[Aligned<T, W>]);
}

/// A matrix that can be multiplied with many vectors at once.
pub trait Product<T: Real>: Order {
    /// Gives the rows of A x to an epilogue as they are computed, so that a product need not be written to memory.
    /// `scratch` is the matrix's own to use; keep it for the next product.
    fn multiply_with<const W: usize, R: Epilogue<T, W>>(
        &self,
        team: &Team,
        x: &[NodeColumns<T, W>],
        scratch: &mut Vec<NodeColumns<T, W>>,
        rows: R,
    );

    /// y = A x for all columns in one sweep.
    fn multiply<const W: usize>(
        &self,
        team: &Team,
        x: &[NodeColumns<T, W>],
        scratch: &mut Vec<NodeColumns<T, W>>,
        y: &mut [NodeColumns<T, W>],
    ) {
        self.multiply_with(team, x, scratch, Store(y));
    }
}

struct Store<'a, T, const W: usize>(&'a mut [NodeColumns<T, W>]);

impl<T: Real, const W: usize> Epilogue<T, W> for Store<'_, T, W> {
    fn split_at(self, rows: usize) -> (Self, Self) {
        let (a, b) = self.0.split_at_mut(rows);
        (Store(a), Store(b))
    }

    #[inline(always)]
    fn apply<const FUSED: bool>(self, product: &[Aligned<T, W>]) {
        for (to, from) in self.0.iter_mut().zip(product) {
            *to = from.0;
        }
    }
}

/// A matrix with bounds of its rounding errors.
pub trait Magnitudes: Order {
    /// Σ |Aᵢⱼ| |xⱼ| of every row, over the parts that products are summed from.
    fn magnitudes<const W: usize>(
        &self,
        team: &Team,
        x: &[NodeColumns<f64, W>],
    ) -> Vec<NodeColumns<f64, W>>;
}

/// A matrix with products on few rows, at a cost of these rows alone.
pub trait Local: Order {
    /// A principal submatrix, ready for products.
    type Part;

    /// Rows that a row is coupled to, itself included; some perhaps more than once.
    fn neighbours(&self, row: u32) -> impl Iterator<Item = u32>;

    /// The submatrix of a region; `places` gives each row's index in it, for rows outside an index beyond. The region must reach one
    /// row farther than the vectors it is multiplied with.
    fn part(&self, region: &[u32], places: &[u32]) -> Self::Part;

    /// r ← r − A x within a region.
    fn subtract(&self, part: &Self::Part, x: &[[f64; 3]], r: &mut [[f64; 3]]);
}

/// A matrix of the preconditioned iteration.
pub trait Matrix:
    Product<f64> + Product<f32> + Magnitudes + Local + std::fmt::Debug + Send
{
    /// Diagonal blocks.
    fn diagonal(&self, team: &Team) -> Vec<Block<f64>>;

    /// Bytes held.
    fn bytes(&self) -> u64;

    /// Working memory of a product with `width` vectors of numbers of so many bytes, in bytes.
    fn scratch_bytes(&self, width: usize, number: usize) -> u64;
}

impl<M: Order + Send> Order for Arc<M> {
    fn rows(&self) -> usize {
        (**self).rows()
    }
}

impl<T: Real, M: Product<T> + Send> Product<T> for Arc<M> {
    fn multiply_with<const W: usize, R: Epilogue<T, W>>(
        &self,
        team: &Team,
        x: &[NodeColumns<T, W>],
        scratch: &mut Vec<NodeColumns<T, W>>,
        rows: R,
    ) {
        (**self).multiply_with(team, x, scratch, rows);
    }
}
