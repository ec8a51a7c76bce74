//! Matrices of 6 × 6 blocks in single precision, for smoothing.

use crate::columns::{Aligned, CHUNK};
use crate::kernel::{Hot, Real, dispatch};
use crate::matrix::{Order, Product, Rowwise};
use crate::node_matrix::NodeMatrix;
use crate::{NodeColumns, Team};
use std::ops::Range;

/// Both halves of a symmetric matrix of nodes that move and turn: two block rows each.
///
/// Bytes moved by a product with `W` vectors: 148 for each block, 48 W or so for each node.
#[derive(Debug)]
pub(crate) struct NodeBlocks {
    starts: Vec<usize>,
    columns: Vec<u32>,
    /// Column by column.
    values: Vec<[[f32; 6]; 6]>,
}

impl NodeBlocks {
    /// Rounds a matrix.
    pub(crate) fn rounded(team: &Team, matrix: &NodeMatrix) -> Self {
        let mut values = vec![[[0.0; 6]; 6]; matrix.values.len()];
        let jobs: Vec<_> = values.chunks_mut(CHUNK).zip(matrix.values.chunks(CHUNK)).collect();
        team.each(jobs, |(to, from)| {
            for (to, from) in to.iter_mut().zip(from) {
                for c in 0..6 {
                    for r in 0..6 {
                        to[c][r] = from[r][c] as f32;
                    }
                }
            }
        });
        NodeBlocks {
            starts: matrix.starts.clone(),
            columns: matrix.columns.clone(),
            values,
        }
    }

    pub(crate) fn bytes(&self) -> u64 {
        (144 * self.values.capacity() + 4 * self.columns.capacity() + 8 * self.starts.capacity())
            as u64
    }
}

impl Order for NodeBlocks {
    fn rows(&self) -> usize {
        2 * (self.starts.len() - 1)
    }
}

impl Product<f32> for NodeBlocks {
    fn for_rows<const W: usize, R: Rowwise<f32, W>>(
        &self,
        team: &Team,
        x: &[NodeColumns<f32, W>],
        _: &mut Vec<NodeColumns<f32, W>>,
        rows: R,
    ) {
        let x = x.as_chunks::<2>().0;
        let mut rest = rows;
        let mut jobs = vec![];
        for first in (0..x.len()).step_by(CHUNK / 2) {
            let nodes = first..(first + CHUNK / 2).min(x.len());
            let (now, later) = rest.split_at(2 * nodes.len());
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

/// Nodes whose product stays in the nearest cache until it is taken.
const STRIP: usize = 32;

struct Sweep<'a, R, const W: usize> {
    matrix: &'a NodeBlocks,
    x: &'a [[NodeColumns<f32, W>; 2]],
    nodes: Range<usize>,
    rows: R,
}

impl<R: Rowwise<f32, W>, const W: usize> Hot for Sweep<'_, R, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let mut rest = self.rows;
        let mut strip = [Aligned([[0.0; W]; 3]); 2 * STRIP];
        for first in self.nodes.clone().step_by(STRIP) {
            let nodes = first..(first + STRIP).min(self.nodes.end);
            let count = 2 * nodes.len();
            for (to, node) in strip.as_chunks_mut::<2>().0.iter_mut().zip(nodes) {
                let sums = product_of::<W, FUSED>(self.matrix, node, self.x);
                to[0].0 = [sums[0], sums[1], sums[2]];
                to[1].0 = [sums[3], sums[4], sums[5]];
            }
            let (now, later) = rest.split_at(count);
            now.take::<FUSED>(&strip[..count]);
            rest = later;
        }
    }
}

/// (A x) of one node. Even and odd columns have sums of their own: one sum a row would be a chain of products that
/// wait for one another.
#[inline(always)]
fn product_of<const W: usize, const FUSED: bool>(
    matrix: &NodeBlocks,
    node: usize,
    x: &[[NodeColumns<f32, W>; 2]],
) -> [[f32; W]; 6] {
    let range = matrix.starts[node]..matrix.starts[node + 1];
    let mut all = [[0.0f32; W]; 6];
    for (j, b) in matrix.columns[range.clone()].iter().zip(&matrix.values[range]) {
        let x = &x[*j as usize];
        for c in 0..6 {
            let from = &x[c / 3][c % 3];
            for r in 0..6 {
                for k in 0..W {
                    all[r][k] = b[c][r].times_plus::<FUSED>(from[k], all[r][k]);
                }
            }
        }
    }
    all
}
