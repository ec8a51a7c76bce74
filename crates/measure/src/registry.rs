//! Names, units and definitions of every response.

use serde::{Deserialize, Serialize};

/// One response's entry in `columns.json`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Definition {
    /// Column name; ends in the unit.
    pub name: String,
    /// Unit.
    pub unit: String,
    /// What it is, exactly.
    pub definition: String,
}

/// All responses, in column order.
pub fn definitions() -> Vec<Definition> {
    Vec::new()
}
