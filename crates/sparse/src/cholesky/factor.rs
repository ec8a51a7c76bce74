//! The multifrontal Cholesky factorisation A = L Lᵀ (Duff and Reid 1983, ACM Trans Math Softw 9:302).
//!
//! A supernode with columns J and rows R below has the dense frontal matrix
//!
//! F = [A_JJ, A_JRᵀ; A_RJ, 0] + Σ extend-add(U_c) over its children c.
//!
//! Eliminating J gives the columns L_JJ, L_RJ of the factor and the Schur update (contribution block) U = F_RR − L_RJ L_RJᵀ for its
//! parent. Subtrees of the elimination tree go side by side, wide fronts are shared out; every sum has a fixed order.
//!
//! Its own code, since the solver needs at once: the same bits for any number of threads; a factor computed in double and
//! stored in single precision; substitution with many interleaved right-hand sides in one reading of the factor; and partial
//! substitution over the supernodes that sparse right-hand sides and wanted rows reach. The dense kernels are faer's.

use crate::cholesky::analysis::{Supernode, SymbolicFactor};
use crate::cholesky::front::eliminate;
use crate::cholesky::ordering::nested_dissection;
use crate::cholesky::substitution::{self, Reach};
use crate::simd::columns::written;
use crate::simd::kernel::Real;
use crate::{NodeColumns, Pattern, SparseError, SymmetricBlocks, Team};

/// The symbolic factorisation with its cost: order, fill and bytes, known before any value is computed.
#[derive(Debug, Clone)]
pub struct Analysis {
    symbolic: SymbolicFactor,
    /// Largest working memory of a subtree, bytes.
    largest_subtree: u64,
    /// Largest working memory of the top, with the updates of all subtrees, bytes.
    top: u64,
}

impl Analysis {
    /// Orders the block rows by nested dissection and finds the fill.
    pub fn of(pattern: &Pattern) -> Self {
        let symbolic = SymbolicFactor::new(pattern, &nested_dissection(pattern));
        let (mut largest_subtree, mut waiting) = (0, 0);
        for subtree in &symbolic.subtrees {
            let (peak, update) = working_bytes(&symbolic.supernodes[subtree.supernodes.clone()]);
            largest_subtree = largest_subtree.max(peak);
            waiting += update;
        }
        let mut top = waiting;
        for node in &symbolic.supernodes[symbolic.top()..] {
            top = top.max(waiting + front_bytes(node) + update_bytes(node));
            waiting += update_bytes(node);
            for &c in &node.children {
                waiting = waiting.saturating_sub(update_bytes(&symbolic.supernodes[c as usize]));
            }
        }
        Analysis {
            symbolic,
            largest_subtree,
            top,
        }
    }

    /// Number of stored values of the factor, with those above the diagonal of its dense supernodes.
    pub fn values(&self) -> u64 {
        let of = self.symbolic.supernodes.iter().map(|n| n.values() as u64);
        of.sum()
    }

    /// Bytes of the factor, stored as `T`.
    pub fn factor_bytes<T>(&self) -> u64 {
        self.values() * std::mem::size_of::<T>() as u64
    }

    /// Working memory of the factorisation by so many threads beyond the factor, bytes.
    pub fn scratch_bytes(&self, threads: usize) -> u64 {
        let together = threads.min(self.symbolic.subtrees.len()) as u64;
        self.top.max(together * self.largest_subtree)
    }

    /// Number of multiplications of the factorisation.
    pub fn multiplications(&self) -> f64 {
        self.symbolic.supernodes.iter().map(Supernode::work).sum()
    }

