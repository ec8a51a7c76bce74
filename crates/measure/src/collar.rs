//! Bone left out of stress measures: collars round screw holes and bonded plate edges.

use bicolumn_base::{Aabb, Vec3};
use bicolumn_geometry::{Plate, Screw};

/// Width of a collar, mm.
pub(crate) const COLLAR_MM: f64 = 1.0;

/// Does the point lie in a collar: nearer than 1.0 mm to the wall of a screw's cylinder, or, where a
/// plate touches the bone (no stand-off), to the edge of its footprint or of one of its empty holes?
pub(crate) fn in_collar(x: Vec3, plates: &[Plate], screws: &[Screw]) -> bool {
    screws.iter().any(|s| near_screw(x, s)) || plates.iter().any(|p| near_bonded_edge(x, p))
}

/// Distance to the cylinder's axis (from 10 mm above the bone to the tip) below radius + 1.0 mm.
fn near_screw(x: Vec3, screw: &Screw) -> bool {
    let r = x - screw.entry;
    let along = r.dot(&screw.direction).clamp(-10.0, screw.length_mm);
    (r - screw.direction * along).norm() < 0.5 * screw.diameter_mm + COLLAR_MM
}

fn near_bonded_edge(x: Vec3, plate: &Plate) -> bool {
    if plate.stand_off_mm > 0.0 {
        return false;
    }
    let outline = plate.outline();
    let bounds: Aabb = outline.bounds();
    if bounds.distance(x) > COLLAR_MM {
        return false;
    }
    if outline.value(x).abs() < COLLAR_MM {
        return true;
    }
    plate.holes.iter().filter(|h| h.screw.is_none()).any(|h| {
        let r = x - h.centre;
        let along = r.dot(&h.axis);
        let from_wall = (r - h.axis * along).norm() - 0.5 * h.diameter_mm;
        along.abs() < 5.0 && from_wall.abs() < COLLAR_MM
    })
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
