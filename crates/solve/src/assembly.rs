//! Assembly in a fixed order: the matrix of the linear level and, for the direct method, the stiffness matrix itself.

use crate::element::{block_of, place, stiffness_from};
use crate::element_kernel::Gradients;
use crate::elements::Elements;
use crate::numbering::{NO_ROW, Numbering};
use bicolumn_base::Vec3;
use bicolumn_model::{Elasticity, Problem};
use bicolumn_sparse::columns::write_over;
use bicolumn_sparse::{
    Block, ConstrainedRows, Csr, Pattern, SymmetricBlocks, Team, projected, projected_diagonal,
};
use std::ops::Range;
use std::sync::Arc;

/// A tetrahedron whose Jacobian is not positive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct InvertedTet(pub usize);

/// Sparsity pattern of nodes that tetrahedra couple, given the `K` rows of each, [`NO_ROW`] where there is none.
pub fn pattern<const K: usize>(
    team: &Team,
    row_count: usize,
    tets: impl Iterator<Item = [u32; K]>,
) -> Pattern {
    // Tetrahedra around each row, in their order.
    let tets: Vec<[u32; K]> = tets.collect();
    let incidences = (0u32..).zip(&tets).flat_map(|(t, tet)| {
        let rows = tet.iter().filter(|r| **r != NO_ROW);
        rows.map(move |r| (*r as usize, t, ()))
    });
    let around = Csr::from_triplets(row_count, incidences);
    let share = row_count.div_ceil(team.threads()).max(1);
    let pieces = team.collect(row_count.div_ceil(share), |piece| {
        let rows = piece * share..((piece + 1) * share).min(row_count);
        let mut seen = vec![NO_ROW; row_count];
        let mut lengths = Vec::with_capacity(rows.len());
        let mut columns: Vec<u32> = vec![];
        for row in rows {
            let first = columns.len();
            let near = around.columns_of(row).iter();
            for &column in near.flat_map(|t| &tets[*t as usize]) {
                if column != NO_ROW && seen[column as usize] != row as u32 {
                    seen[column as usize] = row as u32;
                    columns.push(column);
                }
            }
            columns[first..].sort_unstable();
            lengths.push(columns.len() - first);
        }
        (lengths, columns)
    });
    let mut starts = Vec::with_capacity(row_count + 1);
    starts.push(0);
    let mut columns = Vec::with_capacity(pieces.iter().map(|p| p.1.len()).sum());
    let mut end = 0;
    for (lengths, part) in pieces {
        starts.extend(lengths.into_iter().map(|l| {
            end += l;
            end
        }));
        columns.extend(part);
    }
    Pattern::new(starts, columns)
}

/// The coarse operator PᵀKP of the linear level.
///
/// Rows are dealt out to the threads; each thread walks over all elements that touch its rows, in their order, so
/// every entry is the same sum whatever the number of threads.
pub fn coarse_matrix(
    team: &Team,
    problem: &Problem,
    numbering: &Numbering,
    elements: &Elements,
) -> SymmetricBlocks {
    let mesh = problem.mesh();
    let corner_rows = mesh
        .tets
        .iter()
        .map(|t| [0, 1, 2, 3].map(|c| numbering.coarse_of_node[t[c] as usize]));
    let farther: Vec<[u32; 4]> = mesh
        .tets
        .iter()
        .filter(|t| follows_others(numbering, &numbering.rows_of(t)))
        .flat_map(|t| farther_couplings(numbering, t))
        .collect();
    let couplings = corner_rows.chain(farther.iter().copied());
    let pattern = pattern(team, numbering.fine_of_coarse.len(), couplings);
    assembled(team, pattern, |job| {
        job.add_coarse(problem, numbering, elements)
    })
}

/// The assembled stiffness matrix K of the free nodes.
pub fn fine_matrix(
    team: &Team,
    problem: &Problem,
    numbering: &Numbering,
    elements: &Elements,
) -> SymmetricBlocks {
    let rows = problem.mesh().tets.iter().map(|t| numbering.rows_of(t));
    let pattern = pattern(team, numbering.rows(), rows);
    assembled(team, pattern, |job| {
        job.add_fine(problem, numbering, elements)
    })
}

