//! The coarse operator of aggregation, A_c = Pᵀ A P (Galerkin projection).

use crate::Team;
use crate::csr::Csr;
use crate::matrix::node_matrix::{NodeMatrix, Square, transposed};
use crate::multigrid::aggregation::aggregates::{ModeBlock, TOGETHER};
use crate::multigrid::aggregation::prolongator::Prolongator;
use crate::simd::kernel::{Kernel, Real, dispatch};
use std::ops::Range;

/// A_c = Pᵀ A P; `transposed_pattern` is that of P: nodes by aggregate, with their positions in P.
pub(crate) fn coarse_operator<const R: usize>(
    team: &Team,
    matrix: &NodeMatrix<R>,
    prolongator: &Prolongator<R>,
    transposed_pattern: &Csr<u32>,
) -> NodeMatrix<6> {
    let count = transposed_pattern.rows();
    let chunks = team.collect(count.div_ceil(TOGETHER), |chunk| {
        let mut upper = Csr::with_capacity(TOGETHER, 0);
        dispatch(UpperRows {
            matrix,
            prolongator,
            transposed_pattern,
            aggregates: chunk * TOGETHER..((chunk + 1) * TOGETHER).min(count),
            upper: &mut upper,
        });
        upper
    });
    let upper: Csr<Square<6>> = Csr::stacked(chunks);
    // Both halves: rows of the transpose end with the diagonal, where the upper half begins.
    let lower = upper.transposed_pattern(count);
    let mut all = Csr::with_capacity(count, (2 * upper.len()).saturating_sub(count));
    for g in 0..count {
        for (h, at) in lower.row(g).filter(|(h, _)| (*h as usize) < g) {
            all.push(h, transposed(&upper.values()[*at as usize]));
        }
        upper.row(g).for_each(|(h, b)| all.push(h, *b));
        all.end_row();
    }
    NodeMatrix::from_csr(all)
}

/// Rows of Pᵀ A P on and above the diagonal.
struct UpperRows<'a, const R: usize> {
    matrix: &'a NodeMatrix<R>,
    prolongator: &'a Prolongator<R>,
    transposed_pattern: &'a Csr<u32>,
    aggregates: Range<usize>,
    upper: &'a mut Csr<Square<6>>,
}

/// A node or an aggregate that no entry was met for yet.
const NONE: u32 = u32::MAX;

impl<const R: usize> Kernel for UpperRows<'_, R> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let mut of_node = vec![NONE; self.matrix.nodes()];
        let mut of_aggregate = vec![NONE; self.transposed_pattern.rows()];
        // A P of the aggregate's six columns, by node.
        let mut product: Vec<(u32, ModeBlock<R>)> = vec![];
        let mut row: Vec<(u32, Square<6>)> = vec![];
        for g in self.aggregates {
            product.clear();
            for (i, at) in self.transposed_pattern.row(g) {
                let p = &self.prolongator.values()[*at as usize];
                for (j, a) in self.matrix.row(i as usize) {
                    let place = &mut of_node[j as usize];
                    if *place == NONE {
                        *place = product.len() as u32;
                        product.push((j, [[0.0; 6]; R]));
                    }
                    // A is symmetric: the transpose of its block (i, j) is block (j, i).
                    add_transposed::<_, _, FUSED>(&mut product[*place as usize].1, a, p);
                }
            }
            row.clear();
            for (j, ap) in &product {
                of_node[*j as usize] = NONE;
                for (h, p) in self.prolongator.row(*j as usize) {
                    if (h as usize) < g {
                        continue;
                    }
                    let place = &mut of_aggregate[h as usize];
                    if *place == NONE {
                        *place = row.len() as u32;
                        row.push((h, [[0.0; 6]; 6]));
                    }
                    add_transposed::<_, _, FUSED>(&mut row[*place as usize].1, ap, p);
                }
            }
            for (h, _) in &row {
                of_aggregate[*h as usize] = NONE;
            }
            row.sort_unstable_by_key(|(h, _)| *h);
            row.iter().for_each(|(h, b)| self.upper.push(*h, *b));
            self.upper.end_row();
        }
    }
}

/// to += aᵀ b, row by row in registers.
#[inline(always)]
fn add_transposed<const R: usize, const C: usize, const FUSED: bool>(
    to: &mut ModeBlock<C>,
    a: &[[f64; C]; R],
    b: &ModeBlock<R>,
) {
    for r in 0..C {
        let mut row = to[r];
        for k in 0..R {
            for c in 0..6 {
                row[c] = a[k][r].times_plus::<FUSED>(b[k][c], row[c]);
            }
        }
        to[r] = row;
    }
}
