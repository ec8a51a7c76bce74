//! A screw: a smooth cylinder of the core diameter from the plate's outer face to its tip.

use bicolumn_base::{PlateSite, ScrewNumber, Vec3};

/// Which side of the fracture a screw holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ScrewRow {
    /// The proximal fragment.
    Shaft,
    /// The distal fragment.
    Distal,
}

/// A screw.
#[derive(Debug, Clone, PartialEq)]
pub struct Screw {
    /// Its number, from 1.
    pub number: ScrewNumber,
    /// The plate it passes.
    pub plate: PlateSite,
    /// Which fragment it holds.
    pub row: ScrewRow,
    /// Where its axis meets the bone surface under the plate.
    pub entry: Vec3,
    /// Unit axis, pointing into the bone.
    pub direction: Vec3,
    /// Length from `entry` to the tip, mm.
    pub length_mm: f64,
    /// Core diameter, mm.
    pub diameter_mm: f64,
}

impl Screw {
    /// The tip.
    pub fn tip(&self) -> Vec3 {
        self.entry + self.direction * self.length_mm
    }
}
