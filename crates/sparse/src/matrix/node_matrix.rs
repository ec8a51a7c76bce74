//! Symmetric matrices of nodes with three degrees of freedom (displacements) or six (displacements and rotations) in double
//! precision, as a hierarchy is set up from them.

use crate::csr::Csr;
use crate::simd::columns::{CHUNK, write_over};
use crate::{AddedBlocks, Block, Pattern, SymmetricBlocks, Team};
use nalgebra::SMatrix;
use std::ops::Range;
use std::sync::Arc;

/// A square block, row by row: displacements first, then rotations if there are any.
pub type Square<const R: usize> = [[f64; R]; R];

/// A symmetric matrix of nodes with `R` degrees of freedom each, both halves stored; columns of a row are sorted.
#[derive(Debug, Clone)]
pub struct NodeMatrix<const R: usize> {
    blocks: Csr<Square<R>>,
}

/// Cholesky roots L of the diagonal blocks L Lᵀ that [`NodeMatrix::normalise`] divided by, and their inverses.
pub(crate) struct Roots<const R: usize> {
    pub(crate) roots: Vec<Square<R>>,
    pub(crate) inverses: Vec<Square<R>>,
}

impl<const R: usize> NodeMatrix<R> {
    fn zeros(pattern: &Pattern) -> Self {
        NodeMatrix {
            blocks: Csr::new(
                pattern.starts().to_vec(),
                pattern.columns().to_vec(),
                vec![[[0.0; R]; R]; pattern.len()],
            ),
        }
    }

    /// A matrix from its blocks.
    pub(crate) fn from_csr(blocks: Csr<Square<R>>) -> Self {
        NodeMatrix { blocks }
    }

    /// The matrix in compressed rows.
    pub(crate) fn csr(&self) -> &Csr<Square<R>> {
        &self.blocks
    }

    /// Assembly on a pattern of nodes. Rows are dealt out to the threads; `add` adds the blocks of its rows, in an order that must
    /// not depend on the rows it was given.
    pub fn assembled(
        team: &Team,
        pattern: &Pattern,
        add: impl Fn(&mut NodeRows<'_, R>) + Sync + Send,
    ) -> Self {
        let mut matrix = Self::zeros(pattern);
        let (starts, columns, mut rest) = matrix.blocks.split_mut();
        let mut jobs = vec![];
        for nodes in team.deal(starts) {
            let (values, later) = rest.split_at_mut(starts[nodes.end] - starts[nodes.start]);
            jobs.push(NodeRows {
                starts,
                columns,
                nodes,
                values,
            });
            rest = later;
        }
        team.each(jobs, |mut job| {
            write_over(job.values, [[0.0; R]; R]);
            add(&mut job);
        });
        matrix
    }

    /// Number of blocks.
    pub fn len(&self) -> usize {
        self.blocks.len()
    }

    /// Is there no block?
    pub fn is_empty(&self) -> bool {
        self.blocks.is_empty()
    }

    /// Bytes held.
    pub fn bytes(&self) -> u64 {
        self.blocks.bytes()
    }

    /// Number of nodes.
    pub fn nodes(&self) -> usize {
        self.blocks.rows()
    }

    /// Blocks of a row, the diagonal one included, with their columns.
    #[inline(always)]
    pub fn row(&self, i: usize) -> impl Iterator<Item = (u32, &Square<R>)> {
        self.blocks.row(i)
    }

    /// Symmetric block-Jacobi scaling A ← L⁻¹ A L⁻ᵀ, L the Cholesky roots of the diagonal blocks, which become units. Degrees of
    /// freedom without any stiffness get a unit on the diagonal first.
    ///
    /// # Errors
    /// The node whose block has no root.
    pub(crate) fn normalise(&mut self, team: &Team) -> Result<Roots<R>, usize> {
        let nodes = self.nodes();
        let mut out = Roots {
            roots: Vec::with_capacity(nodes),
            inverses: Vec::with_capacity(nodes),
        };
        let (starts, columns, values) = self.blocks.split_mut();
        for i in 0..nodes {
            let of_row = &columns[starts[i]..starts[i + 1]];
            let at = of_row.partition_point(|j| (*j as usize) < i);
            let own = &mut values[starts[i] + at];
            for c in 0..R {
                if own[c].iter().all(|v| *v == 0.0) {
                    own[c][c] = 1.0;
                }
            }
            let root = root(own).ok_or(i)?;
            let inverse = root.solve_lower_triangular(&SMatrix::identity());
            out.inverses.push(square(&inverse.ok_or(i)?));
            out.roots.push(square(&root));
        }
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
}

impl NodeMatrix<6> {
    /// A ← A + C for blocks C of both halves, two block rows and two columns a node; blocks outside the pattern are left out.
    pub fn add_blocks(&mut self, added: &AddedBlocks) {
        for (i, j, b) in added.entries() {
            let Some(at) = self.blocks.find(i as usize / 2, j / 2) else {
                continue;
            };
            let to = &mut self.blocks.split_mut().2[at];
            for r in 0..3 {
                for c in 0..3 {
                    to[3 * (i as usize % 2) + r][3 * (j as usize % 2) + c] += b[r][c];
                }
            }
        }
    }

    /// The pattern by block rows of three, two a node.
    pub(crate) fn pattern(&self) -> Pattern {
        let mut starts = vec![0];
        let mut columns = Vec::with_capacity(4 * self.blocks.len());
        for i in 0..self.nodes() {
            for _ in 0..2 {
                let row = self.blocks.columns_of(i).iter();
                columns.extend(row.flat_map(|j| [2 * j, 2 * j + 1]));
                starts.push(columns.len());
            }
        }
        Pattern::new(starts, columns)
    }

    /// The same matrix by block rows of three, its upper half stored.
    pub(crate) fn blocks(&self, pattern: &Arc<Pattern>) -> SymmetricBlocks {
        let mut matrix = SymmetricBlocks::zeros(Arc::clone(pattern));
        let mut to = matrix.upper.iter_mut();
        for i in 0..self.nodes() {
            for half in 0..2 {
                let blocks = self
                    .row(i)
                    .flat_map(|(j, a)| [0, 1].map(|k| (2 * j as usize + k, part(a, half, k))));
                let upper = blocks.filter(|(column, _)| *column >= 2 * i + half);
                for ((_, block), to) in upper.zip(&mut to) {
                    *to = block;
                }
            }
        }
        matrix
    }
}

impl NodeMatrix<3> {
    /// A block matrix with both halves stored.
    pub fn of(team: &Team, matrix: &SymmetricBlocks) -> Self {
        let pattern = &matrix.pattern;
        let mut out = Self::zeros(pattern);
        let (starts, _, values) = out.blocks.split_mut();
        for_chunks(team, starts, values, |rows, values| {
            let first = starts[rows.start];
            for i in rows {
                let mut to = values[starts[i] - first..starts[i + 1] - first].iter_mut();
                for (at, to) in pattern.mirror_row(i).iter().zip(&mut to) {
                    *to = transposed(&matrix.upper[*at as usize]);
                }
                let from = &matrix.upper[pattern.upper_starts()[i]..];
                to.zip(from).for_each(|(to, from)| *to = *from);
            }
        });
        out
    }
}

/// Rows of a matrix under assembly.
#[derive(Debug)]
pub struct NodeRows<'a, const R: usize> {
    starts: &'a [usize],
    columns: &'a [u32],
    nodes: Range<usize>,
    values: &'a mut [Square<R>],
}

impl<const R: usize> NodeRows<'_, R> {
    /// Is a node's row among the rows?
    pub fn contains(&self, node: u32) -> bool {
        self.nodes.contains(&(node as usize))
    }

