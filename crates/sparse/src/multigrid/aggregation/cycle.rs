//! Smoothed aggregation: the level of corners, which move and turn, where a factor of it would not fit.
//!
//! Groups of nodes move rigidly, their edges smoothed by one damped Jacobi step (Vaněk, Mandel and Brezina
//! 1996, Computing 56:179, with the six rigid motions as the near null space), and groups of groups, until few are
//! left, whose matrix is factored. Every level is smoothed before and after like the quadratic one. The unknowns of
//! every node are scaled such that its own block is a unit.

use crate::matrix::node_blocks::NodeBlocks;
use crate::matrix::node_matrix::{
    NodeMatrix, Square, for_chunks, from_right, part, transposed_from_left,
};
use crate::matrix::product::Order;
use crate::multigrid::aggregation::aggregates::{Aggregates, RigidMotions, group_motions};
use crate::multigrid::aggregation::coupling::{ByGroup, Motions, between_groups, smoothed};
use crate::multigrid::chebyshev::{self, Chebyshev, Workspace};
use crate::simd::columns::{CHUNK, add};
use crate::simd::kernel::{Hot, Real, dispatch};
use crate::{Analysis, Block, BlockCholesky, NodeColumns, SparseError, Team};
use std::sync::Arc;

/// Degree of the nodes' smoother, and of the groups' below nodes that only move and below such that turn
/// (docs/performance.md).
const DEGREE: usize = 3;
const BELOW_MOVING: usize = 5;
const BELOW_TURNING: usize = 2;
/// Damping of the prolongation's smoothing step, over the largest eigenvalue (Vaněk et al. 1996).
const DAMPING: f64 = 4.0 / 3.0;
/// Nodes of a group; those left over may join beyond. Larger groups make a smaller level below, but miss more of
/// the slow motions (docs/performance.md): of nodes that only move,
const MOVING: usize = 14;
/// of nodes that turn as well,
const TURNING: usize = 8;
/// and of groups.
const GROUPED: usize = 8;
/// The matrix between so many groups is factored.
const FACTORED: usize = 600;

/// Groups that a thread takes up together.
const GROUPS: usize = 64;

/// The level of corners, solved approximately by one symmetric cycle.
#[derive(Debug)]
pub(crate) struct Aggregation {
    finest: Finest,
    /// Groups, and groups of groups.
    levels: Vec<Level<6>>,
    /// Of the last groups.
    coarse: BlockCholesky<f32>,
}

/// The corners' own level.
#[derive(Debug)]
enum Finest {
    /// They only move.
    Moving(Scaled<3>),
    /// They move and turn.
    Turning(Scaled<6>),
}

/// A level with L⁻¹ of each node's own block L Lᵀ.
#[derive(Debug)]
struct Scaled<const R: usize> {
    level: Level<R>,
    scales: Vec<[[f32; R]; R]>,
}

/// A level of nodes with `R` unknowns and what it gives to the next.
#[derive(Debug)]
struct Level<const R: usize> {
    smoother: Chebyshev<NodeBlocks<R>>,
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

    /// The block rows of each node; the groups' unknowns scaled by the roots of their own blocks.
    fn by_row<const R: usize>(team: &Team, motions: &Motions<R>, groups: &[Square<6>]) -> Self {
        let of_nodes: Vec<usize> = motions.starts.iter().map(|s| R / 3 * s).collect();
        let mut starts = vec![0];
        for own in of_nodes.windows(2) {
            let length = (own[1] - own[0]) / (R / 3);
            starts.extend((1..=R / 3).map(|half| own[0] + half * length));
        }
        let mut entries = vec![(0, [[[0.0; 3]; 3]; 2]); R / 3 * motions.entries.len()];
        for_chunks(team, &of_nodes, &mut entries, |nodes, entries| {
            dispatch(Halve {
                motions,
                groups,
                nodes,
                entries,
            });
        });
        Rows { starts, entries }
    }

    /// The block rows that each group moves.
    fn by_group<const R: usize>(team: &Team, by_row: &Rows, by_group: &ByGroup) -> Self {
        let starts = by_group.starts.iter().map(|s| R / 3 * s).collect();
        let groups = by_group.starts.len() - 1;
        let chunks = team.collect(groups.div_ceil(CHUNK), |chunk| {
            let mut entries = vec![];
            for g in chunk * CHUNK..((chunk + 1) * CHUNK).min(groups) {
                for i in by_group.nodes(g) {
                    for row in R / 3 * i as usize..R / 3 * (i as usize + 1) {
                        let mut own = by_row.row(row).iter().filter(|(h, _)| *h as usize == g);
                        entries.extend(own.next().map(|(_, moves)| (row as u32, *moves)));
                    }
                }
            }
            entries
        });
        let entries = chunks.concat();
        Rows { starts, entries }
    }
}

