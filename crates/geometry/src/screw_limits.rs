//! Limits that every screw is placed and checked by, and the length that it holds.

use crate::Bone;
use bicolumn_base::Vec3;

/// Distance a screw's surface keeps from the fracture planes, mm.
pub(crate) const FRACTURE_CLEARANCE: f64 = 0.8;
/// Distance the tip's face keeps from the bone's surfaces, mm.
pub(crate) const TIP_CLEARANCE: f64 = 0.6;
/// Shorter holds are refused, mm.
pub(crate) const LEAST_HELD: f64 = 5.0;
/// Least length of a shaft screw in the wall: through the near cortex only, it holds no more than
/// that, mm (judgement).
pub(crate) const LEAST_IN_WALL: f64 = 0.5 * LEAST_HELD;

/// Length of a segment that lies in cortical or cancellous bone, mm; the canal is empty.
pub(crate) fn length_in_bone(bone: &Bone, from: Vec3, to: Vec3) -> f64 {
    let length = (to - from).norm();
    let n = (4.0 * length).ceil().max(1.0);
    let step = (to - from) / n;
    let in_bone = (0..n as usize).filter(|i| {
        let x = from + step * (*i as f64 + 0.5);
        let marrow = bone.inner().value(x) < 0.0 && x.y > bone.spec().canal_floor_mm;
        bone.outer().value(x) < 0.0 && !marrow
    });
    in_bone.count() as f64 * length / n
}
