//! Responses of a solved construct, each with its exact definition.
//!
//! Doors: [`measure`], or [`measure_recovered`] where the stress is shared with others; what each number
//! means: [`bicolumn_response`]. No stress is read off single nodes: it is averaged over an area or a volume, and
//! what lies near a singular edge is reported apart. Forces and moments through sections are not
//! integrals of stress but sums of nodal forces, in equilibrium to the solution's residual.
//!
//! # Known limits
//! Estimates of the discretisation error ([`Goals`]) exist for linear models without contact, for stiffness,
//! motion of the fracture and the stress at last screws and beyond plate ends. Points between a curved facet and its chord are
//! placed by straight-sided tetrahedra. Nominal beam stress takes sections normal to Y and leaves
//! out transverse shear.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod ball;
mod beyond_end;
mod case;
mod collar;
mod contact;
mod energy;
mod facet_point;
mod gap_motion;
mod goals;
mod hot_stress;
mod hottest_ball;
mod implant;
mod last_screw;
mod load_response;
mod load_sharing;
mod locator;
mod nodal_forces;
mod percentile;
mod place;
mod plate_sections;
mod recovered;
mod rigid;
mod screw_forces;
mod section;
mod sensor;
mod severity;
mod shaft;
mod shape;
mod sheet;
#[cfg(test)]
mod test_mesh;
mod touching;

pub use case::{measure, measure_recovered};
pub use contact::{CaseContact, ContactState, InterfaceState};
pub use goals::{ErrorEstimate, Estimates, Goals};
pub use load_sharing::{Carried, LoadSharing};
pub use nodal_forces::Tightened;
pub use recovered::RecoveredStress;
pub use screw_forces::{ScrewCut, ScrewForce};
pub use sensor::PlacedSensor;

use bicolumn_base::Vec3;
use bicolumn_geometry::Construct;
use bicolumn_model::{Patch, Problem};
use bicolumn_response::{Choice, Place, ResponseId};
use bicolumn_solve::Solution;
use serde::{Deserialize, Serialize};

/// One model with its solution: what a measure reads.
#[derive(Clone, Copy)]
pub struct Solved<'a> {
    /// The solids.
    pub construct: &'a Construct,
    /// The problem.
    pub problem: &'a Problem,
    /// The load patches that the load cases act on.
    pub patches: &'a [Patch],
    /// Displacements.
    pub solution: &'a Solution,
    /// Displacements with those of any preparation, by load case: what stress and forces follow from.
    pub total: &'a [Vec<Vec3>],
    /// Screws tightened in that preparation.
    pub tightened: &'a [Tightened],
    /// Contact of each load case; `None` for a model whose interfaces are all bonded.
    pub contact: Option<&'a [CaseContact]>,
}

/// A measured value.
#[derive(Debug, Clone, PartialEq)]
pub struct Response {
    /// The response: its name, unit and definition.
    pub id: ResponseId,
    /// Value in the unit of its definition; `None` where it does not apply.
    pub value: Option<f64>,
    /// Place where it was found, mm in the bone frame.
    pub at: Option<[f64; 3]>,
    /// Part that it was found in, for a largest value over parts, such as `screw.03`.
    pub part: Option<String>,
    /// Place in the terms of the construct, for a largest bone stress.
    pub place: Option<Place>,
    /// Value with one choice of its definition changed.
    pub under: Vec<(Choice, Option<f64>)>,
    /// Centres of the balls whose means make up the value, with their weights.
    pub(crate) balls: Vec<(f64, Vec3)>,
}

impl Response {
    /// A response that does not apply.
    pub(crate) fn none(id: ResponseId) -> Response {
        Response {
            id,
            value: None,
            at: None,
            part: None,
            place: None,
            under: Vec::new(),
            balls: Vec::new(),
        }
    }
}

/// Cortical stress by level along the shaft.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ShaftProfile {
    /// Middle of each 1 mm band, level above the articular axis.
    pub level_mm: Vec<f64>,
    /// Largest cortical von Mises of the band (99th percentile by area of the outer cortex, collars left out).
    pub high_mpa: Vec<f64>,
    /// Mean over the band's outer cortex.
    pub mean_mpa: Vec<f64>,
    /// Nominal beam stress of the intact section at that level, where the shaft is a tube.
    pub beam_mpa: Vec<Option<f64>>,
}

/// Bone stress at the last screw of a plate by distance from the screw's wall.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WallProfile {
    /// Plate, as in the responses' names.
    pub plate: String,
    /// Screw.
    pub screw: String,
    /// Distance from the wall of the screw's cylinder, mm.
    pub distance_mm: Vec<f64>,
    /// Largest stress over the directions round the screw, as last_screw; `None` where none could be read.
    pub stress_mpa: Vec<Option<f64>>,
}

/// Everything measured for one load case.
#[derive(Debug, Clone, PartialEq)]
pub struct CaseMeasures {
    /// Load case.
    pub case: String,
    /// Responses, in column order.
    pub responses: Vec<Response>,
    /// Cortical stress along the shaft.
    pub profile: ShaftProfile,
    /// Stress by distance from the wall of each plate's last screw.
    pub wall_profiles: Vec<WallProfile>,
    /// Section forces of the screws: one entry for each screw and cut.
    pub screws: Vec<ScrewForce>,
    /// Load sharing between bone and implants, level by level; `None` without plates and screws.
    pub sharing: Option<LoadSharing>,
}

impl CaseMeasures {
    /// One response of the case.
    pub fn response(&self, id: impl Into<ResponseId>) -> Option<&Response> {
        let id = id.into();
        self.responses.iter().find(|r| r.id == id)
    }

    /// Value of one response of the case; `None` where it does not apply.
    pub fn value(&self, id: impl Into<ResponseId>) -> Option<f64> {
        self.response(id)?.value
    }

    /// A load case without a solution.
    pub(crate) fn none(case: &str) -> CaseMeasures {
        CaseMeasures {
            case: case.to_owned(),
            responses: sheet::Sheet::default().in_column_order(),
            profile: ShaftProfile::default(),
            wall_profiles: Vec::new(),
            screws: Vec::new(),
            sharing: None,
        }
    }
}
