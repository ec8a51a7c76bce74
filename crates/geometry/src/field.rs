//! Implicit surfaces.

use bicolumn_base::{Aabb, Vec3};

/// A scalar field whose zero set is a surface.
///
/// Negative inside, positive outside, close to a signed distance (mm) near the zero set: the mesher
/// moves nodes by Newton steps along the gradient and reads lengths off the value.
pub trait Field: Send + Sync {
    /// Value at a point of the bone frame, mm.
    fn value(&self, x: Vec3) -> f64;

    /// Gradient, dimensionless. The default takes central differences of 10⁻⁵ mm.
    fn gradient(&self, x: Vec3) -> Vec3 {
        const H: f64 = 1e-5;
        Vec3::from_fn(|i, _| {
            let mut step = Vec3::zeros();
            step[i] = H;
            (self.value(x + step) - self.value(x - step)) / (2.0 * H)
        })
    }

    /// A box that holds the whole zero set.
    fn bounds(&self) -> Aabb {
        Aabb::EVERYWHERE
    }
}
