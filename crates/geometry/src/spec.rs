//! Specification of a construct: plain numbers with their units, before anything is built.

use crate::{BoneSpec, Freedom, PlateQuantity, ShaftPattern, Subject, TakenUpBy};
use bicolumn_base::PlateSite;
use serde::{Deserialize, Serialize};

/// A supracondylar fracture: reduced, or with a gap between two parallel planes (comminuted zone).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FractureSpec {
    /// Level of the gap's middle above the articular axis, on the shaft axis.
    pub level_mm: f64,
    /// Height of the gap; 0 = reduced, the faces in contact.
    pub gap_mm: f64,
    /// Inclination in the coronal plane; positive: the lateral side lies higher.
    pub inclination_deg: f64,
    /// The column whose faces touch although the other one is open.
    pub column_contact: ColumnContact,
    /// Is the gap filled with healing tissue? Else nothing is in it.
    pub filled: bool,
    /// A split of the articular block as well.
    pub split: Option<SplitSpec>,
}

/// A sagittal split of the articular block into a medial and a lateral fragment (with the
/// supracondylar fracture: AO/OTA 13-C).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SplitSpec {
    /// Bone missing between the two faces; 0 = in contact.
    pub gap_mm: f64,
    /// Where the split crosses the flexion axis, from the trochlear groove; positive: lateral of it.
    pub offset_mm: f64,
    /// Inclination in the coronal plane; positive: its upper end leans laterally.
    pub inclination_deg: f64,
}

impl Default for SplitSpec {
    /// From the trochlear groove through the middle of the olecranon fossa (judgement), reduced.
    fn default() -> Self {
        SplitSpec {
            gap_mm: 0.0,
            offset_mm: 0.0,
            inclination_deg: 15.0,
        }
    }
}

/// A column that is in contact across a gap: there the proximal fragment reaches down to the lower
/// plane, and a step in the sagittal plane of the shaft axis leads up to the upper one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum ColumnContact {
    None,
    Medial,
    Lateral,
}

bicolumn_base::words! { ColumnContact {
    None = "none": "both columns are open",
    Medial = "medial": "the medial column touches",
    Lateral = "lateral": "the lateral column touches",
} }

/// One plate with its screws.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlateSpec {
    /// Where it lies.
    pub site: PlateSiteName,
    /// Width of the shaft part.
    pub width_mm: f64,
    /// Width round the distal screws; above them it goes over into that of the shaft part. `None`: the same.
    pub distal_width_mm: Option<f64>,
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
    /// How far an empty shaft hole is drawn out along the plate; 0 = round.
    pub slot_mm: f64,
    /// The shaft holes that take screws.
    pub shaft_pattern: ShaftPattern,
    /// Length that gives way as the proximal end moves.
    pub taken_up_by: TakenUpBy,
    /// Distance of the uppermost shaft hole's centre from the proximal end: at least this where the end distance
    /// is what gives way. `None`: half the plate's width and 1 mm.
    pub end_distance_mm: Option<f64>,
    /// Distance of the innermost shaft hole's centre, on the bone, from the fracture's upper face (in a whole bone
    /// from the uppermost distal hole): at least this where the working length is what gives way. `None`:
    /// [`PlateSpec::usual_fracture_distance_mm`].
    pub fracture_distance_mm: Option<f64>,
    /// Angle of the shaft screws to their holes' axes, along the plate, where nothing is in the way;
    /// positive: the tip leans proximally.
    pub shaft_screw_tilt_deg: f64,
    /// How the shaft screws hold.
    pub shaft_hold: ScrewHold,
    /// How the distal screws hold.
    pub distal_hold: ScrewHold,
}

/// How a screw holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ScrewHold {
    /// In a plate: the head is one with it.
    Locking,
    /// In a plate: the head rests in a seat of the plate and presses it on the bone.
    NonLocking,
    /// Without a plate: glides in the fragment under its head and pulls the other one to it.
    Lag,
    /// Without a plate: holds both fragments where they are.
    Positional,
}

bicolumn_base::words! { ScrewHold {
    Locking = "locking": "the head is one with the plate",
    NonLocking = "non_locking": "the head rests in a seat of the plate and presses it on the bone",
    Lag = "lag": "without a plate; glides in the fragment under its head and pulls the other one to it",
    Positional = "positional": "without a plate; holds both fragments where they are",
} }