    /// Numerical factorisation in double precision, stored as `T`.
    ///
    /// # Errors
    /// [`SparseError::NotPositiveDefinite`] with the block row of the offending pivot.
    pub fn factor<T: Real>(
        self,
        team: &Team,
        matrix: &SymmetricBlocks,
    ) -> Result<BlockCholesky<T>, SparseError> {
        let bytes = self.factor_bytes::<T>();
        // Asked for as a whole first: a factor that cannot fit is an error, not an abort.
        Vec::<u8>::new()
            .try_reserve_exact(usize::try_from(bytes).unwrap_or(usize::MAX))
            .map_err(|_| SparseError::NoMemory { bytes })?;
        let symbolic = &self.symbolic;
        let alone = Team::new(1);
        let subtrees = team.collect(symbolic.subtrees.len(), |b| {
            let nodes = symbolic.subtrees[b].supernodes.clone();
            let mut updates = SchurUpdates::new(nodes.start, nodes.len());
            let mut values = Vec::with_capacity(nodes.len());
            for k in nodes {
                values.push(eliminate_supernode::<T>(
                    &alone,
                    symbolic,
                    matrix,
                    k,
                    &mut updates,
                )?);
            }
            Ok((values, updates))
        });
        let mut values: Vec<Vec<T>> = Vec::with_capacity(symbolic.supernodes.len());
        let mut updates = SchurUpdates::new(0, symbolic.supernodes.len());
        // The first failure in elimination order, whichever thread met it.
        for subtree in subtrees {
            let (mut of_subtree, mut rest) = subtree.map_err(|at| self.failure(at))?;
            values.append(&mut of_subtree);
            if let Some(last) = values.len().checked_sub(1) {
                updates.put(last, rest.take(last));
            }
        }
        for k in symbolic.top()..symbolic.supernodes.len() {
            let values_of = eliminate_supernode::<T>(team, symbolic, matrix, k, &mut updates);
            values.push(values_of.map_err(|at| self.failure(at))?);
        }
        Ok(BlockCholesky {
            symbolic: self.symbolic,
            values,
        })
    }

    fn failure(&self, unknown: usize) -> SparseError {
        let row = self.symbolic.order.get(unknown / 3);
        SparseError::NotPositiveDefinite {
            row: row.map_or(0, |&o| o as usize),
        }
    }
}

fn front_bytes(node: &Supernode) -> u64 {
    72 * (node.height() as u64).pow(2)
}

fn update_bytes(node: &Supernode) -> u64 {
    72 * (node.rows.len() as u64).pow(2)
}

/// Largest working memory while a subtree is eliminated, and its root's update, bytes.
fn working_bytes(nodes: &[Supernode]) -> (u64, u64) {
    let (mut peak, mut waiting) = (0, 0u64);
    // Updates that wait for their parents, the newest last.
    let mut updates: Vec<u64> = vec![];
    for node in nodes {
        peak = peak.max(waiting + front_bytes(node) + update_bytes(node));
        for _ in &node.children {
            waiting -= updates.pop().unwrap_or(0);
        }
        updates.push(update_bytes(node));
        waiting += update_bytes(node);
    }
    (peak, waiting)
}

/// Schur updates that wait for their parents.
struct SchurUpdates {
    first: usize,
    waiting: Vec<Vec<f64>>,
}

impl SchurUpdates {
    fn new(first: usize, count: usize) -> Self {
        SchurUpdates {
            first,
            waiting: vec![vec![]; count],
        }
    }

    fn put(&mut self, node: usize, update: Vec<f64>) {
        self.waiting[node - self.first] = update;
    }

    fn take(&mut self, node: usize) -> Vec<f64> {
        std::mem::take(&mut self.waiting[node - self.first])
    }
}

