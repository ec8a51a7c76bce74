//! Where the medullary canal ends: at the level asked for, or next to it where a screw lies.

use crate::{Bone, Screw};
use bicolumn_base::ScrewNumber;

/// Distance a screw's side keeps from the floor, mm.
const CLEARANCE: f64 = 0.8;
/// A screw with its axis this close to the floor, as a share of its radius, is cut in two by it at a good
/// angle.
const HALVED: f64 = 0.5;
/// How far the floor may move, mm, and in what steps. The level is an assumption of the model, not a
/// landmark.
const FARTHEST: f64 = 6.0;
const STEP: f64 = 0.25;

/// The level of the canal's floor, and the screw for whose sake it is not the one asked for.
///
/// A screw that crosses the floor at a small angle would leave a feather of bone between them. Among
/// levels up to 6 mm off the nearest that no screw grazes is taken; if there is none, the one asked for.
pub(crate) fn floor(bone: &Bone, screws: &[Screw]) -> (f64, Option<ScrewNumber>) {
    let asked = bone.spec().canal_floor_mm;
    let grazing = |level: f64| screws.iter().find(|s| grazes(bone, s, level));
    let Some(first) = grazing(asked) else {
        return (asked, None);
    };
    let steps = (FARTHEST / STEP) as i32;
    let other = (1..=steps)
        .flat_map(|k| [1.0, -1.0].map(|side| asked + side * STEP * f64::from(k)))
        .find(|level| grazing(*level).is_none());
    other.map_or((asked, None), |level| (level, Some(first.number)))
}

/// Does the floor at a level meet the side of a screw inside the bone at a small angle?
fn grazes(bone: &Bone, screw: &Screw, level: f64) -> bool {
    let radius = 0.5 * screw.diameter_mm;
    let n = (2.0 * screw.length_mm).ceil().max(1.0);
    (0..=n as usize)
        .map(|i| screw.entry + screw.direction * (screw.length_mm * i as f64 / n))
        .any(|p| {
            let off = (p.y - level).abs();
            off > HALVED * radius && off < radius + CLEARANCE && bone.inner().value(p) < radius
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bone::tests::mean_bone;
    use crate::{Head, ScrewHold, ScrewRow};
    use bicolumn_base::{PlateSite, Vec3};

    fn screw(level: f64, rise: f64) -> Screw {
        let bone = mean_bone();
        Screw {
            number: ScrewNumber(3),
            plate: Some(PlateSite::Medial),
            row: ScrewRow::Shaft,
            hold: ScrewHold::Locking,
            head: Head::Locked,
            glides_in: None,
            entry: bone.shaft_axis(level) - Vec3::z() * 10.0,
            direction: (Vec3::z() + Vec3::y() * rise).normalize(),
            length_mm: 20.0,
            diameter_mm: 2.4,
        }
    }

    #[test]
    fn the_floor_gives_way_to_a_screw_that_grazes_it() {
        let bone = mean_bone();
        let asked = bone.spec().canal_floor_mm;
        assert_eq!(floor(&bone, &[]), (asked, None));
        for clear in [screw(asked + 2.1, 0.0), screw(asked - 0.5, 0.0)] {
            assert_eq!(floor(&bone, &[clear]), (asked, None));
        }
        for (level, rise) in [(asked + 1.2, 0.0), (asked - 1.0, 0.1), (asked + 0.3, 0.15)] {
            let (found, why) = floor(&bone, &[screw(level, rise)]);
            assert_eq!(why, Some(ScrewNumber(3)));
            // All of the axis within the canal is now clear by the radius and 0.8 mm, or halved.
            for t in 0..=40 {
                let s = screw(level, rise);
                let p = s.entry + s.direction * (0.5 * f64::from(t));
                let off = (p.y - found).abs();
                let inside = bone.inner().value(p) < 1.2;
                assert!(!inside || off >= 2.0 || off <= 0.6, "{level} {rise}: {off}");
            }
            assert!((found - asked).abs() <= FARTHEST);
        }
    }
}
