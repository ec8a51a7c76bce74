//! Smoothed aggregation: the level of corners, which move and turn, where a factor of it would not fit.
//!
//! Groups of nodes move rigidly, their edges smoothed by one damped Jacobi step (Vaněk, Mandel and Brezina
//! 1996, Computing 56:179, with the six rigid motions as the near null space), and groups of groups, until few are
//! left, whose matrix is factored. Every level is smoothed before and after like the quadratic one. The unknowns of
//! every node are scaled such that its own block is a unit.

use crate::aggregates::{Aggregates, RigidMotions, group_motions};
use crate::chebyshev::{self, Chebyshev, Workspace};
use crate::columns::{CHUNK, add};
use crate::coupling::{ByGroup, Motions, between_groups, smoothed};
use crate::kernel::{Hot, Real, dispatch};
use crate::matrix::Order;
use crate::node_blocks::NodeBlocks;
use crate::node_matrix::{NodeMatrix, Six, from_right, part, transposed, transposed_from_left};
use crate::{
    Analysis, Block, BlockCholesky, NodeColumns, SparseError, Team,
};
use std::sync::Arc;

/// Degree of the smoother (docs/performance.md).
const DEGREE: usize = 3;
/// Damping of the prolongation's smoothing step, over the largest eigenvalue (Vaněk et al. 1996).
const DAMPING: f64 = 4.0 / 3.0;
/// The matrix between so many groups is factored.
const FACTORED: usize = 600;

/// Groups that a thread takes up together.
const GROUPS: usize = 64;

/// The linear level, solved approximately by one symmetric cycle.
#[derive(Debug)]
pub(crate) struct Aggregation {
    /// L⁻¹ of the finest level's nodes.
    scales: Vec<[Block<f32>; 3]>,
    levels: Vec<Level>,
    /// Of the last groups.
    coarse: BlockCholesky<f32>,
}

/// A level and what it gives to the next.
#[derive(Debug)]
struct Level {
    smoother: Chebyshev<NodeBlocks>,
    /// Displacement of each block row under the motions of each group near it.
    by_row: Rows,
    /// The same by group.
    by_group: Rows,
}

/// Rows of (index, motions).
#[derive(Debug)]
struct Rows {
    starts: Vec<usize>,
    entries: Vec<(u32, [Block<f32>; 2])>,
}

impl Rows {
    fn row(&self, i: usize) -> &[(u32, [Block<f32>; 2])] {
        &self.entries[self.starts[i]..self.starts[i + 1]]
    }

    fn count(&self) -> usize {
        self.starts.len() - 1
    }

    fn bytes(&self) -> usize {
        8 * self.starts.capacity()
            + self.entries.capacity() * std::mem::size_of::<(u32, [Block<f32>; 2])>()
    }

    /// Two block rows of each node; the groups' unknowns scaled by the roots of their own blocks.
    fn by_row(team: &Team, motions: &Motions, groups: &[Six]) -> Self {
        let mut starts = Vec::with_capacity(2 * motions.starts.len() - 1);
        starts.push(0);
        for of_node in motions.starts.windows(2) {
            starts.push(of_node[0] + of_node[1]);
            starts.push(2 * of_node[1]);
        }
        let chunks = team.collect((motions.starts.len() - 1).div_ceil(CHUNK), |chunk| {
            let nodes = chunk * CHUNK..((chunk + 1) * CHUNK).min(motions.starts.len() - 1);
            let mut entries = vec![];
            for i in nodes {
                for half in 0..2 {
                    entries.extend(motions.row(i).iter().map(|(g, p)| {
                        let scaled = from_right(p, &groups[*g as usize]);
                        (*g, halves(&scaled, half))
                    }));
                }
            }
            entries
        });
        let entries = chunks.concat();
        Rows { starts, entries }
    }

