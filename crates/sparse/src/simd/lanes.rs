//! SIMD registers for loops that the compiler would not vectorise by itself.
//!
//! The lanes of one vector hold the load cases of one node or, where those are few, of several nodes side
//! by side.

use crate::simd::kernel::Real;

/// Arithmetic on vectors of [`Lanes::N`] numbers.
pub trait Lanes<T>: Copy {
    /// One vector.
    type V: Copy;
    /// Numbers in it.
    const N: usize;
    /// Is a multiply-add one instruction?
    const FUSED: bool;
    /// All the same.
    fn splat(self, a: T) -> Self::V;
    /// a + b.
    fn add(self, a: Self::V, b: Self::V) -> Self::V;
    /// a − b.
    fn sub(self, a: Self::V, b: Self::V) -> Self::V;
    /// a b.
    fn mul(self, a: Self::V, b: Self::V) -> Self::V;
    /// a b + c.
    fn mul_add(self, a: Self::V, b: Self::V, c: Self::V) -> Self::V;
    /// a b − c.
    fn mul_sub(self, a: Self::V, b: Self::V, c: Self::V) -> Self::V;
    /// A vector of pieces of `W` numbers, side by side; where one piece is longer than a vector, its `pass`-th
    /// part.
    fn load<const W: usize>(self, piece: impl Fn(usize) -> [T; W], pass: usize) -> Self::V;
    /// One of the numbers.
    fn get(self, v: Self::V, lane: usize) -> T;
}

/// A loop written in lanes.
pub trait InLanes<T> {
    /// The loop.
    fn run<L: Lanes<T>>(self, lanes: L);
}

/// Precisions that have lanes.
pub trait Laned: Real {
    /// Runs `work` in the widest vectors that this processor has and that pieces of `W` numbers fill well.
    fn in_lanes<const W: usize>(work: impl InLanes<Self>);
}

macro_rules! lanes {
    ($name:ident, $token:ty, [$t:ty; $n:literal], $v:ty, $fused:literal,
        $splat:ident $add:ident $sub:ident $mul:ident $mul_add:ident $mul_sub:ident) => {
        #[derive(Clone, Copy)]
        struct $name($token);

        impl Lanes<$t> for $name {
            type V = $v;
            const N: usize = $n;
            const FUSED: bool = $fused;
            #[inline(always)]
            fn splat(self, a: $t) -> $v {
                self.0.$splat(a)
            }
            #[inline(always)]
            fn add(self, a: $v, b: $v) -> $v {
                self.0.$add(a, b)
            }
            #[inline(always)]
            fn sub(self, a: $v, b: $v) -> $v {
                self.0.$sub(a, b)
            }
            #[inline(always)]
            fn mul(self, a: $v, b: $v) -> $v {
                self.0.$mul(a, b)
            }
            #[inline(always)]
            fn mul_add(self, a: $v, b: $v, c: $v) -> $v {
                self.0.$mul_add(a, b, c)
            }
            #[inline(always)]
            fn mul_sub(self, a: $v, b: $v, c: $v) -> $v {
                self.0.$mul_sub(a, b, c)
            }
            #[inline(always)]
            fn load<const W: usize>(self, piece: impl Fn(usize) -> [$t; W], pass: usize) -> $v {
                let mut all = [0.0; $n];
                if W >= $n {
                    let row = piece(0);
                    for k in 0..$n {
                        all[k] = row[pass * $n + k];
                    }
                } else {
                    for e in 0..$n / W {
                        let row = piece(e);
                        for k in 0..W {
                            all[e * W + k] = row[k];
                        }
                    }
                }
                pulp::cast(all)
            }
            #[inline(always)]
            fn get(self, v: $v, lane: usize) -> $t {
                let all: [$t; $n] = pulp::cast(v);
                all[lane]
            }
        }
    };
}

/// Number by number: for processors without the vectors below.
#[derive(Clone, Copy)]
struct Plain;

// In loops: `from_fn` takes the compiler minutes in a kernel of a thousand of these.
impl Plain {
    fn splat<T: Real, const N: usize>(self, a: T) -> [T; N] {
        [a; N]
    }
    fn add<T: Real, const N: usize>(self, mut a: [T; N], b: [T; N]) -> [T; N] {
        for k in 0..N {
            a[k] += b[k];
        }
        a
    }
    fn sub<T: Real, const N: usize>(self, mut a: [T; N], b: [T; N]) -> [T; N] {
        for k in 0..N {
            a[k] = a[k] - b[k];
        }
        a
    }
    fn mul<T: Real, const N: usize>(self, mut a: [T; N], b: [T; N]) -> [T; N] {
        for k in 0..N {
            a[k] = a[k] * b[k];
        }
        a
    }
    fn mul_add<T: Real, const N: usize>(self, mut a: [T; N], b: [T; N], c: [T; N]) -> [T; N] {
        for k in 0..N {
            a[k] = a[k] * b[k] + c[k];
        }
        a
    }
    fn mul_sub<T: Real, const N: usize>(self, mut a: [T; N], b: [T; N], c: [T; N]) -> [T; N] {
        for k in 0..N {
            a[k] = a[k] * b[k] - c[k];
        }
        a
    }
}
lanes!(PlainSingle, Plain, [f32; 8], [f32; 8], false, splat add sub mul mul_add mul_sub);
lanes!(PlainDouble, Plain, [f64; 4], [f64; 4], false, splat add sub mul mul_add mul_sub);