/// Rounds motions, three rows at a time.
struct Halve<'a, const R: usize> {
    motions: &'a Motions<R>,
    groups: &'a [Square<6>],
    nodes: std::ops::Range<usize>,
    entries: &'a mut [(u32, [Block<f32>; 2])],
}

impl<const R: usize> Hot for Halve<'_, R> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let mut rest = self.entries;
        for i in self.nodes {
            let row = self.motions.row(i);
            let (now, later) = rest.split_at_mut(R / 3 * row.len());
            rest = later;
            for (k, (g, p)) in row.iter().enumerate() {
                let scaled = from_right(p, &self.groups[*g as usize]);
                for half in 0..R / 3 {
                    now[half * row.len() + k] = (*g, halves(&scaled, half));
                }
            }
        }
    }
}

/// Three rows, as two blocks side by side.
#[inline(always)]
fn halves<const R: usize>(a: &[[f64; 6]; R], half: usize) -> [Block<f32>; 2] {
    [0, 1].map(|k| part(a, half, k).map(|r| r.map(|v| v as f32)))
}

const UNIT: Block<f64> = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

fn not_positive(row: usize) -> SparseError {
    SparseError::NotPositiveDefinite { row }
}

/// What a level hands down: the matrix between its groups, normalised, how they are grouped further, and their rigid
/// motions.
struct Below {
    nodes: NodeMatrix<6>,
    aggregates: Aggregates,
    rigid: RigidMotions<6>,
}

impl<const R: usize> Level<R> {
    /// From a matrix with unit blocks on its diagonal.
    fn new(
        team: &Team,
        nodes: &NodeMatrix<R>,
        aggregates: &Aggregates,
        rigid: &RigidMotions<R>,
        degree: usize,
    ) -> Result<(Self, Below), SparseError> {
        let rounded = NodeBlocks::rounded(team, nodes);
        let units = std::iter::repeat_n(&UNIT, rounded.rows());
        let smoother = Chebyshev::new(team, rounded, units, degree)?;
        let (motions, mut of_groups) = group_motions(team, aggregates, rigid);
        let damping = DAMPING / smoother.largest();
        let by_node = smoothed(team, nodes, aggregates, &motions, damping);
        let by_group = by_node.by_group(aggregates.count);
        let mut between = between_groups(team, nodes, &by_node, &by_group);
        let further = Aggregates::form(&between, GROUPED);
        let roots = between.normalise(team).map_err(|_| not_positive(0))?;
        for (motions, root) in of_groups.of_node.iter_mut().zip(&roots.roots) {
            *motions = transposed_from_left(root, motions);
        }
        let by_row = Rows::by_row(team, &by_node, &roots.inverses);
        let level = Level {
            smoother,
            by_group: Rows::by_group::<R>(team, &by_row, &by_group),
            by_row,
        };
        let below = Below {
            nodes: between,
            aggregates: further,
            rigid: of_groups,
        };
        Ok((level, below))
    }

    fn bytes(&self) -> u64 {
        self.smoother.bytes()
            + self.smoother.matrix().bytes()
            + (self.by_row.bytes() + self.by_group.bytes()) as u64
    }
}

impl Aggregation {
    /// Groups nodes that only move; `places`: where they lie, mm.
    ///
    /// # Errors
    /// [`SparseError::NotPositiveDefinite`], with row 0 when it is not the finest level that meets it.
    pub(crate) fn moving(
        team: &Team,
        nodes: NodeMatrix<3>,
        places: Vec<[f64; 3]>,
    ) -> Result<Self, SparseError> {
        let (finest, below) = Scaled::new(team, nodes, places, MOVING)?;
        Self::deeper(team, Finest::Moving(finest), below, BELOW_MOVING)
    }

    /// Groups nodes that move and turn; `places`: where they lie, mm.
    ///
    /// # Errors
    /// As [`Aggregation::moving`].
    pub(crate) fn turning(
        team: &Team,
        nodes: NodeMatrix<6>,
        places: Vec<[f64; 3]>,
    ) -> Result<Self, SparseError> {
        let (finest, below) = Scaled::new(team, nodes, places, TURNING)?;
        Self::deeper(team, Finest::Turning(finest), below, BELOW_TURNING)
    }

