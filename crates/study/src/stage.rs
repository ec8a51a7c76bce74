//! Stages of a design point, and the failure of one.

use serde::{Deserialize, Serialize};
use std::fmt;
use thiserror::Error;

/// Stages of a design point, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Stage {
    Geometry,
    Mesh,
    Solve,
    Measure,
    Estimate,
    Store,
}

impl Stage {
    /// All of them, in order.
    const ALL: [Stage; 6] = [
        Stage::Geometry,
        Stage::Mesh,
        Stage::Solve,
        Stage::Measure,
        Stage::Estimate,
        Stage::Store,
    ];

    /// Stage of a name, as records tell it.
    pub(crate) fn named(name: &str) -> Option<Stage> {
        Stage::ALL.into_iter().find(|s| s.name() == name)
    }

    /// Its name in records and on the screen.
    pub fn name(self) -> &'static str {
        match self {
            Stage::Geometry => "geometry",
            Stage::Mesh => "mesh",
            Stage::Solve => "solve",
            Stage::Measure => "measure",
            Stage::Estimate => "estimate",
            Stage::Store => "store",
        }
    }
}

impl fmt::Display for Stage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A design point that could not be finished.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("{stage}: {message}")]
pub struct PointError {
    /// The stage it stopped at.
    pub stage: Stage,
    /// Why, as shown to the user.
    pub message: String,
}
