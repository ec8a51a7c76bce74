//! Smoothed aggregation: what stands for the linear level's factor where that would not fit.
//!
//! Groups of nodes move rigidly, their edges smoothed by one damped Jacobi step (Vaněk, Mandel and Brezina
//! 1996, Computing 56:179, with the six rigid motions as the near null space). The matrix between the groups,
//! some ten times smaller, is factored; the linear level is smoothed before and after like the
//! quadratic one.

use crate::aggregates::{Aggregates, Motions, rigid_motions};
use crate::chebyshev::{self, Chebyshev, Workspace};
use crate::columns::{CHUNK, add_rounded, convert};
use crate::kernel::{Hot, Real, dispatch};
use crate::matrix::Order;
use crate::{
    Analysis, Block, BlockCholesky, FullBlocks, NodeColumns, Pattern, SparseError, SymmetricBlocks,
    Team,
};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Degree of the smoother on the linear level: of 3 to 6 the fastest (docs/performance.md).
const DEGREE: usize = 5;
/// Damping of the prolongation's smoothing step, over the largest eigenvalue (Vaněk et al. 1996).
const DAMPING: f64 = 4.0 / 3.0;

/// Groups that a thread takes up together.
const GROUPS: usize = 64;

/// The linear level, solved approximately by one symmetric cycle.
#[derive(Debug)]
pub(crate) struct Aggregation {
    smoother: Chebyshev<FullBlocks<f32>>,
    /// Displacement of each row under the motions of each group near it.
    by_row: Rows,
    /// The same by group.
    by_group: Rows,
    coarse: BlockCholesky<f32>,
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

    fn bytes(&self) -> usize {
        8 * self.starts.capacity()
            + self.entries.capacity() * std::mem::size_of::<(u32, [Block<f32>; 2])>()
    }
}

impl Aggregation {
    /// Groups the rows of a matrix; `places`: where its nodes lie, mm.
    ///
    /// # Errors
    /// [`SparseError::NotPositiveDefinite`], with row 0 when it is the factor that meets it.
    pub(crate) fn new(
        team: &Team,
        matrix: &SymmetricBlocks,
        places: &[[f64; 3]],
    ) -> Result<Self, SparseError> {
        let rounded = FullBlocks::rounded(team, matrix);
        let diagonal = (0..matrix.rows()).map(|row| matrix.diagonal(row));
        let smoother = Chebyshev::new(team, rounded, diagonal, DEGREE)?;
        let full = FullBlocks::<f64>::rounded(team, matrix);
        let aggregates = Aggregates::form(&full);
        let motions = rigid_motions(&aggregates, places);
        let by_row = smoothed(team, &full, &aggregates, &motions, smoother.largest());
        let by_group = turned_round(&by_row, aggregates.count);
        let between = between_groups(team, &full, &by_row, &by_group);
        let coarse = Analysis::of(&between.pattern)
            .factor(team, &between)
            .map_err(|e| match e {
                SparseError::NotPositiveDefinite { .. } => {
                    SparseError::NotPositiveDefinite { row: 0 }
                }
                other => other,
            })?;
        Ok(Aggregation {
            smoother,
            by_row,
            by_group,
            coarse,
        })
    }

    /// Bytes held.
    pub(crate) fn bytes(&self) -> u64 {
        self.smoother.bytes()
            + self.smoother.matrix().bytes()
            + (self.by_row.bytes() + self.by_group.bytes()) as u64
            + self.coarse.bytes()
    }

    /// Bytes of a level of so many rows and couplings: about, since the groups are not known yet.
    pub(crate) fn bytes_for(rows: usize, blocks: usize) -> u64 {
        /// Groups that a row's motions belong to, as measured on the demo constructs.
        const GROUPS_NEAR: usize = 5;
        chebyshev::bytes_for(rows) + (2 * rows * GROUPS_NEAR * 76 + 2 * 36 * blocks) as u64
    }

    /// x ← one symmetric cycle on x.
    pub(crate) fn solve<const W: usize>(&self, team: &Team, x: &mut [NodeColumns<f64, W>]) {
        let mut work = Workspace::new(x.len());
        work.load(team, x);
        self.smoother.smooth_from_zero(team, &mut work);
        let mut groups = vec![[[0.0; W]; 3]; 2 * (self.by_group.starts.len() - 1)];
        self.restrict(team, &work.residual, &mut groups);
        self.coarse.solve(team, &mut groups);
        self.prolong(team, &groups, &mut work);
        self.smoother.smooth_on(team, &mut work);
        convert(team, &work.solution, x);
    }

