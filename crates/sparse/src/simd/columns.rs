//! Multivectors: right-hand sides and solutions of many load cases, interleaved by degree of freedom.

use crate::Team;
use crate::simd::kernel::{Kernel, Real, dispatch};

/// A vector of one load case: three values a node.
pub type NodeVector = Vec<[f64; 3]>;

/// The values of one node: for each of its three degrees of freedom, `W` load cases side by side.
pub type NodeColumns<T, const W: usize> = [[T; W]; 3];

/// The values of one node, aligned: no SIMD vector crosses a cache line.
#[derive(Debug, Clone, Copy)]
#[repr(align(32))]
pub struct Aligned<T, const W: usize>(pub NodeColumns<T, W>);

/// Nodes a chunk: the unit of parallel work and of partial sums. Fixed, so that sums never depend on
/// the number of threads.
pub(crate) const CHUNK: usize = 2048;

/// A vector of copies of a value in memory that is mapped already: see [`write_over`].
pub(crate) fn written<T: Copy>(value: T, count: usize) -> Vec<T> {
    let mut out = vec![value; count];
    write_over(&mut out, value);
    out
}

/// Fills fresh memory with a value.
///
/// Zeros come as memory that the system promises to be zero. Read before it is written, it costs two page faults
/// instead of one, and the second stops the other threads: that made assembly on two threads as slow as
/// on one.
pub fn write_over<T: Copy>(fresh: &mut [T], value: T) {
    // Without the detour the compiler knows that zeros are zero already.
    std::hint::black_box(fresh).fill(value);
}

/// Interleaves up to `W` vectors; missing ones are zero.
pub fn interleave<const W: usize>(vectors: &[&[[f64; 3]]]) -> Vec<NodeColumns<f64, W>> {
    let nodes = vectors.first().map_or(0, |v| v.len());
    let mut all = written([[0.0; W]; 3], nodes);
    for (k, vector) in vectors.iter().enumerate() {
        for (to, from) in all.iter_mut().zip(*vector) {
            for c in 0..3 {
                to[c][k] = from[c];
            }
        }
    }
    all
}

/// Column `k` of a multivector.
pub fn column<const W: usize>(all: &[NodeColumns<f64, W>], k: usize) -> NodeVector {
    all.iter().map(|n| [n[0][k], n[1][k], n[2][k]]).collect()
}

/// to += value, one node's values or a block.
#[inline(always)]
pub fn add<T: Real, const W: usize>(to: &mut NodeColumns<T, W>, value: &NodeColumns<T, W>) {
    for c in 0..3 {
        for k in 0..W {
            to[c][k] += value[c][k];
        }
    }
}

/// Scalar products column by column, summed in double precision and fixed chunks.
pub(crate) fn dot<T: Real, const W: usize>(
    team: &Team,
    a: &[NodeColumns<T, W>],
    b: &[NodeColumns<T, W>],
) -> [f64; W] {
    team.sum(a.len().div_ceil(CHUNK), |chunk| {
        let from = chunk * CHUNK;
        let to = (from + CHUNK).min(a.len());
        let mut sum = [0.0; W];
        dispatch(Dot {
            a: &a[from..to],
            b: &b[from..to],
            sum: &mut sum,
        });
        sum
    })
}

struct Dot<'a, T, const W: usize> {
    a: &'a [NodeColumns<T, W>],
    b: &'a [NodeColumns<T, W>],
    sum: &'a mut [f64; W],
}

impl<T: Real, const W: usize> Kernel for Dot<'_, T, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let mut sum = [0.0; W];
        for (x, y) in self.a.iter().zip(self.b) {
            for c in 0..3 {
                for k in 0..W {
                    let (x, y) = (x[c][k].to_f64(), y[c][k].to_f64());
                    sum[k] = x.times_plus::<FUSED>(y, sum[k]);
                }
            }
        }
        *self.sum = sum;
    }
}

/// to ← from, in the other precision.
pub(crate) fn convert<T: Real, U: Real, const W: usize>(
    team: &Team,
    from: &[NodeColumns<T, W>],
    to: &mut [NodeColumns<U, W>],
) {
    let jobs: Vec<_> = to.chunks_mut(CHUNK).zip(from.chunks(CHUNK)).collect();
    team.each(jobs, |(to, from)| dispatch(Convert { from, to }));
}

/// to += value, rounded.
#[inline(always)]
pub(crate) fn add_rounded<const W: usize>(
    to: &mut NodeColumns<f32, W>,
    value: &NodeColumns<f64, W>,
) {
    for c in 0..3 {
        for k in 0..W {
            to[c][k] += value[c][k] as f32;
        }
    }
}

struct Convert<'a, T, U, const W: usize> {
    from: &'a [NodeColumns<T, W>],
    to: &'a mut [NodeColumns<U, W>],
}

impl<T: Real, U: Real, const W: usize> Kernel for Convert<'_, T, U, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (to, from) in self.to.iter_mut().zip(self.from) {
            for c in 0..3 {
                for k in 0..W {
                    to[c][k] = U::from_f64(from[c][k].to_f64());
                }
            }
        }
    }
}
