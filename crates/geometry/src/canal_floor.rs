//! The floor of the medullary canal: a level plane, bent out of the way of a screw that runs along it.
//!
//! The plane's level is the bone's own, the same for all constructs of a study. A screw just beside it
//! would leave a feather of bone that no mesher takes well; there, and no further than a few millimetres
//! round, the floor gives way. Where on its last millimetres the canal ends is no matter of anatomy.

use crate::Field;
use crate::rod::Rod;
use bicolumn_base::Vec3;

/// Distance a screw's side keeps from the floor, mm.
pub(crate) const CLEARANCE: f64 = 0.8;

/// The floor of the canal: bone below, canal above.
#[derive(Debug, Clone, PartialEq)]
pub struct CanalFloor {
    level_mm: f64,
    pub(crate) bends: Vec<Bend>,
}

impl CanalFloor {
    pub(crate) fn level(level_mm: f64) -> CanalFloor {
        CanalFloor {
            level_mm,
            bends: Vec::new(),
        }
    }

    /// Level of the plane away from all bends: the bone's own, mm.
    pub fn level_mm(&self) -> f64 {
        self.level_mm
    }

    /// Level of the floor above or below a point, mm.
    pub fn level_at(&self, x: Vec3) -> f64 {
        let shift: f64 = self.bends.iter().map(|b| b.shift(x, self.level_mm)).sum();
        self.level_mm + shift
    }
}

impl Field for CanalFloor {
    fn value(&self, x: Vec3) -> f64 {
        x.y - self.level_at(x)
    }
    fn gradient(&self, x: Vec3) -> Vec3 {
        let slope = self
            .bends
            .iter()
            .map(|b| b.slope_at(x, self.level_mm))
            .sum::<Vec3>();
        Vec3::y() - slope
    }
}

/// One screw's bend: along its axis the floor keeps off the shank, above or below it as the plane lies; where
/// the plane crosses the axis, the floor crosses it steeply.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Bend {
    /// Start of the axis, and its direction seen from above (unit, no y).
    from: Vec3,
    along: Vec3,
    /// Length seen from above, mm; rise of the axis, mm per mm of it.
    length: f64,
    rise: f64,
    radius: f64,
    /// Vertical distance that the floor keeps from the axis, mm.
    off: f64,
}

/// Slope of the floor against the axis where it crosses it.
const CROSSING: f64 = 1.2;
/// A screw that rises by more than this meets the plane at a good angle as it is: 30 degrees (judgement).
const STEEP: f64 = 0.577;
/// How far to the side of the shank a bend fades out, mm.
const FADE_MM: f64 = 4.0;
/// How sharply the floor turns from the plane to its way along the screw.
const BLEND: i32 = 6;

impl Bend {
    /// `None` for a steep screw.
    pub(crate) fn along(rod: &Rod) -> Option<Bend> {
        let axis = rod.to - rod.from;
        let plan = Vec3::new(axis.x, 0.0, axis.z);
        let length = plan.norm();
        if axis.y.abs() > STEEP * length {
            return None;
        }
        let rise = axis.y / length;
        Some(Bend {
            from: rod.from,
            along: plan / length,
            length,
            rise,
            radius: rod.radius,
            off: (rod.radius + CLEARANCE) * (1.0 + rise * rise).sqrt(),
        })
    }

    /// Height of the axis over the floor in place of its height `h` over the plane, and the derivative.
    ///
    /// h itself where that is large, at least `off` otherwise, with a steep turn through 0.
    fn height(&self, h: f64) -> (f64, f64) {
        // Along the axis the turn takes `off` divided by the slope of the crossing, however flat the axis.
        let steep = CROSSING / self.rise.abs().max(1e-3);
        let (t, f) = {
            let t = (steep * h.abs() / self.off).tanh();
            (self.off * t, steep * (1.0 - t * t))
        };
        let n = BLEND;
        let sum = h.abs().powi(n) + t.powi(n);
        if sum == 0.0 {
            return (0.0, steep);
        }
        let g = sum.powf(1.0 / f64::from(n));
        let slope = (h.abs().powi(n - 1) + t.powi(n - 1) * f) / g.powi(n - 1);
        (g * h.signum(), slope)
    }

    /// Distance of a point from the axis seen from above, with the direction it grows in.
    fn aside(&self, x: Vec3) -> (f64, Vec3) {
        let v = x - self.from;
        let s = v.dot(&self.along).clamp(0.0, self.length);
        let mut off = v - self.along * s;
        off.y = 0.0;
        let d = off.norm();
        (d, off.try_normalize(1e-12).unwrap_or_else(Vec3::zeros))
    }

    /// Share of the bend at a distance aside, and its derivative: 1 over the shank, then down to 0.
    fn share(&self, d: f64) -> (f64, f64) {
        let t = ((d - self.radius) / FADE_MM).clamp(0.0, 1.0);
        let share = 1.0 - t * t * (3.0 - 2.0 * t);
        (share, -6.0 * t * (1.0 - t) / FADE_MM)
    }

    /// Height of the axis, drawn out beyond its ends, over the plane.
    fn over_plane(&self, x: Vec3, level: f64) -> f64 {
        self.from.y + self.rise * (x - self.from).dot(&self.along) - level
    }

