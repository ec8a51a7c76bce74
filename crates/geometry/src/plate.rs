//! A plate: a band of constant thickness laid along the bone surface.

use crate::Field;
use bicolumn_base::{PlateSite, ScrewNumber, Vec3};

/// A hole of a plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Hole {
    /// Arc length along the plate's centre line from its distal end, mm.
    pub along_mm: f64,
    /// Centre, on the bone surface under the hole.
    pub centre: Vec3,
    /// Axis, pointing into the bone.
    pub axis: Vec3,
    /// Diameter where no screw sits, mm.
    pub diameter_mm: f64,
    /// The screw that sits in it; the plate is solid round its shaft (head one with the plate).
    pub screw: Option<ScrewNumber>,
}

/// A plate laid on the bone. Its volume: stand-off < bone distance < stand-off + thickness, inside the
/// outline, outside the empty holes.
pub struct Plate {
    /// Where it lies.
    pub site: PlateSite,
    /// Width of the shaft part, mm.
    pub width_mm: f64,
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Gap to the bone, mm.
    pub stand_off_mm: f64,
    /// Length along the centre line, mm.
    pub length_mm: f64,
    /// Level of the proximal end above the articular axis, mm.
    pub end_level_mm: f64,
    /// Holes, distal to proximal.
    pub holes: Vec<Hole>,
}

impl Plate {
    /// The outline extended along the bone normal: negative inside the footprint.
    pub fn outline(&self) -> &dyn Field {
        todo!()
    }

    /// Point on the bone surface under the centre line and the local frame there: (point, unit
    /// tangent towards proximal, unit outward normal).
    pub fn centre_line(&self, _along_mm: f64) -> (Vec3, Vec3, Vec3) {
        todo!()
    }

    /// Footprint coordinates of a point: (along, across), mm.
    pub fn locate(&self, _x: Vec3) -> (f64, f64) {
        todo!()
    }
}
