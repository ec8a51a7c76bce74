//! Arithmetic of the hot loops: one 3×3 block times the values of one node, all load cases at once.

use crate::NodeColumns;
use std::ops::{AddAssign, Mul, Sub};

/// Single or double precision.
pub trait Real:
    Copy
    + Default
    + Send
    + Sync
    + std::fmt::Debug
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

/// y += B x.
#[inline(always)]
pub(crate) fn add_product<T: Real, const W: usize, const FUSED: bool>(
    y: &mut NodeColumns<T, W>,
    b: &[[T; 3]; 3],
    x: &NodeColumns<T, W>,
) {
    for r in 0..3 {
        for c in 0..3 {
            for k in 0..W {
                y[r][k] = b[r][c].times_plus::<FUSED>(x[c][k], y[r][k]);
            }
        }
    }
}

/// y += Bᵀ x.
#[inline(always)]
pub(crate) fn add_transposed_product<T: Real, const W: usize, const FUSED: bool>(
    y: &mut NodeColumns<T, W>,
    b: &[[T; 3]; 3],
    x: &NodeColumns<T, W>,
) {
    for r in 0..3 {
        for c in 0..3 {
            for k in 0..W {
                y[r][k] = b[c][r].times_plus::<FUSED>(x[c][k], y[r][k]);
            }
        }
    }
}

/// Runs a loop compiled for the widest vectors this processor has.
pub(crate) trait Hot {
    /// The loop; `FUSED` tells whether fused multiply-add is an instruction.
    fn run<const FUSED: bool>(self);
}

struct Dispatch<H>(H);

impl<H: Hot> pulp::WithSimd for Dispatch<H> {
    type Output = ();
    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _: S) {
        if S::IS_SCALAR {
            self.0.run::<false>();
        } else {
            self.0.run::<true>();
        }
    }
}

/// Runs `hot` with the best instruction set found at run time.
pub(crate) fn dispatch(hot: impl Hot) {
    pulp::Arch::new().dispatch(Dispatch(hot));
}
