//! The prolongation P between the quadratic and the linear level, u_i = Σ_j (w_ij u_j + θ_j × v_ij), and the restriction Pᵀ.
//!
//! A fine node i follows its master nodes j with weights w. Where these have rotational degrees of freedom θ, each also carries it
//! on a lever arm v. So a linear level comes to bend: between two rotating corners the midside node leaves their mean (Allman
//! 1988, Int J Numer Methods Eng 26:2645). The transpose sums forces r_i at the coarse node: w_ij r_i, and the moment v_ij × r_i.

use crate::csr::Csr;
use crate::simd::columns::{CHUNK, add_rounded};
use crate::simd::kernel::{Kernel, Real, dispatch};
use crate::{Block, ConstrainedRows, NodeColumns, Team, projected};

/// P by fine row and Pᵀ by coarse node. Single precision in memory: coarse operators Pᵀ A P use the same rounded weights.
#[derive(Debug, Clone, PartialEq)]
pub struct Prolongation {
    by_fine: Weights,
    by_coarse: Weights,
    /// Constrained components by fine row.
    fine: ConstrainedRows,
    /// Constrained displacements by coarse node.
    coarse: ConstrainedRows,
}

/// A master node of a fine node: the coarse node, with the weight of its displacement and the lever arm of its rotation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Master {
    /// The coarse node.
    pub node: u32,
    /// Weight w of its displacement.
    pub weight: f32,
    /// Lever arm v of its rotation, θ × v, mm; zero where coarse nodes have no rotations.
    pub arm: [f32; 3],
}

/// The weights of P in compressed rows.
#[derive(Debug, Clone, PartialEq)]
enum Weights {
    /// Coarse nodes that translate.
    Translational(Csr<f32>),
    /// Coarse nodes that also rotate: weights and lever arms.
    Rotational(Csr<(f32, [f32; 3])>),
}

impl Weights {
    fn rows(&self) -> usize {
        match self {
            Weights::Translational(weights) => weights.rows(),
            Weights::Rotational(weights) => weights.rows(),
        }
    }

    /// The masters of a fine row, or the fine rows that follow a coarse node.
    fn row(&self, i: usize) -> impl Iterator<Item = Master> {
        let (plain, armed) = match self {
            Weights::Translational(weights) => (Some(weights.row(i)), None),
            Weights::Rotational(weights) => (None, Some(weights.row(i))),
        };
        let plain = plain.into_iter().flatten().map(|(node, weight)| Master {
            node,
            weight: *weight,
            arm: [0.0; 3],
        });
        let armed = armed.into_iter().flatten();
        let armed = armed.map(|(node, (weight, arm))| Master {
            node,
            weight: *weight,
            arm: *arm,
        });
        plain.chain(armed)
    }

    fn transpose(&self, columns: usize) -> Self {
        match self {
            Weights::Translational(weights) => Weights::Translational(weights.transpose(columns)),
            Weights::Rotational(weights) => Weights::Rotational(weights.transpose(columns)),
        }
    }

    fn bytes(&self) -> u64 {
        match self {
            Weights::Translational(weights) => weights.bytes(),
            Weights::Rotational(weights) => weights.bytes(),
        }
    }
}

/// Compressed rows of the entries that stand for the masters of each fine row.
fn rows<M, T, R: IntoIterator<Item = M>>(
    fine_rows: impl IntoIterator<Item = R>,
    entry: impl Fn(M) -> (u32, T),
) -> Csr<T> {
    let mut weights = Csr::default();
    for row in fine_rows {
        for master in row {
            let (node, weight) = entry(master);
            weights.push(node, weight);
        }
        weights.end_row();
    }
    weights
}

impl Prolongation {
    /// Interpolation from coarse nodes that only translate, given the masters of each fine row with their weights.
    pub fn translational<R: IntoIterator<Item = (u32, f32)>>(
        fine_rows: impl IntoIterator<Item = R>,
        coarse_nodes: usize,
    ) -> Self {
        let weights = rows(fine_rows, |entry| entry);
        Self::new(Weights::Translational(weights), coarse_nodes)
    }

