//! Sparse Cholesky factors: ordering, analysis, numbers, solution of many right sides.
//!
//! Multifrontal (Duff and Reid 1983, ACM Trans Math Softw 9:302): each supernode adds up what its children
//! leave over and its own entries in a dense front, eliminates its columns and leaves the rest to its
//! parent. Branches of the elimination tree go side by side, wide fronts are shared out; every sum has a
//! fixed order.

use crate::cholesky::analysis::{Elimination, Supernode};
use crate::cholesky::front::eliminate;
use crate::cholesky::ordering::nested_dissection;
use crate::cholesky::substitution::{self, Visits};
use crate::simd::columns::written;
use crate::simd::kernel::Real;
use crate::{NodeColumns, Pattern, SparseError, SymmetricBlocks, Team};

/// Order, fill and bytes of a factor, known before any number is computed.
#[derive(Debug, Clone)]
pub struct Analysis {
    shape: Elimination,
    /// Bytes of the largest front with all that waits for it.
    largest_branch: u64,
    /// Bytes of what branches leave to the top, and of the top at its worst.
    top: u64,
}

impl Analysis {
    /// Orders the nodes and counts the fill.
    pub fn of(pattern: &Pattern) -> Self {
        let shape = Elimination::new(pattern, &nested_dissection(pattern));
        let (mut largest_branch, mut waiting) = (0, 0);
        for branch in &shape.branches {
            let (peak, left) = working_bytes(&shape.nodes[branch.nodes.clone()]);
            largest_branch = largest_branch.max(peak);
            waiting += left;
        }
        let mut top = waiting;
        for node in &shape.nodes[shape.top()..] {
            top = top.max(waiting + front_bytes(node) + left_over_bytes(node));
            waiting += left_over_bytes(node);
            for &c in &node.children {
                waiting = waiting.saturating_sub(left_over_bytes(&shape.nodes[c as usize]));
            }
        }
        Analysis {
            shape,
            largest_branch,
            top,
        }
    }

    /// Numbers of the factor, those above the diagonal of its dense pieces included.
    pub fn numbers(&self) -> u64 {
        let of = self.shape.nodes.iter().map(|n| n.numbers() as u64);
        of.sum()
    }

    /// Bytes of the factor's numbers, stored as `T`.
    pub fn factor_bytes<T>(&self) -> u64 {
        self.numbers() * std::mem::size_of::<T>() as u64
    }

    /// Bytes needed for a while during factorisation by so many threads, beyond the factor.
    pub fn scratch_bytes(&self, threads: usize) -> u64 {
        let together = threads.min(self.shape.branches.len()) as u64;
        self.top.max(together * self.largest_branch)
    }

    /// Multiplications of the factorisation.
    pub fn multiplications(&self) -> f64 {
        self.shape.nodes.iter().map(Supernode::work).sum()
    }

    /// Computes the factor in double precision, stored as `T`.
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
        let shape = &self.shape;
        let alone = Team::new(1);
        let branches = team.collect(shape.branches.len(), |b| {
            let nodes = shape.branches[b].nodes.clone();
            let mut left = LeftOver::new(nodes.start, nodes.len());
            let mut numbers = Vec::with_capacity(nodes.len());
            for k in nodes {
                numbers.push(step::<T>(&alone, shape, matrix, k, &mut left)?);
            }
            Ok((numbers, left))
        });
        let mut numbers: Vec<Vec<T>> = Vec::with_capacity(shape.nodes.len());
        let mut left = LeftOver::new(0, shape.nodes.len());
        // The first failure in elimination order, whichever thread met it.
        for branch in branches {
            let (mut of_branch, mut rest) = branch.map_err(|at| self.failure(at))?;
            numbers.append(&mut of_branch);
            if let Some(last) = numbers.len().checked_sub(1) {
                left.put(last, rest.take(last));
            }
        }
        for k in shape.top()..shape.nodes.len() {
            let step = step::<T>(team, shape, matrix, k, &mut left);
            numbers.push(step.map_err(|at| self.failure(at))?);
        }
        Ok(BlockCholesky {
            shape: self.shape,
            numbers,
        })
    }

    fn failure(&self, unknown: usize) -> SparseError {
        let row = self.shape.order.get(unknown / 3);
        SparseError::NotPositiveDefinite {
            row: row.map_or(0, |&o| o as usize),
        }
    }
}

fn front_bytes(node: &Supernode) -> u64 {
    72 * (node.height() as u64).pow(2)
}

fn left_over_bytes(node: &Supernode) -> u64 {
    72 * (node.rows.len() as u64).pow(2)
}

/// Most bytes at work while a branch is eliminated, and the bytes it leaves.
fn working_bytes(nodes: &[Supernode]) -> (u64, u64) {
    let (mut peak, mut waiting) = (0, 0u64);
    // What waits is what earlier nodes left and their parents have not yet taken up.
    let mut left: Vec<u64> = vec![];
    for node in nodes {
        peak = peak.max(waiting + front_bytes(node) + left_over_bytes(node));
        for _ in &node.children {
            waiting -= left.pop().unwrap_or(0);
        }
        left.push(left_over_bytes(node));
        waiting += left_over_bytes(node);
    }
    (peak, waiting)
}