    fn restrict<const W: usize>(
        &self,
        team: &Team,
        fine: &[NodeColumns<f32, W>],
        groups: &mut [NodeColumns<f64, W>],
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
        groups: &[NodeColumns<f64, W>],
        work: &mut Workspace<W>,
    ) {
        let jobs: Vec<_> = work.solution.chunks_mut(CHUNK).enumerate().collect();
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

struct Restrict<'a, const W: usize> {
    by_group: &'a Rows,
    first: usize,
    fine: &'a [NodeColumns<f32, W>],
    groups: &'a mut [[NodeColumns<f64, W>; 2]],
}

impl<const W: usize> Hot for Restrict<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (g, to) in (self.first..).zip(self.groups) {
            let mut sums = [[[0.0; W]; 3]; 2];
            for (i, motions) in self.by_group.row(g) {
                let from = &self.fine[*i as usize];
                for half in 0..2 {
                    for r in 0..3 {
                        for c in 0..3 {
                            let (b, sum) = (f64::from(motions[half][r][c]), &mut sums[half][c]);
                            for k in 0..W {
                                sum[k] = b.times_plus::<FUSED>(f64::from(from[r][k]), sum[k]);
                            }
                        }
                    }
                }
            }
            *to = sums;
        }
    }
}

struct Prolong<'a, const W: usize> {
    by_row: &'a Rows,
    first: usize,
    groups: &'a [[NodeColumns<f64, W>; 2]],
    solution: &'a mut [NodeColumns<f32, W>],
}

impl<const W: usize> Hot for Prolong<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (i, solution) in (self.first..).zip(self.solution) {
            let mut sum = [[0.0; W]; 3];
            for (g, motions) in self.by_row.row(i) {
                let from = &self.groups[*g as usize];
                for half in 0..2 {
                    for r in 0..3 {
                        for c in 0..3 {
                            let b = f64::from(motions[half][r][c]);
                            for k in 0..W {
                                sum[r][k] = b.times_plus::<FUSED>(from[half][c][k], sum[r][k]);
                            }
                        }
                    }
                }
            }
            add_rounded(solution, &sum);
        }
    }
}

/// P = T − ω D⁻¹ A T, row by row, for T the groups' own motions.
fn smoothed(
    team: &Team,
    matrix: &FullBlocks<f64>,
    aggregates: &Aggregates,
    motions: &[Motions],
    largest: f64,
) -> Rows {
    let pattern = &matrix.pattern;
    let rows = team.collect(pattern.rows(), |i| {
        let from = pattern.starts()[i];
        let mut sums: BTreeMap<u32, Motions> = BTreeMap::new();
        let mut own = nalgebra::Matrix3::identity();
        for (j, a) in pattern.row(i).iter().zip(&matrix.values[from..]) {
            if *j as usize == i {
                own = nalgebra::Matrix3::from(*a).transpose();
            }
            let to = sums.entry(aggregates.of_row[*j as usize]).or_default();
            for (to, t) in to.iter_mut().zip(&motions[*j as usize]) {
                add_product(to, a, t, 1.0);
            }
        }
        let inverse = own.try_inverse().unwrap_or_default();
        let inverse: Block<f64> = [0, 1, 2].map(|r| [0, 1, 2].map(|c| inverse[(r, c)]));
        let mut row: Vec<(u32, [Block<f32>; 2])> = vec![];
        for (g, sum) in sums {
            let mut p = if g == aggregates.of_row[i] {
                motions[i]
            } else {
                Motions::default()
            };
            for (p, s) in p.iter_mut().zip(&sum) {
                add_product(p, &inverse, s, -DAMPING / largest);
            }
            row.push((g, p.map(|b| b.map(|r| r.map(|v| v as f32)))));
        }
        row
    });
    let mut starts = vec![0];
    let mut entries = Vec::with_capacity(rows.iter().map(Vec::len).sum());
    for row in rows {
        entries.extend(row);
        starts.push(entries.len());
    }
    Rows { starts, entries }
}

