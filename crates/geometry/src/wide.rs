//! Loops compiled for the vectors of 32 bytes that most processors of today have, chosen at run time.
//!
//! No sum is taken in another order and no product is fused into one: the results are the same bits on every processor.

/// A loop to be compiled twice.
///
/// A type and not a closure: the compiler need not inline a closure, and code that is not inlined is compiled for the
/// least processor.
pub(crate) trait Kernel {
    /// Result of the loop.
    type Output;
    /// The loop; `inline(always)`, as is all that it calls.
    fn run(self) -> Self::Output;
}

/// Vectors of the processor that the program runs on.
#[derive(Clone, Copy)]
pub(crate) struct Processor {
    #[cfg(target_arch = "x86_64")]
    wide: Option<pulp::x86::V3>,
}

impl Processor {
    pub(crate) fn found() -> Processor {
        Processor {
            #[cfg(target_arch = "x86_64")]
            wide: pulp::x86::V3::try_new(),
        }
    }

    #[inline(always)]
    pub(crate) fn run<K: Kernel>(self, kernel: K) -> K::Output {
        #[cfg(target_arch = "x86_64")]
        if let Some(wide) = self.wide {
            return wide.vectorize(Compiled(kernel));
        }
        kernel.run()
    }
}

#[cfg(target_arch = "x86_64")]
struct Compiled<K>(K);

#[cfg(target_arch = "x86_64")]
impl<K: Kernel> pulp::NullaryFnOnce for Compiled<K> {
    type Output = K::Output;
    #[inline(always)]
    fn call(self) -> K::Output {
        self.0.run()
    }
}
