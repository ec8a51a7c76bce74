//! Axis-aligned boxes.

use crate::Vec3;

/// An axis-aligned box, mm. May be unbounded on any side (infinite corners).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Aabb {
    /// Lower corner.
    pub min: Vec3,
    /// Upper corner.
    pub max: Vec3,
}

impl Aabb {
    /// All of space.
    pub const EVERYWHERE: Aabb = Aabb {
        min: Vec3::new(f64::NEG_INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY),
        max: Vec3::new(f64::INFINITY, f64::INFINITY, f64::INFINITY),
    };

    /// The empty box, the neutral element of [`Aabb::including`].
    pub const EMPTY: Aabb = Aabb {
        min: Self::EVERYWHERE.max,
        max: Self::EVERYWHERE.min,
    };

    /// The smallest box that holds all points; empty for none.
    pub fn around<'a>(points: impl IntoIterator<Item = &'a Vec3>) -> Self {
        points.into_iter().fold(Self::EMPTY, |b, p| b.including(*p))
    }

    /// The smallest box that holds this one and a point.
    #[inline]
    pub fn including(&self, p: Vec3) -> Self {
        Aabb {
            min: self.min.inf(&p),
            max: self.max.sup(&p),
        }
    }

    /// The box grown by `margin` mm on every side.
    pub fn grown(&self, margin: f64) -> Self {
        let m = Vec3::repeat(margin);
        Aabb {
            min: self.min - m,
            max: self.max + m,
        }
    }

    /// Is the point inside or on the box?
    #[inline]
    pub fn contains(&self, p: Vec3) -> bool {
        (0..3).all(|i| self.min[i] <= p[i] && p[i] <= self.max[i])
    }

    /// Distance from a point to the box, 0 inside, mm.
    #[inline]
    pub fn distance(&self, p: Vec3) -> f64 {
        let outside = |i: usize| (self.min[i] - p[i]).max(p[i] - self.max[i]).max(0.0);
        Vec3::new(outside(0), outside(1), outside(2)).norm()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distance_is_zero_inside_and_euclidean_outside() {
        let b = Aabb::around(&[Vec3::zeros(), Vec3::new(1.0, 2.0, 3.0)]);
        assert_eq!(b.distance(Vec3::new(0.5, 1.0, 1.0)), 0.0);
        assert_eq!(b.distance(Vec3::new(4.0, 6.0, 3.0)), 5.0);
        assert!(b.grown(5.0).contains(Vec3::new(4.0, 6.0, 3.0)));
        assert!(!Aabb::EMPTY.contains(Vec3::zeros()));
        assert!(Aabb::EVERYWHERE.contains(Vec3::repeat(1e300)));
    }
}
