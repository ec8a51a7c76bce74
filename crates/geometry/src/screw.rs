//! A screw: a smooth cylinder of the core diameter from its head to its tip.

use crate::spec::ScrewHold;
use crate::{Bone, Head, ScrewRow};
use bicolumn_base::{Fragment, PlateSite, ScrewNumber, Vec3};

/// A screw.
#[derive(Debug, Clone, PartialEq)]
pub struct Screw {
    /// Its number, from 1.
    pub number: ScrewNumber,
    /// The plate it passes, if any.
    pub plate: Option<PlateSite>,
    /// Side of the fracture that it holds.
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

    /// Walls of cortical bone that the axis passes, counted along its length in the bone without its fracture: 2 for a
    /// screw that holds in the near and the far cortex, 1 for one that ends inside. A wall of less than half a
    /// millimetre along the axis is none (judgement).
    pub fn cortices(&self, bone: &Bone) -> u8 {
        const STEP: f64 = 0.1;
        const LEAST: f64 = 0.5;
        let steps = (self.length_mm / STEP).ceil();
        let (mut walls, mut thickness) = (0, 0.0);
        for i in 0..=steps as usize {
            let x = self.entry + self.direction * (self.length_mm * i as f64 / steps);
            let is_in_wall = bone.outer().value(x) < 0.0 && bone.inner().value(x) > 0.0;
            let before = thickness;
            thickness = if is_in_wall { before + STEP } else { 0.0 };
            if before < LEAST && thickness >= LEAST {
                walls += 1;
            }
        }
        walls
    }
}
