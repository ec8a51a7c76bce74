//! Kernels of the hot loops: one 3×3 block times the values of one node, all load cases at once, and their dispatch to the
//! processor's instruction set.

use crate::NodeColumns;
use std::ops::{Add, AddAssign, Mul, Sub};

/// Single or double precision.
pub trait Real:
    Copy
    + Default
    + Send
    + Sync
    + std::fmt::Debug
    + Add<Output = Self>
    + AddAssign
    + Mul<Output = Self>
    + Sub<Output = Self>
    + 'static
{
    /// self·b + c, fused when the processor has it (`FUSED`), else in two roundings: without the
    /// instruction a fused product is a slow library call.
    fn times_plus<const FUSED: bool>(self, b: Self, c: Self) -> Self;
    /// Rounds.
    fn from_f64(x: f64) -> Self;
    /// Widens.
    fn to_f64(self) -> f64;
}

macro_rules! real {
    ($t:ty) => {
        impl Real for $t {
            #[inline(always)]
            fn times_plus<const FUSED: bool>(self, b: Self, c: Self) -> Self {
                if FUSED {
                    self.mul_add(b, c)
                } else {
                    self * b + c
                }
            }
            #[inline(always)]
            fn from_f64(x: f64) -> Self {
                x as $t
            }
            #[inline(always)]
            fn to_f64(self) -> f64 {
                f64::from(self)
            }
        }
    };
}
real!(f32);
real!(f64);

/// Sums of block times node values, kept apart by the block's column until the end.
///
/// One sum a row would be a chain of dependent products, three a block, that waits for the arithmetic
/// more than for memory; nine sums are a third as long. Where nine vectors do not fit the registers
/// (`W` values wider than 32 bytes) the three of a row share one.
pub(crate) struct Sums<T, const W: usize>([NodeColumns<T, W>; 3]);

impl<T: Real, const W: usize> Sums<T, W> {
    const APART: bool = W * std::mem::size_of::<T>() <= 32;

    #[inline(always)]
    pub(crate) fn new() -> Self {
        Sums([[[T::default(); W]; 3]; 3])
    }

    /// Adds B x.
    #[inline(always)]
    pub(crate) fn add<const FUSED: bool>(&mut self, b: &[[T; 3]; 3], x: &NodeColumns<T, W>) {
        for c in 0..3 {
            let to = &mut self.0[if Self::APART { c } else { 0 }];
            for r in 0..3 {
                for k in 0..W {
                    to[r][k] = b[r][c].times_plus::<FUSED>(x[c][k], to[r][k]);
                }
            }
        }
    }

    /// Adds Bᵀ x.
    #[inline(always)]
    pub(crate) fn add_transposed<const FUSED: bool>(
        &mut self,
        b: &[[T; 3]; 3],
        x: &NodeColumns<T, W>,
    ) {
        for c in 0..3 {
            let to = &mut self.0[if Self::APART { c } else { 0 }];
            for r in 0..3 {
                for k in 0..W {
                    to[r][k] = b[c][r].times_plus::<FUSED>(x[c][k], to[r][k]);
                }
            }
        }
    }

    /// The sum.
    #[inline(always)]
    pub(crate) fn total(self) -> NodeColumns<T, W> {
        let [mut sum, b, c] = self.0;
        if Self::APART {
            for r in 0..3 {
                for k in 0..W {
                    sum[r][k] += b[r][k];
                    sum[r][k] += c[r][k];
                }
            }
        }
        sum
    }
}

/// to += B x for one 3×3 block, the products of a row added one after the other.
#[inline(always)]
pub(crate) fn multiply_add<T: Real, const W: usize, const FUSED: bool>(
    to: &mut NodeColumns<T, W>,
    b: &[[T; 3]; 3],
    x: &NodeColumns<T, W>,
) {
    for r in 0..3 {
        for c in 0..3 {
            for k in 0..W {
                to[r][k] = b[r][c].times_plus::<FUSED>(x[c][k], to[r][k]);
            }
        }
    }
}

/// to += Bᵀ x for one 3×3 block, the products of a row added one after the other.
#[inline(always)]
pub(crate) fn transposed_multiply_add<T: Real, const W: usize, const FUSED: bool>(
    to: &mut NodeColumns<T, W>,
    b: &[[T; 3]; 3],
    x: &NodeColumns<T, W>,
) {
    for r in 0..3 {
        for c in 0..3 {
            for k in 0..W {
                to[c][k] = b[r][c].times_plus::<FUSED>(x[r][k], to[c][k]);
            }
        }
    }
}

/// A loop to be compiled for the widest vectors this processor has.
///
/// A type and not a closure: the compiler need not inline a closure, and what is not inlined is compiled
/// for the least processor.
pub trait Kernel {
    /// The loop; `FUSED` tells whether fused multiply-add is an instruction.
    fn run<const FUSED: bool>(self);
}

#[cfg(target_arch = "x86_64")]
struct Compiled<H>(H);

#[cfg(target_arch = "x86_64")]
impl<H: Kernel> pulp::NullaryFnOnce for Compiled<H> {
    type Output = ();
    #[inline(always)]
    fn call(self) {
        self.0.run::<true>();
    }
}

/// Runs `hot` with the best instruction set found at run time. Vectors of 64 bytes were found slower than those of
/// 32 in loops that the compiler turns into vectors.
pub fn dispatch(hot: impl Kernel) {
    #[cfg(target_arch = "x86_64")]
    if let Some(v3) = pulp::x86::V3::try_new() {
        return v3.vectorize(Compiled(hot));
    }
    // On this one every processor has vectors and fused products.
    hot.run::<{ cfg!(target_arch = "aarch64") }>();
}
