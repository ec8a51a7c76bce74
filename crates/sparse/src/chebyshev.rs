//! The smoother: Chebyshev polynomials of the fourth kind in the block-Jacobi-scaled matrix (Lottes 2023,
//! Numer Linear Algebra Appl 30:e2518), in single precision. Unlike those of the first kind they ask for no
//! lower end of the smoothing interval.
//!
//! Single precision is harmless here: the smoother acts on the rough part of the error, and a relative
//! rounding ε in it costs ε² times the condition number in energy. It would not be harmless in the
//! residual.

use crate::columns::{CHUNK, convert};
use crate::kernel::{Hot, Real, dispatch};
use crate::{Block, FullBlocks, NodeColumns, SparseError, SymmetricBlocks, Team};

/// Power iterations for λmax, and the margin put on their result.
const POWER_ITERATIONS: usize = 20;
const MARGIN: f64 = 1.1;

/// A Chebyshev smoother.
#[derive(Debug)]
pub struct Chebyshev {
    matrix: FullBlocks<f32>,
    inverse_diagonal: Vec<Block<f32>>,
    /// Largest eigenvalue of the scaled matrix, with its margin.
    largest: f64,
    degree: usize,
}

/// Vectors a smoother works with.
#[derive(Debug)]
pub(crate) struct Workspace<const W: usize> {
    /// Right side on entry; residual while smoothing.
    pub(crate) residual: Vec<NodeColumns<f32, W>>,
    /// The approximate solution.
    pub(crate) solution: Vec<NodeColumns<f32, W>>,
    /// The last change of the solution.
    pub(crate) step: Vec<NodeColumns<f32, W>>,
    next: Vec<NodeColumns<f32, W>>,
}

impl<const W: usize> Workspace<W> {
    pub(crate) fn new(rows: usize) -> Self {
        let zeros = || vec![[[0.0; W]; 3]; rows];
        Workspace {
            residual: zeros(),
            solution: zeros(),
            step: zeros(),
            next: zeros(),
        }
    }

    /// Takes a residual in, rounded.
    pub(crate) fn load(&mut self, team: &Team, residual: &[NodeColumns<f64, W>]) {
        convert(team, residual, &mut self.residual);
    }
}

impl Chebyshev {
    /// Rounds the matrix, inverts its diagonal blocks and finds the largest eigenvalue.
    ///
    /// # Errors
    /// [`SparseError::NotPositiveDefinite`] when a diagonal block is not.
    pub fn new(team: &Team, matrix: &SymmetricBlocks, degree: usize) -> Result<Self, SparseError> {
        let inverse_diagonal = (0..matrix.rows())
            .map(|row| {
                let d = nalgebra::Matrix3::from(*matrix.diagonal(row)).transpose();
                let inverse = d
                    .cholesky()
                    .ok_or(SparseError::NotPositiveDefinite { row })?
                    .inverse();
                Ok([0, 1, 2].map(|r| [0, 1, 2].map(|c| inverse[(r, c)] as f32)))
            })
            .collect::<Result<Vec<_>, _>>()?;
        let mut smoother = Chebyshev {
            matrix: FullBlocks::rounded(team, matrix),
            inverse_diagonal,
            largest: 1.0,
            degree: degree.max(1),
        };
        smoother.largest = MARGIN * smoother.power_iteration(team);
        Ok(smoother)
    }

    /// Largest eigenvalue of the scaled matrix, with its margin.
    pub(crate) fn largest(&self) -> f64 {
        self.largest
    }

    /// Bytes of the rounded matrix and the inverted diagonal.
    pub fn bytes(&self) -> u64 {
        self.matrix.bytes() + (self.inverse_diagonal.capacity() * 36) as u64
    }

    /// Bytes for so many rows and blocks.
    pub fn bytes_for(rows: usize, blocks: usize) -> u64 {
        36 * (rows + blocks) as u64
    }

    pub(crate) fn degree(&self) -> usize {
        self.degree
    }

    /// Rows that a row is coupled to, itself included.
    pub(crate) fn neighbours(&self, row: usize) -> &[u32] {
        self.matrix.pattern.row(row)
    }

    /// Smooths from zero on a region that holds all that the right side `r` reaches; `places` gives each
    /// row's index in it. Gives x and leaves b − A x in `r`.
    pub(crate) fn smooth_region(
        &self,
        region: &[u32],
        places: &[u32],
        r: &mut [[f64; 3]],
    ) -> Vec<[f64; 3]> {
        let scaled = |k: usize, r: &[f64; 3]| {
            let inverse = &self.inverse_diagonal[region[k] as usize];
            inverse.map(|row| (0..3).map(|c| f64::from(row[c]) * r[c]).sum::<f64>())
        };
        let first = self.first_step();
        let mut d: Vec<[f64; 3]> = (0..r.len())
            .map(|k| scaled(k, &r[k]).map(|v| first * v))
            .collect();
        let mut x = d.clone();
        for step in 2..=self.degree + 1 {
            for (row, r) in region.iter().zip(r.iter_mut()) {
                let row = *row as usize;
                let from = self.matrix.pattern.starts()[row];
                let columns = self.matrix.pattern.row(row);
                for (block, j) in self.matrix.values[from..].iter().zip(columns) {
                    let Some(d) = d.get(places[*j as usize] as usize) else {
                        continue;
                    };
                    for c in 0..3 {
                        for e in 0..3 {
                            r[c] -= f64::from(block[c][e]) * d[e];
                        }
                    }
                }
            }
            if step > self.degree {
                break;
            }
            let (old, new) = self.factors(step);
            for (k, d) in d.iter_mut().enumerate() {
                let s = scaled(k, &r[k]);
                for c in 0..3 {
                    d[c] = old * d[c] + new * s[c];
                    x[k][c] += d[c];
                }
            }
        }
        x
    }

