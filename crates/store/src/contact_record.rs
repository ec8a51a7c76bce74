//! Contact of a load case, or of a step before it, as a record keeps it.

use crate::number;
use serde::{Deserialize, Serialize};

/// Solution of the contact of a load case, or of a step before it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ContactRecord {
    /// Did it converge? A case that did not has no responses.
    pub converged: bool,
    /// Place and manner of its end, if it did not.
    pub reason: Option<String>,
    /// Increments, iterations, residual, state of each interface.
    pub report: ContactReport,
}

/// Convergence of contact.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ContactStatus {
    /// Equilibrium and the laws of the interfaces are met.
    Converged,
    /// They are not.
    NotConverged {
        /// Place and manner of the end.
        reason: String,
    },
}

/// Report of the contact solver.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ContactReport {
    /// Name of the case or step.
    pub name: String,
    /// Convergence.
    pub status: ContactStatus,
    /// Increments done.
    pub increments: usize,
    /// Iterations, all increments.
    pub iterations: usize,
    /// Relative residual of equilibrium at the end.
    #[serde(with = "number")]
    pub residual: f64,
    /// Relative change of the interface forces in the last iteration.
    #[serde(with = "number")]
    pub traction_change: f64,
    /// Residual after each iteration of the last increment.
    #[serde(with = "number::list")]
    pub history: Vec<f64>,
    /// Frictional dissipation, N·mm, summed over the increments of this case.
    #[serde(with = "number")]
    pub dissipation_nmm: f64,
    /// State of each interface at the end.
    pub sets: Vec<InterfaceRecord>,
    /// Axial force of each preload section at the end, N.
    #[serde(with = "number::list")]
    pub section_forces_n: Vec<f64>,
}

/// State of one interface at the end of a case.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct InterfaceRecord {
    /// Name.
    pub name: String,
    /// Share of the area that is not pressed.
    #[serde(with = "number")]
    pub open_share: f64,
    /// Share that is pressed (or bonded) without slip.
    #[serde(with = "number")]
    pub stuck_share: f64,
    /// Share that is pressed and slips.
    #[serde(with = "number")]
    pub slipping_share: f64,
    /// Area, mm².
    #[serde(with = "number")]
    pub area_mm2: f64,
    /// Area under pressure, mm².
    #[serde(with = "number")]
    pub contact_area_mm2: f64,
    /// Pressure averaged over the area under pressure, MPa.
    #[serde(with = "number")]
    pub pressure_mean_mpa: f64,
    /// Largest pressure at a corner of the interface's facets, MPa.
    #[serde(with = "number")]
    pub pressure_max_mpa: f64,
    /// Resultant of the pressure on side b, N.
    pub normal_force_n: [f64; 3],
    /// Resultant of the shear on side b, N.
    pub shear_force_n: [f64; 3],
    /// Largest slip under pressure since the case began, mm.
    #[serde(with = "number")]
    pub slip_max_mm: f64,
    /// Largest opening, mm.
    #[serde(with = "number")]
    pub opening_max_mm: f64,
    /// Largest penetration under pressure, mm: an error, zero in the exact solution.
    #[serde(with = "number")]
    pub penetration_max_mm: f64,
}
