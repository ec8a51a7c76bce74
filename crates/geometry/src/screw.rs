//! A screw: a smooth cylinder of the core diameter from its head to its tip.

use crate::Head;
use crate::spec::ScrewHold;
use bicolumn_base::{Fragment, PlateSite, ScrewNumber, Vec3};

/// Which side of the fracture a screw holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ScrewRow {
    /// Through a plate, the proximal fragment.
    Shaft,
    /// Through a plate, the distal fragment.
    Distal,
    /// Without a plate.
    Independent,
}

/// A screw.
#[derive(Debug, Clone, PartialEq)]
pub struct Screw {
    /// Its number, from 1.
    pub number: ScrewNumber,
    /// The plate it passes, if any.
    pub plate: Option<PlateSite>,
    /// Which fragment it holds.
    pub row: ScrewRow,
    /// How it holds.
    pub hold: ScrewHold,
    /// Its head.
    pub head: Head,
    /// The fragment in which a lag screw glides; its thread holds what lies beyond. Such a screw's
    /// side is not joined to that fragment.
    pub glides_in: Option<Fragment>,
    /// Where its axis meets the bone surface under the plate or the head.
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