    /// The block rows that each group moves.
    fn by_group(team: &Team, motions: &Motions, by_group: &ByGroup, groups: &[Six]) -> Self {
        let starts = by_group.starts.iter().map(|s| 2 * s).collect();
        let chunks = team.collect(groups.len().div_ceil(CHUNK), |chunk| {
            let mut entries = vec![];
            for g in chunk * CHUNK..((chunk + 1) * CHUNK).min(groups.len()) {
                for (i, p) in by_group.row(motions, g) {
                    let scaled = from_right(p, &groups[g]);
                    entries.extend([0, 1].map(|half| (2 * i + half as u32, halves(&scaled, half))));
                }
            }
            entries
        });
        let entries = chunks.concat();
        Rows { starts, entries }
    }
}

/// Three rows, as two blocks side by side.
fn halves(a: &Six, half: usize) -> [Block<f32>; 2] {
    [0, 1].map(|k| part(a, half, k).map(|r| r.map(|v| v as f32)))
}

const UNIT: Block<f64> = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

impl Aggregation {
    /// Groups the nodes of a matrix; `places`: where they lie, mm.
    ///
    /// # Errors
    /// [`SparseError::NotPositiveDefinite`], with row 0 when it is not the finest level that meets it.
    pub(crate) fn new(
        team: &Team,
        mut nodes: NodeMatrix,
        places: Vec<[f64; 3]>,
    ) -> Result<Self, SparseError> {
        let not_positive = |row| SparseError::NotPositiveDefinite { row };
        let mut aggregates = Aggregates::form(&nodes);
        let roots = nodes.normalise(team).map_err(|i| not_positive(2 * i))?;
        let scales = roots.inverses.iter().map(|inverse| {
            let [a, b] = halves(inverse, 1);
            [halves(inverse, 0)[0], a, b]
        });
        let scales = scales.collect();
        let mut rigid = RigidMotions {
            places,
            of_node: roots.roots.iter().map(transposed).collect(),
        };
        let mut levels = vec![];
        loop {
            let rounded = NodeBlocks::rounded(team, &nodes);
            let units = std::iter::repeat_n(&UNIT, rounded.rows());
            let smoother = Chebyshev::new(team, rounded, units, DEGREE)?;
            let (motions, mut of_groups) = group_motions(&aggregates, &rigid);
            let damping = DAMPING / smoother.largest();
            let by_node = smoothed(team, &nodes, &aggregates, &motions, damping);
            let by_group = by_node.by_group(aggregates.count);
            let mut between = between_groups(team, &nodes, &by_node, &by_group);
            aggregates = Aggregates::form(&between);
            let roots = between.normalise(team).map_err(|_| not_positive(0))?;
            for (motions, root) in of_groups.of_node.iter_mut().zip(&roots.roots) {
                *motions = transposed_from_left(root, motions);
            }
            levels.push(Level {
                smoother,
                by_row: Rows::by_row(team, &by_node, &roots.inverses),
                by_group: Rows::by_group(team, &by_node, &by_group, &roots.inverses),
            });
            // Groups that do not become fewer would go on for ever.
            let stuck = between.nodes() == nodes.nodes();
            (nodes, rigid) = (between, of_groups);
            if nodes.nodes() <= FACTORED || stuck {
                break;
            }
        }
        let pattern = Arc::new(nodes.pattern());
        let coarse = Analysis::of(&pattern)
            .factor(team, &nodes.blocks(&pattern))
            .map_err(|e| match e {
                SparseError::NotPositiveDefinite { .. } => not_positive(0),
                other => other,
            })?;
        Ok(Aggregation {
            scales,
            levels,
            coarse,
        })
    }

    /// Bytes held.
    pub(crate) fn bytes(&self) -> u64 {
        let levels = self.levels.iter().map(|level| {
            level.smoother.bytes()
                + level.smoother.matrix().bytes()
                + (level.by_row.bytes() + level.by_group.bytes()) as u64
        });
        108 * self.scales.capacity() as u64 + levels.sum::<u64>() + self.coarse.bytes()
    }