    /// Factors of the last step and of D⁻¹ r in a step after the first (Lottes 2023, algorithm 3, with
    /// all β = 1).
    fn factors(&self, step: usize) -> (f64, f64) {
        let k = step as f64;
        let old = (2.0 * k - 3.0) / (2.0 * k + 1.0);
        let new = (8.0 * k - 4.0) / ((2.0 * k + 1.0) * self.largest);
        (old, new)
    }

    /// Largest eigenvalue of D⁻¹ A, from a fixed start.
    fn power_iteration(&self, team: &Team) -> f64 {
        let rows = self.matrix.pattern.rows();
        let mut work = Workspace::<1>::new(rows);
        let mut state = 0x9e37_79b9_7f4a_7c15_u64;
        for v in work.step.iter_mut().flatten().flatten() {
            // Splitmix-like scramble: any start with all frequencies in it will do.
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            *v = ((state >> 40) as f32) / ((1u32 << 23) as f32) - 1.0;
        }
        let mut largest = 1.0;
        for _ in 0..POWER_ITERATIONS {
            let size = norm(team, &work.step);
            let scale = if size > 0.0 { (1.0 / size) as f32 } else { 0.0 };
            for v in work.step.iter_mut().flatten().flatten() {
                *v *= scale;
            }
            work.residual.fill([[0.0; 1]; 3]);
            // residual = −A step, next = −D⁻¹ A step.
            self.sweep(team, &mut work, 0.0, 1.0, Touch::All);
            largest = norm(team, &work.step);
        }
        largest
    }

    /// Smooths from a zero guess; leaves b − A x in `residual`.
    pub(crate) fn smooth_from_zero<const W: usize>(&self, team: &Team, work: &mut Workspace<W>) {
        let jobs: Vec<_> = work
            .solution
            .chunks_mut(CHUNK)
            .zip(work.step.chunks_mut(CHUNK))
            .zip(
                work.residual
                    .chunks(CHUNK)
                    .zip(self.inverse_diagonal.chunks(CHUNK)),
            )
            .collect();
        team.each(jobs, |((x, d), (r, inverse))| {
            dispatch(ScaleSweep {
                x,
                d,
                r,
                inverse,
                factor: self.first_step() as f32,
            });
        });
        self.recur(team, work);
        self.sweep(team, work, 0.0, 0.0, Touch::Residual);
    }

    /// Smooths on, after `step` was added to the solution and is not yet in the residual.
    pub(crate) fn smooth_on<const W: usize>(&self, team: &Team, work: &mut Workspace<W>) {
        self.sweep(team, work, 0.0, self.first_step(), Touch::All);
        self.recur(team, work);
    }

    /// Factor of D⁻¹ r in the first step.
    fn first_step(&self) -> f64 {
        4.0 / (3.0 * self.largest)
    }

    /// The steps after the first.
    fn recur<const W: usize>(&self, team: &Team, work: &mut Workspace<W>) {
        for step in 2..=self.degree {
            let (old, new) = self.factors(step);
            self.sweep(team, work, old, new, Touch::All);
        }
    }

    /// r ← r − A d; then, unless only the residual is wanted, d ← c₁ d + c₂ D⁻¹ r and x ← x + d.
    fn sweep<const W: usize>(
        &self,
        team: &Team,
        work: &mut Workspace<W>,
        old: f64,
        new: f64,
        touch: Touch,
    ) {
        let jobs: Vec<_> = work
            .residual
            .chunks_mut(CHUNK)
            .zip(work.next.chunks_mut(CHUNK))
            .zip(work.solution.chunks_mut(CHUNK))
            .enumerate()
            .collect();
        let d = &work.step;
        team.each(jobs, |(chunk, ((r, next), x))| {
            dispatch(Sweep {
                smoother: self,
                first: chunk * CHUNK,
                d,
                r,
                next,
                x,
                old: old as f32,
                new: new as f32,
                touch,
            });
        });
        if touch == Touch::All {
            std::mem::swap(&mut work.step, &mut work.next);
        }
    }
}

