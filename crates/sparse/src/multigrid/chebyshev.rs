//! The smoother: a semi-iteration with Chebyshev polynomials of the fourth kind in D⁻¹A, D the block diagonal of A (Lottes 2023,
//! Numer Linear Algebra Appl 30:e2518, algorithm 3 with all β = 1), in single precision.
//!
//! With Λ ≥ λ_max(D⁻¹A) and x₋ the iterate before x, the three-term recurrence is
//!
//! - x₁ = x₀ + 4 / (3 Λ) D⁻¹ (b − A x₀)
//! - x_{k} = x_{k−1} + (2k − 3)/(2k + 1) (x_{k−1} − x_{k−2}) + (8k − 4)/((2k + 1) Λ) D⁻¹ (b − A x_{k−1})
//!
//! and the error is multiplied by W_k(1 − 2λ/Λ) / (2k + 1), W_k(cos θ) = sin((k + ½) θ) / sin(½ θ), for an eigenvalue λ of D⁻¹A.
//! Since sin²(½ θ) = λ/Λ, that factor p obeys λ p(λ)² ≤ Λ / (2k + 1)² on all of (0, Λ]: unlike polynomials of the first kind these
//! need no lower end of the smoothing interval.
//!
//! Single precision is harmless here: the smoother acts on the rough part of the error, and a relative rounding ε in it costs ε²
//! times the condition number in energy. It would not be harmless in the residual.

use crate::matrix::product::{Epilogue, Local, Product};
use crate::simd::columns::{Aligned, CHUNK, add, convert, dot};
use crate::simd::kernel::{Kernel, Real, dispatch};
use crate::{Block, NodeColumns, SparseError, Team};
use std::sync::Arc;

/// Lanczos steps for the largest eigenvalue of D⁻¹A.
const LANCZOS_STEPS: usize = 10;
/// Margin Λ / λ_max on the result of the Lanczos steps, which come from below.
const MARGIN: f64 = 1.05;

/// A Chebyshev smoother.
#[derive(Debug)]
pub struct Chebyshev<M> {
    matrix: M,
    inverse_diagonal: Vec<Block<f32>>,
    /// Bound Λ of the eigenvalues of D⁻¹A.
    largest: f64,
    degree: usize,
}

/// Vectors of a smoother, for `W` right-hand sides.
#[derive(Debug)]
pub(crate) struct Workspace<const W: usize> {
    /// The right-hand side b.
    pub(crate) rhs: Vec<NodeColumns<f32, W>>,
    /// The approximate solution x.
    pub(crate) solution: Vec<NodeColumns<f32, W>>,
    /// The solution x₋ before the last step; the next one takes its place.
    last: Vec<NodeColumns<f32, W>>,
    /// The residual b − A x after smoothing from zero.
    pub(crate) residual: Vec<NodeColumns<f32, W>>,
    scratch: Vec<NodeColumns<f32, W>>,
}

impl<const W: usize> Workspace<W> {
    pub(crate) fn new(rows: usize) -> Self {
        let zeros = || vec![[[0.0; W]; 3]; rows];
        Workspace {
            rhs: zeros(),
            solution: zeros(),
            last: zeros(),
            residual: zeros(),
            scratch: vec![],
        }
    }

    /// Takes a right-hand side in, rounded.
    pub(crate) fn load(&mut self, team: &Team, rhs: &[NodeColumns<f64, W>]) {
        convert(team, rhs, &mut self.rhs);
    }
}

/// Bytes of the inverted diagonal for so many rows.
pub fn bytes_for(rows: usize) -> u64 {
    36 * rows as u64
}

