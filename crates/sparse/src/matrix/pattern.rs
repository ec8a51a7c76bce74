//! Sparsity patterns of symmetric block matrices.

use crate::csr::Csr;

/// Rows and sorted columns of a structurally symmetric block matrix; every diagonal block is present.
///
/// Both halves are listed. Values of the symmetric matrix are stored for the upper half only, in this
/// order: row by row, from the diagonal on.
#[derive(Debug, Clone, PartialEq)]
pub struct Pattern {
    /// Block columns of each row, both halves.
    graph: Csr<()>,
    /// Entries below the diagonal of each row.
    below: Vec<u32>,
    /// First upper block of each row, and the end.
    upper_starts: Vec<usize>,
    /// Index of the upper block whose transpose each entry below the diagonal is.
    mirror: Vec<u32>,
}

impl Pattern {
    /// A pattern from rows of sorted, distinct columns: `starts` has one entry more than there are rows.
    ///
    /// The pattern must be symmetric and hold the diagonal.
    ///
    /// # Panics
    /// When one of these is missing: the caller builds the pattern from elements, where it never is.
    pub fn new(starts: Vec<usize>, columns: Vec<u32>) -> Self {
        let rows = starts.len() - 1;
        let mut below = Vec::with_capacity(rows);
        let mut upper_starts = Vec::with_capacity(rows + 1);
        upper_starts.push(0usize);
        for i in 0..rows {
            let row = &columns[starts[i]..starts[i + 1]];
            let under = row.partition_point(|&j| (j as usize) < i);
            assert!(
                row.get(under) == Some(&(i as u32)),
                "row {i} has no diagonal block"
            );
            below.push(under as u32);
            upper_starts.push(upper_starts[i] + row.len() - under);
        }
        // Row j's upper entries are met in order of i, so one cursor a row finds each mirror image.
        let mut next: Vec<usize> = (0..rows).map(|i| upper_starts[i] + 1).collect();
        let mut mirror = Vec::with_capacity(columns.len() - upper_starts[rows]);
        for i in 0..rows {
            for &j in &columns[starts[i]..starts[i] + below[i] as usize] {
                let at = next[j as usize];
                next[j as usize] += 1;
                mirror.push(at as u32);
            }
        }
        let entries = columns.len();
        let pattern = Pattern {
            graph: Csr::new(starts, columns, vec![(); entries]),
            below,
            upper_starts,
            mirror,
        };
        for i in 0..rows {
            assert!(
                next[i] == pattern.upper_starts[i + 1],
                "the pattern is not symmetric"
            );
        }
        pattern
    }

    /// Number of block rows.
    pub fn rows(&self) -> usize {
        self.below.len()
    }

    /// Number of blocks, both halves.
    pub fn len(&self) -> usize {
        self.graph.len()
    }

    /// Is there no block at all?
    pub fn is_empty(&self) -> bool {
        self.graph.is_empty()
    }

    /// Number of blocks on and above the diagonal.
    pub fn upper_len(&self) -> usize {
        self.upper_starts[self.rows()]
    }

    /// Start of each row and the end.
    pub fn starts(&self) -> &[usize] {
        self.graph.starts()
    }

    /// Columns of all rows, one after the other.
    pub(crate) fn columns(&self) -> &[u32] {
        self.graph.columns()
    }

    /// Start of each row among the upper blocks, and the end.
    pub fn upper_starts(&self) -> &[usize] {
        &self.upper_starts
    }

    /// All columns of a row.
    pub fn row(&self, i: usize) -> &[u32] {
        self.graph.columns_of(i)
    }

    /// Columns of a row below the diagonal.
    pub fn lower_row(&self, i: usize) -> &[u32] {
        &self.row(i)[..self.below[i] as usize]
    }

    /// Columns of a row from the diagonal on.
    pub fn upper_row(&self, i: usize) -> &[u32] {
        &self.row(i)[self.below[i] as usize..]
    }

    /// Index of the upper block whose transpose each entry of [`Pattern::lower_row`] is.
    pub fn mirror_row(&self, i: usize) -> &[u32] {
        &self.mirror[self.starts()[i] - self.upper_starts[i]..][..self.below[i] as usize]
    }

    /// Upper block at (i, j), i ≤ j, if present.
    pub fn upper_at(&self, i: usize, j: usize) -> Option<usize> {
        let found = self.upper_row(i).binary_search(&(j as u32)).ok()?;
        Some(self.upper_starts[i] + found)
    }

    /// Bytes held.
    pub fn bytes(&self) -> u64 {
        let words = self.below.capacity() + self.mirror.capacity();
        self.graph.bytes() + (4 * words + 8 * self.upper_starts.capacity()) as u64
    }

    /// Bytes that a pattern of so many rows and blocks will hold.
    pub fn bytes_for(rows: usize, blocks: usize) -> u64 {
        let upper = (blocks + rows) / 2;
        (4 * (blocks + rows + blocks - upper) + 16 * (rows + 1)) as u64
    }
}

#[cfg(test)]
impl Pattern {
    /// The diagonal and these pairs, both ways; numbers are taken modulo the rows.
    pub(crate) fn of_pairs(n: usize, pairs: &[(usize, usize)]) -> Pattern {
        use std::collections::BTreeSet;
        let mut rows: Vec<BTreeSet<u32>> = (0..n).map(|i| BTreeSet::from([i as u32])).collect();
        for &(i, j) in pairs {
            rows[i % n].insert((j % n) as u32);
            rows[j % n].insert((i % n) as u32);
        }
        let mut starts = vec![0];
        let mut columns = vec![];
        for r in rows {
            columns.extend(r);
            starts.push(columns.len());
        }
        Pattern::new(starts, columns)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mirrors_point_at_the_transposed_entry() {
        // 0-1, 0-2, 1-3, 2-3 and the diagonal.
        let rows: [&[u32]; 4] = [&[0, 1, 2], &[0, 1, 3], &[0, 2, 3], &[1, 2, 3]];
        let mut starts = vec![0];
        let mut columns = vec![];
        for r in rows {
            columns.extend_from_slice(r);
            starts.push(columns.len());
        }
        let p = Pattern::new(starts, columns);
        assert_eq!(p.upper_len(), 8);
        for i in 0..4 {
            for (&j, &m) in p.lower_row(i).iter().zip(p.mirror_row(i)) {
                assert_eq!(p.upper_at(j as usize, i), Some(m as usize));
            }
        }
        assert_eq!(p.upper_at(0, 3), None);
        assert!(p.bytes() >= Pattern::bytes_for(4, 12));
    }
}
