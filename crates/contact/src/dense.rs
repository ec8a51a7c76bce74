//! Dense square matrices and their factors, on one thread: the same bits always.

use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::lu::partial_pivoting::{factor, solve};
use faer::perm::PermRef;
use faer::{Conj, MatMut, MatRef, Par, Spec};

/// A square matrix, by columns.
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

/// A factor with partial pivoting.
pub(crate) struct Lu {
    size: usize,
    values: Vec<f64>,
    forward: Vec<usize>,
    inverse: Vec<usize>,
}

impl Lu {
    /// Nothing for a singular matrix.
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

    /// Solves in place.
    pub(crate) fn solve(&self, side: &mut [f64]) {
        let lu = MatRef::from_column_major_slice(&self.values, self.size, self.size);
        let scratch = solve::solve_in_place_scratch::<usize, f64>(self.size, 1, Par::Seq);
        solve::solve_in_place_with_conj(
            lu,
            lu,
            PermRef::new_checked(&self.forward, &self.inverse, self.size),
            Conj::No,
            MatMut::from_column_major_slice_mut(side, self.size, 1),
            Par::Seq,
            MemStack::new(&mut MemBuffer::new(scratch)),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