/// Schur complements that wait for their parents.
struct LeftOver {
    first: usize,
    waiting: Vec<Vec<f64>>,
}

impl LeftOver {
    fn new(first: usize, count: usize) -> Self {
        LeftOver {
            first,
            waiting: vec![vec![]; count],
        }
    }

    fn put(&mut self, node: usize, numbers: Vec<f64>) {
        self.waiting[node - self.first] = numbers;
    }

    fn take(&mut self, node: usize) -> Vec<f64> {
        std::mem::take(&mut self.waiting[node - self.first])
    }
}

/// Eliminates one supernode: its columns of the factor. The error is the place of a pivot.
fn step<T: Real>(
    team: &Team,
    shape: &Elimination,
    matrix: &SymmetricBlocks,
    k: usize,
    left: &mut LeftOver,
) -> Result<Vec<T>, usize> {
    let node = &shape.nodes[k];
    let (n, columns) = (3 * node.height(), 3 * node.width());
    let mut front = written(0.0, n * n);
    for &child in &node.children {
        let numbers = left.take(child as usize);
        extend(
            &mut front,
            n,
            &shape.nodes[child as usize].in_parent,
            &numbers,
        );
    }
    enter(&mut front, n, shape, matrix, node);
    eliminate(team, &mut front, n, columns)
        .map_err(|pivot| 3 * node.columns.start as usize + pivot)?;
    let kept = front[..n * columns].iter().map(|&v| T::from_f64(v));
    let kept = kept.collect();
    let rest = n - columns;
    let mut numbers = Vec::with_capacity(rest * rest);
    for j in columns..n {
        numbers.extend_from_slice(&front[j * n + columns..(j + 1) * n]);
    }
    left.put(k, numbers);
    Ok(kept)
}

/// Adds a child's Schur complement (lower half) to the front; `places` are block rows of the front.
fn extend(front: &mut [f64], n: usize, places: &[u32], numbers: &[f64]) {
    let size = 3 * places.len();
    for (j, &column) in places.iter().enumerate() {
        for c in 0..3 {
            let from = &numbers[(3 * j + c) * size..(3 * j + c + 1) * size];
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

/// Adds the matrix's own entries of the supernode's columns.
fn enter(
    front: &mut [f64],
    n: usize,
    shape: &Elimination,
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
        let own = shape.order[column as usize] as usize;
        let lower = pattern.lower_row(own).iter().zip(pattern.mirror_row(own));
        let upper = pattern.upper_row(own).iter();
        let upper = upper.zip(pattern.upper_starts()[own]..);
        // Block (row, own): as stored where row < own, its transpose where row > own.
        let entries = lower
            .map(|(&row, &at)| (row, at as usize, false))
            .chain(upper.map(|(&row, at)| (row, at, true)));
        for (row, at, turned) in entries {
            let position = shape.position[row as usize];
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

/// A Cholesky factor of a block matrix. In single precision it serves preconditioning only; sums in the
/// solution are double either way.
#[derive(Debug)]
pub struct BlockCholesky<T> {
    shape: Elimination,
    numbers: Vec<Vec<T>>,
}

impl<T: Real> BlockCholesky<T> {
    /// Bytes of the factor.
    pub fn bytes(&self) -> u64 {
        let numbers: usize = self.numbers.iter().map(Vec::capacity).sum();
        (numbers * std::mem::size_of::<T>()) as u64
    }

    /// Solves for all columns, in place. Reads the factor twice, whatever the number of columns.
    pub fn solve<const W: usize>(&self, team: &Team, x: &mut [NodeColumns<f64, W>]) {
        self.solve_where(team, x, None);
    }

    /// The parts of the factor that right sides on some rows reach, and that solutions at these rows need.
    pub(crate) fn reach(&self, rows: impl Iterator<Item = u32>) -> Vec<bool> {
        self.shape.reach(rows)
    }

    /// Solves for right sides that reach `up`; the solution is right in the rows that reach `down` alone.
    pub(crate) fn solve_between<const W: usize>(
        &self,
        team: &Team,
        x: &mut [NodeColumns<f64, W>],
        up: &[bool],
        down: &[bool],
    ) {
        self.solve_where(team, x, Some(&Visits { up, down }));
    }

    fn solve_where<const W: usize>(
        &self,
        team: &Team,
        x: &mut [NodeColumns<f64, W>],
        visits: Option<&Visits<'_>>,
    ) {
        let order = &self.shape.order;
        // In the precision of the factor: more would not make its rounding undone.
        let rounded = |v: NodeColumns<f64, W>| v.map(|c| c.map(T::from_f64));
        let mut permuted: Vec<NodeColumns<T, W>> =
            order.iter().map(|&o| rounded(x[o as usize])).collect();
        substitution::solve(team, &self.shape, &self.numbers, &mut permuted, visits);
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

    /// A random pattern with diagonally dominant numbers.
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
                    let side = DVector::from_fn(3 * n, |r, _| b[r / 3][r % 3][k]);
                    let exact = lu.solve(&side).unwrap();
                    for r in 0..3 * n {
                        prop_assert!((x[r / 3][r % 3][k] - exact[r]).abs() < 1e-10);
                    }
                }
            }
        }
    }

    /// A block of a regular grid, large enough for a top, branches and wide fronts.
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
