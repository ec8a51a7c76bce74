//! Interpolation between the levels: what each fine node does when coarse ones move and, perhaps, turn.
//!
//! A coarse node that turns carries fine ones along on arms: θ × v. That is how a linear level comes to bend: between
//! two corners that turn, the middle of an edge leaves their mean (Allman 1988, Int J Numer Methods Eng 26:2645).

use crate::simd::columns::{CHUNK, add_rounded};
use crate::simd::kernel::{Hot, Real, dispatch};
use crate::{Block, NodeColumns, Team};

/// Weights by fine row and, turned round, by coarse node. Single precision in memory: whoever builds
/// PᵀAP uses the same rounded weights.
#[derive(Debug, Clone, PartialEq)]
pub struct Prolongation {
    by_fine: Weights,
    by_coarse: Weights,
    turns: bool,
}

/// How a fine node follows a coarse one: its displacement, by a weight, and its rotation, by an arm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Follows {
    /// The coarse node.
    pub node: u32,
    /// Share of its displacement.
    pub weight: f32,
    /// v of θ × v, mm; zero where coarse nodes do not turn.
    pub arm: [f32; 3],
}

/// Rows of (index, weight), and their arms if there are any.
#[derive(Debug, Clone, PartialEq)]
struct Weights {
    starts: Vec<u32>,
    entries: Vec<(u32, f32)>,
    arms: Vec<[f32; 3]>,
}

impl Weights {
    fn range(&self, i: usize) -> std::ops::Range<usize> {
        self.starts[i] as usize..self.starts[i + 1] as usize
    }

    fn row(&self, i: usize) -> &[(u32, f32)] {
        &self.entries[self.range(i)]
    }

    /// Rows with arms.
    fn armed(&self, i: usize) -> impl Iterator<Item = (&(u32, f32), &[f32; 3])> {
        let range = self.range(i);
        self.entries[range.clone()].iter().zip(&self.arms[range])
    }

    fn bytes(&self) -> usize {
        4 * self.starts.capacity() + 8 * self.entries.capacity() + 12 * self.arms.capacity()
    }
}

impl Prolongation {
    /// From the coarse nodes that each fine row follows, with their weights. Coarse nodes move only.
    pub fn new<R: IntoIterator<Item = (u32, f32)>>(
        fine_rows: impl IntoIterator<Item = R>,
        coarse_nodes: usize,
    ) -> Self {
        let rows = fine_rows.into_iter().map(|row| {
            row.into_iter().map(|(node, weight)| Follows {
                node,
                weight,
                arm: [0.0; 3],
            })
        });
        Self::build(rows, coarse_nodes, false)
    }

    /// From the coarse nodes that each fine row follows. They move and turn: two coarse rows a node.
    pub fn turning<R: IntoIterator<Item = Follows>>(
        fine_rows: impl IntoIterator<Item = R>,
        coarse_nodes: usize,
    ) -> Self {
        Self::build(fine_rows, coarse_nodes, true)
    }

    fn build<R: IntoIterator<Item = Follows>>(
        fine_rows: impl IntoIterator<Item = R>,
        coarse_nodes: usize,
        turns: bool,
    ) -> Self {
        let mut by_fine = Weights {
            starts: vec![0],
            entries: vec![],
            arms: vec![],
        };
        let mut starts = vec![0u32; coarse_nodes + 1];
        for row in fine_rows {
            for follows in row {
                starts[follows.node as usize + 1] += 1;
                by_fine.entries.push((follows.node, follows.weight));
                if turns {
                    by_fine.arms.push(follows.arm);
                }
            }
            by_fine.starts.push(by_fine.entries.len() as u32);
        }
        for i in 0..coarse_nodes {
            starts[i + 1] += starts[i];
        }
        let mut next = starts.clone();
        let mut by_coarse = Weights {
            starts,
            entries: vec![(0, 0.0); by_fine.entries.len()],
            arms: vec![[0.0; 3]; by_fine.arms.len()],
        };
        for fine in 0..by_fine.starts.len() - 1 {
            for k in by_fine.range(fine) {
                let (node, weight) = by_fine.entries[k];
                let at = next[node as usize] as usize;
                next[node as usize] += 1;
                by_coarse.entries[at] = (fine as u32, weight);
                if turns {
                    by_coarse.arms[at] = by_fine.arms[k];
                }
            }
        }
        Prolongation {
            by_fine,
            by_coarse,
            turns,
        }
    }

    /// The coarse nodes that a fine row follows.
    pub fn followed(&self, fine: usize) -> impl Iterator<Item = Follows> {
        self.by_fine.range(fine).map(|k| {
            let (node, weight) = self.by_fine.entries[k];
            Follows {
                node,
                weight,
                arm: self.by_fine.arms.get(k).copied().unwrap_or_default(),
            }
        })
    }

