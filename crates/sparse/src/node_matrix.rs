//! Matrices of 6 × 6 blocks, while a hierarchy is set up: a node moves and turns.

use crate::columns::{CHUNK, write_over};
use crate::{AddedBlocks, Block, Pattern, SymmetricBlocks, Team};
use std::ops::Range;
use std::sync::Arc;

/// A 6 × 6 block, row by row: displacements first, then rotations.
pub type Six = [[f64; 6]; 6];

/// A symmetric matrix of nodes that move and turn, both halves stored.
#[derive(Debug, Clone)]
pub struct NodeMatrix {
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
    /// From the couplings of single nodes. Rows are dealt out to the threads; `add` adds what belongs to its rows, and
    /// must add in an order of its own that does not depend on which rows these are.
    pub fn assembled(
        team: &Team,
        pattern: &Pattern,
        add: impl Fn(&mut NodeRows<'_>) + Sync + Send,
    ) -> Self {
        let mut matrix = NodeMatrix {
            starts: pattern.starts().to_vec(),
            columns: (0..pattern.rows())
                .flat_map(|i| pattern.row(i).iter().copied())
                .collect(),
            values: vec![[[0.0; 6]; 6]; pattern.len()],
        };
        let (starts, columns) = (&matrix.starts, &matrix.columns);
        let mut rest = matrix.values.as_mut_slice();
        let mut jobs = vec![];
        let mut row = 0;
        for k in 1..=team.threads() {
            let target = pattern.len() * k / team.threads();
            let end = if k == team.threads() {
                pattern.rows()
            } else {
                starts.partition_point(|s| *s < target).clamp(row, pattern.rows())
            };
            let (values, later) = rest.split_at_mut(starts[end] - starts[row]);
            jobs.push(NodeRows {
                starts,
                columns,
                nodes: row..end,
                values,
            });
            rest = later;
            row = end;
        }
        team.each(jobs, |mut job| {
            write_over(job.values, [[0.0; 6]; 6]);
            add(&mut job);
        });
        matrix
    }

    /// Adds blocks of both halves, two block rows and two columns a node; the pattern must have them.
    pub fn add_blocks(&mut self, added: &AddedBlocks) {
        for (i, j, b) in added.entries() {
            let range = self.starts[i as usize / 2]..self.starts[i as usize / 2 + 1];
            let Ok(at) = self.columns[range.clone()].binary_search(&(j / 2)) else {
                continue;
            };
            let to = &mut self.values[range.start + at];
            for r in 0..3 {
                for c in 0..3 {
                    to[3 * (i as usize % 2) + r][3 * (j as usize % 2) + c] += b[r][c];
                }
            }
        }
    }

    /// Number of blocks.
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// Is there no block?
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// Bytes held.
    pub fn bytes(&self) -> u64 {
        (288 * self.values.capacity() + 4 * self.columns.capacity() + 8 * self.starts.capacity())
            as u64
    }

    /// Number of nodes.
    pub fn nodes(&self) -> usize {
        self.starts.len() - 1
    }

    /// Couplings of a node, itself included.
    pub fn row(&self, i: usize) -> impl Iterator<Item = (u32, &Six)> {
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

/// Some rows of a matrix, to be added to.
#[derive(Debug)]
pub struct NodeRows<'a> {
    starts: &'a [usize],
    columns: &'a [u32],
    nodes: Range<usize>,
    values: &'a mut [Six],
}

impl NodeRows<'_> {
    /// Is a node's row one of them?
    pub fn contains(&self, node: u32) -> bool {
        self.nodes.contains(&(node as usize))
    }

    /// Block (i, j), which must be there.
    pub fn block(&mut self, i: u32, j: u32) -> Option<&mut Six> {
        let range = self.starts[i as usize]..self.starts[i as usize + 1];
        let at = self.columns[range.clone()].binary_search(&j).ok()?;
        let first = self.starts[self.nodes.start];
        self.values.get_mut(range.start + at - first)
    }
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

/// Aᵀ.
pub(crate) fn transposed(a: &Six) -> Six {
    let mut out = [[0.0; 6]; 6];
    for r in 0..6 {
        for c in 0..6 {
            out[c][r] = a[r][c];
        }
    }
    out
}
