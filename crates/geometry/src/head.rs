//! Heads of screws that are not one with a plate: seated in a plate's hole, or resting on bone.
//!
//! ```text
//!   seated in a plate              resting on bone
//!  ───╲      head     ╱───          ┌───────────┐
//!      ╲_           _╱              │   head    │
//!       │ ╲_______╱ │           ────┴──┐     ┌──┴────
//!  plate│  │shank│  │plate             │shank│  bone
//! ──────┘  │     │  └─────             │     │
//! ```

use crate::Field;
use bicolumn_base::{Aabb, Vec3};

/// Diameter of a head over the core diameter (from memory: 6.0 over 2.4 of a 3.5 mm cortical screw).
pub(crate) const HEAD_OVER_CORE: f64 = 2.5;
/// The same of the narrowest head, which a narrow plate gets: its bore of 1.5 cores still passes a thread of 1.46, that
/// of a 3.5 mm cortical screw (judgement).
pub(crate) const LEAST_HEAD_OVER_CORE: f64 = 2.0;
/// Depth of the seat at the rim of its bore, as a share of the plate's thickness (judgement).
const SEAT_DEPTH: f64 = 0.33;
/// Height of a head that rests on bone, mm (judgement).
pub(crate) const HEIGHT_ON_BONE: f64 = 1.6;

/// A screw's head.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Head {
    /// One with the plate: no more than the shank in the plate's thickness.
    Locked,
    /// A ball cut off flush with the plate's outer face, in a seat of the plate; under it the shank
    /// passes a wider bore along its own axis.
    Seated {
        /// Centre of the ball: above the point where the axis pierces the outer face.
        centre: Vec3,
        /// Radius of the ball, mm.
        radius_mm: f64,
        /// Diameter of the bore, mm.
        bore_mm: f64,
    },
    /// A disk on the bone's surface, which follows it.
    OnBone {
        /// Diameter, mm.
        diameter_mm: f64,
        /// Height above the bone, mm.
        height_mm: f64,
    },
}

impl Head {
    /// The seated head of a screw whose axis pierces the outer face of a plate at a point, with the
    /// face's unit normal pointing out.
    ///
    /// The seat is sunk square to the face there, so the rim left between head and bore is as wide on
    /// all sides, however the screw is tilted. (With the ball's centre on a tilted axis the flat seat
    /// of a thin plate would run out to nothing on one side.)
    ///
    /// Halfway between core and head lies the bore: the ring left free is as wide as the seat that remains (judgement;
    /// a 3.5 mm thread passes a bore of 4.2 over a core of 2.4 under a head of 6.0).
    pub(crate) fn seated(
        (pierced, out): (Vec3, Vec3),
        core_mm: f64,
        head_over_core: f64,
        thickness_mm: f64,
    ) -> Head {
        let bore_over_core = 0.5 * (1.0 + head_over_core);
        let head = 0.5 * head_over_core * core_mm;
        let bore = 0.5 * bore_over_core * core_mm;
        let depth = SEAT_DEPTH * thickness_mm;
        // The ball passes the head's rim at the outer face and the bore's rim `depth` below it:
        // R² = head² + rise² = bore² + (rise + depth)².
        let rise = (head * head - bore * bore - depth * depth) / (2.0 * depth);
        Head::Seated {
            centre: pierced + out * rise,
            radius_mm: head.hypot(rise),
            bore_mm: 2.0 * bore,
        }
    }
}

/// A ball: negative inside.
#[derive(Debug, Clone, Copy)]
pub struct Ball {
    /// Centre.
    pub centre: Vec3,
    /// Radius, mm.
    pub radius_mm: f64,
}

impl Field for Ball {
    fn value(&self, x: Vec3) -> f64 {
        (x - self.centre).norm() - self.radius_mm
    }
    fn gradient(&self, x: Vec3) -> Vec3 {
        (x - self.centre)
            .try_normalize(1e-12)
            .unwrap_or_else(Vec3::zeros)
    }
    fn bounds(&self) -> Aabb {
        Aabb::around(&[self.centre]).grown(self.radius_mm)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Centre, radius and bore of a head in a plate whose outer face is the plane x = 0.
    fn seated(core: f64, thickness: f64) -> (Vec3, f64, f64) {
        let pierced = (Vec3::zeros(), -Vec3::x());
        match Head::seated(pierced, core, HEAD_OVER_CORE, thickness) {
            Head::Seated {
                centre,
                radius_mm,
                bore_mm,
            } => (centre, radius_mm, bore_mm),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn the_ball_meets_the_rims_of_head_and_bore() {
        let (core, thickness) = (2.4, 2.7);
        let (centre, radius_mm, bore_mm) = seated(core, thickness);
        // The outer face is the plane x = 0.
        let ball = Ball { centre, radius_mm };
        assert!(
            ball.value(Vec3::new(0.0, 3.0, 0.0)).abs() < 1e-12,
            "head 6.0"
        );
        let rim = Vec3::new(SEAT_DEPTH * thickness, 0.5 * bore_mm, 0.0);
        assert!(ball.value(rim).abs() < 1e-12);
        assert!((bore_mm - 4.2).abs() < 1e-12);
        // Its deepest point stays inside the plate.
        assert!(centre.x + radius_mm < thickness - 0.5);
    }

    #[test]
    fn a_seat_is_as_wide_on_all_sides_of_a_tilted_bore() {
        let (core, thickness, tilt) = (2.6, 1.5, 12f64.to_radians());
        let direction = Vec3::new(tilt.cos(), tilt.sin(), 0.0);
        let (centre, radius_mm, bore_mm) = seated(core, thickness);
        for k in 0..12 {
            let angle = std::f64::consts::TAU * f64::from(k) / 12.0;
            let across = Vec3::new(0.0, angle.cos(), angle.sin());
            // On the outer face: where the ball ends, and where the bore does.
            let head = (radius_mm * radius_mm - centre.x * centre.x).sqrt();
            let bore = 0.5 * bore_mm / across.cross(&direction).norm();
            assert!((0.9..1.0).contains(&(head - bore)), "{head} {bore}");
        }
    }
}