/// Assembles and eliminates the frontal matrix of a supernode: its columns of the factor. The error is the place of a pivot in
/// elimination order.
fn eliminate_supernode<T: Real>(
    team: &Team,
    symbolic: &SymbolicFactor,
    matrix: &SymmetricBlocks,
    k: usize,
    updates: &mut SchurUpdates,
) -> Result<Vec<T>, usize> {
    let node = &symbolic.supernodes[k];
    let (n, columns) = (3 * node.height(), 3 * node.width());
    let mut front = written(0.0, n * n);
    for &child in &node.children {
        let update = updates.take(child as usize);
        extend_add(
            &mut front,
            n,
            &symbolic.supernodes[child as usize].in_parent,
            &update,
        );
    }
    assemble_originals(&mut front, n, symbolic, matrix, node);
    eliminate(team, &mut front, n, columns)
        .map_err(|pivot| 3 * node.columns.start as usize + pivot)?;
    let kept = front[..n * columns].iter().map(|&v| T::from_f64(v));
    let kept = kept.collect();
    let rest = n - columns;
    let mut update = Vec::with_capacity(rest * rest);
    for j in columns..n {
        update.extend_from_slice(&front[j * n + columns..(j + 1) * n]);
    }
    updates.put(k, update);
    Ok(kept)
}

/// Extend-add: a child's Schur update (lower half) into the front; `places` are the update's block rows in the front.
fn extend_add(front: &mut [f64], n: usize, places: &[u32], update: &[f64]) {
    let size = 3 * places.len();
    for (j, &column) in places.iter().enumerate() {
        for c in 0..3 {
            let from = &update[(3 * j + c) * size..(3 * j + c + 1) * size];
            let to = &mut front[(3 * column as usize + c) * n..(3 * column as usize + c + 1) * n];
            for (from, &row) in from.as_chunks::<3>().0[j..].iter().zip(&places[j..]) {
                let to = &mut to[3 * row as usize..3 * row as usize + 3];
                for r in 0..3 {
                    to[r] += from[r];
                }
            }
        }
    }
}

/// Adds the original entries of the matrix in the supernode's columns to the front.
fn assemble_originals(
    front: &mut [f64],
    n: usize,
    symbolic: &SymbolicFactor,
    matrix: &SymmetricBlocks,
    node: &Supernode,
) {
    let pattern = &matrix.pattern;
    let (start, width) = (node.columns.start, node.width());
    let place = |position: u32| {
        if position < node.columns.end {
            (position - start) as usize
        } else {
            width + node.rows.partition_point(|&r| r < position)
        }
    };
    for (j, column) in node.columns.clone().enumerate() {
        let own = symbolic.order[column as usize] as usize;
        let lower = pattern.lower_row(own).iter().zip(pattern.mirror_row(own));
        let upper = pattern.upper_row(own).iter();
        let upper = upper.zip(pattern.upper_starts()[own]..);
        // Block (row, own): as stored where row < own, its transpose where row > own.
        let entries = lower
            .map(|(&row, &at)| (row, at as usize, false))
            .chain(upper.map(|(&row, at)| (row, at, true)));
        for (row, at, turned) in entries {
            let position = symbolic.position[row as usize];
            if position < column {
                continue;
            }
            let block = &matrix.upper[at];
            let i = place(position);
            for c in 0..3 {
                for r in if i == j { c..3 } else { 0..3 } {
                    let v = if turned { block[c][r] } else { block[r][c] };
                    front[(3 * j + c) * n + 3 * i + r] += v;
                }
            }
        }
    }
}

/// The Cholesky factor of a block matrix. In single precision it serves preconditioning only: substitution works in the precision
/// of the factor.
#[derive(Debug)]
pub struct BlockCholesky<T> {
    symbolic: SymbolicFactor,
    /// Dense columns of each supernode.
    values: Vec<Vec<T>>,
}

impl<T: Real> BlockCholesky<T> {
    /// Number of block rows.
    pub fn rows(&self) -> usize {
        self.symbolic.order.len()
    }

    /// Bytes of the factor.
    pub fn bytes(&self) -> u64 {
        let values: usize = self.values.iter().map(Vec::capacity).sum();
        (values * std::mem::size_of::<T>()) as u64
    }

    /// x ← A⁻¹ x for all columns by forward and backward substitution. Reads the factor twice, whatever the number of columns.
    pub fn solve<const W: usize>(&self, team: &Team, x: &mut [NodeColumns<f64, W>]) {
        self.solve_where(team, x, None);
    }

