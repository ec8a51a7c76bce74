//! The matrix between groups of nodes: P = T − ω A T from the groups' own motions T, and PᵀAP.

use crate::Team;
use crate::matrix::node_matrix::{NodeMatrix, Square};
use crate::multigrid::aggregation::aggregates::Aggregates;
use crate::simd::kernel::{Hot, Real, dispatch};
use std::ops::Range;

/// Nodes or groups that a thread takes up together.
pub(crate) const TOGETHER: usize = 128;

/// What a node does under each of six unit motions.
pub(crate) type Moves<const R: usize> = [[f64; 6]; R];

/// Motions of nodes under unit motions of groups, row by row.
#[derive(Debug)]
pub(crate) struct Motions<const R: usize> {
    pub(crate) starts: Vec<usize>,
    pub(crate) entries: Vec<(u32, Moves<R>)>,
}

impl<const R: usize> Motions<R> {
    pub(crate) fn row(&self, i: usize) -> &[(u32, Moves<R>)] {
        &self.entries[self.starts[i]..self.starts[i + 1]]
    }

    /// Which entries belong to each group: (node, place in `entries`).
    pub(crate) fn by_group(&self, groups: usize) -> ByGroup {
        let mut starts = vec![0; groups + 1];
        for (g, _) in &self.entries {
            starts[*g as usize + 1] += 1;
        }
        for g in 0..groups {
            starts[g + 1] += starts[g];
        }
        let mut next = starts.clone();
        let mut entries = vec![(0, 0); self.entries.len()];
        for i in 0..self.starts.len() - 1 {
            for at in self.starts[i]..self.starts[i + 1] {
                let next = &mut next[self.entries[at].0 as usize];
                entries[*next] = (i as u32, at as u32);
                *next += 1;
            }
        }
        ByGroup { starts, entries }
    }
}

/// Entries of [`Motions`] by group.
#[derive(Debug)]
pub(crate) struct ByGroup {
    pub(crate) starts: Vec<usize>,
    entries: Vec<(u32, u32)>,
}

impl ByGroup {
    /// Nodes that a group moves.
    pub(crate) fn nodes(&self, group: usize) -> impl Iterator<Item = u32> {
        let own = self.entries[self.starts[group]..self.starts[group + 1]].iter();
        own.map(|(i, _)| *i)
    }

    pub(crate) fn row<'a, const R: usize>(
        &self,
        motions: &'a Motions<R>,
        group: usize,
    ) -> impl Iterator<Item = (u32, &'a Moves<R>)> {
        let own = self.entries[self.starts[group]..self.starts[group + 1]].iter();
        own.map(|(i, at)| (*i, &motions.entries[*at as usize].1))
    }
}

/// P = T − ω A T by node; `matrix` has unit diagonal blocks.
pub(crate) fn smoothed<const R: usize>(
    team: &Team,
    matrix: &NodeMatrix<R>,
    aggregates: &Aggregates,
    motions: &[Moves<R>],
    damping: f64,
) -> Motions<R> {
    let chunks = team.collect(matrix.nodes().div_ceil(TOGETHER), |chunk| {
        let mut rows = (vec![], Vec::with_capacity(8 * TOGETHER));
        dispatch(Smooth {
            matrix,
            aggregates,
            motions,
            damping,
            nodes: chunk * TOGETHER..((chunk + 1) * TOGETHER).min(matrix.nodes()),
            lengths: &mut rows.0,
            entries: &mut rows.1,
        });
        rows
    });
    let mut out = Motions {
        starts: Vec::with_capacity(matrix.nodes() + 1),
        entries: Vec::with_capacity(chunks.iter().map(|c| c.1.len()).sum()),
    };
    out.starts.push(0);
    let mut end = 0;
    for (lengths, entries) in chunks {
        out.starts.extend(lengths.into_iter().map(|length| {
            end += length;
            end
        }));
        out.entries.extend(entries);
    }
    out
}

struct Smooth<'a, const R: usize> {
    matrix: &'a NodeMatrix<R>,
    aggregates: &'a Aggregates,
    motions: &'a [Moves<R>],
    damping: f64,
    nodes: Range<usize>,
    lengths: &'a mut Vec<usize>,
    entries: &'a mut Vec<(u32, Moves<R>)>,
}

impl<const R: usize> Hot for Smooth<'_, R> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for i in self.nodes {
            let own = self.aggregates.of_node[i];
            let first = self.entries.len();
            self.entries.push((own, self.motions[i]));
            for (j, a) in self.matrix.row(i) {
                let group = self.aggregates.of_node[j as usize];
                let met = self.entries[first..].iter().position(|(g, _)| *g == group);
                let at = met.unwrap_or_else(|| {
                    self.entries.push((group, [[0.0; 6]; R]));
                    self.entries.len() - 1 - first
                });
                let t = &self.motions[j as usize];
                add_product::<R, FUSED>(&mut self.entries[first + at].1, -self.damping, a, t);
            }
            self.lengths.push(self.entries.len() - first);
        }
    }
}