    /// Bytes of a level of so many nodes and couplings: about, since the groups are not known yet.
    pub(crate) fn bytes_for(nodes: usize, blocks: usize) -> u64 {
        /// Groups that a node's motions belong to, and what the groups' own levels add, as measured on the demo
        /// constructs.
        const GROUPS_NEAR: usize = 5;
        const DEEPER: f64 = 1.7;
        let finest = chebyshev::bytes_for(2 * nodes) + (4 * nodes * GROUPS_NEAR * 76 + 148 * blocks) as u64;
        108 * nodes as u64 + (DEEPER * finest as f64) as u64
    }

    /// x ← one symmetric cycle on x.
    pub(crate) fn solve<const W: usize>(&self, team: &Team, x: &mut [NodeColumns<f64, W>]) {
        let mut work = Workspace::new(x.len());
        let jobs: Vec<_> = work
            .side
            .chunks_mut(CHUNK)
            .zip(x.chunks(CHUNK))
            .zip(self.scales.chunks(CHUNK / 2))
            .collect();
        team.each(jobs, |((to, from), scales)| {
            dispatch(Scale {
                to: to.as_chunks_mut::<2>().0,
                from: from.as_chunks::<2>().0,
                scales,
            });
        });
        self.cycle(team, 0, &mut work);
        let jobs: Vec<_> = x
            .chunks_mut(CHUNK)
            .zip(work.solution.chunks(CHUNK))
            .zip(self.scales.chunks(CHUNK / 2))
            .collect();
        team.each(jobs, |((to, from), scales)| {
            dispatch(ScaleBack {
                to: to.as_chunks_mut::<2>().0,
                from: from.as_chunks::<2>().0,
                scales,
            });
        });
    }

    /// One cycle from a level on, on `work.side`; the result is `work.solution`.
    fn cycle<const W: usize>(&self, team: &Team, k: usize, work: &mut Workspace<W>) {
        let level = &self.levels[k];
        level.smoother.smooth_from_zero(team, work);
        let groups = 2 * level.by_group.count();
        let mut below = Workspace::new(groups);
        level.restrict(team, &work.residual, &mut below.side);
        if k + 1 < self.levels.len() {
            self.cycle(team, k + 1, &mut below);
        } else {
            let widened = |v: &NodeColumns<f32, W>| v.map(|r| r.map(f64::from));
            let mut x: Vec<_> = below.side.iter().map(widened).collect();
            self.coarse.solve(team, &mut x);
            for (to, x) in below.solution.iter_mut().zip(&x) {
                *to = x.map(|r| r.map(|v| v as f32));
            }
        }
        level.prolong(team, &below.solution, &mut work.solution);
        level.smoother.smooth_on(team, work);
    }
}

impl Level {
    fn restrict<const W: usize>(
        &self,
        team: &Team,
        fine: &[NodeColumns<f32, W>],
        groups: &mut [NodeColumns<f32, W>],
    ) {
        let jobs: Vec<_> = groups.chunks_mut(2 * GROUPS).enumerate().collect();
        team.each(jobs, |(chunk, groups)| {
            dispatch(Restrict {
                by_group: &self.by_group,
                first: chunk * GROUPS,
                fine,
                groups: groups.as_chunks_mut::<2>().0,
            });
        });
    }

    fn prolong<const W: usize>(
        &self,
        team: &Team,
        groups: &[NodeColumns<f32, W>],
        solution: &mut [NodeColumns<f32, W>],
    ) {
        let jobs: Vec<_> = solution.chunks_mut(CHUNK).enumerate().collect();
        team.each(jobs, |(chunk, solution)| {
            dispatch(Prolong {
                by_row: &self.by_row,
                first: chunk * CHUNK,
                groups: groups.as_chunks::<2>().0,
                solution,
            });
        });
    }
}

/// A node's displacements and rotations.
type Pair<T, const W: usize> = [NodeColumns<T, W>; 2];

/// to += a x.
#[inline(always)]
fn add_product<const W: usize, const FUSED: bool>(
    to: &mut NodeColumns<f32, W>,
    a: &Block<f32>,
    x: &NodeColumns<f32, W>,
) {
    for r in 0..3 {
        for c in 0..3 {
            for k in 0..W {
                to[r][k] = a[r][c].times_plus::<FUSED>(x[c][k], to[r][k]);
            }
        }
    }
}

