//! Symmetric matrices of nodes in single precision, both halves stored: the operators that smoothers multiply by.

use crate::csr::Csr;
use crate::matrix::node_matrix::NodeMatrix;
use crate::matrix::product::{Epilogue, Order, Product};
use crate::simd::columns::{Aligned, CHUNK};
use crate::simd::kernel::{Kernel, Real, dispatch};
use crate::{NodeColumns, Team};
use std::ops::Range;

/// Both halves of a symmetric matrix of nodes with `R` degrees of freedom, three a block row.
///
/// Bytes moved by a product with `W` vectors: 4 R² + 4 for each block, 8 R W or so for each node.
#[derive(Debug)]
pub struct NodeBlocks<const R: usize> {
    /// Blocks column by column.
    blocks: Csr<[[f32; R]; R]>,
}

impl<const R: usize> NodeBlocks<R> {
    /// A matrix rounded to single precision.
    pub fn rounded(team: &Team, matrix: &NodeMatrix<R>) -> Self {
        let mut values = vec![[[0.0; R]; R]; matrix.len()];
        let jobs: Vec<_> = values
            .chunks_mut(CHUNK)
            .zip(matrix.csr().values().chunks(CHUNK))
            .collect();
        team.each(jobs, |(to, from)| {
            for (to, from) in to.iter_mut().zip(from) {
                for c in 0..R {
                    for r in 0..R {
                        to[c][r] = from[r][c] as f32;
                    }
                }
            }
        });
        NodeBlocks {
            blocks: Csr::new(
                matrix.csr().starts().to_vec(),
                matrix.csr().columns().to_vec(),
                values,
            ),
        }
    }

    /// Bytes held.
    pub fn bytes(&self) -> u64 {
        self.blocks.bytes()
    }
}

impl<const R: usize> Order for NodeBlocks<R> {
    fn rows(&self) -> usize {
        R / 3 * self.blocks.rows()
    }
}

impl<const R: usize> Product<f32> for NodeBlocks<R> {
    fn multiply_with<const W: usize, T: Epilogue<f32, W>>(
        &self,
        team: &Team,
        x: &[NodeColumns<f32, W>],
        _: &mut Vec<NodeColumns<f32, W>>,
        rows: T,
    ) {
        let count = self.blocks.rows();
        let together = CHUNK / (R / 3);
        let mut rest = rows;
        let mut jobs = vec![];
        for first in (0..count).step_by(together) {
            let nodes = first..(first + together).min(count);
            let (now, later) = rest.split_at(R / 3 * nodes.len());
            jobs.push((nodes, now));
            rest = later;
        }
        team.each(jobs, |(nodes, rows)| {
            dispatch(Sweep {
                matrix: self,
                x,
                nodes,
                rows,
            });
        });
    }
}

/// Block rows of a product that stay in the nearest cache until the epilogue is applied.
const STRIP: usize = 64;

struct Sweep<'a, T, const R: usize, const W: usize> {
    matrix: &'a NodeBlocks<R>,
    x: &'a [NodeColumns<f32, W>],
    nodes: Range<usize>,
    rows: T,
}

impl<T: Epilogue<f32, W>, const R: usize, const W: usize> Kernel for Sweep<'_, T, R, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let mut rest = self.rows;
        let mut strip = [Aligned([[0.0; W]; 3]); STRIP];
        let together = STRIP / (R / 3);
        for first in self.nodes.clone().step_by(together) {
            let nodes = first..(first + together).min(self.nodes.end);
            let count = R / 3 * nodes.len();
            for (to, node) in strip.chunks_mut(R / 3).zip(nodes) {
                let sums = product_of::<R, W, FUSED>(self.matrix, node, self.x);
                for (to, sums) in to.iter_mut().zip(sums.as_chunks::<3>().0) {
                    to.0 = *sums;
                }
            }
            let (now, later) = rest.split_at(count);
            now.apply::<FUSED>(&strip[..count]);
            rest = later;
        }
    }
}

/// (A x) of one node. Where a row has three degrees of freedom, each column has sums of its own, as in [`crate::simd::kernel`]: one sum a
/// row would be a chain of products that wait for one another.
#[inline(always)]
fn product_of<const R: usize, const W: usize, const FUSED: bool>(
    matrix: &NodeBlocks<R>,
    node: usize,
    x: &[NodeColumns<f32, W>],
) -> [[f32; W]; R] {
    let mut sums = [[[0.0f32; W]; R]; 3];
    for (j, b) in matrix.blocks.row(node) {
        let x = &x[R / 3 * j as usize..][..R / 3];
        for c in 0..R {
            let from = &x[c / 3][c % 3];
            let to = &mut sums[if R == 3 { c } else { 0 }];
            for r in 0..R {
                for k in 0..W {
                    to[r][k] = b[c][r].times_plus::<FUSED>(from[k], to[r][k]);
                }
            }
        }
    }
    let [mut all, b, c] = sums;
    if R == 3 {
        for r in 0..R {
            for k in 0..W {
                all[r][k] += b[r][k] + c[r][k];
            }
        }
    }
    all
}
