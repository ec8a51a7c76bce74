//! What a construct is asked to be: plain numbers with their units, before anything is built.

use bicolumn_base::PlateSite;
use serde::{Deserialize, Serialize};

/// Dimensions of the distal humerus. Defaults: the mean adult card of [`BoneSpec::mean_adult`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)] // each field is named after the dimension; `BoneSpec::card` holds definition, SD and source
pub struct BoneSpec {
    pub shaft_diameter_mm: f64,
    pub canal_diameter_mm: f64,
    pub epicondylar_width_mm: f64,
    pub medial_column_angle_deg: f64,
    pub lateral_column_angle_deg: f64,
    pub articular_valgus_deg: f64,
    pub anterior_tilt_deg: f64,
    pub capitellum_radius_mm: f64,
    pub capitellum_width_mm: f64,
    pub trochlea_groove_diameter_mm: f64,
    pub trochlea_medial_diameter_mm: f64,
    pub trochlea_lateral_diameter_mm: f64,
    pub trochlea_width_mm: f64,
    /// Proximal-distal extent of the olecranon fossa.
    pub fossa_length_mm: f64,
    /// Medial-lateral extent of the olecranon fossa.
    pub fossa_width_mm: f64,
    /// Bone left between the olecranon and the coronoid fossa; 0 = perforated.
    pub septum_thickness_mm: f64,
    /// Anterior-posterior thickness of the columns at the level of the fossa's middle.
    pub column_depth_mm: f64,
    /// Cortex of the supracondylar columns.
    pub column_cortex_mm: f64,
    /// Cortex (subchondral shell) of the articular block.
    pub articular_cortex_mm: f64,
    /// Level above the articular axis at which the medullary canal ends and cancellous bone begins.
    pub canal_floor_mm: f64,
    /// Level of the proximal potting: the model ends there and that face is held.
    pub potting_level_mm: f64,
    /// Mirror to a left humerus.
    pub left: bool,
}

/// A supracondylar gap: everything between two parallel planes is removed (comminuted zone).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FractureSpec {
    /// Level of the gap's middle above the articular axis, on the shaft axis.
    pub level_mm: f64,
    /// Height of the gap.
    pub gap_mm: f64,
    /// Inclination in the coronal plane; positive: the lateral side lies higher.
    pub inclination_deg: f64,
}

/// One plate with its screws.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlateSpec {
    /// Where it lies.
    pub site: PlateSiteName,
    /// Width of the shaft part.
    pub width_mm: f64,
    /// Thickness.
    pub thickness_mm: f64,
    /// Distance between the centres of neighbouring holes over the shaft.
    pub hole_pitch_mm: f64,
    /// Distance between the centres of neighbouring holes at the distal end.
    pub distal_hole_pitch_mm: f64,
    /// Diameter of a hole where no screw sits.
    pub hole_diameter_mm: f64,
    /// Gap between the plate's underside and the bone; 0 = touching.
    pub stand_off_mm: f64,
    /// Level of the proximal end of the plate above the articular axis.
    pub end_level_mm: f64,
    /// Level of the most distal screw hole above the articular axis.
    pub distal_hole_level_mm: f64,
    /// How many screws hold the proximal fragment.
    pub shaft_screws: usize,
    /// How many screws hold the distal fragment.
    pub distal_screws: usize,
    /// Core diameter of the shaft screws (modelled as smooth cylinders).
    pub shaft_screw_diameter_mm: f64,
    /// Core diameter of the distal screws.
    pub distal_screw_diameter_mm: f64,
    /// Do the shaft screws pass both cortices?
    pub bicortical: bool,
    /// Longest distal screw, from the underside of the plate.
    pub distal_screw_length_mm: f64,
}

/// [`PlateSite`] in files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum PlateSiteName {
    Medial,
    Lateral,
    Posterolateral,
}

impl From<PlateSiteName> for PlateSite {
    fn from(n: PlateSiteName) -> PlateSite {
        match n {
            PlateSiteName::Medial => PlateSite::Medial,
            PlateSiteName::Lateral => PlateSite::Lateral,
            PlateSiteName::Posterolateral => PlateSite::Posterolateral,
        }
    }
}

/// A whole construct. Without plates and fracture: the intact bone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ConstructSpec {
    /// The bone.
    pub bone: BoneSpec,
    /// The fracture, if any.
    pub fracture: Option<FractureSpec>,
    /// The plates, medial first; at most one at a site.
    pub plates: Vec<PlateSpec>,
    /// Least distance between two screws, a screw and the other plate, a screw and a free surface it
    /// should not graze.
    pub clearance_mm: f64,
}