/// Assembly into a pattern, one range of rows a thread.
fn assembled(
    team: &Team,
    pattern: Pattern,
    add: impl Fn(&mut Rows<'_>) + Sync + Send,
) -> SymmetricBlocks {
    let mut matrix = SymmetricBlocks::zeros(Arc::new(pattern));
    let pattern = Arc::clone(&matrix.pattern);
    let mut rest = matrix.upper.as_mut_slice();
    let rows = team.deal(pattern.upper_starts()).into_iter();
    let jobs = rows.map(|rows| cut(&pattern, &mut rest, rows)).collect();
    team.each(jobs, |mut job| {
        write_over(job.blocks, [[0.0; 3]; 3]);
        add(&mut job);
    });
    matrix
}

/// The rows that a thread assembles.
struct Rows<'a> {
    pattern: Arc<Pattern>,
    rows: Range<usize>,
    first_block: usize,
    blocks: &'a mut [Block<f64>],
}

/// Takes the blocks of `rows` off the front of `rest`.
fn cut<'a>(
    pattern: &Arc<Pattern>,
    rest: &mut &'a mut [Block<f64>],
    rows: Range<usize>,
) -> Rows<'a> {
    let first_block = pattern.upper_starts()[rows.start];
    let count = pattern.upper_starts()[rows.end] - first_block;
    let (now, later) = std::mem::take(rest).split_at_mut(count);
    *rest = later;
    Rows {
        pattern: Arc::clone(pattern),
        rows,
        first_block,
        blocks: now,
    }
}

impl Rows<'_> {
    /// Adds a block at rows (a, b) of the matrix if its upper place is one of these rows.
    #[inline]
    fn add(&mut self, a: u32, b: u32, block: &Block<f64>) {
        let (i, j) = (a.min(b) as usize, a.max(b) as usize);
        if j == NO_ROW as usize || !self.rows.contains(&i) {
            return;
        }
        let Some(at) = self.pattern.upper_at(i, j) else {
            return;
        };
        let to = &mut self.blocks[at - self.first_block];
        for r in 0..3 {
            for c in 0..3 {
                to[r][c] += if a <= b { block[r][c] } else { block[c][r] };
            }
        }
    }
}

impl Rows<'_> {
    fn add_fine(&mut self, problem: &Problem, numbering: &Numbering, elements: &Elements) {
        for e in elements.each() {
            let rows = elements.rows_of(e);
            if !rows.iter().any(|r| self.rows.contains(&(*r as usize))) {
                continue;
            }
            let law = problem.elasticity_of(elements.tet(e));
            let stiffness = stiffness_from(&elements.gradients(e), &law);
            let held = held_components(&numbering.constrained, rows);
            for a in 0..10 {
                for b in a..10 {
                    let block = &stiffness[place(a, b)];
                    match &held {
                        None => self.add(rows[a], rows[b], block),
                        Some(h) if a == b => {
                            self.add(rows[a], rows[b], &projected_diagonal(block, h[a]));
                        }
                        Some(h) => self.add(rows[a], rows[b], &projected(block, h[a], h[b])),
                    }
                }
            }
        }
    }

    fn add_coarse(&mut self, problem: &Problem, numbering: &Numbering, elements: &Elements) {
        let mut weights = vec![];
        for e in elements.each() {
            coarse_weights(numbering, elements.rows_of(e), &mut weights);
            let is_mine = |w: &CoarseWeights| self.rows.contains(&(w.row as usize));
            if !weights.iter().any(is_mine) {
                continue;
            }
            let law = problem.elasticity_of(elements.tet(e));
            let gradients = elements.gradients(e);
            let held = held_components(&numbering.constrained, elements.rows_of(e));
            let coarse = &numbering.coarse_constrained;
            let is_coarse_held = |w: &CoarseWeights| coarse.of(w.row) != [false; 3];
            if held.is_some() || (!coarse.is_empty() && weights.iter().any(is_coarse_held)) {
                let held = held.unwrap_or_default();
                self.add_constrained(numbering, &weights, &held, &gradients, &law);
                continue;
            }
            // Gradients of the coarse shape functions Σ w N on this element, point by point.
            let of_coarse: Vec<Vec<Vec3>> = weights
                .iter()
                .map(|w| {
                    let at = |(_, g): (f64, &[Vec3; 10])| {
                        let used = w.weights.iter().zip(g).filter(|(w, _)| **w != 0.0);
                        used.map(|(w, g)| g * *w).sum()
                    };
                    gradients.signed().map(at).collect()
                })
                .collect();
            for (k, p) in weights.iter().enumerate() {
                for (l, q) in weights.iter().enumerate().skip(k) {
                    let pairs = of_coarse[k].iter().zip(&of_coarse[l]);
                    let pairs = pairs
                        .zip(gradients.signed())
                        .map(|((p, q), (sign, _))| (sign * *p, *q));
                    self.add(p.row, q.row, &block_of(pairs, &law));
                }
            }
        }
    }
}