    /// Row of P: coarse rows with their blocks.
    pub fn row(&self, fine: usize) -> impl Iterator<Item = (u32, Block<f64>)> {
        let turns = self.turns;
        self.followed(fine).flat_map(move |f| {
            let w = f64::from(f.weight);
            let moved = [[w, 0.0, 0.0], [0.0, w, 0.0], [0.0, 0.0, w]];
            let [x, y, z] = f.arm.map(f64::from);
            // θ × v as a matrix times θ.
            let turned = [[0.0, z, -y], [-z, 0.0, x], [y, -x, 0.0]];
            let per_node = if turns { 2 } else { 1 };
            let rows = [(f.node * per_node, moved), (f.node * per_node + 1, turned)];
            rows.into_iter().take(per_node as usize)
        })
    }

    /// Do coarse nodes turn?
    pub fn turns(&self) -> bool {
        self.turns
    }

    /// Number of fine rows.
    pub fn fine_rows(&self) -> usize {
        self.by_fine.starts.len() - 1
    }

    /// Number of coarse block rows: one a node, two if it turns.
    pub fn coarse_rows(&self) -> usize {
        (self.by_coarse.starts.len() - 1) * if self.turns { 2 } else { 1 }
    }

    /// The fine row that is the same node as a coarse row.
    pub fn fine_of(&self, coarse: usize) -> Option<usize> {
        let own = |fine: usize| self.by_fine.row(fine).len() == 1;
        let node = coarse / if self.turns { 2 } else { 1 };
        let children = self.by_coarse.row(node).iter();
        children
            .filter(|(_, weight)| *weight == 1.0)
            .map(|(fine, _)| *fine as usize)
            .find(|fine| own(*fine))
    }

    /// Bytes held.
    pub fn bytes(&self) -> u64 {
        (self.by_fine.bytes() + self.by_coarse.bytes()) as u64
    }

    /// coarse = Pᵀ fine.
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
    }

    /// solution += P coarse.
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
    }
}

struct Restrict<'a, const W: usize> {
    prolongation: &'a Prolongation,
    /// First coarse row.
    first: usize,
    fine: &'a [NodeColumns<f32, W>],
    coarse: &'a mut [NodeColumns<f64, W>],
}

impl<const W: usize> Hot for Restrict<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let weights = &self.prolongation.by_coarse;
        if !self.prolongation.turns {
            for (i, to) in (self.first..).zip(self.coarse) {
                *to = weighted::<f32, W, FUSED>(weights.row(i), self.fine);
            }
            return;
        }
        for (i, to) in (self.first / 2..).zip(self.coarse.as_chunks_mut::<2>().0) {
            let mut sums = [[[0.0f32; W]; 3]; 2];
            for ((at, weight), arm) in weights.armed(i) {
                let from = &self.fine[*at as usize];
                for c in 0..3 {
                    for k in 0..W {
                        sums[0][c][k] = weight.times_plus::<FUSED>(from[c][k], sums[0][c][k]);
                    }
                }
                // (θ × v)·r = θ·(v × r).
                add_cross::<_, W, FUSED>(&mut sums[1], arm, from);
            }
            *to = sums.map(|h| h.map(|r| r.map(f64::from)));
        }
    }
}

struct Prolong<'a, const W: usize> {
    prolongation: &'a Prolongation,
    first: usize,
    coarse: &'a [NodeColumns<f64, W>],
    solution: &'a mut [NodeColumns<f32, W>],
}

impl<const W: usize> Hot for Prolong<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let weights = &self.prolongation.by_fine;
        if !self.prolongation.turns {
            for (i, solution) in (self.first..).zip(self.solution) {
                let sum = weighted::<f64, W, FUSED>(weights.row(i), self.coarse);
                add_rounded(solution, &sum);
            }
            return;
        }
        let coarse = self.coarse.as_chunks::<2>().0;
        for (i, solution) in (self.first..).zip(self.solution) {
            let mut sum = [[0.0; W]; 3];
            for ((at, weight), arm) in weights.armed(i) {
                let ([u, t], w) = (&coarse[*at as usize], f64::from(*weight));
                for c in 0..3 {
                    for k in 0..W {
                        sum[c][k] = w.times_plus::<FUSED>(u[c][k], sum[c][k]);
                    }
                }
                // θ × v = (−v) × θ.
                add_cross::<_, W, FUSED>(&mut sum, &arm.map(|v| -f64::from(v)), t);
            }
            add_rounded(solution, &sum);
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

/// Sum over (index, weight) of the values there.
#[inline(always)]
fn weighted<T: Real, const W: usize, const FUSED: bool>(
    row: &[(u32, f32)],
    values: &[NodeColumns<T, W>],
) -> NodeColumns<f64, W> {
    let mut sum = [[0.0; W]; 3];
    for &(at, weight) in row {
        let (from, weight) = (&values[at as usize], f64::from(weight));
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
        let p = Prolongation::new(rows, 3);
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
    fn a_turning_node_carries_others_along() {
        let follows = |node, weight, arm| Follows { node, weight, arm };
        let rows = [
            vec![follows(0, 1.0, [0.0; 3])],
            vec![
                follows(0, 0.5, [0.3, -0.2, 0.1]),
                follows(1, 0.5, [-0.1, 0.4, 0.2]),
            ],
            vec![follows(1, 1.0, [0.0; 3])],
        ];
        let p = Prolongation::turning(rows, 2);
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
        // Rows of blocks and the transposed say the same.
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
}