#[cfg(target_arch = "x86_64")]
mod x86 {
    use super::Lanes;
    use pulp::x86::{V3, V4};

    lanes!(Single, V3, [f32; 8], pulp::f32x8, true,
        splat_f32x8 add_f32x8 sub_f32x8 mul_f32x8 mul_add_f32x8 mul_sub_f32x8);
    lanes!(Double, V3, [f64; 4], pulp::f64x4, true,
        splat_f64x4 add_f64x4 sub_f64x4 mul_f64x4 mul_add_f64x4 mul_sub_f64x4);
    lanes!(WideDouble, V4, [f64; 8], pulp::f64x8, true,
        splat_f64x8 add_f64x8 sub_f64x8 mul_f64x8 mul_add_f64x8 mul_sub_f64x8);

    /// Compiled for the instruction set whose token is at hand, as closures are not for certain.
    struct Run<W, L>(W, L);

    macro_rules! run {
        ($t:ty, $lanes:ty) => {
            impl<W: super::InLanes<$t>> pulp::NullaryFnOnce for Run<W, $lanes> {
                type Output = ();
                #[inline(always)]
                fn call(self) {
                    self.0.run(self.1);
                }
            }
        };
    }
    run!(f32, Single);
    run!(f64, Double);
    run!(f64, WideDouble);

    /// Runs it if the processor has vectors for it; else gives it back.
    pub(super) fn single<W: super::InLanes<f32>>(work: W) -> Option<W> {
        match (V4::try_new(), V3::try_new()) {
            // The same vectors with twice as many registers: twice as wide ones were found slower.
            (Some(v4), Some(v3)) => v4.vectorize(Run(work, Single(v3))),
            (_, Some(v3)) => v3.vectorize(Run(work, Single(v3))),
            _ => return Some(work),
        }
        None
    }

    /// Runs work in vectors of eight numbers or, where the processor has none, of four.
    pub(super) fn wide_double<W: super::InLanes<f64>>(work: W) -> Option<W> {
        match (V4::try_new(), V3::try_new()) {
            (Some(v4), _) => v4.vectorize(Run(work, WideDouble(v4))),
            (_, Some(v3)) => v3.vectorize(Run(work, Double(v3))),
            _ => return Some(work),
        }
        None
    }

    /// Runs work in vectors of four.
    pub(super) fn double<W: super::InLanes<f64>>(work: W) -> Option<W> {
        match (V4::try_new(), V3::try_new()) {
            (Some(v4), Some(v3)) => v4.vectorize(Run(work, Double(v3))),
            (_, Some(v3)) => v3.vectorize(Run(work, Double(v3))),
            _ => return Some(work),
        }
        None
    }
}

#[cfg(not(target_arch = "x86_64"))]
mod x86 {
    pub(super) fn single<W>(work: W) -> Option<W> {
        Some(work)
    }
    pub(super) fn wide_double<W>(work: W) -> Option<W> {
        Some(work)
    }
    pub(super) fn double<W>(work: W) -> Option<W> {
        Some(work)
    }
}

impl Laned for f32 {
    fn in_lanes<const W: usize>(work: impl InLanes<f32>) {
        if let Some(work) = x86::single(work) {
            work.run(PlainSingle(Plain));
        }
    }
}

impl Laned for f64 {
    fn in_lanes<const W: usize>(work: impl InLanes<f64>) {
        // Chosen at compile time, so that none is compiled that is never run.
        let left = if W >= 8 {
            x86::wide_double(work)
        } else {
            x86::double(work)
        };
        if let Some(work) = left {
            work.run(PlainDouble(Plain));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Check<'a, const W: usize>(&'a mut Vec<f64>);

    impl<T: Laned, const W: usize> InLanes<T> for Check<'_, W> {
        fn run<L: Lanes<T>>(self, l: L) {
            for pass in 0..(W / L::N).max(1) {
                let a = l.load::<W>(
                    |e| std::array::from_fn(|k| T::from_f64((10 * e + k) as f64)),
                    pass,
                );
                let b = l.splat(T::from_f64(3.0));
                let v = l.mul_sub(a, b, l.mul_add(l.sub(a, b), b, l.add(a, l.mul(b, b))));
                self.0.extend((0..L::N).map(|k| l.get(v, k).to_f64()));
            }
        }
    }

    #[test]
    fn lanes_are_pieces_side_by_side_and_count_as_numbers_do() {
        fn check<T: Laned, const W: usize>() {
            let mut got = vec![];
            T::in_lanes::<W>(Check::<W>(&mut got));
            assert!(got.len() >= W && got.len() % W == 0);
            for (at, got) in got.into_iter().enumerate() {
                let a = (10 * (at / W) + at % W) as f64;
                assert_eq!(got, 3.0 * a - (3.0 * (a - 3.0) + a + 9.0));
            }
            let mut plain = vec![];
            InLanes::<f64>::run(Check::<W>(&mut plain), PlainDouble(Plain));
            assert!(plain.len() >= 4);
        }
        check::<f32, 1>();
        check::<f32, 4>();
        check::<f32, 8>();
        check::<f64, 1>();
        check::<f64, 2>();
        check::<f64, 4>();
        check::<f64, 8>();
    }
}