fn norm(team: &Team, v: &[NodeColumns<f32, 1>]) -> f64 {
    let parts = team.sum(v.len().div_ceil(CHUNK), |chunk| {
        let from = chunk * CHUNK;
        let to = (from + CHUNK).min(v.len());
        [v[from..to]
            .iter()
            .flatten()
            .flatten()
            .map(|&a| f64::from(a).powi(2))
            .sum::<f64>()]
    });
    parts[0].sqrt()
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Touch {
    All,
    Residual,
}

/// D⁻¹ r, one node.
#[inline(always)]
fn scaled<const W: usize, const FUSED: bool>(
    inverse: &Block<f32>,
    r: &NodeColumns<f32, W>,
    factor: f32,
) -> NodeColumns<f32, W> {
    let mut out = [[0.0; W]; 3];
    for row in 0..3 {
        for c in 0..3 {
            let a = inverse[row][c] * factor;
            for k in 0..W {
                out[row][k] = a.times_plus::<FUSED>(r[c][k], out[row][k]);
            }
        }
    }
    out
}

struct ScaleSweep<'a, const W: usize> {
    x: &'a mut [NodeColumns<f32, W>],
    d: &'a mut [NodeColumns<f32, W>],
    r: &'a [NodeColumns<f32, W>],
    inverse: &'a [Block<f32>],
    factor: f32,
}

impl<const W: usize> Hot for ScaleSweep<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let out = self.x.iter_mut().zip(self.d.iter_mut());
        for ((x, d), (r, inverse)) in out.zip(self.r.iter().zip(self.inverse)) {
            *d = scaled::<W, FUSED>(inverse, r, self.factor);
            *x = *d;
        }
    }
}

struct Sweep<'a, const W: usize> {
    smoother: &'a Chebyshev,
    first: usize,
    d: &'a [NodeColumns<f32, W>],
    r: &'a mut [NodeColumns<f32, W>],
    next: &'a mut [NodeColumns<f32, W>],
    x: &'a mut [NodeColumns<f32, W>],
    old: f32,
    new: f32,
    touch: Touch,
}

impl<const W: usize> Hot for Sweep<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let rows = self.first..self.first + self.r.len();
        let d = &self.d[rows.clone()];
        let inverse = &self.smoother.inverse_diagonal[rows.clone()];
        let out = self
            .r
            .iter_mut()
            .zip(self.next.iter_mut().zip(self.x.iter_mut()));
        for ((row, (r, (next, x))), (d, inverse)) in rows.zip(out).zip(d.iter().zip(inverse)) {
            // Worked out in registers and written whole: through the references the compiler would have to
            // fear that one row of `next`, `x` and `d` overlaps another, and go number by number.
            let product = self.smoother.matrix.row_product::<W, FUSED>(row, self.d);
            let mut left = *r;
            for c in 0..3 {
                for k in 0..W {
                    left[c][k] -= product[c][k];
                }
            }
            *r = left;
            if self.touch == Touch::Residual {
                continue;
            }
            let mut step = scaled::<W, FUSED>(inverse, &left, self.new);
            let mut sum = *x;
            let last = *d;
            for c in 0..3 {
                for k in 0..W {
                    step[c][k] = self.old.times_plus::<FUSED>(last[c][k], step[c][k]);
                    sum[c][k] += step[c][k];
                }
            }
            *next = step;
            *x = sum;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Pattern;
    use std::sync::Arc;

    /// Two nodes; the scaled matrix has eigenvalues 1 + c (equal motion) and 1 − c (opposite motion).
    fn pair(c: f64) -> SymmetricBlocks {
        let pattern = Pattern::new(vec![0, 2, 4], vec![0, 1, 0, 1]);
        let mut a = SymmetricBlocks::zeros(Arc::new(pattern));
        let times = |s: f64| [0, 1, 2].map(|r| [0, 1, 2].map(|k| if r == k { s } else { 0.0 }));
        a.upper = vec![times(2.0), times(2.0 * c), times(2.0)];
        a
    }

    #[test]
    fn errors_shrink_by_the_fourth_kind_polynomial() {
        let c = 0.7;
        let team = Team::new(1);
        for degree in 1..=4 {
            let smoother = Chebyshev::new(&team, &pair(c), degree).unwrap();
            assert!((smoother.largest / (MARGIN * 1.7) - 1.0).abs() < 1e-5);
            for (sign, eigenvalue) in [(1.0, 1.0 + c), (-1.0, 1.0 - c)] {
                let mut work = Workspace::<1>::new(2);
                let b = [[[1.0], [2.0], [-1.0]], [[sign], [2.0 * sign], [-sign]]];
                work.load(&team, &b);
                smoother.smooth_from_zero(&team, &mut work);
                // W_k(x) / W_k(1) with W_k(cos θ) = sin((k + ½) θ) / sin(½ θ), W_k(1) = 2k + 1.
                let theta = (1.0 - 2.0 * eigenvalue / smoother.largest).acos();
                let k = degree as f64;
                let factor = ((k + 0.5) * theta).sin() / (0.5 * theta).sin() / (2.0 * k + 1.0);
                for (r, b) in work
                    .residual
                    .iter()
                    .flatten()
                    .flatten()
                    .zip(b.iter().flatten().flatten())
                {
                    assert!(
                        (f64::from(*r) - factor * b).abs() < 1e-5,
                        "{degree} {r} {factor}"
                    );
                }
            }
        }
    }
}
