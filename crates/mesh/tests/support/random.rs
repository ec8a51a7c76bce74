//! Random numbers for test scenes and designs.

/// Marsaglia's xorshift, enough for test scenes.
pub(crate) struct Random(u64);

impl Random {
    pub(crate) fn new(seed: u64) -> Self {
        let mut r = Random(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        (0..10).for_each(|_| {
            r.unit();
        });
        r
    }
    pub(crate) fn unit(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }
    pub(crate) fn between(&mut self, a: f64, b: f64) -> f64 {
        a + (b - a) * self.unit()
    }
}
