//! Interpolation between the levels: each fine node is a weighted sum of coarse ones.

use crate::NodeColumns;
use crate::Team;
use crate::columns::{CHUNK, add_rounded};
use crate::kernel::{Hot, Real, dispatch};

/// Weights by fine row and, turned round, by coarse row. Single precision in memory: whoever builds
/// PᵀAP uses the same rounded weights.
#[derive(Debug, Clone, PartialEq)]
pub struct Prolongation {
    by_fine: Weights,
    by_coarse: Weights,
}

/// Rows of (index, weight).
#[derive(Debug, Clone, PartialEq)]
struct Weights {
    starts: Vec<u32>,
    entries: Vec<(u32, f32)>,
}

impl Weights {
    fn row(&self, i: usize) -> &[(u32, f32)] {
        &self.entries[self.starts[i] as usize..self.starts[i + 1] as usize]
    }

    fn bytes(&self) -> usize {
        4 * self.starts.capacity() + 8 * self.entries.capacity()
    }
}

impl Prolongation {
    /// From the coarse rows that each fine row follows, with their weights.
    pub fn new<R: IntoIterator<Item = (u32, f32)>>(
        fine_rows: impl IntoIterator<Item = R>,
        coarse_rows: usize,
    ) -> Self {
        let mut by_fine = Weights {
            starts: vec![0],
            entries: vec![],
        };
        let mut starts = vec![0u32; coarse_rows + 1];
        for row in fine_rows {
            by_fine.entries.extend(row);
            let first = by_fine.starts[by_fine.starts.len() - 1] as usize;
            for (p, _) in &by_fine.entries[first..] {
                starts[*p as usize + 1] += 1;
            }
            by_fine.starts.push(by_fine.entries.len() as u32);
        }
        for i in 0..coarse_rows {
            starts[i + 1] += starts[i];
        }
        let mut next = starts.clone();
        let mut entries = vec![(0, 0.0); by_fine.entries.len()];
        for fine in 0..by_fine.starts.len() - 1 {
            for &(p, weight) in by_fine.row(fine) {
                entries[next[p as usize] as usize] = (fine as u32, weight);
                next[p as usize] += 1;
            }
        }
        Prolongation {
            by_fine,
            by_coarse: Weights { starts, entries },
        }
    }

    /// The coarse rows that a fine row follows, with their weights.
    pub fn row(&self, fine: usize) -> impl Iterator<Item = (u32, f64)> {
        let entries = self.by_fine.row(fine).iter();
        entries.map(|&(p, weight)| (p, f64::from(weight)))
    }

    /// Number of fine rows.
    pub fn fine_rows(&self) -> usize {
        self.by_fine.starts.len() - 1
    }

    /// Number of coarse rows.
    pub fn coarse_rows(&self) -> usize {
        self.by_coarse.starts.len() - 1
    }

    /// The fine row that is the same node as a coarse row.
    pub fn fine_of(&self, coarse: usize) -> Option<usize> {
        let own = |fine: usize| self.by_fine.row(fine).len() == 1;
        let children = self.by_coarse.row(coarse).iter();
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
                weights: &self.by_coarse,
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
                weights: &self.by_fine,
                first: chunk * CHUNK,
                coarse,
                solution,
            });
        });
    }
}

struct Restrict<'a, const W: usize> {
    weights: &'a Weights,
    first: usize,
    fine: &'a [NodeColumns<f32, W>],
    coarse: &'a mut [NodeColumns<f64, W>],
}

impl<const W: usize> Hot for Restrict<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (i, to) in (self.first..).zip(self.coarse) {
            *to = weighted::<f32, W, FUSED>(self.weights.row(i), self.fine);
        }
    }
}

struct Prolong<'a, const W: usize> {
    weights: &'a Weights,
    first: usize,
    coarse: &'a [NodeColumns<f64, W>],
    solution: &'a mut [NodeColumns<f32, W>],
}

impl<const W: usize> Hot for Prolong<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (i, solution) in (self.first..).zip(self.solution) {
            let sum = weighted::<f64, W, FUSED>(self.weights.row(i), self.coarse);
            add_rounded(solution, &sum);
        }
    }
}

/// Sum of weight times value.
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
}