impl Rows<'_> {
    /// Adds an element some of whose nodes are held in part: M_c Pᵀ M K M P M_c and, for the constrained displacements
    /// of coarse rows, the diagonal of PᵀKP.
    fn add_constrained(
        &mut self,
        numbering: &Numbering,
        weights: &[CoarseWeights],
        held: &[[bool; 3]; 10],
        gradients: &Gradients,
        law: &Elasticity,
    ) {
        // Gradients of what a coarse row's unit motion along a component becomes on this element: of all nodes, or of those
        // that are free along it.
        let moved = |w: &CoarseWeights, component: usize, all: bool| -> Vec<Vec3> {
            let at = |(_, g): (f64, &[Vec3; 10])| {
                let nodes = (0..10).filter(|n| all || !held[*n][component]);
                nodes.map(|n| g[n] * w.weights[n]).sum()
            };
            gradients.signed().map(at).collect()
        };
        let entry = |p: &[Vec3], q: &[Vec3], (r, c): (usize, usize)| {
            let pairs = p.iter().zip(q).zip(gradients.signed());
            block_of(pairs.map(|((p, q), (sign, _))| (sign * *p, *q)), law)[r][c]
        };
        let free: Vec<[Vec<Vec3>; 3]> = weights
            .iter()
            .map(|w| [0, 1, 2].map(|c| moved(w, c, false)))
            .collect();
        for (k, p) in weights.iter().enumerate() {
            let of_p = numbering.coarse_constrained.of(p.row);
            for (l, q) in weights.iter().enumerate().skip(k) {
                let of_q = numbering.coarse_constrained.of(q.row);
                let mut block = [[0.0; 3]; 3];
                for (r, row) in block.iter_mut().enumerate() {
                    for (c, to) in row.iter_mut().enumerate() {
                        if !of_p[r] && !of_q[c] {
                            *to = entry(&free[k][r], &free[l][c], (r, c));
                        } else if k == l && r == c {
                            let all = moved(p, r, true);
                            *to = entry(&all, &all, (r, r));
                        }
                    }
                }
                self.add(p.row, q.row, &block);
            }
        }
    }
}

/// Constrained components of an element's nodes; `None` where there are none.
pub(crate) fn held_components(
    constrained: &ConstrainedRows,
    rows: &[u32; 10],
) -> Option<[[bool; 3]; 10]> {
    if constrained.is_empty() {
        return None;
    }
    let held = rows.map(|r| constrained.of(r));
    (held != [[false; 3]; 10]).then_some(held)
}

/// A coarse row with its weight in each of a tetrahedron's ten nodes.
struct CoarseWeights {
    row: u32,
    weights: [f64; 10],
}

/// Does a node of the tetrahedron follow anything but the means of its own edges' ends?
fn follows_others(numbering: &Numbering, rows: &[u32; 10]) -> bool {
    let middles = rows[4..].iter().filter(|r| **r != NO_ROW);
    let mut followed = middles.flat_map(|r| numbering.prolongation.masters(*r as usize));
    followed.any(|f| f.weight != 0.5)
}

/// The coarse rows that an element's nodes follow.
fn coarse_weights(numbering: &Numbering, rows: &[u32; 10], found: &mut Vec<CoarseWeights>) {
    found.clear();
    for (a, r) in rows.iter().enumerate().filter(|(_, r)| **r != NO_ROW) {
        for follows in numbering.prolongation.masters(*r as usize) {
            let row = follows.node;
            let at = found.iter().position(|w| w.row == row);
            let at = at.unwrap_or_else(|| {
                let weights = [0.0; 10];
                found.push(CoarseWeights { row, weights });
                found.len() - 1
            });
            found[at].weights[a] += f64::from(follows.weight);
        }
    }
}

/// Couplings of coarse rows, as pairs, that a tetrahedron's corners alone do not give.
fn farther_couplings(numbering: &Numbering, tet: &[u32; 10]) -> Vec<[u32; 4]> {
    let own = [0, 1, 2, 3].map(|c| numbering.coarse_of_node[tet[c] as usize]);
    let mut all = vec![];
    coarse_weights(numbering, &numbering.rows_of(tet), &mut all);
    let mut pairs = vec![];
    for (k, p) in all.iter().enumerate() {
        for q in &all[k + 1..] {
            if !(own.contains(&p.row) && own.contains(&q.row)) {
                pairs.push([p.row, q.row, NO_ROW, NO_ROW]);
            }
        }
    }
    pairs
}
