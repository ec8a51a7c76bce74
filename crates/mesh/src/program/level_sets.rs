//! Level sets of the cuts: half-space, cylinder, slot, offset of another field.

use bicolumn_base::{Aabb, Vec3};
use bicolumn_geometry::Field;

/// Half-space: negative below the plane through `point` with unit `normal`.
pub(crate) struct Plane {
    pub(crate) point: Vec3,
    pub(crate) normal: Vec3,
}

impl Field for Plane {
    fn value(&self, x: Vec3) -> f64 {
        (x - self.point).dot(&self.normal)
    }
    fn gradient(&self, _x: Vec3) -> Vec3 {
        self.normal
    }
}

/// Endless cylinder: negative inside.
pub(crate) struct Cylinder {
    pub(crate) point: Vec3,
    pub(crate) axis: Vec3,
    pub(crate) radius_mm: f64,
    pub(crate) bounds: Aabb,
}

impl Cylinder {
    fn radial(&self, x: Vec3) -> Vec3 {
        let r = x - self.point;
        r - self.axis * r.dot(&self.axis)
    }
}

impl Field for Cylinder {
    fn value(&self, x: Vec3) -> f64 {
        self.radial(x).norm() - self.radius_mm
    }
    fn gradient(&self, x: Vec3) -> Vec3 {
        self.radial(x)
            .try_normalize(1e-12)
            .unwrap_or_else(Vec3::zeros)
    }
    fn bounds(&self) -> Aabb {
        self.bounds
    }
}

/// Another field, moved outwards by a distance.
pub(crate) struct Offset<'a> {
    pub(crate) of: &'a dyn Field,
    pub(crate) by_mm: f64,
}

impl Field for Offset<'_> {
    fn value(&self, x: Vec3) -> f64 {
        self.of.value(x) - self.by_mm
    }
    fn gradient(&self, x: Vec3) -> Vec3 {
        self.of.gradient(x)
    }
    fn bounds(&self) -> Aabb {
        self.of.bounds().grown(self.by_mm.max(0.0))
    }
}

/// Another field, unchanged.
pub(crate) struct Borrowed<'a>(pub(crate) &'a dyn Field);

impl Field for Borrowed<'_> {
    fn value(&self, x: Vec3) -> f64 {
        self.0.value(x)
    }
    fn gradient(&self, x: Vec3) -> Vec3 {
        self.0.gradient(x)
    }
    fn bounds(&self) -> Aabb {
        self.0.bounds()
    }
}

/// A straight slot with round ends, endless along its axis: negative inside.
pub(crate) struct Slot {
    pub(crate) centre: Vec3,
    pub(crate) axis: Vec3,
    pub(crate) along: Vec3,
    pub(crate) half_mm: f64,
    pub(crate) radius_mm: f64,
    pub(crate) bounds: Aabb,
}

impl Slot {
    /// From the nearest point of the middle line, at right angles to the axis.
    fn offset(&self, x: Vec3) -> Vec3 {
        let r = x - self.centre;
        let r = r - self.axis * r.dot(&self.axis);
        r - self.along * r.dot(&self.along).clamp(-self.half_mm, self.half_mm)
    }
}

impl Field for Slot {
    fn value(&self, x: Vec3) -> f64 {
        self.offset(x).norm() - self.radius_mm
    }
    fn gradient(&self, x: Vec3) -> Vec3 {
        self.offset(x)
            .try_normalize(1e-12)
            .unwrap_or_else(Vec3::zeros)
    }
    fn bounds(&self) -> Aabb {
        self.bounds
    }
}
