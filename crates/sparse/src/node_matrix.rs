//! Matrices of 6 × 6 blocks, while a hierarchy is set up: a node moves and turns.

use crate::columns::CHUNK;
use crate::{Block, FullBlocks, Pattern, SymmetricBlocks, Team};
use std::ops::Range;
use std::sync::Arc;

/// A 6 × 6 block, row by row: displacements first, then rotations.
pub(crate) type Six = [[f64; 6]; 6];

/// A symmetric matrix, both halves stored.
#[derive(Debug)]
pub(crate) struct NodeMatrix {
    pub(crate) starts: Vec<usize>,
    /// Nodes coupled to each node, sorted.
    pub(crate) columns: Vec<u32>,
    pub(crate) values: Vec<Six>,
}

/// What [`NodeMatrix::normalise`] divided by: of each node the root L of its own block L Lᵀ, and L⁻¹.
pub(crate) struct Roots {
    pub(crate) roots: Vec<Six>,
    pub(crate) inverses: Vec<Six>,
}

impl NodeMatrix {
    /// From block rows that belong together two by two.
    pub(crate) fn of_pairs(team: &Team, matrix: &SymmetricBlocks) -> Self {
        let pattern = &matrix.pattern;
        let nodes = pattern.rows() / 2;
        let starts: Vec<usize> = (0..=nodes).map(|i| pattern.starts()[2 * i] / 4).collect();
        let mut values = vec![[[0.0; 6]; 6]; pattern.len() / 4];
        let mut columns = vec![0; values.len()];
        for_chunks(team, &starts, &mut values, |nodes, values| {
            let first = starts[nodes.start];
            for i in nodes {
                for half in 0..2 {
                    for (k, block) in blocks_of_row(matrix, 2 * i + half).enumerate() {
                        let to = &mut values[starts[i] - first + k / 2];
                        for r in 0..3 {
                            to[3 * half + r][3 * (k % 2)..][..3].copy_from_slice(&block[r]);
                        }
                    }
                }
            }
        });
        for i in 0..nodes {
            let pairs = pattern.row(2 * i).iter().step_by(2);
            for (to, column) in columns[starts[i]..starts[i + 1]].iter_mut().zip(pairs) {
                *to = column / 2;
            }
        }
        NodeMatrix {
            starts,
            columns,
            values,
        }
    }

    pub(crate) fn nodes(&self) -> usize {
        self.starts.len() - 1
    }

    /// Couplings of a node, itself included.
    pub(crate) fn row(&self, i: usize) -> impl Iterator<Item = (u32, &Six)> {
        let range = self.starts[i]..self.starts[i + 1];
        let columns = self.columns[range.clone()].iter().copied();
        columns.zip(&self.values[range])
    }

    /// L⁻¹ A L⁻ᵀ for L the roots of the diagonal blocks, so that these become units. Unknowns without any
    /// stiffness get a unit first.
    ///
    /// # Errors
    /// The node whose block has no root.
    pub(crate) fn normalise(&mut self, team: &Team) -> Result<Roots, usize> {
        let nodes = self.nodes();
        let mut out = Roots {
            roots: Vec::with_capacity(nodes),
            inverses: Vec::with_capacity(nodes),
        };
        for i in 0..nodes {
            let range = self.starts[i]..self.starts[i + 1];
            let at = self.columns[range].partition_point(|j| (*j as usize) < i);
            let own = &mut self.values[self.starts[i] + at];
            for c in 0..6 {
                if own[c].iter().all(|v| *v == 0.0) {
                    own[c][c] = 1.0;
                }
            }
            let root = root(own).ok_or(i)?;
            out.inverses.push(inverse(&root));
            out.roots.push(root);
        }
        let NodeMatrix {
            starts,
            columns,
            values,
        } = self;
        let inverses = &out.inverses;
        for_chunks(team, starts, values, |nodes, values| {
            let first = starts[nodes.start];
            for i in nodes {
                let range = starts[i]..starts[i + 1];
                let own = &mut values[range.start - first..range.end - first];
                for (j, a) in columns[range].iter().zip(own) {
                    *a = if *j as usize == i {
                        unit()
                    } else {
                        let half = from_left(&inverses[i], a);
                        from_right(&half, &inverses[*j as usize])
                    };
                }
            }
        });
        Ok(out)
    }

    /// In single precision, as 3 × 3 blocks.
    pub(crate) fn rounded(&self, team: &Team, pattern: &Arc<Pattern>) -> FullBlocks<f32> {
        let mut values = vec![[[0.0; 3]; 3]; 4 * self.values.len()];
        let starts: Vec<usize> = self.starts.iter().map(|s| 4 * s).collect();
        for_chunks(team, &starts, &mut values, |nodes, values| {
            let mut to = values.iter_mut();
            for i in nodes {
                for half in 0..2 {
                    let blocks = self.row(i).flat_map(|(_, a)| [0, 1].map(|k| part(a, half, k)));
                    for (block, to) in blocks.zip(&mut to) {
                        *to = block.map(|r| r.map(|v| v as f32));
                    }
                }
            }
        });
        FullBlocks {
            pattern: Arc::clone(pattern),
            values,
        }
    }