/// to += aᵀ x.
#[inline(always)]
fn add_transposed<const W: usize, const FUSED: bool>(
    to: &mut NodeColumns<f32, W>,
    a: &Block<f32>,
    x: &NodeColumns<f32, W>,
) {
    for r in 0..3 {
        for c in 0..3 {
            for k in 0..W {
                to[c][k] = a[r][c].times_plus::<FUSED>(x[r][k], to[c][k]);
            }
        }
    }
}

/// L⁻¹ x, rounded.
struct Scale<'a, const W: usize> {
    to: &'a mut [Pair<f32, W>],
    from: &'a [Pair<f64, W>],
    scales: &'a [[Block<f32>; 3]],
}

impl<const W: usize> Hot for Scale<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (to, (from, [a, b, c])) in self.to.iter_mut().zip(self.from.iter().zip(self.scales)) {
            let [u, t] = from.map(|h| h.map(|r| r.map(|v| v as f32)));
            let mut out = [[[0.0; W]; 3]; 2];
            add_product::<W, FUSED>(&mut out[0], a, &u);
            add_product::<W, FUSED>(&mut out[1], b, &u);
            add_product::<W, FUSED>(&mut out[1], c, &t);
            *to = out;
        }
    }
}

/// L⁻ᵀ x.
struct ScaleBack<'a, const W: usize> {
    to: &'a mut [Pair<f64, W>],
    from: &'a [Pair<f32, W>],
    scales: &'a [[Block<f32>; 3]],
}

impl<const W: usize> Hot for ScaleBack<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (to, ([u, t], [a, b, c])) in self.to.iter_mut().zip(self.from.iter().zip(self.scales)) {
            let mut out = [[[0.0; W]; 3]; 2];
            add_transposed::<W, FUSED>(&mut out[0], a, u);
            add_transposed::<W, FUSED>(&mut out[0], b, t);
            add_transposed::<W, FUSED>(&mut out[1], c, t);
            *to = out.map(|h| h.map(|r| r.map(f64::from)));
        }
    }
}

struct Restrict<'a, const W: usize> {
    by_group: &'a Rows,
    first: usize,
    fine: &'a [NodeColumns<f32, W>],
    groups: &'a mut [Pair<f32, W>],
}

impl<const W: usize> Hot for Restrict<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (g, to) in (self.first..).zip(self.groups) {
            let mut sums = [[[0.0; W]; 3]; 2];
            for (i, [a, b]) in self.by_group.row(g) {
                let from = &self.fine[*i as usize];
                add_transposed::<W, FUSED>(&mut sums[0], a, from);
                add_transposed::<W, FUSED>(&mut sums[1], b, from);
            }
            *to = sums;
        }
    }
}

struct Prolong<'a, const W: usize> {
    by_row: &'a Rows,
    first: usize,
    groups: &'a [Pair<f32, W>],
    solution: &'a mut [NodeColumns<f32, W>],
}

impl<const W: usize> Hot for Prolong<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (i, solution) in (self.first..).zip(self.solution) {
            let mut sum = [[0.0; W]; 3];
            for (g, [a, b]) in self.by_row.row(i) {
                let [u, t] = &self.groups[*g as usize];
                add_product::<W, FUSED>(&mut sum, a, u);
                add_product::<W, FUSED>(&mut sum, b, t);
            }
            add(solution, &sum);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::SymmetricBlocks;
    use crate::Pattern;
    use nalgebra::{DMatrix, DVector};
    use crate::matrix::Product;

    /// A lattice of beams, held at one end: its matrix, two block rows a node, and where the nodes lie.
    fn lattice() -> (NodeMatrix, Vec<[f64; 3]>) {
        beams([8, 5, 4], 2.0)
    }