impl<M: Product<f32>> Chebyshev<M> {
    /// Inverts the block diagonal D and bounds the eigenvalues of D⁻¹A.
    ///
    /// # Errors
    /// [`SparseError::NotPositiveDefinite`] when a diagonal block is not.
    pub fn new<'a>(
        team: &Team,
        matrix: M,
        diagonal: impl Iterator<Item = &'a Block<f64>>,
        degree: usize,
    ) -> Result<Self, SparseError> {
        let inverse_diagonal = diagonal
            .enumerate()
            .map(|(row, block)| {
                let d = nalgebra::Matrix3::from(*block).transpose();
                let inverse = d
                    .cholesky()
                    .ok_or(SparseError::NotPositiveDefinite { row })?
                    .inverse();
                Ok([0, 1, 2].map(|r| [0, 1, 2].map(|c| inverse[(r, c)] as f32)))
            })
            .collect::<Result<Vec<_>, _>>()?;
        let mut smoother = Chebyshev {
            matrix,
            inverse_diagonal,
            largest: 1.0,
            degree: degree.max(1),
        };
        smoother.largest = MARGIN * smoother.lanczos(team);
        Ok(smoother)
    }

    /// Bound Λ of the eigenvalues of D⁻¹A: its largest one with a margin.
    pub(crate) fn largest(&self) -> f64 {
        self.largest
    }

    /// Bytes of the inverted diagonal.
    pub fn bytes(&self) -> u64 {
        (self.inverse_diagonal.capacity() * 36) as u64
    }

    pub(crate) fn matrix(&self) -> &M {
        &self.matrix
    }

    pub(crate) fn degree(&self) -> usize {
        self.degree
    }

    /// Coefficients of step k ≥ 2 of the recurrence: of x − x₋ and of D⁻¹ r.
    fn coefficients(&self, step: usize) -> (f64, f64) {
        let k = step as f64;
        let momentum = (2.0 * k - 3.0) / (2.0 * k + 1.0);
        let correction = (8.0 * k - 4.0) / ((2.0 * k + 1.0) * self.largest);
        (momentum, correction)
    }

    /// Largest eigenvalue of D⁻¹ A by Lanczos's method (1950, J Res Natl Bur Stand 45:255) in the inner product of D,
    /// from a fixed start.
    fn lanczos(&self, team: &Team) -> f64 {
        let rows = self.matrix.rows();
        let mut scratch = vec![];
        let mut state = 0x9e37_79b9_7f4a_7c15_u64;
        let mut random = || {
            // Splitmix-like scramble: any start with all frequencies in it will do.
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            ((state >> 40) as f32) / ((1u32 << 23) as f32) - 1.0
        };
        // v: a basis vector times D; w: the vector itself.
        let mut v: Vec<NodeColumns<f32, 1>> = (0..rows)
            .map(|_| [[random()], [random()], [random()]])
            .collect();
        let mut last = vec![[[0.0; 1]; 3]; rows];
        let mut product = last.clone();
        let mut w = last.clone();
        self.scaled_all(team, &v, &mut w);
        let product_of = |a: &[_], b: &[_]| dot::<f32, 1>(team, a, b)[0];
        let mut beta = product_of(&v, &w).sqrt();
        let mut diagonal = vec![];
        let mut off_diagonal: Vec<f64> = vec![];
        for _ in 0..LANCZOS_STEPS {
            if beta <= 0.0 || !beta.is_finite() {
                break;
            }
            let scale = (1.0 / beta) as f32;
            let both = v.chunks_mut(CHUNK).zip(w.chunks_mut(CHUNK)).collect();
            team.each(both, |(v, w): (&mut [_], &mut [_])| {
                let all = v.iter_mut().chain(w).flatten().flatten();
                all.for_each(|x| *x *= scale);
            });
            self.matrix.multiply(team, &w, &mut scratch, &mut product);
            let alpha = product_of(&w, &product);
            diagonal.push(alpha);
            // The next one times D: A w − α v − β last.
            let a = alpha as f32;
            let beta_before = if off_diagonal.is_empty() {
                0.0
            } else {
                beta as f32
            };
            let jobs: Vec<_> = product
                .chunks_mut(CHUNK)
                .zip(v.chunks(CHUNK))
                .zip(last.chunks(CHUNK))
                .collect();
            team.each(jobs, |((product, v), last)| {
                for ((p, v), last) in product.iter_mut().zip(v).zip(last) {
                    for c in 0..3 {
                        p[c][0] -= a * v[c][0] + beta_before * last[c][0];
                    }
                }
            });
            std::mem::swap(&mut last, &mut v);
            std::mem::swap(&mut v, &mut product);
            self.scaled_all(team, &v, &mut w);
            beta = product_of(&v, &w).max(0.0).sqrt();
            off_diagonal.push(beta);
        }
        let n = diagonal.len();
        let small = nalgebra::DMatrix::from_fn(n, n, |i, j| match i.abs_diff(j) {
            0 => diagonal[i],
            1 => off_diagonal[i.min(j)],
            _ => 0.0,
        });
        small
            .symmetric_eigenvalues()
            .iter()
            .copied()
            .fold(0.0, f64::max)
    }

    /// w = D⁻¹ v.
    fn scaled_all(&self, team: &Team, v: &[NodeColumns<f32, 1>], w: &mut [NodeColumns<f32, 1>]) {
        let jobs: Vec<_> = w
            .chunks_mut(CHUNK)
            .zip(v.chunks(CHUNK))
            .zip(self.inverse_diagonal.chunks(CHUNK))
            .collect();
        team.each(jobs, |((x, b), inverse)| {
            dispatch(ScaleSweep {
                x,
                b,
                inverse,
                factor: 1.0,
            });
        });
    }

    /// Smooths from a zero guess; leaves b − A x in `residual`.
    pub(crate) fn smooth_from_zero<const W: usize>(&self, team: &Team, work: &mut Workspace<W>) {
        let jobs: Vec<_> = work
            .solution
            .chunks_mut(CHUNK)
            .zip(work.rhs.chunks(CHUNK))
            .zip(self.inverse_diagonal.chunks(CHUNK))
            .collect();
        team.each(jobs, |((x, b), inverse)| {
            dispatch(ScaleSweep {
                x,
                b,
                inverse,
                factor: self.first_coefficient() as f32,
            });
        });
        for step in 2..=self.degree {
            let (momentum, correction) = self.coefficients(step);
            let previous = if step == 2 {
                Previous::Zero
            } else {
                Previous::Stored
            };
            self.sweep(team, work, previous, momentum, correction);
        }
        let rows = Residual {
            b: &work.rhs,
            r: &mut work.residual,
        };
        self.matrix
            .multiply_with(team, &work.solution, &mut work.scratch, rows);
    }

    /// Smooths on from the solution at hand.
    pub(crate) fn smooth_on<const W: usize>(&self, team: &Team, work: &mut Workspace<W>) {
        self.sweep(team, work, Previous::Same, 0.0, self.first_coefficient());
        for step in 2..=self.degree {
            let (momentum, correction) = self.coefficients(step);
            self.sweep(team, work, Previous::Stored, momentum, correction);
        }
    }

    /// Coefficient 4 / (3 Λ) of D⁻¹ r in the first step.
    fn first_coefficient(&self) -> f64 {
        4.0 / (3.0 * self.largest)
    }

    /// One step of the recurrence: x ← x + `momentum` (x − x₋) + `correction` D⁻¹ (b − A x).
    ///
    /// The residual anew at each step, from b, reads and writes 420 bytes a node of eight right-hand sides; kept beside a
    /// step of its own it was 708.
    fn sweep<const W: usize>(
        &self,
        team: &Team,
        work: &mut Workspace<W>,
        previous: Previous,
        momentum: f64,
        correction: f64,
    ) {
        let rows = Sweep {
            inverse: &self.inverse_diagonal,
            b: &work.rhs,
            x: &work.solution,
            last: &mut work.last,
            previous,
            momentum: momentum as f32,
            correction: correction as f32,
        };
        self.matrix
            .multiply_with(team, &work.solution, &mut work.scratch, rows);
        std::mem::swap(&mut work.solution, &mut work.last);
    }
}

