//! Specification of a construct: plain numbers with their units, before anything is built.

use crate::GeometryError;
use crate::head::HEAD_OVER_CORE;
use bicolumn_base::PlateSite;
use serde::{Deserialize, Serialize};
use std::path::PathBuf;

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
    /// Level above the articular axis at which the medullary canal ends and cancellous bone begins, see
    /// [`CanalFloor`](crate::CanalFloor).
    pub canal_floor_mm: f64,
    /// Level of the proximal potting: the model ends there and that face is held.
    pub potting_level_mm: f64,
    /// Mirror to a left humerus.
    pub left: bool,
    /// An STL file whose closed surface, in the bone frame, takes the place of the outer surface; the
    /// dimensions still say where joint, columns and fossae lie and how thick the cortex is.
    pub surface_file: Option<PathBuf>,
}

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
    /// How far an empty shaft hole is drawn out along the plate; 0 = round.
    pub slot_mm: f64,
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
}

impl FractureSpec {
    /// Usual level of a supracondylar gap in a bone: 5.7 mm above the top of the olecranon fossa, to a
    /// tenth of a millimetre, mm (judgement: leaves some bone above the fossa under a gap of 5 mm).
    pub fn usual_level(trochlea_groove_diameter_mm: f64, fossa_length_mm: f64) -> f64 {
        const ABOVE_FOSSA: f64 = 5.7;
        // The fossa begins at the rim of the trochlear groove.
        let top = 0.5 * trochlea_groove_diameter_mm + fossa_length_mm;
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
            shaft_screw_tilt_deg: 0.0,
            shaft_hold: ScrewHold::Locking,
            distal_hold: ScrewHold::Locking,
        }
    }

    /// Refuses dimensions that make no plate.
    pub(crate) fn check(&self) -> Result<(), GeometryError> {
        let which = self.which();
        let plate = |key: &str, value: f64, least: f64, most: f64| {
            within(&format!("plates.{which}.{key}"), value, "mm", least, most)
        };
        let screws = |key: &str, value: f64, unit, least: f64, most: f64| {
            within(&format!("screws.{which}.{key}"), value, unit, least, most)
        };
        plate("width_mm", self.width_mm, 6.0, 13.0)?;
        plate("thickness_mm", self.thickness_mm, 1.0, 5.0)?;
        plate(
            "hole_diameter_mm",
            self.hole_diameter_mm,
            2.0,
            self.width_mm - 3.0,
        )?;
        plate(
            "hole_pitch_mm",
            self.hole_pitch_mm,
            self.hole_diameter_mm + 2.0,
            30.0,
        )?;
        // A thinner slit cannot be meshed well; zero is a plate that touches.
        if self.stand_off_mm != 0.0 && !(0.3..=3.0).contains(&self.stand_off_mm) {
            return Err(GeometryError::Dimension {
                what: "interfaces.stand_off_mm".into(),
                value: self.stand_off_mm,
                unit: "mm",
                accepted: "0, or 0.3 to 3.0".into(),
            });
        }
        screws(
            "shaft_diameter_mm",
            self.shaft_screw_diameter_mm,
            "mm",
            1.5,
            4.5,
        )?;
        screws(
            "distal_diameter_mm",
            self.distal_screw_diameter_mm,
            "mm",
            1.5,
            4.0,
        )?;
        let pitch = self.distal_screw_diameter_mm + 2.5;
        plate(
            "distal_hole_pitch_mm",
            self.distal_hole_pitch_mm,
            pitch,
            20.0,
        )?;
        screws(
            "distal_length_mm",
            self.distal_screw_length_mm,
            "mm",
            10.0,
            80.0,
        )?;
        plate("distal_hole_level_mm", self.distal_hole_level_mm, 0.0, 40.0)?;
        plate(
            "slot_mm",
            self.slot_mm,
            0.0,
            (self.hole_pitch_mm - self.hole_diameter_mm - 2.0).min(5.0),
        )?;
        screws(
            "shaft_tilt_deg",
            self.shaft_screw_tilt_deg,
            "deg",
            -15.0,
            15.0,
        )?;
        self.check_seats()?;
        let least = self.distal_hole_level_mm + 2.0 * self.width_mm;
        plate("end_level_mm", self.end_level_mm, least, 260.0)?;
        screws("shaft_count", self.shaft_screws as f64, "", 1.0, 8.0)?;
        screws("distal_count", self.distal_screws as f64, "", 1.0, 6.0)
    }

    /// Refuses heads that the plate has no room for.
    fn check_seats(&self) -> Result<(), GeometryError> {
        let which = self.which();
        for (row, hold, core, pitch) in [
            (
                "shaft",
                self.shaft_hold,
                self.shaft_screw_diameter_mm,
                self.hole_pitch_mm,
            ),
            (
                "distal",
                self.distal_hold,
                self.distal_screw_diameter_mm,
                self.distal_hole_pitch_mm,
            ),
        ] {
            match hold {
                ScrewHold::Locking => continue,
                ScrewHold::NonLocking => {}
                ScrewHold::Lag | ScrewHold::Positional => {
                    return Err(GeometryError::NoRoom {
                        what: format!("plates.{which}"),
                        why: format!("its {row} screws cannot be {hold:?}: those have no plate"),
                        hint: "take locking or non-locking screws".into(),
                    });
                }
            }
            within(
                &format!("plates.{which}.thickness_mm"),
                self.thickness_mm,
                "mm with non-locking screws",
                1.5,
                5.0,
            )?;
            // Between two heads, and between a head and the plate's edge, a web remains.
            let most = (self.width_mm - 2.0).min(pitch - 1.2) / HEAD_OVER_CORE;
            within(
                &format!("screws.{which}.{row}_diameter_mm"),
                core,
                "mm with non-locking screws",
                1.5,
                most,
            )?;
        }
        Ok(())
    }

    /// The plate's name in the keys of a job file.
    pub(crate) fn which(&self) -> &'static str {
        if self.site == PlateSiteName::Medial {
            "medial"
        } else {
            "other"
        }
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

/// Refuses a value outside its range, or not a number.
pub(crate) fn within(
    what: &str,
    value: f64,
    unit: &'static str,
    least: f64,
    most: f64,
) -> Result<(), GeometryError> {
    if value.is_finite() && value >= least && value <= most {
        return Ok(());
    }
    let accepted = if least <= most {
        format!("{least:.1} to {most:.1}")
    } else {
        "nothing, given the other dimensions".into()
    };
    Err(GeometryError::Dimension {
        what: what.to_string(),
        value,
        unit,
        accepted,
    })
}
