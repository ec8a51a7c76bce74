//! The side of the body, and the mirror image between a right and a left humerus.

use crate::Vec3;

/// Side of the body that a humerus is from. The frame is the right humerus' for both: a left one is its mirror image
/// in the plane Z = 0, so that its lateral side is −Z.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum BodySide {
    /// Right.
    Right,
    /// Left.
    Left,
}

impl BodySide {
    /// Left if told so, else right.
    pub fn of_left(left: bool) -> Self {
        if left {
            BodySide::Left
        } else {
            BodySide::Right
        }
    }

    /// Mirror image on this side of a vector (place, displacement, force) of the right side; its own inverse.
    pub fn vector(self, v: Vec3) -> Vec3 {
        match self {
            BodySide::Right => v,
            BodySide::Left => Vec3::new(v.x, v.y, -v.z),
        }
    }

    /// Mirror image on this side of a pseudovector (couple, rotation) of the right side: the components in the mirror's
    /// plane change sign, the one along its normal stays.
    pub fn pseudovector(self, w: Vec3) -> Vec3 {
        match self {
            BodySide::Right => w,
            BodySide::Left => Vec3::new(-w.x, -w.y, w.z),
        }
    }

    /// Sign of a pseudoscalar (torque about a direction that is mirrored, too) on this side, 1 or −1.
    pub fn handedness(self) -> f64 {
        match self {
            BodySide::Right => 1.0,
            BodySide::Left => -1.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_moment_of_a_mirrored_force_is_the_mirrored_moment(
            r in prop::array::uniform3(-9.0..9.0f64),
            f in prop::array::uniform3(-9.0..9.0f64),
        ) {
            let (r, f) = (Vec3::from(r), Vec3::from(f));
            for side in [BodySide::Right, BodySide::Left] {
                let mirrored = side.vector(r).cross(&side.vector(f));
                prop_assert!((mirrored - side.pseudovector(r.cross(&f))).norm() < 1e-12);
                let torque = mirrored.dot(&side.vector(Vec3::new(0.6, 0.0, 0.8)));
                let of_right = r.cross(&f).dot(&Vec3::new(0.6, 0.0, 0.8));
                prop_assert!((torque - side.handedness() * of_right).abs() < 1e-12);
            }
        }
    }
}