/// PᵀAP.
pub(crate) fn between_groups<const R: usize>(
    team: &Team,
    matrix: &NodeMatrix<R>,
    by_node: &Motions<R>,
    by_group: &ByGroup,
) -> NodeMatrix<6> {
    let groups = by_group.starts.len() - 1;
    let chunks = team.collect(groups.div_ceil(TOGETHER), |chunk| {
        let mut rows = vec![];
        dispatch(Couple {
            matrix,
            by_node,
            by_group,
            groups: chunk * TOGETHER..((chunk + 1) * TOGETHER).min(groups),
            rows: &mut rows,
        });
        rows
    });
    let upper: Vec<Vec<(u32, Square<6>)>> = chunks.into_iter().flatten().collect();
    let mut starts = vec![0; groups + 1];
    for (g, row) in upper.iter().enumerate() {
        for (h, _) in row {
            starts[*h as usize + 1] += 1;
            if *h as usize != g {
                starts[g + 1] += 1;
            }
        }
    }
    for g in 0..groups {
        starts[g + 1] += starts[g];
    }
    let mut out = NodeMatrix {
        columns: vec![0; starts[groups]],
        values: vec![[[0.0; 6]; 6]; starts[groups]],
        starts,
    };
    // Rows come in order, so that each row gets its lower half, in order, before its upper one.
    let mut next = out.starts.clone();
    for (g, row) in (0u32..).zip(&upper) {
        for (h, pair) in row {
            let at = next[g as usize];
            next[g as usize] += 1;
            (out.columns[at], out.values[at]) = (*h, *pair);
            if *h != g {
                let at = next[*h as usize];
                next[*h as usize] += 1;
                out.columns[at] = g;
                for r in 0..6 {
                    for c in 0..6 {
                        out.values[at][c][r] = pair[r][c];
                    }
                }
            }
        }
    }
    out
}

/// to += factor · a b, row by row in registers.
#[inline(always)]
fn add_product<const R: usize, const FUSED: bool>(
    to: &mut Moves<R>,
    factor: f64,
    a: &Square<R>,
    b: &Moves<R>,
) {
    for r in 0..R {
        let mut row = to[r];
        for k in 0..R {
            let v = factor * a[r][k];
            for c in 0..6 {
                row[c] = v.times_plus::<FUSED>(b[k][c], row[c]);
            }
        }
        to[r] = row;
    }
}

/// to += aᵀ b, row by row in registers.
#[inline(always)]
fn add_transposed<const R: usize, const C: usize, const FUSED: bool>(
    to: &mut Moves<C>,
    a: &[[f64; C]; R],
    b: &Moves<R>,
) {
    for r in 0..C {
        let mut row = to[r];
        for k in 0..R {
            for c in 0..6 {
                row[c] = a[k][r].times_plus::<FUSED>(b[k][c], row[c]);
            }
        }
        to[r] = row;
    }
}

/// Rows of PᵀAP on and above the diagonal.
struct Couple<'a, const R: usize> {
    matrix: &'a NodeMatrix<R>,
    by_node: &'a Motions<R>,
    by_group: &'a ByGroup,
    groups: Range<usize>,
    rows: &'a mut Vec<Vec<(u32, Square<6>)>>,
}

/// Not met yet.
const NONE: u32 = u32::MAX;

impl<const R: usize> Hot for Couple<'_, R> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let mut of_node = vec![NONE; self.matrix.nodes()];
        let mut of_group = vec![NONE; self.by_group.starts.len() - 1];
        // (P of the group)ᵀ A, by node, turned round: forces at a node, by motion.
        let mut forces: Vec<(u32, Moves<R>)> = vec![];
        for g in self.groups {
            forces.clear();
            for (i, p) in self.by_group.row(self.by_node, g) {
                for (j, a) in self.matrix.row(i as usize) {
                    let place = &mut of_node[j as usize];
                    if *place == NONE {
                        *place = forces.len() as u32;
                        forces.push((j, [[0.0; 6]; R]));
                    }
                    // A is symmetric: its block (i, j) turned round is the one of (j, i).
                    add_transposed::<_, _, FUSED>(&mut forces[*place as usize].1, a, p);
                }
            }
            let mut row: Vec<(u32, Square<6>)> = vec![];
            for (j, force) in &forces {
                of_node[*j as usize] = NONE;
                for (h, p) in self.by_node.row(*j as usize) {
                    if (*h as usize) < g {
                        continue;
                    }
                    let place = &mut of_group[*h as usize];
                    if *place == NONE {
                        *place = row.len() as u32;
                        row.push((*h, [[0.0; 6]; 6]));
                    }
                    add_transposed::<_, _, FUSED>(&mut row[*place as usize].1, force, p);
                }
            }
            for (h, _) in &row {
                of_group[*h as usize] = NONE;
            }
            row.sort_unstable_by_key(|(h, _)| *h);
            self.rows.push(row);
        }
    }
}
