//! A space-filling curve: what lies near on it lies near in space.

use bicolumn_base::{Aabb, Vec3};

/// Position along Morton's curve (Morton 1966) over the cube around the box, 2²⁰ cells an edge.
pub(crate) fn position(bounds: &Aabb, x: Vec3) -> u64 {
    let size = (bounds.max - bounds.min).amax().max(f64::MIN_POSITIVE);
    let cell = (x - bounds.min) * (f64::from(1u32 << 20) * 0.999_999 / size);
    (0..3).fold(0, |key, i| key | spread(cell[i] as u64) << i)
}

/// Puts two zeros between the lowest 20 bits.
fn spread(x: u64) -> u64 {
    (0..20).fold(0, |s, bit| s | ((x >> bit) & 1) << (3 * bit))
}
