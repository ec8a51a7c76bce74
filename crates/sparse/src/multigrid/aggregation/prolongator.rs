//! The smoothed prolongator of aggregation, P = (I − ω A) T for a matrix A with unit diagonal blocks.
//!
//! One damped Jacobi step on the tentative prolongator T takes energy out of the edges of its piecewise rigid columns. With D⁻¹A
//! in place of A it is the P = (I − ω D⁻¹A) T of Vaněk, Mandel and Brezina (1996, Computing 56:179).

use crate::Team;
use crate::csr::Csr;
use crate::matrix::node_matrix::{NodeMatrix, Square};
use crate::multigrid::aggregation::aggregates::{Aggregates, ModeBlock, TOGETHER};
use crate::simd::kernel::{Kernel, Real, dispatch};
use std::ops::Range;

/// A prolongator by rows: nodes against aggregates.
pub(crate) type Prolongator<const R: usize> = Csr<ModeBlock<R>>;

/// P = T − ω A T; `matrix` is A, `tentative` T, `damping` ω.
pub(crate) fn smoothed_prolongator<const R: usize>(
    team: &Team,
    matrix: &NodeMatrix<R>,
    aggregates: &Aggregates,
    tentative: &[ModeBlock<R>],
    damping: f64,
) -> Prolongator<R> {
    let nodes = matrix.nodes();
    let chunks = team.collect(nodes.div_ceil(TOGETHER), |chunk| {
        let mut rows = Csr::with_capacity(TOGETHER, 8 * TOGETHER);
        dispatch(SmoothRows {
            matrix,
            aggregates,
            tentative,
            damping,
            nodes: chunk * TOGETHER..((chunk + 1) * TOGETHER).min(nodes),
            rows: &mut rows,
        });
        rows
    });
    Csr::stacked(chunks)
}

struct SmoothRows<'a, const R: usize> {
    matrix: &'a NodeMatrix<R>,
    aggregates: &'a Aggregates,
    tentative: &'a [ModeBlock<R>],
    damping: f64,
    nodes: Range<usize>,
    rows: &'a mut Prolongator<R>,
}

impl<const R: usize> Kernel for SmoothRows<'_, R> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let mut row: Vec<(u32, ModeBlock<R>)> = vec![];
        for i in self.nodes {
            row.clear();
            row.push((self.aggregates.of_node[i], self.tentative[i]));
            for (j, a) in self.matrix.row(i) {
                let aggregate = self.aggregates.of_node[j as usize];
                let met = row.iter().position(|(g, _)| *g == aggregate);
                let at = met.unwrap_or_else(|| {
                    row.push((aggregate, [[0.0; 6]; R]));
                    row.len() - 1
                });
                let t = &self.tentative[j as usize];
                add_product::<R, FUSED>(&mut row[at].1, -self.damping, a, t);
            }
            row.iter().for_each(|(g, p)| self.rows.push(*g, *p));
            self.rows.end_row();
        }
    }
}

/// to += factor · a b, row by row in registers.
#[inline(always)]
fn add_product<const R: usize, const FUSED: bool>(
    to: &mut ModeBlock<R>,
    factor: f64,
    a: &Square<R>,
    b: &ModeBlock<R>,
) {
    for r in 0..R {
        let mut row = to[r];
        for k in 0..R {
            let v = factor * a[r][k];
            for c in 0..6 {
                row[c] = v.times_plus::<FUSED>(b[k][c], row[c]);
            }
        }
        to[r] = row;
    }
}