    /// Groups of groups, until few are left.
    fn deeper(
        team: &Team,
        finest: Finest,
        mut below: Below,
        degree: usize,
    ) -> Result<Self, SparseError> {
        let mut levels = vec![];
        while below.nodes.nodes() > FACTORED {
            let Below {
                nodes,
                aggregates,
                rigid,
            } = &below;
            let (level, next) = Level::new(team, nodes, aggregates, rigid, degree)?;
            // Groups that do not become fewer would go on for ever.
            if next.nodes.nodes() == below.nodes.nodes() {
                break;
            }
            levels.push(level);
            below = next;
        }
        let pattern = Arc::new(below.nodes.pattern());
        let coarse = Analysis::of(&pattern)
            .factor(team, &below.nodes.blocks(&pattern))
            .map_err(|e| match e {
                SparseError::NotPositiveDefinite { .. } => not_positive(0),
                other => other,
            })?;
        Ok(Aggregation {
            finest,
            levels,
            coarse,
        })
    }

    /// Bytes held.
    pub(crate) fn bytes(&self) -> u64 {
        let finest = match &self.finest {
            Finest::Moving(finest) => finest.bytes(),
            Finest::Turning(finest) => finest.bytes(),
        };
        finest + self.levels.iter().map(Level::bytes).sum::<u64>() + self.coarse.bytes()
    }

    /// Bytes of a level of so many nodes with `R` unknowns and so many couplings: about, since the groups are not known
    /// yet.
    pub(crate) fn bytes_for<const R: usize>(nodes: usize, blocks: usize) -> u64 {
        /// Groups that a node's motions belong to, and what the groups' own levels add, as measured on the demo
        /// constructs.
        const GROUPS_NEAR: usize = 5;
        let deeper = if R == 3 { 2.0 } else { 1.7 };
        let motions = 2 * (R / 3) * nodes * GROUPS_NEAR * 76;
        let finest =
            chebyshev::bytes_for(R / 3 * nodes) + (motions + (4 * R * R + 4) * blocks) as u64;
        (4 * R * R * nodes) as u64 + (deeper * finest as f64) as u64
    }

    /// x ← one symmetric cycle on x.
    pub(crate) fn solve<const W: usize>(&self, team: &Team, x: &mut [NodeColumns<f64, W>]) {
        match &self.finest {
            Finest::Moving(finest) => self.solve_from(team, finest, x),
            Finest::Turning(finest) => self.solve_from(team, finest, x),
        }
    }

    fn solve_from<const R: usize, const W: usize>(
        &self,
        team: &Team,
        finest: &Scaled<R>,
        x: &mut [NodeColumns<f64, W>],
    ) {
        let mut work = Workspace::new(x.len());
        finest.scale(team, x, &mut work.side, false);
        self.cycle(team, &finest.level, &self.levels, &mut work);
        finest.scale(team, &work.solution, x, true);
    }

