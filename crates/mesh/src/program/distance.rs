//! Distances to plates, screws, heads and fracture faces, for cuts and cell sizes.

use bicolumn_base::Vec3;
use bicolumn_geometry::{Construct, Fracture, Head, Plate, Screw, Split};

/// Axis of a screw.
#[derive(Clone, Copy)]
pub(crate) struct Axis {
    pub(crate) entry: Vec3,
    pub(crate) direction: Vec3,
}

impl Axis {
    pub(crate) fn of(screw: &Screw) -> Axis {
        Axis {
            entry: screw.entry,
            direction: screw.direction,
        }
    }

    pub(crate) fn along(&self, x: Vec3) -> f64 {
        (x - self.entry).dot(&self.direction)
    }

    pub(crate) fn off(&self, x: Vec3) -> f64 {
        (x - self.entry - self.direction * self.along(x)).norm()
    }
}

/// Height of the outer face of a screw's plate above the bone, mm; 0 without a plate.
pub(crate) fn top_of_plate(construct: &Construct, screw: &Screw) -> f64 {
    let mut plates = construct.plates.iter();
    plates
        .find(|p| Some(p.site) == screw.plate)
        .map_or(0.0, |p| p.stand_off_mm + p.thickness_mm)
}

/// Distance to a plate, from its three coordinates: across the outline, above, below. mm.
pub(crate) fn plate_distance(construct: &Construct, plate: &Plate, x: Vec3) -> f64 {
    let reach = plate.outline().bounds();
    let far = reach.distance(x);
    if far > 10.0 {
        return far;
    }
    let side = plate.outline().value(x);
    let d = construct.bone.outer().value(x);
    let above = d - plate.stand_off_mm - plate.thickness_mm;
    let below = plate.stand_off_mm - d;
    let layer = above.max(below);
    if side <= 0.0 && layer <= 0.0 {
        side.max(layer)
    } else {
        side.max(0.0).hypot(layer.max(0.0))
    }
}

/// Distance to a screw's cylinder between its plate's top and its tip, mm (negative inside).
pub(crate) fn screw_distance(construct: &Construct, screw: &Screw, x: Vec3) -> f64 {
    let r = x - screw.entry;
    let t = r.dot(&screw.direction);
    let side = (r - screw.direction * t).norm() - 0.5 * screw.diameter_mm;
    let ends = (t - screw.length_mm).max(-t - top_of_plate(construct, screw));
    if side <= 0.0 && ends <= 0.0 {
        side.max(ends)
    } else {
        side.max(0.0).hypot(ends.max(0.0))
    }
}

/// Distance from a head, mm; what is one with a plate has none of its own.
pub(crate) fn head_distance(construct: &Construct, screw: &Screw, x: Vec3) -> f64 {
    let axis = Axis::of(screw);
    match screw.head {
        Head::Locked => f64::INFINITY,
        Head::Seated { bore_mm, .. } => {
            let (t, off) = (axis.along(x), axis.off(x));
            let top = top_of_plate(construct, screw);
            (off - 0.75 * bore_mm).max(t).max(-t - top).max(0.0)
        }
        Head::OnBone {
            diameter_mm,
            height_mm,
        } => {
            let d = construct.bone.outer().value(x);
            let side = axis.off(x) - 0.5 * diameter_mm;
            let near = axis.along(x).abs() - height_mm - diameter_mm;
            side.max(d - height_mm).max(-d).max(near)
        }
    }
}

/// Distance to the nearer face of the fracture, mm.
pub(crate) fn face_distance(fracture: &Fracture, x: Vec3) -> f64 {
    let from_middle = (x - fracture.centre).dot(&fracture.normal).abs();
    (from_middle - 0.5 * fracture.spec.gap_mm).abs()
}

/// Distance to the nearer face of the split, which ends at the fracture, mm.
pub(crate) fn split_distance(fracture: &Fracture, split: &Split, x: Vec3) -> f64 {
    let from_face = (split.lateral_of(x).abs() - 0.5 * split.spec.gap_mm).abs();
    from_face.max(-fracture.below(x))
}
