//! Dirichlet conditions on single components of block rows.
//!
//! With M the projector that zeroes the constrained components and D a positive diagonal, the system M A M + D (I − M)
//! keeps its size, its symmetry and its definiteness; its solution vanishes where it is constrained when the
//! right-hand side does.

use crate::simd::kernel::Real;
use crate::{Block, NodeColumns};

/// Constrained components of block rows, sorted by row; rows without any are not listed.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ConstrainedRows {
    rows: Vec<(u32, [bool; 3])>,
}

impl ConstrainedRows {
    /// From rows with their components, in any order, each row once.
    pub fn new(rows: impl IntoIterator<Item = (u32, [bool; 3])>) -> Self {
        let mut rows: Vec<(u32, [bool; 3])> =
            rows.into_iter().filter(|r| r.1 != [false; 3]).collect();
        rows.sort_unstable();
        ConstrainedRows { rows }
    }

    /// Is no component constrained?
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Rows with their constrained components, ascending.
    pub fn iter(&self) -> impl Iterator<Item = (u32, [bool; 3])> {
        self.rows.iter().copied()
    }

    /// Constrained components of a row.
    pub fn of(&self, row: u32) -> [bool; 3] {
        let at = self.rows.binary_search_by_key(&row, |r| r.0);
        at.map_or([false; 3], |k| self.rows[k].1)
    }

    /// M v, in place.
    pub fn project(&self, v: &mut [[f64; 3]]) {
        for (row, components) in &self.rows {
            for c in (0..3).filter(|c| components[*c]) {
                v[*row as usize][c] = 0.0;
            }
        }
    }

    /// M v of each column, in place; row i of the constraints is row `every` · i of `v`.
    pub(crate) fn project_columns<T: Real, const W: usize>(
        &self,
        every: usize,
        v: &mut [NodeColumns<T, W>],
    ) {
        for (row, components) in &self.rows {
            for c in (0..3).filter(|c| components[*c]) {
                v[every * *row as usize][c] = [T::default(); W];
            }
        }
    }
}

/// Block of M A M: rows and columns of constrained components set to zero.
pub fn projected(block: &Block<f64>, rows: [bool; 3], columns: [bool; 3]) -> Block<f64> {
    let at = |r: usize, c: usize| {
        if rows[r] || columns[c] {
            0.0
        } else {
            block[r][c]
        }
    };
    [0, 1, 2].map(|r| [0, 1, 2].map(|c| at(r, c)))
}

/// Diagonal block of M A M + D (I − M) with D the diagonal of A.
pub fn projected_diagonal(block: &Block<f64>, components: [bool; 3]) -> Block<f64> {
    let mut out = projected(block, components, components);
    for c in (0..3).filter(|c| components[*c]) {
        out[c][c] = block[c][c];
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_projected_system_has_the_solution_that_elimination_gives() {
        // One node with y constrained: the free components' 2 × 2 system by Cramer's rule.
        let a = [[4.0, 1.0, 2.0], [1.0, 5.0, 0.5], [2.0, 0.5, 3.0]];
        let rows = ConstrainedRows::new([(0, [false, true, false])]);
        let system = projected_diagonal(&a, rows.of(0));
        let mut b = [[1.0, 7.0, -2.0]];
        rows.project(&mut b);
        let x = nalgebra::Matrix3::from(system).transpose().lu();
        let x = x.solve(&nalgebra::Vector3::from(b[0])).unwrap();
        let det = 4.0 * 3.0 - 2.0 * 2.0;
        let expected = [(3.0 + 4.0) / det, 0.0, (-8.0 - 2.0) / det];
        for c in 0..3 {
            assert!((x[c] - expected[c]).abs() < 1e-15, "{x}");
        }
    }

    #[test]
    fn rows_are_found_and_others_are_free() {
        let rows = ConstrainedRows::new([
            (7, [true, false, true]),
            (2, [false, true, false]),
            (4, [false; 3]),
        ]);
        assert_eq!(rows.of(7), [true, false, true]);
        assert_eq!(rows.of(4), [false; 3]);
        assert_eq!(rows.iter().map(|r| r.0).collect::<Vec<_>>(), [2, 7]);
        let mut v = vec![[[1.0f32; 2]; 3]; 16];
        rows.project_columns(2, &mut v);
        let zeros = v.iter().flatten().filter(|c| **c == [0.0; 2]).count();
        assert!(zeros == 3 && v[14][0] == [0.0; 2] && v[14][1] == [1.0; 2]);
    }
}