    /// One cycle from a level on, on `work.side`; the result is `work.solution`.
    fn cycle<const R: usize, const W: usize>(
        &self,
        team: &Team,
        level: &Level<R>,
        deeper: &[Level<6>],
        work: &mut Workspace<W>,
    ) {
        level.smoother.smooth_from_zero(team, work);
        let groups = 2 * level.by_group.count();
        let mut below = Workspace::new(groups);
        level.restrict(team, &work.residual, &mut below.side);
        if let Some((next, deeper)) = deeper.split_first() {
            self.cycle(team, next, deeper, &mut below);
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

impl<const R: usize> Scaled<R> {
    /// Groups nodes, so many of them together.
    fn new(
        team: &Team,
        mut nodes: NodeMatrix<R>,
        places: Vec<[f64; 3]>,
        members: usize,
    ) -> Result<(Self, Below), SparseError> {
        let aggregates = Aggregates::form(&nodes, members);
        let roots = nodes.normalise(team).map_err(|i| not_positive(R / 3 * i))?;
        // In the scaled unknowns, Lᵀ times the node's own motions; one that does not turn has no rotations.
        let rigid_of = |l: &Square<R>| {
            let mut of = [[0.0; 6]; R];
            for r in 0..R {
                for c in 0..R {
                    of[r][c] = l[c][r];
                }
            }
            of
        };
        let rigid = RigidMotions {
            places,
            of_node: roots.roots.iter().map(rigid_of).collect(),
        };
        let (level, below) = Level::new(team, &nodes, &aggregates, &rigid, DEGREE)?;
        let single = |l: &Square<R>| l.map(|r| r.map(|v| v as f32));
        let scales = roots.inverses.iter().map(single).collect();
        Ok((Scaled { level, scales }, below))
    }

    /// L⁻¹ x or, `transposed`, L⁻ᵀ x.
    fn scale<T: Real, U: Real, const W: usize>(
        &self,
        team: &Team,
        from: &[NodeColumns<T, W>],
        to: &mut [NodeColumns<U, W>],
        transposed: bool,
    ) {
        let jobs: Vec<_> = to
            .chunks_mut(R / 3 * CHUNK)
            .zip(from.chunks(R / 3 * CHUNK))
            .zip(self.scales.chunks(CHUNK))
            .collect();
        team.each(jobs, |((to, from), scales)| {
            dispatch(Scale {
                to,
                from,
                scales,
                transposed,
            });
        });
    }

    fn bytes(&self) -> u64 {
        self.level.bytes() + (4 * R * R * self.scales.capacity()) as u64
    }
}

impl<const R: usize> Level<R> {
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
type Pair<const W: usize> = [NodeColumns<f32, W>; 2];

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

/// L⁻¹ x or L⁻ᵀ x, node by node.
struct Scale<'a, T, U, const R: usize, const W: usize> {
    to: &'a mut [NodeColumns<U, W>],
    from: &'a [NodeColumns<T, W>],
    scales: &'a [[[f32; R]; R]],
    transposed: bool,
}

impl<T: Real, U: Real, const R: usize, const W: usize> Hot for Scale<'_, T, U, R, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let nodes = self.to.chunks_mut(R / 3).zip(self.from.chunks(R / 3));
        for ((to, from), scale) in nodes.zip(self.scales) {
            let mut out = [[0.0f32; W]; R];
            for r in 0..R {
                for c in 0..R {
                    let factor = if self.transposed {
                        scale[c][r]
                    } else {
                        scale[r][c]
                    };
                    for k in 0..W {
                        let x = from[c / 3][c % 3][k].to_f64() as f32;
                        out[r][k] = factor.times_plus::<FUSED>(x, out[r][k]);
                    }
                }
            }
            for r in 0..R {
                to[r / 3][r % 3] = out[r].map(|v| U::from_f64(f64::from(v)));
            }
        }
    }
}

struct Restrict<'a, const W: usize> {
    by_group: &'a Rows,
    first: usize,
    fine: &'a [NodeColumns<f32, W>],
    groups: &'a mut [Pair<W>],
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
    groups: &'a [Pair<W>],
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
    use crate::matrix::node_matrix::unit;
    use crate::{Pattern, SymmetricBlocks};
    use nalgebra::{DMatrix, DVector};