    /// How far the floor lies over the plane there, mm.
    pub(crate) fn shift(&self, x: Vec3, level: f64) -> f64 {
        let (share, _) = self.share(self.aside(x).0);
        if share == 0.0 {
            return 0.0;
        }
        let h = self.over_plane(x, level);
        share * (h - self.height(h).0)
    }

    /// The derivatives of the shift.
    fn slope_at(&self, x: Vec3, level: f64) -> Vec3 {
        let (d, outward) = self.aside(x);
        let (share, falls) = self.share(d);
        if share == 0.0 {
            return Vec3::zeros();
        }
        let h = self.over_plane(x, level);
        let (g, slope) = self.height(h);
        outward * (falls * (h - g)) + self.along * (share * self.rise * (1.0 - slope))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Fracture;
    use crate::bone::tests::mean_bone;
    use crate::canal;
    use proptest::prelude::*;

    /// A rod of radius 1.2 mm through the canal's middle at a height over the floor.
    fn rod(height: f64, rise: f64) -> Rod {
        let bone = mean_bone();
        let middle = bone.shaft_axis(bone.spec().canal_floor_mm) + Vec3::y() * height;
        let half = (Vec3::z() + Vec3::y() * rise).normalize() * 10.0;
        Rod {
            from: middle - half,
            to: middle + half,
            radius: 1.2,
        }
    }

    fn floor() -> CanalFloor {
        CanalFloor::level(mean_bone().spec().canal_floor_mm)
    }

    #[test]
    fn a_level_screw_beside_the_floor_is_cleared_and_the_rest_stays() {
        let bone = mean_bone();
        for height in [-1.6, -0.9, 0.9, 1.6] {
            let rod = rod(height, 0.0);
            let mut floor = floor();
            let bent = floor.give_way(&bone, None, &[rod]);
            assert!(bent[0] > 0.3 && bent[0] < 1.3, "{bent:?}");
            for p in rod.axis_points() {
                let off = (p.y - floor.level_at(p)).abs();
                assert!(off > 2.0 - 1e-9 && off < 2.3, "{height}: {off}");
                // On the same side as before.
                assert!((p.y - floor.level_at(p)) * height > 0.0);
            }
            let away = bone.shaft_axis(0.0) + Vec3::x() * 5.3;
            assert_eq!(floor.level_at(away), floor.level_mm());
        }
    }

    #[test]
    fn a_flat_screw_through_the_floor_is_crossed_steeply() {
        let bone = mean_bone();
        let rod = rod(0.5, 0.2);
        let mut floor = floor();
        let bent = floor.give_way(&bone, None, &[rod]);
        assert!(bent[0] > 1.0 && bent[0] < 2.2, "{bent:?}");
        // The floor has turned to the other side after twice `off` over its slope, either way.
        let beside = canal::beside_floor_mm(&bone, Some(&floor), &rod);
        assert!(beside < 4.0 * 2.04 / CROSSING + 0.5, "{beside}");
        // Within the shank the floor runs at 45 degrees and more against the axis.
        let direction = (rod.to - rod.from).normalize();
        for i in 0..400 {
            let p = rod.from + direction * (0.05 * f64::from(i));
            if (p.y - floor.level_at(p)).abs() < 0.5 * rod.radius {
                let n = floor.gradient(p).normalize();
                assert!(n.dot(&direction).abs() > 0.7, "{:?}", n.dot(&direction));
            }
        }
    }

    #[test]
    fn clear_and_steep_screws_bend_nothing() {
        let bone = mean_bone();
        for (height, rise) in [(2.5, 0.0), (-2.5, 0.0), (0.3, 0.0), (1.0, 0.8)] {
            let mut floor = floor();
            assert_eq!(floor.give_way(&bone, None, &[rod(height, rise)]), [0.0]);
            assert!(floor.bends.is_empty());
        }
    }

    #[test]
    fn no_bend_comes_close_to_the_fracture() {
        let bone = mean_bone();
        let spec = crate::FractureSpec {
            level_mm: bone.spec().canal_floor_mm - 4.5,
            gap_mm: 4.0,
            ..crate::FractureSpec::default()
        };
        let fracture = Fracture::place(&bone, &spec).unwrap();
        let mut level = canal::floor(&bone, Some(&fracture)).unwrap();
        // Downwards there is no room for more than half a millimetre.
        assert_eq!(
            level.give_way(&bone, Some(&fracture), &[rod(0.7, 0.0)]),
            [0.0]
        );
        assert!(level.give_way(&bone, Some(&fracture), &[rod(-0.7, 0.0)])[0] > 1.0);
    }

    proptest! {
        #[test]
        fn gradient_is_the_derivative(height in -3.0..3.0f64, rise in -0.5..0.5f64,
                                      at in prop::array::uniform3(-9.0..9.0f64)) {
            let rod = rod(height, rise);
            let mut floor = floor();
            floor.bends.extend(Bend::along(&rod));
            let x = 0.5 * (rod.from + rod.to) + Vec3::from(at);
            const H: f64 = 1e-5;
            let by_difference = Vec3::from_fn(|i, _| {
                let mut step = Vec3::zeros();
                step[i] = H;
                (floor.value(x + step) - floor.value(x - step)) / (2.0 * H)
            });
            let off = (floor.gradient(x) - by_difference).norm();
            // The turn through the axis is short where the axis is flat.
            prop_assert!(off < 1e-3 * (1.0 + 0.01 / rise.abs().max(1e-3)), "{off}");
        }
    }
}