/// The iterate x₋ before the last step.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Previous {
    /// Zero: the step before was the first from a zero guess.
    Zero,
    /// The present one: there was no step yet.
    Same,
    /// The stored one.
    Stored,
}

/// factor · D⁻¹ r, one node.
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
    b: &'a [NodeColumns<f32, W>],
    inverse: &'a [Block<f32>],
    factor: f32,
}

impl<const W: usize> Kernel for ScaleSweep<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (x, (b, inverse)) in self.x.iter_mut().zip(self.b.iter().zip(self.inverse)) {
            *x = scaled::<W, FUSED>(inverse, b, self.factor);
        }
    }
}

/// b − A x, one node.
#[inline(always)]
fn remainder<const W: usize>(
    b: &NodeColumns<f32, W>,
    product: &Aligned<f32, W>,
) -> NodeColumns<f32, W> {
    let mut out = *b;
    for c in 0..3 {
        for k in 0..W {
            out[c][k] -= product.0[c][k];
        }
    }
    out
}

struct Residual<'a, const W: usize> {
    b: &'a [NodeColumns<f32, W>],
    r: &'a mut [NodeColumns<f32, W>],
}

impl<const W: usize> Epilogue<f32, W> for Residual<'_, W> {
    fn split_at(self, rows: usize) -> (Self, Self) {
        let (b, r) = (self.b.split_at(rows), self.r.split_at_mut(rows));
        (Residual { b: b.0, r: r.0 }, Residual { b: b.1, r: r.1 })
    }

    #[inline(always)]
    fn apply<const FUSED: bool>(self, product: &[Aligned<f32, W>]) {
        for ((r, b), product) in self.r.iter_mut().zip(self.b).zip(product) {
            *r = remainder(b, product);
        }
    }
}

