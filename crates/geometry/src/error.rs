//! Errors of a construct: dimensions out of range, parts that do not fit.

use thiserror::Error;

/// A construct that cannot exist, with the parts and the numbers at fault.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum GeometryError {
    /// A dimension outside what the model accepts.
    #[error("{what} is {value} {unit}; accepted: {accepted}")]
    Dimension {
        /// The dimension's key in the job file, for example `bone.shaft_diameter_mm`.
        what: String,
        /// The value given.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// Accepted range, in words.
        accepted: String,
    },
    /// Two parts closer than their clearance or inside each other.
    #[error(
        "{first} and {second} clash: {overlap_mm:.2} mm inside the clearance of {clearance_mm:.2} mm (near level {level_mm:.1} mm); {hint}"
    )]
    Clash {
        /// The one part, by its file name (`screw.03`, `plate.medial`).
        first: String,
        /// The other.
        second: String,
        /// How far they reach into the clearance, mm.
        overlap_mm: f64,
        /// The clearance asked for, mm.
        clearance_mm: f64,
        /// Height above the articular axis where they meet, mm.
        level_mm: f64,
        /// Hint: a change that may help.
        hint: String,
    },
    /// A screw that touches no bone, or too little.
    #[error(
        "{screw} misses the bone: {held_mm:.1} mm of its shaft lies in bone, at least {needed_mm:.1} mm is needed; {hint}"
    )]
    ScrewMissesBone {
        /// The screw's file name.
        screw: String,
        /// Length inside bone, mm.
        held_mm: f64,
        /// Length needed, mm.
        needed_mm: f64,
        /// Hint: a change that may help.
        hint: String,
    },
    /// An imported surface that cannot stand for the bone.
    #[error(transparent)]
    Surface(#[from] crate::SurfaceError),
    /// A layout that leaves no place for something asked for.
    #[error("{what}: {why}; {hint}")]
    NoRoom {
        /// Request that cannot be met.
        what: String,
        /// Why there is no room.
        why: String,
        /// Hint: a change that may help.
        hint: String,
    },
}