/// A screw independent of plates, on a line that is given.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct IndependentScrewSpec {
    /// [`ScrewHold::Lag`] or [`ScrewHold::Positional`].
    pub hold: ScrewHold,
    /// The side its head lies on.
    pub from: HeadSide,
    /// Level above the articular axis where its line crosses the sagittal plane of the origin.
    pub level_mm: f64,
    /// How far in front of the articular axis it crosses that plane.
    pub anterior_mm: f64,
    /// Inclination in the coronal plane; positive: the tip leans proximally.
    pub inclination_deg: f64,
    /// Turn in the transverse plane; positive: the tip leans anteriorly.
    pub turn_deg: f64,
    /// Core diameter.
    pub diameter_mm: f64,
    /// Longest length; the screw ends where the inside of the bone does.
    pub length_mm: f64,
}

/// Side of the bone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum HeadSide {
    Medial,
    Lateral,
}

bicolumn_base::words! { HeadSide {
    Lateral = "lateral": "the head is on the lateral side",
    Medial = "medial": "the head is on the medial side",
} }

impl Default for IndependentScrewSpec {
    /// A transverse lag screw beside the flexion axis, from the lateral side, clear of a lateral plate
    /// (judgement).
    fn default() -> Self {
        IndependentScrewSpec {
            hold: ScrewHold::Lag,
            from: HeadSide::Lateral,
            level_mm: -1.0,
            anterior_mm: 2.0,
            inclination_deg: 0.0,
            turn_deg: 0.0,
            diameter_mm: 2.4,
            length_mm: 50.0,
        }
    }
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
    /// Screws independent of plates.
    pub independent: Vec<IndependentScrewSpec>,
    /// Least distance between two screws, a screw and the other plate, a screw and a free surface it
    /// should not graze.
    pub clearance_mm: f64,
    /// Quantities that may be moved so that it can be built.
    #[serde(skip)]
    pub freedom: Freedom,
}

impl FractureSpec {
    /// Level of the top of the olecranon fossa, mm: the fossa begins at the rim of the trochlear groove.
    pub fn fossa_top(trochlea_groove_diameter_mm: f64, fossa_length_mm: f64) -> f64 {
        0.5 * trochlea_groove_diameter_mm + fossa_length_mm
    }

    /// Usual level of a supracondylar gap in a bone: 5.7 mm above the top of the olecranon fossa, to a
    /// tenth of a millimetre, mm (judgement: leaves some bone above the fossa under a gap of 5 mm).
    pub fn usual_level(trochlea_groove_diameter_mm: f64, fossa_length_mm: f64) -> f64 {
        const ABOVE_FOSSA: f64 = 5.7;
        let top = FractureSpec::fossa_top(trochlea_groove_diameter_mm, fossa_length_mm);
        (10.0 * (top + ABOVE_FOSSA)).round() / 10.0
    }
}

impl Default for FractureSpec {
    /// A 5 mm gap above the olecranon fossa (5 mm: Atalar et al. 2016, Acta Orthop Traumatol Turc).
    fn default() -> Self {
        FractureSpec {
            level_mm: 34.0,
            gap_mm: 5.0,
            inclination_deg: 0.0,
            column_contact: ColumnContact::None,
            filled: false,
            split: None,
        }
    }
}

impl PlateSpec {
    /// A plate of common dimensions for a site on a mean adult, with three shaft and three distal screws.
    ///
    /// Width, thickness and pitches: from memory, reconstruction plates of the 3.5 mm class (10 × 2.7,
    /// pitch 12). Core diameters: 2.4 mm for the 3.5 mm shaft screw (textbook), 2.1 mm for the 2.7 mm
    /// distal screw (from memory). Distal hole levels: chosen so that the distal end stays on the bone.
    pub fn new(site: PlateSiteName) -> PlateSpec {
        PlateSpec {
            site,
            width_mm: 10.0,
            distal_width_mm: None,
            thickness_mm: 2.7,
            hole_pitch_mm: 12.0,
            distal_hole_pitch_mm: 6.5,
            hole_diameter_mm: 4.5,
            stand_off_mm: 0.5,
            end_level_mm: 90.0,
            distal_hole_level_mm: match site {
                PlateSiteName::Medial => 9.0,
                PlateSiteName::Lateral => 8.5,
                PlateSiteName::Posterolateral => 9.0,
            },
            shaft_screws: 3,
            distal_screws: 3,
            shaft_screw_diameter_mm: 2.4,
            distal_screw_diameter_mm: 2.1,
            bicortical: true,
            distal_screw_length_mm: 50.0,
            slot_mm: 0.0,
            shaft_pattern: ShaftPattern::Even,
            taken_up_by: TakenUpBy::WorkingLength,
            end_distance_mm: None,
            fracture_distance_mm: None,
            shaft_screw_tilt_deg: 0.0,
            shaft_hold: ScrewHold::Locking,
            distal_hold: ScrewHold::Locking,
        }
    }

