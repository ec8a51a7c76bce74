//! A stress response as found: value, place, edge, tension and compression, and its value under other choices.

use crate::severity::Severity;
use bicolumn_base::Vec3;
use bicolumn_response::{Choice, Edge};

/// The largest stress over a region in one load case.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct HotStress {
    /// Von Mises stress by the response's definition, MPa.
    pub(crate) value_mpa: f64,
    pub(crate) at: Vec3,
    /// Edge of the region that it lies on.
    pub(crate) edge: Option<Edge>,
    /// Nominal beam stress at the level of its place, MPa.
    pub(crate) beam_mpa: Option<f64>,
    pub(crate) severity: Severity,
    /// Balls whose means make up the value, with their weights: what its error is estimated from.
    pub(crate) balls: Vec<(f64, Vec3)>,
    /// The value with one choice of the definition changed.
    pub(crate) under: Vec<(Choice, Option<f64>)>,
}

impl HotStress {
    /// Concentration factor: over the nominal stress.
    pub(crate) fn factor(&self) -> Option<f64> {
        Some(self.value_mpa / self.beam_mpa.filter(|b| *b > 0.0)?)
    }
}

/// The larger of two; the first wins a tie.
pub(crate) fn hotter<'a>(
    a: Option<&'a HotStress>,
    b: Option<&'a HotStress>,
) -> Option<&'a HotStress> {
    match (a, b) {
        (Some(a), Some(b)) => Some(if b.value_mpa > a.value_mpa { b } else { a }),
        (a, b) => a.or(b),
    }
}