    /// Interpolation from coarse nodes that translate and rotate, two coarse block rows a node, given the masters of each fine row.
    pub fn rotational<R: IntoIterator<Item = Master>>(
        fine_rows: impl IntoIterator<Item = R>,
        coarse_nodes: usize,
    ) -> Self {
        let weights = rows(fine_rows, |m: Master| (m.node, (m.weight, m.arm)));
        Self::new(Weights::Rotational(weights), coarse_nodes)
    }

    fn new(by_fine: Weights, coarse_nodes: usize) -> Self {
        Prolongation {
            by_coarse: by_fine.transpose(coarse_nodes),
            by_fine,
            fine: ConstrainedRows::default(),
            coarse: ConstrainedRows::default(),
        }
    }

    /// M P M_c in place of P, with the projectors M and M_c that zero constrained components of fine rows and constrained
    /// displacements of coarse nodes. Rotations of coarse nodes stay.
    #[must_use]
    pub fn constrained(mut self, fine: ConstrainedRows, coarse: ConstrainedRows) -> Self {
        (self.fine, self.coarse) = (fine, coarse);
        self
    }

    /// Constrained displacements by coarse node.
    pub fn constrained_nodes(&self) -> &ConstrainedRows {
        &self.coarse
    }

    /// The master nodes of a fine row.
    pub fn masters(&self, fine: usize) -> impl Iterator<Item = Master> {
        self.by_fine.row(fine)
    }

    /// Row of P, constraints observed: coarse block rows with their blocks.
    pub fn row(&self, fine: usize) -> impl Iterator<Item = (u32, Block<f64>)> {
        let per_node = if self.has_rotations() { 2 } else { 1 };
        let own = self.fine.of(fine as u32);
        self.masters(fine).flat_map(move |m| {
            let w = f64::from(m.weight);
            let of_displacement = [[w, 0.0, 0.0], [0.0, w, 0.0], [0.0, 0.0, w]];
            let [x, y, z] = m.arm.map(f64::from);
            // θ × v as a matrix times θ.
            let of_rotation = [[0.0, z, -y], [-z, 0.0, x], [y, -x, 0.0]];
            let of_displacement = projected(&of_displacement, own, self.coarse.of(m.node));
            let of_rotation = projected(&of_rotation, own, [false; 3]);
            let rows = [
                (m.node * per_node, of_displacement),
                (m.node * per_node + 1, of_rotation),
            ];
            rows.into_iter().take(per_node as usize)
        })
    }

    /// Do coarse nodes have rotational degrees of freedom?
    pub fn has_rotations(&self) -> bool {
        matches!(self.by_fine, Weights::Rotational(_))
    }

    /// Number of fine rows.
    pub fn fine_rows(&self) -> usize {
        self.by_fine.rows()
    }

    /// Number of coarse block rows: one a node, two if it rotates.
    pub fn coarse_rows(&self) -> usize {
        self.by_coarse.rows() * if self.has_rotations() { 2 } else { 1 }
    }

    /// The fine row that is the same node as a coarse row.
    pub fn fine_of(&self, coarse: usize) -> Option<usize> {
        let is_alone = |fine: usize| self.by_fine.row(fine).count() == 1;
        let node = coarse / if self.has_rotations() { 2 } else { 1 };
        let followers = self.by_coarse.row(node);
        followers
            .filter(|m| m.weight == 1.0)
            .map(|m| m.node as usize)
            .find(|fine| is_alone(*fine))
    }

    /// Bytes held.
    pub fn bytes(&self) -> u64 {
        self.by_fine.bytes() + self.by_coarse.bytes()
    }

    /// coarse = Pᵀ fine; `fine` must vanish where it is constrained.
    pub(crate) fn restrict<const W: usize>(
        &self,
        team: &Team,
        fine: &[NodeColumns<f32, W>],
        coarse: &mut [NodeColumns<f64, W>],
    ) {
        let jobs: Vec<_> = coarse.chunks_mut(CHUNK).enumerate().collect();
        team.each(jobs, |(chunk, coarse)| {
            dispatch(Restrict {
                prolongation: self,
                first: chunk * CHUNK,
                fine,
                coarse,
            });
        });
        self.coarse
            .project_columns(if self.has_rotations() { 2 } else { 1 }, coarse);
    }