    /// A lattice of beams, held at one end: its matrix, and where the nodes lie.
    fn lattice() -> (NodeMatrix<6>, Vec<[f64; 3]>) {
        let size = [8, 5, 4];
        let places: Vec<[f64; 3]> = (0..size[0] * size[1] * size[2])
            .map(|n| [n % size[0], n / size[0] % size[1], n / size[0] / size[1]].map(|i| i as f64))
            .collect();
        let apart = |i: usize, j: usize| [0, 1, 2].map(|c| places[j][c] - places[i][c]);
        let near = |i: usize, j: usize| apart(i, j).iter().all(|d| d.abs() < 1.5);
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

    fn dense_nodes<const R: usize>(a: &NodeMatrix<R>) -> DMatrix<f64> {
        let mut out = DMatrix::zeros(R * a.nodes(), R * a.nodes());
        for i in 0..a.nodes() {
            for (j, b) in a.row(i) {
                for x in 0..R * R {
                    out[(R * i + x / R, R * j as usize + x % R)] = b[x / R][x % R];
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
        let aggregates = Aggregates::form(&nodes, 8);
        assert!((5..50).contains(&aggregates.count), "{}", aggregates.count);
        let rigid = RigidMotions {
            of_node: vec![unit::<6>(); places.len()],
            places,
        };
        let (motions, _) = group_motions(&team, &aggregates, &rigid);
        let by_node = smoothed(&team, &nodes, &aggregates, &motions, 0.7);
        let by_group = by_node.by_group(aggregates.count);
        let between = dense_nodes(&between_groups(&team, &nodes, &by_node, &by_group));
        let wide = |value: &dyn Fn(usize) -> Vec<(u32, Square<6>)>| {
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
            of_node: vec![unit::<6>(); places.len()],
            places: places.clone(),
        };
        let first = Aggregates::form(&nodes, 8);
        let (motions, groups) = group_motions(&Team::new(1), &first, &rigid);
        // All groups as one: its orthonormal motions, brought down to the nodes, are rigid, too.
        let all = Aggregates {
            of_node: vec![0; first.count],
            count: 1,
        };
        let (of_groups, whole) = group_motions(&Team::new(1), &all, &groups);
        let centre = whole.places[0];
        for (i, x) in places.iter().enumerate() {
            let g = first.of_node[i] as usize;
            let turn = DVector::from_vec(vec![0.2, -0.1, 0.3]);
            let slide = [1.0, 2.0, -0.5];
            let asked = DVector::from_fn(6, |k, _| if k < 3 { slide[k] } else { turn[k - 3] });
            let matrix = |m: &Square<6>| DMatrix::from_fn(6, 6, |r, c| m[r][c]);
            let got =
                matrix(&motions[i]) * matrix(&of_groups[g]) * matrix(&whole.of_node[0]) * asked;
            for c in 0..3 {
                let (p, q) = ((c + 1) % 3, (c + 2) % 3);
                let d = [0, 1, 2].map(|k| x[k] - centre[k]);
                let expected = slide[c] + turn[p] * d[q] - turn[q] * d[p];
                assert!((got[c] - expected).abs() < 1e-10, "{i} {c}");
                assert!((got[3 + c] - turn[c]).abs() < 1e-10);
            }
        }
    }

    /// A lattice of springs, held at one end: nodes that only move.
    fn springs() -> (NodeMatrix<3>, Vec<[f64; 3]>) {
        let (beams, places) = lattice();
        let mut matrix = SymmetricBlocks::zeros(Arc::new(pattern_of(&beams)));
        let pattern = Arc::clone(&matrix.pattern);
        for i in 0..places.len() {
            let held = if places[i][0] == 0.0 { 1.0 } else { 0.0 };
            (0..3).for_each(|c| matrix.upper[pattern.upper_starts()[i]][c][c] += held);
            for j in pattern.upper_row(i).iter().map(|j| *j as usize).skip(1) {
                let d = [0, 1, 2].map(|c| places[j][c] - places[i][c]);
                let length: f64 = d.iter().map(|d| d * d).sum();
                let is_stiff = places[i][1] == 2.0 && places[j][1] == 2.0;
                let k = if is_stiff { 100.0 } else { 1.0 } / length;
                for x in 0..9 {
                    let (r, c) = (x / 3, x % 3);
                    matrix.upper[pattern.upper_starts()[i]][r][c] += k * d[r] * d[c];
                    matrix.upper[pattern.upper_starts()[j]][r][c] += k * d[r] * d[c];
                    let at = pattern.upper_at(i, j).unwrap();
                    matrix.upper[at][r][c] -= k * d[r] * d[c];
                }
            }
        }
        (NodeMatrix::of(&Team::new(2), &matrix), places)
    }

    fn pattern_of<const R: usize>(a: &NodeMatrix<R>) -> Pattern {
        Pattern::new(a.starts.clone(), a.columns.clone())
    }

    fn check_cycle<const R: usize>(a: &NodeMatrix<R>, level: &Aggregation, least_allowed: f64) {
        let n = R * a.nodes();
        let mut cycle = DMatrix::zeros(n, n);
        for k in 0..n {
            let mut x = vec![[[0.0; 1]; 3]; n / 3];
            x[k / 3][k % 3][0] = 1.0;
            level.solve(&Team::new(1), &mut x);
            for r in 0..n {
                cycle[(r, k)] = x[r / 3][r % 3][0];
            }
        }
        let off = (&cycle - cycle.transpose()).amax() / cycle.amax();
        assert!(off < 1e-4, "{off}");
        // Eigenvalues of M⁻¹A by those of LᵀM⁻¹L, A = L Lᵀ.
        let l = dense_nodes(a).cholesky().unwrap().l();
        let symmetric = (&cycle + cycle.transpose()) * 0.5;
        let eigenvalues = (l.transpose() * symmetric * l).symmetric_eigenvalues();
        let (least, most) = (eigenvalues.min(), eigenvalues.max());
        assert!(least > least_allowed && most < 1.05, "{least} {most}");
    }

    #[test]
    fn the_cycle_is_symmetric_positive_and_contracts() {
        let team = Team::new(1);
        let (a, places) = lattice();
        let level = Aggregation::turning(&team, a.clone(), places).unwrap();
        check_cycle(&a, &level, 0.2);
        let (a, places) = springs();
        let level = Aggregation::moving(&team, a.clone(), places).unwrap();
        check_cycle(&a, &level, 0.2);
    }
}