    /// The supernodes that right-hand sides on some rows reach, which are those that solutions at these rows need.
    pub(crate) fn reach(&self, rows: impl Iterator<Item = u32>) -> Vec<bool> {
        self.symbolic.reach(rows)
    }

    /// Partial substitution for right-hand sides that reach the supernodes `up`; the solution is right in the rows that reach `down`
    /// alone.
    pub(crate) fn solve_between<const W: usize>(
        &self,
        team: &Team,
        x: &mut [NodeColumns<f64, W>],
        up: &[bool],
        down: &[bool],
    ) {
        self.solve_where(team, x, Some(&Reach { up, down }));
    }

    fn solve_where<const W: usize>(
        &self,
        team: &Team,
        x: &mut [NodeColumns<f64, W>],
        reach: Option<&Reach<'_>>,
    ) {
        let order = &self.symbolic.order;
        // In the precision of the factor: more would not make its rounding undone.
        let rounded = |v: NodeColumns<f64, W>| v.map(|c| c.map(T::from_f64));
        let mut permuted: Vec<NodeColumns<T, W>> =
            order.iter().map(|&o| rounded(x[o as usize])).collect();
        substitution::solve(team, &self.symbolic, &self.values, &mut permuted, reach);
        for (&o, v) in order.iter().zip(permuted) {
            x[o as usize] = v.map(|c| c.map(Real::to_f64));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::matrix::product::{Order, Product};
    use nalgebra::{DMatrix, DVector};
    use proptest::prelude::*;
    use std::sync::Arc;

    /// A random pattern with diagonally dominant values.
    fn random(n: usize, pairs: &[(usize, usize)]) -> SymmetricBlocks {
        let mut a = SymmetricBlocks::zeros(Arc::new(Pattern::of_pairs(n, pairs)));
        for (k, b) in a.upper.iter_mut().enumerate() {
            *b = [0, 1, 2].map(|r| [0, 1, 2].map(|c| ((k * 5 + r * 3 + c) % 7) as f64 / 7.0 - 0.4));
        }
        for i in 0..n {
            let at = a.pattern.upper_starts()[i];
            let size = 3.0 * a.pattern.row(i).len() as f64 + 1.0;
            a.upper[at] = [[size, 0.3, 0.1], [0.3, size, -0.2], [0.1, -0.2, size]];
        }
        a
    }

    fn dense(a: &SymmetricBlocks) -> DMatrix<f64> {
        let n = 3 * a.rows();
        let mut out = DMatrix::zeros(n, n);
        for i in 0..a.rows() {
            for (k, &j) in (a.pattern.upper_starts()[i]..).zip(a.pattern.upper_row(i)) {
                for r in 0..3 {
                    for c in 0..3 {
                        out[(3 * i + r, 3 * j as usize + c)] = a.upper[k][r][c];
                        out[(3 * j as usize + c, 3 * i + r)] = a.upper[k][r][c];
                    }
                }
            }
        }
        out
    }

    fn load(n: usize) -> Vec<NodeColumns<f64, 2>> {
        (0..n)
            .map(|i| [0, 1, 2].map(|c| [(i + c) as f64 % 5.0 - 2.0, 1.0 / (1.0 + i as f64)]))
            .collect()
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(40))]
        #[test]
        fn solution_is_that_of_the_dense_matrix(
            n in 1usize..60,
            pairs in prop::collection::vec((0usize..60, 0usize..60), 0..150),
        ) {
            let a = random(n, &pairs);
            let lu = dense(&a).lu();
            let b = load(n);
            for threads in [1, 2] {
                let team = Team::new(threads);
                let mut x = b.clone();
                let factor = Analysis::of(&a.pattern).factor::<f64>(&team, &a).unwrap();
                factor.solve(&team, &mut x);
                for k in 0..2 {
                    let rhs = DVector::from_fn(3 * n, |r, _| b[r / 3][r % 3][k]);
                    let exact = lu.solve(&rhs).unwrap();
                    for r in 0..3 * n {
                        prop_assert!((x[r / 3][r % 3][k] - exact[r]).abs() < 1e-10);
                    }
                }
            }
        }
    }

