//! The operator A + C of conjugate gradients: a large symmetric matrix A and a term C of few blocks.
//!
//! Interfaces (contact, friction, springs) change from one solution to the next and touch few rows; the stiffness does not change.
//! Kept apart, one matrix and one hierarchy serve many interface terms.

use crate::csr::Csr;
use crate::matrix::product::{Magnitudes, Order, Product};
use crate::simd::kernel::Real;
use crate::{Aligned, Block, NodeColumns, Pattern, Prolongation, SymmetricBlocks, Team};
use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

/// A symmetric block matrix with few rows that are not empty (compressed twice: empty rows are left out); both halves are stored.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct AddedBlocks {
    /// Rows that are not empty, sorted.
    rows: Vec<u32>,
    /// Blocks of these rows.
    blocks: Csr<Block<f64>>,
}

impl AddedBlocks {
    /// A matrix from blocks (i, j, B): B at (i, j) and, unless i = j, its transpose at (j, i).
    ///
    /// Blocks at one place add up in the order given. A diagonal block must itself be symmetric.
    pub fn new(blocks: impl IntoIterator<Item = (u32, u32, Block<f64>)>) -> Self {
        let mut places = BTreeMap::new();
        for (i, j, b) in blocks {
            add(&mut places, (i, j), &b, 1.0);
            if i != j {
                add(&mut places, (j, i), &transposed(&b), 1.0);
            }
        }
        Self::from_places(places)
    }

    fn from_places(places: BTreeMap<(u32, u32), Block<f64>>) -> Self {
        let mut out = AddedBlocks::default();
        for ((i, j), b) in places {
            if out.rows.last() != Some(&i) {
                if !out.rows.is_empty() {
                    out.blocks.end_row();
                }
                out.rows.push(i);
            }
            out.blocks.push(j, b);
        }
        if !out.rows.is_empty() {
            out.blocks.end_row();
        }
        out
    }

    /// Is there no block?
    pub fn is_empty(&self) -> bool {
        self.blocks.is_empty()
    }

    /// Blocks (i, j, B) of both halves, row by row.
    pub fn entries(&self) -> impl Iterator<Item = (u32, u32, &Block<f64>)> {
        let rows = self.rows.iter().enumerate();
        rows.flat_map(|(k, &i)| self.blocks.row(k).map(move |(j, b)| (i, j, b)))
    }

    /// Blocks of one row, with their columns.
    pub fn row(&self, row: u32) -> impl Iterator<Item = (u32, &Block<f64>)> {
        let found = self.rows.binary_search(&row).ok();
        found.into_iter().flat_map(|k| self.blocks.row(k))
    }

    /// y += C x in a range of rows; `y` holds these rows alone.
    pub fn add_rows<T: Real, const W: usize>(
        &self,
        rows: Range<usize>,
        x: &[NodeColumns<T, W>],
        y: &mut [Aligned<T, W>],
    ) {
        let place = |row: usize| self.rows.partition_point(|r| (*r as usize) < row);
        for k in place(rows.start)..place(rows.end) {
            let to = &mut y[self.rows[k] as usize - rows.start].0;
            for (j, b) in self.blocks.row(k) {
                let from = &x[j as usize];
                for r in 0..3 {
                    for c in 0..3 {
                        let b = T::from_f64(b[r][c]);
                        for k in 0..W {
                            to[r][k] += b * from[c][k];
                        }
                    }
                }
            }
        }
    }

    /// Pᵀ C P: the term on the coarse level (Galerkin projection).
    pub fn coarsened(&self, prolongation: &Prolongation) -> Self {
        let mut places = BTreeMap::new();
        for (i, j, b) in self.entries() {
            for (p, at_p) in prolongation.row(i as usize) {
                for (q, at_q) in prolongation.row(j as usize) {
                    add(&mut places, (p, q), &between(&at_p, b, &at_q), 1.0);
                }
            }
        }
        Self::from_places(places)
    }

    /// y += C x.
    fn add_product<const W: usize>(
        &self,
        x: &[NodeColumns<f64, W>],
        y: &mut [NodeColumns<f64, W>],
    ) {
        for (i, j, b) in self.entries() {
            let (to, from) = (&mut y[i as usize], &x[j as usize]);
            for r in 0..3 {
                for c in 0..3 {
                    for k in 0..W {
                        to[r][k] += b[r][c] * from[c][k];
                    }
                }
            }
        }
    }
}

fn add(places: &mut BTreeMap<(u32, u32), Block<f64>>, at: (u32, u32), b: &Block<f64>, factor: f64) {
    let to = places.entry(at).or_insert([[0.0; 3]; 3]);
    for r in 0..3 {
        for c in 0..3 {
            to[r][c] += factor * b[r][c];
        }
    }
}