    fn beams(size: [usize; 3], reach: f64) -> (NodeMatrix, Vec<[f64; 3]>) {
        let places: Vec<[f64; 3]> = (0..size[0] * size[1] * size[2])
            .map(|n| [n % size[0], n / size[0] % size[1], n / size[0] / size[1]].map(|i| i as f64))
            .collect();
        let apart = |i: usize, j: usize| [0, 1, 2].map(|c| places[j][c] - places[i][c]);
        let near = |i: usize, j: usize| {
            let d = apart(i, j);
            d.iter().all(|d| d.abs() < 1.5) && d.iter().map(|d| d * d).sum::<f64>() < reach * reach
        };
        let mut starts = vec![0];
        let mut columns = vec![];
        for i in 0..places.len() {
            let row = (0..places.len()).filter(|j| near(i, *j));
            columns.extend(row.map(|j| j as u32));
            starts.push(columns.len());
        }
        let pattern = Pattern::new(starts, columns);
        let matrix = NodeMatrix::assembled(&Team::new(2), &pattern, |rows| {
            for i in 0..places.len() {
                if i % size[0] == 0 && rows.contains(i as u32) {
                    let own = rows.block(i as u32, i as u32).unwrap();
                    (0..6).for_each(|c| own[c][c] += 1.0);
                }
                for j in pattern.upper_row(i).iter().map(|j| *j as usize).skip(1) {
                    let d = apart(i, j);
                    // A row of stiff beams among soft ones.
                    let is_stiff = places[i][1] == 2.0 && places[j][1] == 2.0;
                    let k = if is_stiff { 100.0 } else { 1.0 };
                    // Strains: u_j − u_i − (θ_i + θ_j)/2 × d, and θ_j − θ_i.
                    let mut strains = DMatrix::zeros(6, 12);
                    for c in 0..3 {
                        let (x, y) = ((c + 1) % 3, (c + 2) % 3);
                        for (node, sign) in [(0, -1.0), (1, 1.0)] {
                            strains[(c, 6 * node + c)] = sign;
                            strains[(c, 6 * node + 3 + x)] = -d[y] / 2.0;
                            strains[(c, 6 * node + 3 + y)] = d[x] / 2.0;
                            strains[(3 + c, 6 * node + 3 + c)] = 0.3 * sign;
                        }
                    }
                    let own = strains.transpose() * &strains * k;
                    for (r, row) in [i, j].into_iter().enumerate() {
                        for (c, column) in [i, j].into_iter().enumerate() {
                            if rows.contains(row as u32) {
                                let to = rows.block(row as u32, column as u32).unwrap();
                                for x in 0..36 {
                                    to[x / 6][x % 6] += own[(6 * r + x / 6, 6 * c + x % 6)];
                                }
                            }
                        }
                    }
                }
            }
        });
        (matrix, places)
    }

    fn dense(a: &SymmetricBlocks) -> DMatrix<f64> {
        let n = a.rows();
        DMatrix::from_fn(3 * n, 3 * n, |r, c| {
            let (i, j) = (r / 3, c / 3);
            let (low, high) = (i.min(j), i.max(j));
            let b = a.pattern.upper_at(low, high).map(|at| &a.upper[at]);
            b.map_or(0.0, |b| {
                if i <= j {
                    b[r % 3][c % 3]
                } else {
                    b[c % 3][r % 3]
                }
            })
        })
    }

    fn dense_nodes(a: &NodeMatrix) -> DMatrix<f64> {
        let mut out = DMatrix::zeros(6 * a.nodes(), 6 * a.nodes());
        for i in 0..a.nodes() {
            for (j, b) in a.row(i) {
                for x in 0..36 {
                    out[(6 * i + x / 6, 6 * j as usize + x % 6)] = b[x / 6][x % 6];
                }
            }
        }
        out
    }

