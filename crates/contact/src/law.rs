//! What an interface does where its sides meet.

use serde::{Deserialize, Serialize};

/// Law of one interface.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Law {
    /// No jump.
    Bonded,
    /// Pressure only; shear up to μ times the pressure.
    Frictional {
        /// Coefficient of friction.
        mu: f64,
    },
    /// Pressure only, no shear.
    Frictionless,
    /// Nothing is transmitted.
    Apart,
}

impl Law {
    /// Coefficient of friction; zero where there is none.
    pub fn friction(self) -> f64 {
        match self {
            Law::Frictional { mu } => mu,
            _ => 0.0,
        }
    }

    /// Can it transmit shear?
    pub fn has_shear(self) -> bool {
        self == Law::Bonded || self.friction() > 0.0
    }
}
