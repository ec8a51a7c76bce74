//! Quantities of a point that were moved so that its construct could be built.

use serde::{Deserialize, Serialize};

/// A job key whose value as built is not the one stated, or taken by default.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MovedRecord {
    /// The key.
    pub key: String,
    /// Symbol of its unit; empty for a count.
    pub unit: String,
    /// Value stated, or taken by default.
    pub stated: f64,
    /// Value built.
    pub built: f64,
    /// Was the value not stated, so that it follows from the rest?
    pub is_derived: bool,
    /// Factors of the design that stated it: the point is not at their levels.
    pub factors: Vec<String>,
}