    /// Least and usual distance of a hole's centre from the end of a plate, mm: half the width and 1 mm (common
    /// practice, no source).
    pub fn usual_end_distance_mm(width_mm: f64) -> f64 {
        const END_RIM: f64 = 1.0;
        0.5 * width_mm + END_RIM
    }

    /// Usual distance of the innermost shaft hole from the fracture, mm: 10 mm where it is kept (common practice, no
    /// source), otherwise the least one, which leaves 0.8 mm between fracture and hole or screw (judgement).
    pub fn usual_fracture_distance_mm(
        taken_up_by: TakenUpBy,
        shaft_screw_diameter_mm: f64,
        hole_diameter_mm: f64,
    ) -> f64 {
        const KEPT: f64 = 10.0;
        const FRACTURE_RIM: f64 = 0.8;
        let least = 0.5 * shaft_screw_diameter_mm.max(hole_diameter_mm) + FRACTURE_RIM;
        match taken_up_by {
            TakenUpBy::WorkingLength => least,
            TakenUpBy::HolePitch | TakenUpBy::EndDistance => KEPT.max(least),
        }
    }

    /// Width round the distal screws, mm.
    pub(crate) fn distal_width(&self) -> f64 {
        self.distal_width_mm.unwrap_or(self.width_mm)
    }

    /// Distance of the uppermost shaft hole from the end, mm.
    pub(crate) fn end_distance(&self) -> f64 {
        let usual = || Self::usual_end_distance_mm(self.width_mm);
        self.end_distance_mm.unwrap_or_else(usual)
    }

    /// Distance of the innermost shaft hole from the fracture, mm.
    pub(crate) fn fracture_distance(&self) -> f64 {
        self.fracture_distance_mm
            .unwrap_or_else(|| self.fracture_distance_for(self.taken_up_by))
    }

    pub(crate) fn fracture_distance_for(&self, taken_up_by: TakenUpBy) -> f64 {
        let (core, hole) = (self.shaft_screw_diameter_mm, self.hole_diameter_mm);
        Self::usual_fracture_distance_mm(taken_up_by, core, hole)
    }

    /// A quantity of this plate, as errors name it.
    pub(crate) fn subject(&self, quantity: PlateQuantity) -> Subject {
        Subject::Plate(self.site.into(), quantity)
    }
}

impl ConstructSpec {
    /// Medial and lateral plate, facing each other, over a gap in a mean adult.
    pub fn parallel() -> ConstructSpec {
        Self::plated(PlateSiteName::Lateral)
    }

    /// Medial and posterolateral plate, at right angles, over a gap in a mean adult.
    pub fn orthogonal() -> ConstructSpec {
        Self::plated(PlateSiteName::Posterolateral)
    }

    /// The mean adult without fracture and hardware.
    pub fn intact() -> ConstructSpec {
        ConstructSpec {
            bone: BoneSpec::default(),
            fracture: None,
            plates: Vec::new(),
            independent: Vec::new(),
            clearance_mm: 1.0,
            freedom: Freedom::default(),
        }
    }

    fn plated(second: PlateSiteName) -> ConstructSpec {
        ConstructSpec {
            fracture: Some(FractureSpec::default()),
            plates: vec![
                PlateSpec::new(PlateSiteName::Medial),
                PlateSpec::new(second),
            ],
            ..Self::intact()
        }
    }
}

impl Default for ConstructSpec {
    fn default() -> Self {
        Self::parallel()
    }
}
