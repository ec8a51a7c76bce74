//! Partial Cholesky factorisation of a frontal matrix: blocked and right-looking, on faer's kernels.
//!
//! The blocking is fixed, so every value is the same sum whatever the number of threads.

use crate::Team;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::llt::factor::{
    LltError, LltRegularization, cholesky_in_place, cholesky_in_place_scratch,
};
use faer::linalg::matmul::{matmul, triangular};
use faer::linalg::triangular_solve::solve_lower_triangular_in_place;
use faer::{Accum, MatMut, MatRef, Par, Spec};
use triangular::BlockStructure;

/// Columns eliminated at a time.
const PANEL: usize = 96;
/// Columns of the trailing matrix updated as one piece of work.
const PIECE: usize = 192;
/// Rows of a triangular solution taken as one piece of work.
const ROWS: usize = 384;
/// Order of a front from which its work is shared out.
const SHARED_FROM: usize = 480;

/// Eliminates the first `columns` of a symmetric front of size `n` (lower half, column by column): they
/// become columns of the Cholesky factor, the rest becomes the Schur update.
///
/// # Errors
/// The index of a pivot that is not positive.
pub(crate) fn eliminate(
    team: &Team,
    front: &mut [f64],
    n: usize,
    columns: usize,
) -> Result<(), usize> {
    let scratch = cholesky_in_place_scratch::<f64>(PANEL, Par::Seq, Spec::default());
    let mut memory = MemBuffer::new(scratch);
    let mut at = 0;
    while at < columns {
        let width = PANEL.min(columns - at);
        let shared = n - at >= SHARED_FROM;
        let all = MatMut::from_column_major_slice_mut(&mut *front, n, n);
        let rest = n - at;
        let corner = all.submatrix_mut(at, at, rest, rest);
        let (mut pivot, _, mut below, after) = corner.split_at_mut(width, width);
        cholesky_in_place(
            pivot.as_mut(),
            LltRegularization::default(),
            Par::Seq,
            MemStack::new(&mut memory),
            Spec::default(),
        )
        .map_err(|LltError::NonPositivePivot { index }| at + index)?;
        let pivot = pivot.as_ref();
        let mut pieces = vec![];
        let mut more = below.as_mut();
        while more.nrows() > 0 {
            let rows = ROWS.min(more.nrows());
            let (now, later) = more.split_at_row_mut(rows);
            pieces.push(now);
            more = later;
        }
        team.each_if(shared, pieces, |piece| {
            solve_lower_triangular_in_place(pivot, piece.transpose_mut(), Par::Seq);
        });
        let below = below.as_ref();
        let mut pieces = vec![];
        let mut more = after;
        let mut first = 0;
        while more.ncols() > 0 {
            let columns = PIECE.min(more.ncols());
            let (now, later) = more.split_at_col_mut(columns);
            pieces.push((first, now));
            first += PIECE;
            more = later;
        }
        team.each_if(shared, pieces, |(first, piece)| update(piece, first, below));
        at += width;
    }
    Ok(())
}

/// C ← C − B Bᵀ for the lower part of the columns of C that start at `first`.
fn update(piece: MatMut<'_, f64>, first: usize, b: MatRef<'_, f64>) {
    let width = piece.ncols();
    let (_, from_diagonal) = piece.split_at_row_mut(first);
    let (square, tall) = from_diagonal.split_at_row_mut(width);
    let own = b.subrows(first, width);
    triangular::matmul(
        square,
        BlockStructure::TriangularLower,
        Accum::Add,
        own,
        BlockStructure::Rectangular,
        own.transpose(),
        BlockStructure::Rectangular,
        -1.0,
        Par::Seq,
    );
    if tall.nrows() > 0 {
        let low = b.subrows(first + width, tall.nrows());
        matmul(tall, Accum::Add, low, own.transpose(), -1.0, Par::Seq);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::DMatrix;

    /// Positive definite, no structure.
    fn matrix(n: usize) -> DMatrix<f64> {
        let b = DMatrix::from_fn(n, n, |i, j| {
            ((i * 7 + j * 13) % 17) as f64 / 17.0 - 0.4 + if i == j { 2.0 } else { 0.0 }
        });
        &b * b.transpose() + DMatrix::identity(n, n)
    }

    #[test]
    fn factor_and_schur_update_put_the_matrix_together_again() {
        for (n, columns) in [(1, 1), (30, 30), (250, 120), (700, 500)] {
            let a = matrix(n);
            let size = a.norm();
            let mut front = a.as_slice().to_vec();
            eliminate(&Team::new(1), &mut front, n, columns).unwrap();
            let l = DMatrix::from_fn(
                n,
                columns,
                |i, j| if i >= j { front[j * n + i] } else { 0.0 },
            );
            let mut back = &l * l.transpose();
            for j in columns..n {
                for i in j..n {
                    back[(i, j)] += front[j * n + i];
                }
            }
            for j in 0..n {
                for i in j..n {
                    assert!(
                        (back[(i, j)] - a[(i, j)]).abs() < 1e-10 * size,
                        "{n} {i} {j}"
                    );
                }
            }
        }
    }

    #[test]
    fn same_bits_for_any_number_of_threads() {
        let run = |threads| {
            let mut front = matrix(900).as_slice().to_vec();
            eliminate(&Team::new(threads), &mut front, 900, 640).unwrap();
            front
        };
        let one = run(1);
        assert!(one == run(2) && one == run(3));
    }

    #[test]
    fn an_indefinite_pivot_is_named() {
        let mut a = matrix(200);
        a[(150, 150)] = -1.0;
        let mut front = a.as_slice().to_vec();
        assert_eq!(eliminate(&Team::new(1), &mut front, 200, 200), Err(150));
    }
}
