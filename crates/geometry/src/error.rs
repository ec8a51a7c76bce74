//! Errors of construct building.

use crate::{Member, Range, Subject};
use thiserror::Error;

/// A construct that cannot exist, with the members, quantities and numbers at fault.
///
/// `remedies` are the quantities that a change could mend it by, the likeliest first; hints name them by
/// their fields in the specification.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum GeometryError {
    /// A dimension outside its accepted range.
    #[error("{subject} is {value} {unit}; accepted: {accepted}")]
    Dimension {
        /// The quantity.
        subject: Subject,
        /// The value given.
        value: f64,
        /// Its unit, with a condition that the range follows from where there is one.
        unit: &'static str,
        /// Accepted values, in words.
        accepted: String,
        /// Accepted values, rounded inwards as in the words, where they are a range.
        bounds: Option<Range>,
    },
    /// Two members closer than their clearance or inside each other.
    #[error(
        "{first} and {second} clash: {overlap_mm:.2} mm inside the clearance of {clearance_mm:.2} mm (near level {level_mm:.1} mm); {hint}"
    )]
    Clash {
        /// The one member.
        first: Member,
        /// The other.
        second: Member,
        /// Depth that they reach into the clearance, mm.
        overlap_mm: f64,
        /// The clearance asked for, mm.
        clearance_mm: f64,
        /// Height above the articular axis where they meet, mm.
        level_mm: f64,
        /// Advice to the user.
        hint: String,
        /// Quantities to change.
        remedies: Vec<Subject>,
    },
    /// A screw that touches no bone, or too little.
    #[error(
        "{screw} misses the bone: {held_mm:.1} mm of its shaft lies in bone, at least {needed_mm:.1} mm is needed; {hint}"
    )]
    ScrewMissesBone {
        /// The screw.
        screw: Member,
        /// Length inside bone, mm.
        held_mm: f64,
        /// Length needed, mm.
        needed_mm: f64,
        /// Advice to the user.
        hint: String,
        /// Quantities to change.
        remedies: Vec<Subject>,
    },
    /// An imported surface that cannot stand for the bone.
    #[error(transparent)]
    Surface(#[from] crate::SurfaceError),
    /// Several faults that could be known together.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))]
    Several(Vec<GeometryError>),
    /// A layout that leaves no place for something asked for.
    #[error("{member}: {why}; {hint}")]
    NoRoom {
        /// The member without room.
        member: Member,
        /// Reason.
        why: String,
        /// Advice to the user.
        hint: String,
        /// Quantities to change.
        remedies: Vec<Subject>,
    },
}

/// Refuses a value outside a range, or not a number.
///
/// # Errors
/// [`GeometryError::Dimension`] of the subject.
pub(crate) fn within(subject: Subject, value: f64, range: Range) -> Result<(), GeometryError> {
    within_given(subject, value, subject.unit(), range)
}

/// [`within`] for a range that follows from a condition, told with the unit.
///
/// # Errors
/// [`GeometryError::Dimension`] of the subject.
pub(crate) fn within_given(
    subject: Subject,
    value: f64,
    unit: &'static str,
    range: Range,
) -> Result<(), GeometryError> {
    /// Rounding of a bound that was added up from other dimensions, in their unit.
    const ROUNDING: f64 = 1e-9;
    let with_rounding = Range::new(range.least - ROUNDING, range.most + ROUNDING);
    if value.is_finite() && with_rounding.contains(value) {
        return Ok(());
    }
    let bounds = range.inwards();
    let accepted = match bounds {
        None => "nothing, given the other dimensions".into(),
        Some(bounds) => bounds.to_string(),
    };
    Err(GeometryError::Dimension {
        subject,
        value,
        unit,
        accepted,
        bounds,
    })
}
