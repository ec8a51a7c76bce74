//! The stiffness matrix and its coarse companion, summed in a fixed order.

use crate::element::{Element, Stiffness, coarse_part, linear_part, place};
use crate::numbering::{NO_ROW, Numbering};
use bicolumn_model::Problem;
use bicolumn_sparse::columns::write_over;
use bicolumn_sparse::{Block, Pattern, SymmetricBlocks, Team};
use std::ops::Range;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

/// The fine matrix (free nodes) and PᵀKP on the corners.
#[derive(Debug)]
pub struct Assembled {
    /// Quadratic level.
    pub fine: SymmetricBlocks,
    /// Linear level.
    pub coarse: SymmetricBlocks,
}

/// A tetrahedron whose Jacobian is not positive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct InvertedTet(pub usize);

/// Which blocks `K` nodes a tetrahedron couple; `rows` are [`NO_ROW`] where there is none.
pub fn pattern<const K: usize>(
    team: &Team,
    row_count: usize,
    tets: impl Iterator<Item = [u32; K]> + Clone,
) -> Pattern {
    // Tetrahedra around each row.
    let mut starts = vec![0u32; row_count + 1];
    let rows = tets.clone().flatten().filter(|&r| r != NO_ROW);
    rows.for_each(|r| starts[r as usize + 1] += 1);
    for i in 0..row_count {
        starts[i + 1] += starts[i];
    }
    let mut around = vec![[NO_ROW; K]; starts[row_count] as usize];
    let mut next = starts.clone();
    for tet in tets {
        for &r in tet.iter().filter(|&&r| r != NO_ROW) {
            around[next[r as usize] as usize] = tet;
            next[r as usize] += 1;
        }
    }
    let share = row_count.div_ceil(team.threads()).max(1);
    let pieces = team.collect(row_count.div_ceil(share), |piece| {
        let rows = piece * share..((piece + 1) * share).min(row_count);
        let mut seen = vec![NO_ROW; row_count];
        let mut lengths = Vec::with_capacity(rows.len());
        let mut columns: Vec<u32> = vec![];
        for row in rows {
            let first = columns.len();
            for &column in around[starts[row] as usize..starts[row + 1] as usize].as_flattened() {
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

/// Assembles both levels.
///
/// Rows are dealt out to the threads; each thread walks over all tetrahedra that touch its rows, in mesh
/// order, so every entry is the same sum whatever the number of threads.
///
/// # Errors
/// [`InvertedTet`]: the first one, in mesh order.
pub fn assemble(
    team: &Team,
    problem: &Problem,
    numbering: &Numbering,
) -> Result<Assembled, InvertedTet> {
    let mesh = &problem.mesh;
    let fine_rows = mesh
        .tets
        .iter()
        .map(|t| t.map(|n| numbering.row_of_node[n as usize]));
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
    let corner_rows = corner_rows.chain(farther.iter().copied());
    let (fine, coarse) = (
        pattern(team, numbering.rows(), fine_rows),
        pattern(team, numbering.fine_of_coarse.len(), corner_rows),
    );
    let mut fine = SymmetricBlocks::zeros(Arc::new(fine));
    let mut coarse = SymmetricBlocks::zeros(Arc::new(coarse));
    let failed = AtomicUsize::new(usize::MAX);
    let jobs = deal(team, numbering, &mut fine, &mut coarse);
    team.each(jobs, |mut job| {
        if let Err(InvertedTet(t)) = job.run(problem, numbering) {
            failed.fetch_min(t, Ordering::Relaxed);
        }
    });
    match failed.into_inner() {
        usize::MAX => Ok(Assembled { fine, coarse }),
        t => Err(InvertedTet(t)),
    }
}

/// One thread's rows of both levels.
struct Job<'a> {
    fine: Rows<'a>,
    coarse: Rows<'a>,
}

struct Rows<'a> {
    pattern: Arc<Pattern>,
    rows: Range<usize>,
    first_block: usize,
    blocks: &'a mut [Block<f64>],
}

/// Cuts both matrices at the same places in space, about equal numbers of blocks each.
fn deal<'a>(
    team: &Team,
    numbering: &Numbering,
    fine: &'a mut SymmetricBlocks,
    coarse: &'a mut SymmetricBlocks,
) -> Vec<Job<'a>> {
    let (fine_pattern, coarse_pattern) = (Arc::clone(&fine.pattern), Arc::clone(&coarse.pattern));
    let (mut fine_rest, mut coarse_rest) = (fine.upper.as_mut_slice(), coarse.upper.as_mut_slice());
    let (mut fine_row, mut coarse_row) = (0, 0);
    let threads = team.threads();
    let mut jobs = vec![];
    for k in 1..=threads {
        let target = fine_pattern.upper_len() * k / threads;
        let fine_end = if k == threads {
            fine_pattern.rows()
        } else {
            fine_pattern
                .upper_starts()
                .partition_point(|&s| s < target)
                .clamp(fine_row, fine_pattern.rows())
        };
        let coarse_end = numbering
            .fine_of_coarse
            .partition_point(|&r| (r as usize) < fine_end);
        jobs.push(Job {
            fine: cut(&fine_pattern, &mut fine_rest, fine_row..fine_end),
            coarse: cut(&coarse_pattern, &mut coarse_rest, coarse_row..coarse_end),
        });
        (fine_row, coarse_row) = (fine_end, coarse_end);
    }
    jobs
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

impl Job<'_> {
    fn run(&mut self, problem: &Problem, numbering: &Numbering) -> Result<(), InvertedTet> {
        let mesh = &problem.mesh;
        write_over(self.fine.blocks, [[0.0; 3]; 3]);
        write_over(self.coarse.blocks, [[0.0; 3]; 3]);
        for (t, tet) in mesh.tets.iter().enumerate() {
            let rows = numbering.rows_of(tet);
            let wider = follows_others(numbering, &rows).then(|| coarse_weights(numbering, &rows));
            let is_mine = |r: &u32| self.fine.rows.contains(&(*r as usize));
            let is_mine_below = |w: &CoarseWeights| self.coarse.rows.contains(&(w.row as usize));
            if !rows.iter().any(is_mine) && !wider.iter().flatten().any(is_mine_below) {
                continue;
            }
            let element = Element::new(tet.map(|n| mesh.nodes[n as usize]));
            let stiffness = element
                .stiffness_of(&problem.elasticity_of(t))
                .map_err(|_| InvertedTet(t))?;
            for a in 0..10 {
                for b in a..10 {
                    self.fine.add(rows[a], rows[b], &stiffness[place(a, b)]);
                }
            }
            if let Some(corners) = wider {
                self.add_coarse(&stiffness, &corners);
                continue;
            }
            let corners = [0, 1, 2, 3].map(|c| numbering.coarse_of_node[tet[c] as usize]);
            let linear = linear_part(&stiffness, &rows.map(|r| r != NO_ROW));
            let mut blocks = linear.iter();
            for i in 0..4 {
                for (j, block) in (i..4).zip(&mut blocks) {
                    self.coarse.add(corners[i], corners[j], block);
                }
            }
        }
        Ok(())
    }

    fn add_coarse(&mut self, stiffness: &Stiffness, corners: &[CoarseWeights]) {
        for (k, p) in corners.iter().enumerate() {
            for q in &corners[k..] {
                let block = coarse_part(stiffness, &p.weights, &q.weights);
                self.coarse.add(p.row, q.row, &block);
            }
        }
    }
}

/// A coarse row with its weight in each of a tetrahedron's ten nodes.
struct CoarseWeights {
    row: u32,
    weights: [f64; 10],
}

/// Does a node of the tetrahedron follow anything but the means of its own edges' ends?
fn follows_others(numbering: &Numbering, rows: &[u32; 10]) -> bool {
    let middles = rows[4..].iter().filter(|r| **r != NO_ROW);
    let mut followed = middles.flat_map(|r| numbering.prolongation.row(*r as usize));
    followed.any(|(_, weight)| weight != 0.5)
}

fn coarse_weights(numbering: &Numbering, rows: &[u32; 10]) -> Vec<CoarseWeights> {
    let mut found: Vec<CoarseWeights> = vec![];
    for (a, r) in rows.iter().enumerate().filter(|(_, r)| **r != NO_ROW) {
        for (row, weight) in numbering.prolongation.row(*r as usize) {
            let at = found.iter().position(|w| w.row == row);
            let at = at.unwrap_or_else(|| {
                let weights = [0.0; 10];
                found.push(CoarseWeights { row, weights });
                found.len() - 1
            });
            found[at].weights[a] += weight;
        }
    }
    found
}

/// Couplings of coarse rows, as pairs, that a tetrahedron's corners alone do not give.
fn farther_couplings(numbering: &Numbering, tet: &[u32; 10]) -> Vec<[u32; 4]> {
    let own = [0, 1, 2, 3].map(|c| numbering.coarse_of_node[tet[c] as usize]);
    let all = coarse_weights(numbering, &numbering.rows_of(tet));
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