    /// solution += P coarse; both must vanish where they are constrained.
    pub(crate) fn prolong<const W: usize>(
        &self,
        team: &Team,
        coarse: &[NodeColumns<f64, W>],
        solution: &mut [NodeColumns<f32, W>],
    ) {
        let jobs: Vec<_> = solution.chunks_mut(CHUNK).enumerate().collect();
        team.each(jobs, |(chunk, solution)| {
            dispatch(Prolong {
                prolongation: self,
                first: chunk * CHUNK,
                coarse,
                solution,
            });
        });
        self.fine.project_columns(1, solution);
    }
}

struct Restrict<'a, const W: usize> {
    prolongation: &'a Prolongation,
    /// First coarse row.
    first: usize,
    fine: &'a [NodeColumns<f32, W>],
    coarse: &'a mut [NodeColumns<f64, W>],
}

impl<const W: usize> Kernel for Restrict<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let weights = match &self.prolongation.by_coarse {
            Weights::Translational(weights) => {
                for (i, to) in (self.first..).zip(self.coarse) {
                    *to = weighted::<f32, W, FUSED>(weights, i, self.fine);
                }
                return;
            }
            Weights::Rotational(weights) => weights,
        };
        for (i, to) in (self.first / 2..).zip(self.coarse.as_chunks_mut::<2>().0) {
            let mut sums = [[[0.0f32; W]; 3]; 2];
            for (at, (weight, arm)) in weights.row(i) {
                let from = &self.fine[at as usize];
                add_scaled::<_, W, FUSED>(&mut sums[0], *weight, from);
                // (θ × v)·r = θ·(v × r).
                add_cross::<_, W, FUSED>(&mut sums[1], arm, from);
            }
            *to = sums.map(|h| h.map(|r| r.map(f64::from)));
        }
    }
}

struct Prolong<'a, const W: usize> {
    prolongation: &'a Prolongation,
    /// First fine row.
    first: usize,
    coarse: &'a [NodeColumns<f64, W>],
    solution: &'a mut [NodeColumns<f32, W>],
}

impl<const W: usize> Kernel for Prolong<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let weights = match &self.prolongation.by_fine {
            Weights::Translational(weights) => {
                for (i, solution) in (self.first..).zip(self.solution) {
                    let sum = weighted::<f64, W, FUSED>(weights, i, self.coarse);
                    add_rounded(solution, &sum);
                }
                return;
            }
            Weights::Rotational(weights) => weights,
        };
        let coarse = self.coarse.as_chunks::<2>().0;
        for (i, solution) in (self.first..).zip(self.solution) {
            let mut sum = [[0.0; W]; 3];
            for (at, (weight, arm)) in weights.row(i) {
                let ([u, t], w) = (&coarse[at as usize], f64::from(*weight));
                add_scaled::<_, W, FUSED>(&mut sum, w, u);
                // θ × v = (−v) × θ.
                add_cross::<_, W, FUSED>(&mut sum, &arm.map(|v| -f64::from(v)), t);
            }
            add_rounded(solution, &sum);
        }
    }
}

/// to += w x.
#[inline(always)]
fn add_scaled<T: Real, const W: usize, const FUSED: bool>(
    to: &mut NodeColumns<T, W>,
    w: T,
    x: &NodeColumns<T, W>,
) {
    for c in 0..3 {
        for k in 0..W {
            to[c][k] = w.times_plus::<FUSED>(x[c][k], to[c][k]);
        }
    }
}