/// to += factor · a b.
fn add_product(to: &mut Block<f64>, a: &Block<f64>, b: &Block<f64>, factor: f64) {
    for r in 0..3 {
        for k in 0..3 {
            for c in 0..3 {
                to[r][c] += factor * a[r][k] * b[k][c];
            }
        }
    }
}

fn turned_round(by_row: &Rows, groups: usize) -> Rows {
    let mut starts = vec![0; groups + 1];
    for (g, _) in &by_row.entries {
        starts[*g as usize + 1] += 1;
    }
    for g in 0..groups {
        starts[g + 1] += starts[g];
    }
    let mut next = starts.clone();
    let mut entries = vec![(0, [[[0.0; 3]; 3]; 2]); by_row.entries.len()];
    for i in 0..by_row.starts.len() - 1 {
        for (g, motions) in by_row.row(i) {
            entries[next[*g as usize]] = (i as u32, *motions);
            next[*g as usize] += 1;
        }
    }
    Rows { starts, entries }
}

/// A block between two groups: 6 × 6.
type Pair = [[f64; 6]; 6];

/// PᵀAP, two block rows a group. Motions that a group does not have get a unit diagonal.
fn between_groups(
    team: &Team,
    matrix: &FullBlocks<f64>,
    by_row: &Rows,
    by_group: &Rows,
) -> SymmetricBlocks {
    let groups = by_group.starts.len() - 1;
    let upper = team.collect(groups, |g| coupling_of_group(matrix, by_row, by_group, g));
    let mut near: Vec<Vec<u32>> = vec![vec![]; groups];
    for (g, row) in upper.iter().enumerate() {
        for h in row.keys() {
            near[g].push(*h);
            if *h as usize != g {
                near[*h as usize].push(g as u32);
            }
        }
    }
    let mut starts = vec![0];
    let mut columns = vec![];
    for row in &mut near {
        row.sort_unstable();
        for _ in 0..2 {
            columns.extend(row.iter().flat_map(|h| [2 * h, 2 * h + 1]));
            starts.push(columns.len());
        }
    }
    let mut between = SymmetricBlocks::zeros(Arc::new(Pattern::new(starts, columns)));
    let pattern = Arc::clone(&between.pattern);
    for (g, row) in upper.into_iter().enumerate() {
        for (h, pair) in row {
            for (a, b) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
                let Some(at) = pattern.upper_at(2 * g + a, 2 * h as usize + b) else {
                    continue;
                };
                between.upper[at] =
                    [0, 1, 2].map(|r| [0, 1, 2].map(|c| pair[3 * a + r][3 * b + c]));
            }
        }
    }
    let largest = |b: &Block<f64>| (0..3).map(|c| b[c][c]).fold(0.0, f64::max);
    for row in 0..2 * groups {
        let twin = &between.upper[pattern.upper_starts()[row & !1]];
        let unit = largest(twin);
        let own = &mut between.upper[pattern.upper_starts()[row]];
        for c in 0..3 {
            if own[c][c] <= 0.0 {
                own[c][c] = unit;
            }
        }
    }
    between
}

