//! The floor of the medullary canal: screws beside it, a fracture through it.
//!
//! The floor is the bone's own: all constructs of a study have it at one level. Screws give way to it as
//! far as their holes allow, then it bends.

use crate::canal_floor::{Bend, CLEARANCE};
use crate::rod::Rod;
use crate::{Bone, CanalFloor, Fracture};
use bicolumn_base::Vec3;

/// A screw with its axis this close to the floor, as a share of its radius, is cut in two by it at a good
/// angle.
const HALVED: f64 = 0.5;

/// How far, in mm of its axis, a rod's side lies on the canal's floor at a small angle.
///
/// There a feather of bone is left between them, which no mesher takes well: among the directions of its
/// hole a screw is given one where this is least. `floor` as from [`floor`].
pub(crate) fn beside_floor_mm(bone: &Bone, floor: Option<&CanalFloor>, rod: &Rod) -> f64 {
    const STEP: f64 = 0.5;
    let Some(floor) = floor else {
        return 0.0;
    };
    let n = (rod.length() / STEP).ceil().max(1.0);
    let beside = (0..=n as usize)
        .map(|i| rod.from + (rod.to - rod.from) * (i as f64 / n))
        .filter(|p| {
            let off = (p.y - floor.level_at(*p)).abs();
            off > HALVED * rod.radius
                && off < rod.radius + CLEARANCE
                && bone.inner().value(*p) < rod.radius
        });
    beside.count() as f64 * rod.length() / n
}

/// The canal's floor, not bent yet; `None` where the canal ends at the fracture instead.
///
/// Where the floor comes closer to a fracture face than a thin plug is worth, the cancellous bone
/// between them would be a feather: then the proximal fragment has none, the distal one keeps its own.
pub(crate) fn floor(bone: &Bone, fracture: Option<&Fracture>) -> Option<CanalFloor> {
    let floor = CanalFloor::level(bone.spec().canal_floor_mm);
    keeps_a_plug(bone, fracture, &floor).then_some(floor)
}

/// Is more than a thin plug of bone left between the floor and the fracture's faces?
pub(crate) fn keeps_a_plug(bone: &Bone, fracture: Option<&Fracture>, floor: &CanalFloor) -> bool {
    const THINNEST_PLUG_MM: f64 = 2.0;
    let Some(fracture) = fracture else {
        return true;
    };
    let centre = bone.shaft_axis(floor.level_mm());
    let reach = 0.5 * bone.spec().epicondylar_width_mm;
    let steps = || (-20..=20).map(|i| reach * f64::from(i) / 20.0);
    let inside = steps()
        .flat_map(|x| steps().map(move |z| centre + Vec3::new(x, 0.0, z)))
        .map(|p| Vec3::new(p.x, floor.level_at(p), p.z))
        .filter(|p| bone.inner().value(*p) < 0.0);
    let (mut all_above, mut all_below) = (true, true);
    for p in inside {
        all_above &= fracture.above(p) > THINNEST_PLUG_MM;
        all_below &= fracture.below(p) > THINNEST_PLUG_MM;
    }
    all_above || all_below
}

impl CanalFloor {
    /// Bends the floor away from screws that run along it; for each of `rods`, in turn, by how many mm at
    /// most, 0 where it stays as it is.
    ///
    /// A bend is kept if it leaves less of all screws beside the floor and does not come too close to the
    /// fracture.
    pub(crate) fn give_way(
        &mut self,
        bone: &Bone,
        fracture: Option<&Fracture>,
        rods: &[Rod],
    ) -> Vec<f64> {
        let beside = |floor: &CanalFloor, rod| beside_floor_mm(bone, Some(floor), rod);
        let mut bent = vec![0.0; rods.len()];
        for (rod, bent) in rods.iter().zip(&mut bent) {
            if beside(self, rod) == 0.0 {
                continue;
            }
            let Some(bend) = Bend::along(rod) else {
                continue;
            };
            let most = rod
                .axis_points()
                .filter(|p| bone.inner().value(*p) < rod.radius)
                .map(|p| bend.shift(p, self.level_mm()).abs())
                .fold(0.0, f64::max);
            let mut with = self.clone();
            with.bends.push(bend);
            let of_all = |floor: &CanalFloor| rods.iter().map(|r| beside(floor, r)).sum::<f64>();
            if of_all(&with) < of_all(self) && keeps_a_plug(bone, fracture, &with) {
                *self = with;
                *bent = most;
            }
        }
        bent
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bone::tests::mean_bone;
    use bicolumn_base::Vec3;

    #[test]
    fn only_a_screw_along_the_floor_is_beside_it() {
        let bone = mean_bone();
        let floor = bone.spec().canal_floor_mm;
        let beside = |level: f64, rise: f64, length: f64| {
            let from = bone.shaft_axis(level) - Vec3::z() * 10.0;
            let to = from + (Vec3::z() + Vec3::y() * rise).normalize() * length;
            let radius = 1.2;
            let floor = CanalFloor::level(floor);
            beside_floor_mm(&bone, Some(&floor), &Rod { from, to, radius })
        };
        for clear in [floor + 2.1, floor - 2.1, floor - 0.5, floor + 0.5] {
            assert_eq!(beside(clear, 0.0, 20.0), 0.0, "{clear}");
        }
        // Level and beside it: as long as the inside is wide, and no more than the screw is long.
        let along = beside(floor + 1.2, 0.0, 20.0);
        assert!((8.0..20.0).contains(&along), "{along}");
        // Steeper means shorter.
        let steep = beside(floor - 8.0, 1.0, 20.0);
        assert!(steep < 0.6 * along, "{steep} {along}");
        // Ending in the near wall it meets no floor.
        assert_eq!(beside(floor + 1.2, 0.0, 1.0), 0.0);
    }
}