    /// Block (i, j); none where the pattern has no such block.
    pub fn block(&mut self, i: u32, j: u32) -> Option<&mut Square<R>> {
        let range = self.starts[i as usize]..self.starts[i as usize + 1];
        let at = self.columns[range.clone()].binary_search(&j).ok()?;
        let first = self.starts[self.nodes.start];
        self.values.get_mut(range.start + at - first)
    }
}

/// A 3 × 3 block of a larger one.
#[inline(always)]
pub(crate) fn part<const R: usize, const C: usize>(
    a: &[[f64; C]; R],
    half: usize,
    column: usize,
) -> Block<f64> {
    [0, 1, 2].map(|r| [0, 1, 2].map(|c| a[3 * half + r][3 * column + c]))
}

/// Works on the values of fixed chunks of rows, side by side.
pub(crate) fn for_chunks<T: Send>(
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

/// The unit block.
pub(crate) fn unit<const R: usize>() -> Square<R> {
    let mut one = [[0.0; R]; R];
    for c in 0..R {
        one[c][c] = 1.0;
    }
    one
}

/// Cholesky root L of A = L Lᵀ; `None` where a pivot is not positive, or nothing but rounding.
fn root<const R: usize>(a: &Square<R>) -> Option<SMatrix<f64, R, R>> {
    let root = SMatrix::<f64, R, R>::from(*a).cholesky()?.unpack();
    let is_sound = |j: usize| root[(j, j)].powi(2) > 1e-14 * a[j][j];
    (0..R).all(is_sound).then_some(root)
}

/// A matrix of nalgebra row by row.
fn square<const R: usize>(m: &SMatrix<f64, R, R>) -> Square<R> {
    m.transpose().into()
}

/// L A, for L a lower triangle.
#[inline(always)]
pub(crate) fn from_left<const R: usize>(l: &Square<R>, a: &Square<R>) -> Square<R> {
    let mut out = [[0.0; R]; R];
    for r in 0..R {
        for k in 0..=r {
            for c in 0..R {
                out[r][c] += l[r][k] * a[k][c];
            }
        }
    }
    out
}

/// A Lᵀ, for L a lower triangle.
#[inline(always)]
pub(crate) fn from_right<const R: usize, const C: usize>(
    a: &[[f64; C]; R],
    l: &Square<C>,
) -> [[f64; C]; R] {
    let mut out = [[0.0; C]; R];
    for r in 0..R {
        for c in 0..C {
            for k in 0..=c {
                out[r][c] += a[r][k] * l[c][k];
            }
        }
    }
    out
}

/// Lᵀ A, for L a lower triangle.
pub(crate) fn transposed_from_left(l: &Square<6>, a: &Square<6>) -> Square<6> {
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
pub(crate) fn transposed<const R: usize>(a: &Square<R>) -> Square<R> {
    let mut out = [[0.0; R]; R];
    for r in 0..R {
        for c in 0..R {
            out[c][r] = a[r][c];
        }
    }
    out
}