    /// A block of a regular grid, large enough for a top, subtrees and wide fronts.
    fn grid(size: usize) -> SymmetricBlocks {
        let at = |x: usize, y: usize, z: usize| (z * size + y) * size + x;
        let mut pairs = vec![];
        for z in 0..size {
            for y in 0..size {
                for x in 0..size {
                    for (dx, dy, dz) in [(1, 0, 0), (0, 1, 0), (0, 0, 1), (1, 1, 0), (0, 1, 1)] {
                        if x + dx < size && y + dy < size && z + dz < size {
                            pairs.push((at(x, y, z), at(x + dx, y + dy, z + dz)));
                        }
                    }
                }
            }
        }
        random(size * size * size, &pairs)
    }

    #[test]
    fn same_bits_for_any_number_of_threads() {
        let a = grid(12);
        let run = |threads| {
            let team = Team::new(threads);
            let mut x = load(a.rows());
            let factor = Analysis::of(&a.pattern).factor::<f32>(&team, &a).unwrap();
            factor.solve(&team, &mut x);
            x
        };
        let one = run(1);
        assert!(one == run(2) && one == run(3));
    }

    #[test]
    fn wide_fronts_solve_to_rounding_and_single_storage_to_its_own() {
        let a = grid(12);
        let team = Team::new(2);
        let b = load(a.rows());
        let residual = |x: &[NodeColumns<f64, 2>]| {
            let mut y = b.clone();
            a.multiply(&team, x, &mut vec![], &mut y);
            let pairs = y
                .iter()
                .flatten()
                .flatten()
                .zip(b.iter().flatten().flatten());
            pairs.map(|(y, b)| (y - b).abs()).fold(0.0, f64::max)
        };
        let analysis = Analysis::of(&a.pattern);
        assert!(analysis.scratch_bytes(1) > 0 && analysis.multiplications() > 0.0);
        let double = analysis.clone().factor::<f64>(&team, &a).unwrap();
        assert_eq!(double.bytes(), analysis.factor_bytes::<f64>());
        let mut x = b.clone();
        double.solve(&team, &mut x);
        assert!(residual(&x) < 1e-12);
        let single = analysis.factor::<f32>(&team, &a).unwrap();
        let mut x = b.clone();
        single.solve(&team, &mut x);
        assert!(residual(&x) < 1e-4 && residual(&x) > 1e-9);
    }

    #[test]
    fn a_solution_between_few_rows_is_that_of_the_whole() {
        let a = grid(12);
        let team = Team::new(2);
        let factor = Analysis::of(&a.pattern).factor::<f64>(&team, &a).unwrap();
        let (from, to) = ([3, 700, 1600], [900, 12, 701]);
        let mut whole = vec![[[0.0; 2]; 3]; a.rows()];
        for row in from {
            whole[row as usize] = [[1.0, -2.0], [0.5, 0.0], [0.0, 3.0]];
        }
        let mut part = whole.clone();
        factor.solve(&team, &mut whole);
        let (up, down) = (factor.reach(from.into_iter()), factor.reach(to.into_iter()));
        assert!(up.iter().any(|v| !v) && down.iter().any(|v| !v));
        factor.solve_between(&team, &mut part, &up, &down);
        assert!(to.iter().all(|r| part[*r as usize] == whole[*r as usize]));
    }

    #[test]
    fn an_indefinite_matrix_is_refused_at_its_row() {
        let mut a = grid(6);
        let at = a.pattern.upper_starts()[100];
        a.upper[at][1][1] = -1.0;
        let error = Analysis::of(&a.pattern)
            .factor::<f64>(&Team::new(2), &a)
            .unwrap_err();
        assert!(matches!(error, SparseError::NotPositiveDefinite { .. }));
    }
}