/// Pᵀ B Q.
fn between(p: &Block<f64>, b: &Block<f64>, q: &Block<f64>) -> Block<f64> {
    let [p, b, q] = [p, b, q].map(|m| nalgebra::Matrix3::from(*m).transpose());
    let product = p.transpose() * b * q;
    [0, 1, 2].map(|r| [0, 1, 2].map(|c| product[(r, c)]))
}

fn transposed(b: &Block<f64>) -> Block<f64> {
    [0, 1, 2].map(|r| [0, 1, 2].map(|c| b[c][r]))
}

/// The operator A + C.
#[derive(Debug)]
pub struct Operator<'a, M> {
    /// The matrix A.
    pub matrix: &'a M,
    /// The term C, if any.
    pub added: Option<&'a AddedBlocks>,
}

impl<'a, M: Order> Operator<'a, M> {
    /// The operator A alone.
    pub fn of(matrix: &'a M) -> Self {
        Operator {
            matrix,
            added: None,
        }
    }

    /// Number of block rows.
    pub fn rows(&self) -> usize {
        self.matrix.rows()
    }
}

impl<M: Product<f64>> Operator<'_, M> {
    /// y = (A + C) x for all columns; `scratch` as in [`Product::multiply_with`].
    pub fn multiply<const W: usize>(
        &self,
        team: &Team,
        x: &[NodeColumns<f64, W>],
        scratch: &mut Vec<NodeColumns<f64, W>>,
        y: &mut [NodeColumns<f64, W>],
    ) {
        self.matrix.multiply(team, x, scratch, y);
        if let Some(added) = self.added {
            added.add_product(x, y);
        }
    }
}

impl<M: Magnitudes> Operator<'_, M> {
    /// Σ |Aᵢⱼ| |xⱼ| + Σ |Cᵢⱼ| |xⱼ| of every row.
    pub fn magnitudes<const W: usize>(
        &self,
        team: &Team,
        x: &[NodeColumns<f64, W>],
    ) -> Vec<NodeColumns<f64, W>> {
        let mut sums = self.matrix.magnitudes(team, x);
        for (i, j, b) in self.added.iter().flat_map(|c| c.entries()) {
            let (to, from) = (&mut sums[i as usize], &x[j as usize]);
            for r in 0..3 {
                for c in 0..3 {
                    for k in 0..W {
                        to[r][k] += b[r][c].abs() * from[c][k].abs();
                    }
                }
            }
        }
        sums
    }
}

