//! Compressed sparse rows: one structure for all sparse matrices, and its transposition by counting.

use std::ops::Range;

/// A sparse matrix in compressed rows: the entries of row i stand at `starts[i]..starts[i + 1]` of `columns` and `values`.
///
/// `Csr<()>` is a sparsity pattern.
#[derive(Debug, Clone, PartialEq)]
pub struct Csr<T> {
    starts: Vec<usize>,
    columns: Vec<u32>,
    values: Vec<T>,
}

impl<T> Default for Csr<T> {
    fn default() -> Self {
        Csr {
            starts: vec![0],
            columns: vec![],
            values: vec![],
        }
    }
}

impl<T> Csr<T> {
    /// A matrix from its three arrays.
    ///
    /// # Panics
    /// When the arrays do not fit each other.
    pub fn new(starts: Vec<usize>, columns: Vec<u32>, values: Vec<T>) -> Self {
        assert!(
            starts.first() == Some(&0)
                && starts.is_sorted()
                && starts.last() == Some(&columns.len())
                && columns.len() == values.len(),
            "row starts, columns and values do not fit"
        );
        Csr {
            starts,
            columns,
            values,
        }
    }

    /// An empty matrix with room for so many rows and entries.
    pub fn with_capacity(rows: usize, entries: usize) -> Self {
        let mut starts = Vec::with_capacity(rows + 1);
        starts.push(0);
        Csr {
            starts,
            columns: Vec::with_capacity(entries),
            values: Vec::with_capacity(entries),
        }
    }

    /// Adds an entry to the last, unfinished row.
    pub fn push(&mut self, column: u32, value: T) {
        self.columns.push(column);
        self.values.push(value);
    }

    /// Ends the row that entries were pushed to.
    pub fn end_row(&mut self) {
        self.starts.push(self.columns.len());
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.starts.len() - 1
    }

    /// Number of entries.
    pub fn len(&self) -> usize {
        self.columns.len()
    }

    /// Is there no entry?
    pub fn is_empty(&self) -> bool {
        self.columns.is_empty()
    }

    /// First entry of each row, and the number of entries.
    pub fn starts(&self) -> &[usize] {
        &self.starts
    }

    /// Columns of all entries, row by row.
    pub fn columns(&self) -> &[u32] {
        &self.columns
    }

    /// Values of all entries, row by row.
    pub fn values(&self) -> &[T] {
        &self.values
    }

    /// The same matrix, its values to be changed: row starts, columns, values.
    pub fn split_mut(&mut self) -> (&[usize], &[u32], &mut [T]) {
        (&self.starts, &self.columns, &mut self.values)
    }

    /// Positions of a row's entries.
    #[inline(always)]
    pub fn range(&self, row: usize) -> Range<usize> {
        self.starts[row]..self.starts[row + 1]
    }

    /// Columns of a row.
    #[inline(always)]
    pub fn columns_of(&self, row: usize) -> &[u32] {
        &self.columns[self.range(row)]
    }

    /// Entries of a row: column and value.
    #[inline(always)]
    pub fn row(&self, row: usize) -> impl Iterator<Item = (u32, &T)> {
        let range = self.range(row);
        let columns = self.columns[range.clone()].iter().copied();
        columns.zip(&self.values[range])
    }

    /// Position of entry (row, column), if there is one; the columns of the row must be sorted.
    pub fn find(&self, row: usize, column: u32) -> Option<usize> {
        let found = self.columns_of(row).binary_search(&column).ok()?;
        Some(self.starts[row] + found)
    }

    /// The transposed pattern of a matrix with so many columns; the value of an entry is its position in this matrix. Rows of the
    /// transpose are sorted.
    pub fn transposed_pattern(&self, columns: usize) -> Csr<u32> {
        let rows = 0..self.rows();
        let entries = rows.flat_map(|i| self.range(i).map(move |at| (i, at)));
        let turned = entries.map(|(i, at)| (self.columns[at] as usize, i as u32, at as u32));
        Csr::from_triplets(columns, turned)
    }

    /// The rows of some matrices below one another.
    pub fn stacked(parts: Vec<Csr<T>>) -> Self {
        let rows = parts.iter().map(Csr::rows).sum();
        let mut all = Csr::with_capacity(rows, parts.iter().map(Csr::len).sum());
        for part in parts {
            let before = all.len();
            all.starts
                .extend(part.starts[1..].iter().map(|s| before + s));
            all.columns.extend(part.columns);
            all.values.extend(part.values);
        }
        all
    }

    /// The same pattern with a value computed from each one.
    pub fn map<U>(self, value: impl FnMut(T) -> U) -> Csr<U> {
        Csr {
            starts: self.starts,
            columns: self.columns,
            values: self.values.into_iter().map(value).collect(),
        }
    }

    /// Bytes held.
    pub fn bytes(&self) -> u64 {
        (8 * self.starts.capacity()
            + 4 * self.columns.capacity()
            + std::mem::size_of::<T>() * self.values.capacity()) as u64
    }
}

impl<T: Copy + Default> Csr<T> {
    /// A matrix from triplets (row, column, value) in any order, by a counting sort: entries of a row keep the order given.
    pub fn from_triplets(
        rows: usize,
        triplets: impl Iterator<Item = (usize, u32, T)> + Clone,
    ) -> Self {
        let mut starts = vec![0; rows + 1];
        for (i, _, _) in triplets.clone() {
            starts[i + 1] += 1;
        }
        for i in 0..rows {
            starts[i + 1] += starts[i];
        }
        let mut next = starts.clone();
        let mut columns = vec![0; starts[rows]];
        let mut values = vec![T::default(); starts[rows]];
        for (i, j, value) in triplets {
            (columns[next[i]], values[next[i]]) = (j, value);
            next[i] += 1;
        }
        Csr {
            starts,
            columns,
            values,
        }
    }
}

impl<T: Copy> Csr<T> {
    /// Aᵀ of a matrix with so many columns; its rows are sorted.
    pub fn transpose(&self, columns: usize) -> Self {
        self.transposed_pattern(columns)
            .map(|at| self.values[at as usize])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_transpose_has_each_entry_at_its_mirrored_place(
            rows in prop::collection::vec(prop::collection::btree_map(0u32..9, -5i32..5, 0..6), 0..12)
        ) {
            let mut a = Csr::with_capacity(rows.len(), 0);
            for row in &rows {
                row.iter().for_each(|(j, v)| a.push(*j, *v));
                a.end_row();
            }
            let t = a.transpose(9);
            prop_assert_eq!((t.rows(), t.len()), (9, a.len()));
            for j in 0..9 {
                let expected: Vec<(u32, i32)> = (0u32..)
                    .zip(&rows)
                    .filter_map(|(i, row)| row.get(&j).map(|v| (i, *v)))
                    .collect();
                let found: Vec<(u32, i32)> = t.row(j as usize).map(|(i, v)| (i, *v)).collect();
                prop_assert_eq!(found, expected);
            }
            prop_assert_eq!(t.transpose(rows.len()), a);
        }
    }

    #[test]
    #[should_panic(expected = "do not fit")]
    fn arrays_that_do_not_fit_are_refused() {
        Csr::new(vec![0, 2], vec![1], vec![1.0]);
    }
}
