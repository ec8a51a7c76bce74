//! Bone left out of stress measures: collars round screw holes and bonded plate edges.

use bicolumn_base::{Aabb, Vec3};
use bicolumn_geometry::{Plate, Screw};

/// Width of a collar, mm.
pub(crate) const COLLAR_MM: f64 = 1.0;

/// Does the point lie in a collar: nearer than 1.0 mm to the wall of a screw's cylinder, or, where a
/// plate touches the bone (no stand-off), to the edge of its footprint or of one of its empty holes?
pub(crate) fn in_collar(x: Vec3, plates: &[Plate], screws: &[Screw]) -> bool {
    let near_screw = screws.iter().any(|s| from_wall_mm(x, s) < COLLAR_MM);
    near_screw || from_bonded_edge_mm(x, plates, COLLAR_MM) < COLLAR_MM
}

/// Distance to the wall of a screw's cylinder, mm: radius off the axis from 10 mm above the bone to the tip; negative
/// inside.
pub(crate) fn from_wall_mm(x: Vec3, screw: &Screw) -> f64 {
    let r = x - screw.entry;
    let along = r.dot(&screw.direction).clamp(-10.0, screw.length_mm);
    (r - screw.direction * along).norm() - 0.5 * screw.diameter_mm
}

/// Distance to the nearest edge of a bonded plate's footprint or of one of its empty holes, mm; infinite where all
/// are farther than `reach_mm`.
pub(crate) fn from_bonded_edge_mm(x: Vec3, plates: &[Plate], reach_mm: f64) -> f64 {
    let of_plate = |plate: &Plate| {
        let outline = plate.outline();
        let bounds: Aabb = outline.bounds();
        if plate.stand_off_mm > 0.0 || bounds.distance(x) > reach_mm {
            return f64::INFINITY;
        }
        let empty = plate.holes.iter().filter(|h| h.screw.is_none());
        let from_holes = empty.map(|h| {
            let r = x - h.centre;
            let along = r.dot(&h.axis);
            let from_wall = (r - h.axis * along).norm() - 0.5 * h.diameter_mm;
            match along.abs() < 5.0 {
                true => from_wall.abs(),
                false => f64::INFINITY,
            }
        });
        from_holes.fold(outline.value(x).abs(), f64::min)
    };
    let nearest = plates.iter().map(of_plate).fold(f64::INFINITY, f64::min);
    match nearest <= reach_mm {
        true => nearest,
        false => f64::INFINITY,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_base::{PlateSite, ScrewNumber};
    use bicolumn_geometry::{Head, ScrewHold, ScrewRow};

    #[test]
    fn collar_follows_the_cylinder_and_ends_at_the_tip() {
        let screw = Screw {
            number: ScrewNumber(1),
            plate: Some(PlateSite::Medial),
            row: ScrewRow::Shaft,
            hold: ScrewHold::Locking,
            head: Head::Locked,
            glides_in: None,
            entry: Vec3::zeros(),
            direction: Vec3::z(),
            length_mm: 20.0,
            diameter_mm: 3.0,
        };
        let near =
            |x: f64, z: f64| in_collar(Vec3::new(x, 0.0, z), &[], std::slice::from_ref(&screw));
        assert!(near(2.4, 0.0) && near(2.4, 20.0) && near(0.0, 22.4));
        assert!(!near(2.6, 10.0) && !near(0.0, 22.6));
    }
}