    #[test]
    fn the_matrix_between_groups_is_the_projected_one() {
        let (a, places) = lattice();
        let team = Team::new(2);
        let blocks = a.blocks(&Arc::new(a.pattern()));
        assert_eq!(dense_nodes(&a), dense(&blocks));
        let mut nodes = a.clone();
        let roots = nodes.normalise(&team).unwrap();
        let l = {
            let mut l = DMatrix::zeros(6 * places.len(), 6 * places.len());
            for (i, root) in roots.roots.iter().enumerate() {
                for x in 0..36 {
                    l[(6 * i + x / 6, 6 * i + x % 6)] = root[x / 6][x % 6];
                }
            }
            l
        };
        let back = &l * dense_nodes(&nodes) * l.transpose();
        assert!((back - dense_nodes(&a)).amax() < 1e-12 * dense_nodes(&a).amax());
        let aggregates = Aggregates::form(&nodes);
        assert!((5..50).contains(&aggregates.count), "{}", aggregates.count);
        let rigid = RigidMotions {
            of_node: vec![crate::node_matrix::unit(); places.len()],
            places,
        };
        let (motions, _) = group_motions(&aggregates, &rigid);
        let by_node = smoothed(&team, &nodes, &aggregates, &motions, 0.7);
        let by_group = by_node.by_group(aggregates.count);
        let between = dense_nodes(&between_groups(&team, &nodes, &by_node, &by_group));
        let wide = |value: &dyn Fn(usize) -> Vec<(u32, Six)>| {
            let mut p = DMatrix::zeros(6 * motions.len(), 6 * aggregates.count);
            for i in 0..motions.len() {
                for (g, m) in value(i) {
                    for x in 0..36 {
                        p[(6 * i + x / 6, 6 * g as usize + x % 6)] = m[x / 6][x % 6];
                    }
                }
            }
            p
        };
        let t = wide(&|i| vec![(aggregates.of_node[i], motions[i])]);
        let p = wide(&|i| by_node.row(i).to_vec());
        let expected = &t - dense_nodes(&nodes) * &t * 0.7;
        assert!((&p - expected).amax() < 1e-12);
        let projected = p.transpose() * dense_nodes(&nodes) * &p;
        assert!((&projected - between).amax() < 1e-10 * projected.amax());
    }

    #[test]
    fn groups_of_groups_move_rigidly_too() {
        let (nodes, places) = lattice();
        let rigid = RigidMotions {
            of_node: vec![crate::node_matrix::unit(); places.len()],
            places: places.clone(),
        };
        let first = Aggregates::form(&nodes);
        let (motions, groups) = group_motions(&first, &rigid);
        // All groups as one: its orthonormal motions, brought down to the nodes, are rigid, too.
        let all = Aggregates {
            of_node: vec![0; first.count],
            count: 1,
        };
        let (of_groups, whole) = group_motions(&all, &groups);
        let centre = whole.places[0];
        for (i, x) in places.iter().enumerate() {
            let g = first.of_node[i] as usize;
            let turn = DVector::from_vec(vec![0.2, -0.1, 0.3]);
            let slide = [1.0, 2.0, -0.5];
            let asked = DVector::from_fn(6, |k, _| if k < 3 { slide[k] } else { turn[k - 3] });
            let matrix = |m: &Six| DMatrix::from_fn(6, 6, |r, c| m[r][c]);
            let got = matrix(&motions[i]) * matrix(&of_groups[g]) * matrix(&whole.of_node[0]) * asked;
            for c in 0..3 {
                let (p, q) = ((c + 1) % 3, (c + 2) % 3);
                let d = [0, 1, 2].map(|k| x[k] - centre[k]);
                let expected = slide[c] + turn[p] * d[q] - turn[q] * d[p];
                assert!((got[c] - expected).abs() < 1e-10, "{i} {c}");
                assert!((got[3 + c] - turn[c]).abs() < 1e-10);
            }
        }
    }