struct Sweep<'a, const W: usize> {
    inverse: &'a [Block<f32>],
    b: &'a [NodeColumns<f32, W>],
    x: &'a [NodeColumns<f32, W>],
    last: &'a mut [NodeColumns<f32, W>],
    previous: Previous,
    momentum: f32,
    correction: f32,
}

impl<const W: usize> Epilogue<f32, W> for Sweep<'_, W> {
    fn split_at(self, rows: usize) -> (Self, Self) {
        let (inverse, b) = (self.inverse.split_at(rows), self.b.split_at(rows));
        let (x, last) = (self.x.split_at(rows), self.last.split_at_mut(rows));
        let (previous, momentum, correction) = (self.previous, self.momentum, self.correction);
        let part = |inverse, b, x, last| Sweep {
            inverse,
            b,
            x,
            last,
            previous,
            momentum,
            correction,
        };
        (
            part(inverse.0, b.0, x.0, last.0),
            part(inverse.1, b.1, x.1, last.1),
        )
    }

    #[inline(always)]
    fn apply<const FUSED: bool>(self, product: &[Aligned<f32, W>]) {
        // One loop for each, without a choice at every node.
        match self.previous {
            Previous::Same => self.step::<FUSED>(product, |x, _| *x),
            Previous::Zero => {
                let momentum = self.momentum;
                self.step::<FUSED>(product, |x, _| {
                    let mut next = *x;
                    for c in 0..3 {
                        for k in 0..W {
                            next[c][k] = momentum.times_plus::<FUSED>(x[c][k], next[c][k]);
                        }
                    }
                    next
                });
            }
            Previous::Stored => {
                let momentum = self.momentum;
                self.step::<FUSED>(product, |x, last| {
                    let mut next = *x;
                    for c in 0..3 {
                        for k in 0..W {
                            let change = x[c][k] - last[c][k];
                            next[c][k] = momentum.times_plus::<FUSED>(change, next[c][k]);
                        }
                    }
                    next
                });
            }
        }
    }
}

impl<const W: usize> Sweep<'_, W> {
    /// One step; `carried` gives x + momentum (x − x₋) of a node.
    #[inline(always)]
    fn step<const FUSED: bool>(
        self,
        product: &[Aligned<f32, W>],
        carried: impl Fn(&NodeColumns<f32, W>, &NodeColumns<f32, W>) -> NodeColumns<f32, W>,
    ) {
        let given = self.x.iter().zip(self.b).zip(self.inverse).zip(product);
        for (last, (((x, b), inverse), product)) in self.last.iter_mut().zip(given) {
            // Worked out in registers and written whole: through the references the compiler would have to
            // fear that one row of `last` and `x` overlaps another, and go number by number.
            // And one after another: left to itself the compiler takes several nodes at a time and shuffles.
            let correction = std::hint::black_box(self.correction);
            let step = scaled::<W, FUSED>(inverse, &remainder(b, product), correction);
            let mut next = carried(x, last);
            add(&mut next, &step);
            *last = next;
        }
    }
}

impl<M: Product<f32> + Local + Send> Chebyshev<Arc<M>> {
    /// Smooths from zero on a region that holds all rows that the right-hand side `r` reaches; `places` gives each row's index in
    /// it. Gives x and leaves b − A x in `r`.
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
        let part = self.matrix.part(region, places);
        let first = self.first_coefficient();
        // d: the last step x − x₋.
        let mut d: Vec<[f64; 3]> = (0..r.len())
            .map(|k| scaled(k, &r[k]).map(|v| first * v))
            .collect();
        let mut x = d.clone();
        for step in 2..=self.degree + 1 {
            self.matrix.subtract(&part, &d, r);
            if step > self.degree {
                break;
            }
            let (momentum, correction) = self.coefficients(step);
            for (k, d) in d.iter_mut().enumerate() {
                let s = scaled(k, &r[k]);
                for c in 0..3 {
                    d[c] = momentum * d[c] + correction * s[c];
                    x[k][c] += d[c];
                }
            }
        }
        x
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{NodeBlocks, NodeMatrix, Pattern, SymmetricBlocks};

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
            let matrix = pair(c);
            let diagonal = (0..2).map(|row| matrix.diagonal(row));
            let rounded = NodeBlocks::rounded(&team, &NodeMatrix::of(&team, &matrix));
            let smoother = Chebyshev::new(&team, rounded, diagonal, degree).unwrap();
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