    /// Two block rows a node.
    pub(crate) fn pattern(&self) -> Pattern {
        let mut starts = vec![0];
        let mut columns = Vec::with_capacity(4 * self.columns.len());
        for i in 0..self.nodes() {
            for _ in 0..2 {
                let row = self.columns[self.starts[i]..self.starts[i + 1]].iter();
                columns.extend(row.flat_map(|j| [2 * j, 2 * j + 1]));
                starts.push(columns.len());
            }
        }
        Pattern::new(starts, columns)
    }

    /// The same, its upper half stored.
    pub(crate) fn blocks(&self, pattern: &Arc<Pattern>) -> SymmetricBlocks {
        let mut matrix = SymmetricBlocks::zeros(Arc::clone(pattern));
        let mut to = matrix.upper.iter_mut();
        for i in 0..self.nodes() {
            for half in 0..2 {
                let blocks = self.row(i).flat_map(|(j, a)| {
                    [0, 1].map(|k| (2 * j as usize + k, part(a, half, k)))
                });
                let upper = blocks.filter(|(column, _)| *column >= 2 * i + half);
                for ((_, block), to) in upper.zip(&mut to) {
                    *to = block;
                }
            }
        }
        matrix
    }
}

/// Blocks of a row in the order of the pattern.
fn blocks_of_row(matrix: &SymmetricBlocks, row: usize) -> impl Iterator<Item = Block<f64>> {
    let pattern = &matrix.pattern;
    let lower = pattern.mirror_row(row).iter().map(|at| {
        let b = &matrix.upper[*at as usize];
        [0, 1, 2].map(|r| [0, 1, 2].map(|c| b[c][r]))
    });
    let from = pattern.upper_starts()[row];
    lower.chain(matrix.upper[from..from + pattern.upper_row(row).len()].iter().copied())
}

/// One of the four 3 × 3 blocks.
pub(crate) fn part(a: &Six, half: usize, column: usize) -> Block<f64> {
    [0, 1, 2].map(|r| [0, 1, 2].map(|c| a[3 * half + r][3 * column + c]))
}

/// Works on the values of some rows after others, side by side.
fn for_chunks<T: Send>(
    team: &Team,
    starts: &[usize],
    values: &mut [T],
    work: impl Fn(Range<usize>, &mut [T]) + Sync + Send,
) {
    let rows = starts.len() - 1;
    let mut jobs = vec![];
    let mut rest = values;
    for first in (0..rows).step_by(CHUNK) {
        let last = (first + CHUNK).min(rows);
        let (now, later) = rest.split_at_mut(starts[last] - starts[first]);
        jobs.push((first..last, now));
        rest = later;
    }
    team.each(jobs, |(rows, values)| work(rows, values));
}

pub(crate) fn unit() -> Six {
    let mut one = [[0.0; 6]; 6];
    for c in 0..6 {
        one[c][c] = 1.0;
    }
    one
}

/// L of A = L Lᵀ; `None` where a pivot is not positive.
fn root(a: &Six) -> Option<Six> {
    let mut l = [[0.0; 6]; 6];
    for j in 0..6 {
        for i in j..6 {
            let sum: f64 = (0..j).map(|k| l[i][k] * l[j][k]).sum();
            let rest = a[i][j] - sum;
            if i == j {
                if rest.is_nan() || rest <= 1e-14 * a[j][j] {
                    return None;
                }
                l[j][j] = rest.sqrt();
            } else {
                l[i][j] = rest / l[j][j];
            }
        }
    }
    Some(l)
}

/// Of a lower triangle.
fn inverse(l: &Six) -> Six {
    let mut out = [[0.0; 6]; 6];
    for c in 0..6 {
        for r in c..6 {
            let sum: f64 = (c..r).map(|k| l[r][k] * out[k][c]).sum();
            out[r][c] = (if r == c { 1.0 } else { 0.0 } - sum) / l[r][r];
        }
    }
    out
}

/// L A, for L a lower triangle.
#[inline(always)]
pub(crate) fn from_left(l: &Six, a: &Six) -> Six {
    let mut out = [[0.0; 6]; 6];
    for r in 0..6 {
        for k in 0..=r {
            for c in 0..6 {
                out[r][c] += l[r][k] * a[k][c];
            }
        }
    }
    out
}

/// A Lᵀ, for L a lower triangle.
#[inline(always)]
pub(crate) fn from_right(a: &Six, l: &Six) -> Six {
    let mut out = [[0.0; 6]; 6];
    for r in 0..6 {
        for c in 0..6 {
            for k in 0..=c {
                out[r][c] += a[r][k] * l[c][k];
            }
        }
    }
    out
}

/// Lᵀ A, for L a lower triangle.
pub(crate) fn transposed_from_left(l: &Six, a: &Six) -> Six {
    let mut out = [[0.0; 6]; 6];
    for r in 0..6 {
        for k in r..6 {
            for c in 0..6 {
                out[r][c] += l[k][r] * a[k][c];
            }
        }
    }
    out
}