/// Row g of PᵀAP on and above the diagonal.
fn coupling_of_group(
    matrix: &FullBlocks<f64>,
    by_row: &Rows,
    by_group: &Rows,
    g: usize,
) -> BTreeMap<u32, Pair> {
    // Pᵀ A, for this group: 6 × 3 by fine row.
    let mut forces: BTreeMap<u32, [[f64; 3]; 6]> = BTreeMap::new();
    for (i, motions) in by_group.row(g) {
        let from = matrix.pattern.starts()[*i as usize];
        let row = matrix.pattern.row(*i as usize);
        for (j, a) in row.iter().zip(&matrix.values[from..]) {
            let to = forces.entry(*j).or_default();
            for m in 0..6 {
                for r in 0..3 {
                    let p = f64::from(motions[m / 3][r][m % 3]);
                    for c in 0..3 {
                        to[m][c] += p * a[r][c];
                    }
                }
            }
        }
    }
    let mut out: BTreeMap<u32, Pair> = BTreeMap::new();
    for (j, force) in &forces {
        for (h, motions) in by_row.row(*j as usize) {
            if (*h as usize) < g {
                continue;
            }
            let to = out.entry(*h).or_default();
            for m in 0..6 {
                for n in 0..6 {
                    for c in 0..3 {
                        to[m][n] += force[m][c] * f64::from(motions[n / 3][c][n % 3]);
                    }
                }
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A lattice of springs, held at one end.
    fn lattice() -> (SymmetricBlocks, Vec<[f64; 3]>) {
        let size = [7usize, 4, 3];
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
        let mut a = SymmetricBlocks::zeros(Arc::new(Pattern::new(starts, columns)));
        let pattern = Arc::clone(&a.pattern);
        for i in 0..places.len() {
            for c in 0..3 {
                let ground = if i % size[0] == 0 { 1.0 } else { 0.0 };
                a.upper[pattern.upper_starts()[i]][c][c] += ground;
            }
            for j in (i + 1..places.len()).filter(|j| near(i, *j)) {
                let d = apart(i, j);
                let length: f64 = d.iter().map(|d| d * d).sum();
                // A column of stiff springs among soft ones.
                let stiff = if places[i][1] == 2.0 && places[j][1] == 2.0 {
                    100.0
                } else {
                    1.0
                };
                for r in 0..3 {
                    for c in 0..3 {
                        let k = stiff * d[r] * d[c] / length;
                        a.upper[pattern.upper_starts()[i]][r][c] += k;
                        a.upper[pattern.upper_starts()[j]][r][c] += k;
                        let at = pattern.upper_at(i, j).unwrap();
                        a.upper[at][r][c] -= k;
                    }
                }
            }
        }
        (a, places)
    }

    fn dense(a: &SymmetricBlocks) -> nalgebra::DMatrix<f64> {
        let n = a.rows();
        nalgebra::DMatrix::from_fn(3 * n, 3 * n, |r, c| {
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

    #[test]
    fn the_matrix_between_groups_is_the_projected_one() {
        let (a, places) = lattice();
        let team = Team::new(1);
        let full = FullBlocks::<f64>::rounded(&team, &a);
        let aggregates = Aggregates::form(&full);
        assert!(
            aggregates.count > 2 && aggregates.count < 30,
            "{}",
            aggregates.count
        );
        let motions = rigid_motions(&aggregates, &places);
        let by_row = smoothed(&team, &full, &aggregates, &motions, 2.0);
        let by_group = turned_round(&by_row, aggregates.count);
        let between = dense(&between_groups(&team, &full, &by_row, &by_group));
        let p = {
            let mut p = nalgebra::DMatrix::zeros(3 * places.len(), 6 * aggregates.count);
            for i in 0..places.len() {
                for (g, m) in by_row.row(i) {
                    for r in 0..3 {
                        for c in 0..6 {
                            p[(3 * i + r, 6 * *g as usize + c)] = f64::from(m[c / 3][r][c % 3]);
                        }
                    }
                }
            }
            p
        };
        let projected = p.transpose() * dense(&a) * &p;
        let scale = projected.amax();
        for (x, y) in projected.iter().zip(&between) {
            // Groups too small for all motions have a unit in place of nought.
            assert!((x - y).abs() < 1e-10 * scale || *x == 0.0, "{x} {y}");
        }
    }

    #[test]
    fn the_cycle_is_symmetric_positive_and_contracts() {
        let (a, places) = lattice();
        let team = Team::new(1);
        let level = Aggregation::new(&team, &a, &places).unwrap();
        let n = 3 * places.len();
        let mut cycle = nalgebra::DMatrix::zeros(n, n);
        for k in 0..n {
            let mut x = vec![[[0.0; 1]; 3]; places.len()];
            x[k / 3][k % 3][0] = 1.0;
            level.solve(&team, &mut x);
            for r in 0..n {
                cycle[(r, k)] = x[r / 3][r % 3][0];
            }
        }
        let off = (&cycle - cycle.transpose()).amax() / cycle.amax();
        assert!(off < 1e-4, "{off}");
        // Eigenvalues of M⁻¹A by those of LᵀM⁻¹L, A = L Lᵀ.
        let l = dense(&a).cholesky().unwrap().l();
        let symmetric = (&cycle + cycle.transpose()) * 0.5;
        let eigenvalues = (l.transpose() * symmetric * l).symmetric_eigenvalues();
        let (least, most) = (eigenvalues.min(), eigenvalues.max());
        assert!(least > 0.2 && most < 1.05, "{least} {most}");
    }
}