    #[test]
    fn the_cycle_is_symmetric_positive_and_contracts() {
        let (a, places) = lattice();
        let team = Team::new(1);
        let level = Aggregation::new(&team, a.clone(), places.clone()).unwrap();
        let n = 6 * places.len();
        let mut cycle = DMatrix::zeros(n, n);
        for k in 0..n {
            let mut x = vec![[[0.0; 1]; 3]; 2 * places.len()];
            x[k / 3][k % 3][0] = 1.0;
            level.solve(&team, &mut x);
            for r in 0..n {
                cycle[(r, k)] = x[r / 3][r % 3][0];
            }
        }
        let off = (&cycle - cycle.transpose()).amax() / cycle.amax();
        assert!(off < 1e-4, "{off}");
        // Eigenvalues of M⁻¹A by those of LᵀM⁻¹L, A = L Lᵀ.
        let l = dense_nodes(&a).cholesky().unwrap().l();
        let symmetric = (&cycle + cycle.transpose()) * 0.5;
        let eigenvalues = (l.transpose() * symmetric * l).symmetric_eigenvalues();
        let (least, most) = (eigenvalues.min(), eigenvalues.max());
        assert!(least > 0.2 && most < 1.05, "{least} {most}");
    }

    #[test]
    #[ignore]
    fn tmp_speed() {
        let (a, places) = beams([64, 32, 9], 1.5);
        let team = Team::new(1);
        let t0=std::time::Instant::now(); let tick=|n:&str| eprintln!("{n} {:.1} ms",t0.elapsed().as_secs_f64()*1e3);
        let mut nodes = a.clone();
        tick("of pairs");
        let aggregates = Aggregates::form(&nodes);
        tick("form");
        let roots = nodes.normalise(&team).unwrap();
        tick("normalise");
        let rigid = RigidMotions { places: places.clone(), of_node: roots.roots.iter().map(transposed).collect() };
        let full = NodeBlocks::rounded(&team, &nodes);
        tick("rounded");
        let sm = Chebyshev::new(&team, full, std::iter::repeat_n(&UNIT, 2 * a.nodes()), DEGREE).unwrap();
        tick("lanczos");
        let (motions, _) = group_motions(&aggregates, &rigid);
        tick("motions");
        let by_node = smoothed(&team, &nodes, &aggregates, &motions, 0.5);
        tick("smoothed");
        let by_group = by_node.by_group(aggregates.count);
        tick("turned");
        let between = between_groups(&team, &nodes, &by_node, &by_group);
        tick("between");
        let r = Rows::by_row(&team, &by_node, &vec![crate::node_matrix::unit(); aggregates.count]);
        tick("by row");
        let p = between.pattern();
        tick("pattern");
        eprintln!("{} nodes {} blocks {} entries {} between {}", nodes.nodes(), nodes.values.len(), by_node.entries.len(), between.values.len(), r.entries.len() + p.len());
        let level = Aggregation::new(&team, a.clone(), places.clone()).unwrap();
        tick("all");
        let mut x = vec![[[1.0; 8]; 3]; 2 * a.nodes()];
        level.solve(&team, &mut x);
        let t0=std::time::Instant::now();
        for _ in 0..10 { level.solve(&team, &mut x); }
        eprintln!("cycle {:.2} ms", t0.elapsed().as_secs_f64()*100.0);
        let mut work = Workspace::<8>::new(2 * a.nodes());
        let t0=std::time::Instant::now();
        for _ in 0..10 { sm.smooth_from_zero(&team, &mut work); sm.smooth_on(&team, &mut work); }
        let xx = vec![[[1.0f32; 8]; 3]; 2 * a.nodes()]; let mut yy = xx.clone(); let mut sc = vec![];
        let t1=std::time::Instant::now();
        for _ in 0..10 { sm.matrix().multiply(&team, &xx, &mut sc, &mut yy); }
        eprintln!("product {:.2} ms", t1.elapsed().as_secs_f64()*100.0);
        let xx = vec![[[1.0f32; 1]; 3]; 2 * a.nodes()]; let mut yy = xx.clone(); let mut sc = vec![];
        let t1=std::time::Instant::now();
        for _ in 0..10 { sm.matrix().multiply(&team, &xx, &mut sc, &mut yy); }
        eprintln!("product 1 {:.2} ms", t1.elapsed().as_secs_f64()*100.0);
        eprintln!("sweeps {:.2} ms", t0.elapsed().as_secs_f64()*100.0);
    }
}