/// to += v × x.
#[inline(always)]
fn add_cross<T: Real, const W: usize, const FUSED: bool>(
    to: &mut NodeColumns<T, W>,
    v: &[T; 3],
    x: &NodeColumns<T, W>,
) {
    for c in 0..3 {
        let (a, b) = ((c + 1) % 3, (c + 2) % 3);
        let minus = T::default() - v[b];
        for k in 0..W {
            let sum = v[a].times_plus::<FUSED>(x[b][k], to[c][k]);
            to[c][k] = minus.times_plus::<FUSED>(x[a][k], sum);
        }
    }
}

/// Σ w x over the entries of a row.
#[inline(always)]
fn weighted<T: Real, const W: usize, const FUSED: bool>(
    weights: &Csr<f32>,
    row: usize,
    values: &[NodeColumns<T, W>],
) -> NodeColumns<f64, W> {
    let mut sum = [[0.0; W]; 3];
    for (at, weight) in weights.row(row) {
        let (from, weight) = (&values[at as usize], f64::from(*weight));
        for c in 0..3 {
            for k in 0..W {
                sum[c][k] = weight.times_plus::<FUSED>(from[c][k].to_f64(), sum[c][k]);
            }
        }
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn restriction_is_the_transpose_of_prolongation() {
        let rows = [
            vec![(0, 1.0)],
            vec![(1, 1.0)],
            vec![(0, 0.5), (1, 0.5)],
            vec![(0, 0.6), (1, 0.5), (2, -0.1)],
            vec![],
            vec![(2, 1.0)],
        ];
        let p = Prolongation::translational(rows, 3);
        assert_eq!((p.fine_rows(), p.coarse_rows()), (6, 3));
        assert_eq!([0, 1, 2].map(|c| p.fine_of(c)), [Some(0), Some(1), Some(5)]);
        let team = Team::new(1);
        let fine: Vec<NodeColumns<f32, 1>> = (0..6)
            .map(|i| [0, 1, 2].map(|c| [(i * i + c) as f32]))
            .collect();
        let coarse: Vec<NodeColumns<f64, 1>> = (0..3)
            .map(|i| [0, 1, 2].map(|c| [1.0 + (3 * i + c) as f64]))
            .collect();
        let mut down = vec![[[0.0; 1]; 3]; 3];
        p.restrict(&team, &fine, &mut down);
        let (mut step, mut solution) = (vec![[[0.0f32; 1]; 3]; 6], vec![[[2.0f32; 1]; 3]; 6]);
        p.prolong(&team, &coarse, &mut step);
        p.prolong(&team, &coarse, &mut solution);
        let flat = |v: &[NodeColumns<f64, 1>]| v.as_flattened().as_flattened().to_vec();
        let inner: f64 = flat(&down)
            .iter()
            .zip(flat(&coarse))
            .map(|(a, b)| a * b)
            .sum();
        let outer: f64 = fine
            .iter()
            .flatten()
            .zip(step.iter().flatten())
            .map(|(a, b)| f64::from(a[0]) * f64::from(b[0]))
            .sum();
        assert!(
            (inner - outer).abs() < 1e-5 * inner.abs(),
            "{inner} {outer}"
        );
        assert_eq!(solution[3][0][0], 2.0 + step[3][0][0]);
    }

    #[test]
    fn a_rotating_node_carries_its_followers_on_lever_arms() {
        let master = |node, weight, arm| Master { node, weight, arm };
        let rows = [
            vec![master(0, 1.0, [0.0; 3])],
            vec![
                master(0, 0.5, [0.3, -0.2, 0.1]),
                master(1, 0.5, [-0.1, 0.4, 0.2]),
            ],
            vec![master(1, 1.0, [0.0; 3])],
        ];
        let p = Prolongation::rotational(rows, 2);
        assert_eq!((p.fine_rows(), p.coarse_rows()), (3, 4));
        assert_eq!([1, 2].map(|c| p.fine_of(c)), [Some(0), Some(2)]);
        let team = Team::new(1);
        let coarse: Vec<NodeColumns<f64, 1>> = (0..4)
            .map(|i| [0, 1, 2].map(|c| [1.0 + f64::from(3 * i + c).sin()]))
            .collect();
        let mut solution = vec![[[0.0f32; 1]; 3]; 3];
        p.prolong(&team, &coarse, &mut solution);
        let vector = |v: &NodeColumns<f64, 1>| nalgebra::Vector3::new(v[0][0], v[1][0], v[2][0]);
        let [u, a, v, b] = [0, 1, 2, 3].map(|i| vector(&coarse[i]));
        let arms = [[0.3, -0.2, 0.1], [-0.1, 0.4, 0.2]].map(nalgebra::Vector3::from);
        let expected = 0.5 * (u + v) + a.cross(&arms[0]) + b.cross(&arms[1]);
        for c in 0..3 {
            assert!((f64::from(solution[1][c][0]) - expected[c]).abs() < 1e-6);
        }
        // The rows of blocks give the same restriction.
        let fine: Vec<NodeColumns<f32, 1>> = (0u8..3)
            .map(|i| [0u8, 1, 2].map(|c| [f32::from(i * i + c)]))
            .collect();
        let mut down = vec![[[0.0; 1]; 3]; 4];
        p.restrict(&team, &fine, &mut down);
        let mut by_blocks = vec![[0.0; 3]; 4];
        for (i, r) in fine.iter().enumerate() {
            for (row, block) in p.row(i) {
                for x in 0..9 {
                    by_blocks[row as usize][x % 3] += block[x / 3][x % 3] * f64::from(r[x / 3][0]);
                }
            }
        }
        for (x, y) in down.iter().zip(&by_blocks) {
            for c in 0..3 {
                assert!((x[c][0] - y[c]).abs() < 1e-6, "{x:?} {y:?}");
            }
        }
    }

    #[test]
    fn constrained_components_neither_move_nor_are_moved() {
        let master = |node, weight, arm| Master { node, weight, arm };
        let rows = || {
            [
                vec![master(0, 1.0, [0.0; 3])],
                vec![
                    master(0, 0.5, [0.3, -0.2, 0.1]),
                    master(1, 0.5, [-0.1, 0.4, 0.2]),
                ],
                vec![master(1, 1.0, [0.0; 3])],
            ]
        };
        let fine = ConstrainedRows::new([(0, [true, false, false]), (1, [false, false, true])]);
        let coarse = ConstrainedRows::new([(0, [true, false, false])]);
        let team = Team::new(1);
        for turns in [false, true] {
            let p = match turns {
                true => Prolongation::rotational(rows(), 2),
                false => {
                    let plain = rows().map(|row| row.into_iter().map(|m| (m.node, m.weight)));
                    Prolongation::translational(plain, 2)
                }
            };
            let p = p.constrained(fine.clone(), coarse.clone());
            let count = p.coarse_rows();
            // Column by column, by prolongation and by rows of blocks.
            for k in 0..3 * count {
                let mut unit: Vec<NodeColumns<f64, 1>> = vec![[[0.0; 1]; 3]; count];
                unit[k / 3][k % 3][0] = 1.0;
                coarse.project_columns(if turns { 2 } else { 1 }, &mut unit);
                let mut moved = vec![[[0.0f32; 1]; 3]; 3];
                p.prolong(&team, &unit, &mut moved);
                assert_eq!(
                    (moved[0][0], moved[1][2]),
                    ([0.0], [0.0]),
                    "constrained, and yet moved"
                );
                for (i, moved) in moved.iter().enumerate() {
                    let mut by_blocks = [0.0; 3];
                    for (row, block) in p.row(i).filter(|(row, _)| *row as usize == k / 3) {
                        assert_eq!(row as usize, k / 3);
                        (0..3).for_each(|r| by_blocks[r] += block[r][k % 3]);
                    }
                    for r in 0..3 {
                        assert!((f64::from(moved[r][0]) - by_blocks[r]).abs() < 1e-7);
                    }
                }
            }
            let mut down = vec![[[7.0; 1]; 3]; count];
            let mut force = vec![[[1.0f32; 1]; 3]; 3];
            fine.project_columns(1, &mut force);
            p.restrict(&team, &force, &mut down);
            assert_eq!(down[0][0], [0.0]);
            assert!(down[0][1] != [0.0]);
        }
    }
}
