//! Dense matrices on one thread, so that their bits are always the same: a symmetric one that grows, a square one
//! and its LU factors.

use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::lu::partial_pivoting::{factor, solve};
use faer::perm::PermRef;
use faer::{Conj, MatMut, MatRef, Par, Spec};

/// Symmetric matrix that grows by rows and columns at its end, stored in full by rows.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Symmetric {
    rows: Vec<Vec<f64>>,
}

impl Symmetric {
    /// Number of rows.
    pub(crate) fn len(&self) -> usize {
        self.rows.len()
    }

    /// Entries of row `i`, which are those of column `i`.
    pub(crate) fn row(&self, i: usize) -> &[f64] {
        &self.rows[i]
    }

    /// Diagonal entry `i`.
    pub(crate) fn diagonal(&self, i: usize) -> f64 {
        self.rows[i][i]
    }

    /// Takes in new columns, each given down to the last row, new rows included. Entries between new columns are
    /// given twice and averaged, so that the matrix is symmetric to the bit whatever the rounding of the columns.
    pub(crate) fn grow(&mut self, columns: Vec<Vec<f64>>) {
        let old = self.rows.len();
        self.rows.extend(columns);
        let all = self.rows.len();
        for i in 0..all {
            if i < old {
                let tail: Vec<f64> = (old..all).map(|j| self.rows[j][i]).collect();
                self.rows[i].extend(tail);
            } else {
                for j in old..i {
                    let mean = 0.5 * (self.rows[i][j] + self.rows[j][i]);
                    self.rows[i][j] = mean;
                    self.rows[j][i] = mean;
                }
            }
        }
    }

    /// Appends entries to row `i`, which may be the row after the last. The caller keeps the matrix symmetric.
    pub(crate) fn append(&mut self, i: usize, entries: Vec<f64>) {
        match self.rows.get_mut(i) {
            Some(row) => row.extend(entries),
            None => self.rows.push(entries),
        }
    }
}

/// Square matrix, stored by columns.
pub(crate) struct Square {
    size: usize,
    values: Vec<f64>,
}

impl Square {
    pub(crate) fn zeros(size: usize) -> Self {
        Square {
            size,
            values: vec![0.0; size * size],
        }
    }

    pub(crate) fn column(&mut self, j: usize) -> &mut [f64] {
        &mut self.values[j * self.size..(j + 1) * self.size]
    }
}

/// LU factors with partial pivoting.
pub(crate) struct Lu {
    size: usize,
    values: Vec<f64>,
    forward: Vec<usize>,
    inverse: Vec<usize>,
}

impl Lu {
    /// Factors of a matrix; `None` for a singular one.
    pub(crate) fn of(matrix: Square) -> Option<Self> {
        let Square { size, mut values } = matrix;
        let (mut forward, mut inverse) = (vec![0; size], vec![0; size]);
        let scratch =
            factor::lu_in_place_scratch::<usize, f64>(size, size, Par::Seq, Spec::default());
        factor::lu_in_place(
            MatMut::from_column_major_slice_mut(&mut values, size, size),
            &mut forward,
            &mut inverse,
            Par::Seq,
            MemStack::new(&mut MemBuffer::new(scratch)),
            Spec::default(),
        );
        let pivots = (0..size).map(|k| values[k * (size + 1)]);
        let is_sound = pivots.fold(true, |all, p| all && p.is_finite() && p != 0.0);
        is_sound.then_some(Lu {
            size,
            values,
            forward,
            inverse,
        })
    }

    /// Solves for one right-hand side in place.
    pub(crate) fn solve(&self, b: &mut [f64]) {
        let lu = MatRef::from_column_major_slice(&self.values, self.size, self.size);
        let scratch = solve::solve_in_place_scratch::<usize, f64>(self.size, 1, Par::Seq);
        solve::solve_in_place_with_conj(
            lu,
            lu,
            PermRef::new_checked(&self.forward, &self.inverse, self.size),
            Conj::No,
            MatMut::from_column_major_slice_mut(b, self.size, 1),
            Par::Seq,
            MemStack::new(&mut MemBuffer::new(scratch)),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_matrix_that_grows_is_symmetric_to_the_bit() {
        let mut a = Symmetric::default();
        a.grow(vec![vec![2.0]]);
        a.grow(vec![vec![0.5, 3.0, 0.1 + 1e-17], vec![0.25, 0.1, 4.0]]);
        assert_eq!(a.len(), 3);
        for i in 0..3 {
            for j in 0..3 {
                assert_eq!(a.row(i)[j].to_bits(), a.row(j)[i].to_bits());
            }
        }
        assert_eq!((a.row(0)[2], a.diagonal(2)), (0.25, 4.0));
    }

    #[test]
    fn solves_what_needs_pivots_and_refuses_the_singular() {
        let rows = [[0.0, 2.0, 1.0], [4.0, 1.0, -1.0], [1.0, 0.5, 3.0]];
        let x = [3.0, -1.0, 2.0];
        let mut a = Square::zeros(3);
        for j in 0..3 {
            (0..3).for_each(|i| a.column(j)[i] = rows[i][j]);
        }
        let mut b = rows.map(|r| (0..3).map(|c| r[c] * x[c]).sum::<f64>());
        Lu::of(a).unwrap().solve(&mut b);
        assert!(b.iter().zip(x).all(|(b, x)| (b - x).abs() < 1e-14), "{b:?}");
        assert!(Lu::of(Square::zeros(2)).is_none());
    }
}
