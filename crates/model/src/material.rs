//! Materials.

use serde::{Deserialize, Serialize};

/// A linear elastic, isotropic material.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Material {
    /// Name as in the report.
    pub name: String,
    /// Young's modulus, MPa.
    pub young_mpa: f64,
    /// Poisson's ratio.
    pub poisson: f64,
    /// Where the numbers come from.
    pub source: String,
}