impl Operator<'_, SymmetricBlocks> {
    /// A + C as one matrix; its pattern grows where C couples rows that A does not.
    pub fn merged(&self) -> SymmetricBlocks {
        let Some(added) = self.added else {
            return self.matrix.clone();
        };
        let old = &self.matrix.pattern;
        let mut pattern = Arc::clone(old);
        let missing =
            |&(i, j, _): &(u32, u32, &Block<f64>)| old.row(i as usize).binary_search(&j).is_err();
        if added.entries().any(|e| missing(&e)) {
            let mut extra = added.entries().filter(missing).peekable();
            let mut starts = Vec::with_capacity(old.rows() + 1);
            let mut columns: Vec<u32> = Vec::with_capacity(old.len() + added.blocks.len());
            for i in 0..old.rows() {
                starts.push(columns.len());
                columns.extend_from_slice(old.row(i));
                let mut grown = false;
                while let Some((_, j, _)) = extra.next_if(|e| e.0 as usize == i) {
                    columns.push(j);
                    grown = true;
                }
                if grown {
                    columns[starts[i]..].sort_unstable();
                }
            }
            starts.push(columns.len());
            pattern = Arc::new(Pattern::new(starts, columns));
        }
        let mut sum = SymmetricBlocks::zeros(pattern);
        for i in 0..old.rows() {
            let from = old.upper_starts()[i];
            let blocks = &self.matrix.upper[from..from + old.upper_row(i).len()];
            let to = sum.pattern.upper_starts()[i];
            if old.upper_row(i).len() == sum.pattern.upper_row(i).len() {
                sum.upper[to..to + blocks.len()].copy_from_slice(blocks);
                continue;
            }
            for (&j, b) in old.upper_row(i).iter().zip(blocks) {
                if let Some(at) = sum.pattern.upper_at(i, j as usize) {
                    sum.upper[at] = *b;
                }
            }
        }
        for (i, j, b) in added.entries().filter(|e| e.0 <= e.1) {
            if let Some(at) = sum.pattern.upper_at(i as usize, j as usize) {
                for r in 0..3 {
                    for c in 0..3 {
                        sum.upper[at][r][c] += b[r][c];
                    }
                }
            }
        }
        sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chain(n: usize) -> SymmetricBlocks {
        let mut starts = vec![0];
        let mut columns = vec![];
        for i in 0..n {
            columns.extend((i.saturating_sub(1)..(i + 2).min(n)).map(|j| j as u32));
            starts.push(columns.len());
        }
        let mut a = SymmetricBlocks::zeros(Arc::new(Pattern::new(starts, columns)));
        for (k, b) in a.upper.iter_mut().enumerate() {
            *b = [0, 1, 2].map(|r| [0, 1, 2].map(|c| ((k + r) * (k + c)) as f64 / 7.0));
        }
        a
    }

    #[test]
    fn merged_matrix_and_separate_terms_give_the_same_product() {
        let a = chain(6);
        let off = [[1.0, 2.0, 3.0], [4.0, 5.0, 6.0], [7.0, 8.0, 9.5]];
        let own = [[2.0, 1.0, 0.0], [1.0, 3.0, 0.5], [0.0, 0.5, 4.0]];
        // One coupling that the chain has, one that it has not, given from either side.
        let c = AddedBlocks::new([(1, 2, off), (5, 0, off), (3, 3, own), (1, 2, off)]);
        let operator = Operator {
            matrix: &a,
            added: Some(&c),
        };
        let merged = operator.merged();
        let x: Vec<NodeColumns<f64, 2>> = (0..6)
            .map(|i| [0, 1, 2].map(|r| [(i * 3 + r) as f64, 1.0 / (1.0 + (i + r) as f64)]))
            .collect();
        let team = Team::new(1);
        let (mut y, mut z) = (vec![[[0.0; 2]; 3]; 6], vec![[[0.0; 2]; 3]; 6]);
        operator.multiply(&team, &x, &mut vec![], &mut y);
        merged.multiply(&team, &x, &mut vec![], &mut z);
        for (y, z) in y
            .iter()
            .flatten()
            .flatten()
            .zip(z.iter().flatten().flatten())
        {
            assert!((y - z).abs() < 1e-12 * y.abs().max(1.0), "{y} {z}");
        }
        // By hand: row 5 gets off · x₀, row 0 gets offᵀ · x₅, beyond the chain's own.
        let mut plain = vec![[[0.0; 2]; 3]; 6];
        a.multiply(&team, &x, &mut vec![], &mut plain);
        for r in 0..3 {
            let five: f64 = (0..3).map(|k| off[r][k] * x[0][k][0]).sum();
            let zero: f64 = (0..3).map(|k| off[k][r] * x[5][k][0]).sum();
            assert!((y[5][r][0] - plain[5][r][0] - five).abs() < 1e-9);
            assert!((y[0][r][0] - plain[0][r][0] - zero).abs() < 1e-9);
        }
    }

    #[test]
    fn coarse_term_has_the_energy_of_the_interpolated_motion() {
        // Three coarse rows; fine rows: the three, a mean, one beyond it, one whose other end is held.
        let rows = vec![
            vec![(0, 1.0)],
            vec![(1, 1.0)],
            vec![(2, 1.0)],
            vec![(0, 0.5), (1, 0.5), (2, -0.25), (1, 0.25)],
            vec![(2, 0.5)],
        ];
        let p = Prolongation::translational(rows.clone(), 3);
        let b = [[1.0, 0.2, 0.0], [0.3, 2.0, 0.1], [0.0, 0.4, 3.0]];
        let own = [[2.0, 1.0, 0.0], [1.0, 3.0, 0.5], [0.0, 0.5, 4.0]];
        let c = AddedBlocks::new([(3, 4, b), (3, 3, own)]);
        let coarse = c.coarsened(&p);
        let x = [[1.0, 2.0, -1.0], [0.5, 0.0, 3.0], [-2.0, 1.0, 1.0]];
        let fine: Vec<[f64; 3]> = rows
            .iter()
            .map(|row| {
                let mut v = [0.0; 3];
                for &(k, weight) in row {
                    (0..3).for_each(|r| v[r] += f64::from(weight) * x[k as usize][r]);
                }
                v
            })
            .collect();
        let energy = |c: &AddedBlocks, x: &[[f64; 3]]| -> f64 {
            c.entries()
                .map(|(i, j, b)| {
                    let (u, v) = (x[i as usize], x[j as usize]);
                    (0..9)
                        .map(|k| u[k / 3] * b[k / 3][k % 3] * v[k % 3])
                        .sum::<f64>()
                })
                .sum()
        };
        assert!((energy(&coarse, &x) - energy(&c, &fine)).abs() < 1e-12);
    }
}
