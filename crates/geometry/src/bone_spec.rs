//! Dimensions of the bone and their parameter card: definition, mean, spread, source and accepted range;
//! presets.

use crate::Range;
use crate::imported::{SurfaceFrame, SurfaceUnit};
use serde::{Deserialize, Serialize};
use std::ops::{Index, IndexMut};
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
    /// Level of the proximal potting: the model ends there and that face is held, or goes on into the potting.
    pub potting_level_mm: f64,
    /// Length of bone in the potting, whose outer surface is held.
    #[serde(default)]
    pub potted_length_mm: f64,
    /// Mirror to a left humerus.
    pub left: bool,
    /// An STL file whose closed surface, in the bone frame, takes the place of the outer surface; the
    /// dimensions still say where joint, columns and fossae lie and how thick the cortex is.
    pub surface_file: Option<PathBuf>,
    /// Unit of the numbers in that file.
    #[serde(default)]
    pub surface_unit: SurfaceUnit,
    /// Landmarks of the surface in the coordinates of that file, where it does not lie in the bone frame.
    #[serde(default)]
    pub surface_frame: Option<SurfaceFrame>,
}

impl BoneSpec {
    /// Level of the cut face in which the model ends, mm.
    pub fn top_level_mm(&self) -> f64 {
        self.potting_level_mm + self.potted_length_mm
    }
}

/// One row of the card.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CardRow {
    /// The dimension.
    pub dimension: BoneDimension,
    /// Definition.
    pub definition: &'static str,
    /// Value of the mean adult.
    pub mean: f64,
    /// Standard deviation in the source; none where no source gives one.
    pub sd: Option<f64>,
    /// Source of mean and deviation.
    pub source: &'static str,
}

/// The card: one line a dimension gives its quantity, its field of [`BoneSpec`] and its row.
macro_rules! card {
    ($( $variant:ident = $field:ident, $unit:literal, $range:expr, $mean:literal, $sd:expr, $definition:literal, $source:literal; )*) => {
        crate::quantity::quantities! {
            /// Dimensions of a [`BoneSpec`](crate::BoneSpec).
            #[allow(missing_docs)] // each is defined by its row of the card
            BoneDimension {
                $( $variant = $field, $unit, $range; )*
            }
        }

        impl BoneDimension {
            /// Row of the card.
            pub const fn row(self) -> CardRow {
                match self {
                    $( BoneDimension::$variant => CardRow {
                        dimension: self,
                        definition: $definition,
                        mean: $mean,
                        sd: $sd,
                        source: $source,
                    }, )*
                }
            }
        }

        impl BoneSpec {
            /// A right bone of these dimensions without an imported surface.
            pub fn of(dimension: impl Fn(BoneDimension) -> f64) -> BoneSpec {
                BoneSpec {
                    $( $field: dimension(BoneDimension::$variant), )*
                    potted_length_mm: 0.0,
                    left: false,
                    surface_file: None,
                    surface_unit: SurfaceUnit::default(),
                    surface_frame: None,
                }
            }
        }

        impl Index<BoneDimension> for BoneSpec {
            type Output = f64;
            fn index(&self, dimension: BoneDimension) -> &f64 {
                match dimension { $( BoneDimension::$variant => &self.$field, )* }
            }
        }

        impl IndexMut<BoneDimension> for BoneSpec {
            fn index_mut(&mut self, dimension: BoneDimension) -> &mut f64 {
                match dimension { $( BoneDimension::$variant => &mut self.$field, )* }
            }
        }
    };
}

card! {
    ShaftDiameter = shaft_diameter_mm, "mm", Range::new(13.0, 28.0), 19.3, Some(2.3),
        "outer diameter of the shaft",
        "Murdoch et al. 2002, 20 shafts, MRI";
    CanalDiameter = canal_diameter_mm, "mm", Range::new(4.0, 20.0), 10.2, Some(2.0),
        "diameter of the medullary canal of the distal shaft",
        "Schwarz et al. 2020, 30 humeri, narrowest canal 10.15 ± 1.96";
    EpicondylarWidth = epicondylar_width_mm, "mm", Range::new(45.0, 75.0), 58.9, Some(4.9),
        "distance between the epicondyles",
        "Yang et al. 2024, BMC Musculoskelet Disord 25:760, 80 CT";
    MedialColumnAngle = medial_column_angle_deg, "deg", Range::new(28.0, 52.0), 43.0, Some(7.5),
        "angle of the medial column's border to the shaft, coronal",
        "Yang et al., preprint, 80 CT, 43.05 ± 7.53 (medial crest angle, read as this; from memory, teaching value 45)";
    LateralColumnAngle = lateral_column_angle_deg, "deg", Range::new(10.0, 31.0), 16.0, Some(7.3),
        "angle of the lateral column's border to the shaft, coronal",
        "Yang et al., preprint, 80 CT, 16.03 ± 7.32 (lateral crest angle, read as this; from memory, teaching value 20)";
    ArticularValgus = articular_valgus_deg, "deg", Range::new(0.0, 10.0), 3.8, Some(3.3),
        "flexion axis against the normal of the shaft, coronal",
        "Yang et al., preprint, 80 CT, humeral axis angle 86.22 ± 3.27";
    AnteriorTilt = anterior_tilt_deg, "deg", Range::new(19.0, 50.0), 38.0, None,
        "anterior angulation of the articular block",
        "about 40, textbook; 37.31 ± 9.10 is the sagittal angle of the lateral crest, Yang et al., preprint";
    CapitellumRadius = capitellum_radius_mm, "mm", Range::new(8.5, 15.0), 11.6, Some(1.4),
        "sagittal radius of the capitellum",
        "capitellum morphology 2011, J Shoulder Elbow Surg 20:880, 50 CT";
    CapitellumWidth = capitellum_width_mm, "mm", Range::new(13.0, 22.0), 17.0, Some(2.0),
        "width of the capitellum",
        "Desai et al. 2014, J Shoulder Elbow Surg 23:463, 50 CT";
    TrochleaGrooveDiameter = trochlea_groove_diameter_mm, "mm", Range::new(13.0, 23.0), 17.8, Some(2.0),
        "diameter of the trochlear groove",
        "pooled western value in Yang et al. 2024, BMC Musculoskelet Disord 25:760";
    TrochleaMedialDiameter = trochlea_medial_diameter_mm, "mm", Range::new(20.0, 38.0), 29.9, Some(4.1),
        "diameter of the trochlea's medial rim",
        "pooled western value in Yang et al. 2024, BMC Musculoskelet Disord 25:760";
    TrochleaLateralDiameter = trochlea_lateral_diameter_mm, "mm", Range::new(15.0, 28.0), 21.6, Some(2.2),
        "diameter of the trochlea's lateral rim",
        "pooled western value in Yang et al. 2024, BMC Musculoskelet Disord 25:760";
    TrochleaWidth = trochlea_width_mm, "mm", Range::new(16.0, 29.0), 22.0, Some(3.0),
        "width of the trochlea",
        "Desai et al. 2014, J Shoulder Elbow Surg 23:463, 50 CT";
    FossaLength = fossa_length_mm, "mm", Range::new(12.0, 26.0), 19.4, Some(2.4),
        "proximal-distal extent of the olecranon fossa",
        "Fahrioglu et al. 2019, 50 dry bones";
    FossaWidth = fossa_width_mm, "mm", Range::new(16.0, 34.0), 26.2, Some(3.2),
        "medial-lateral extent of the olecranon fossa",
        "Fahrioglu et al. 2019, 50 dry bones";
    SeptumThickness = septum_thickness_mm, "mm", Range::new(0.0, 6.0), 2.0, None,
        "bone between the olecranon and the coronoid fossa; 0 = perforated",
        "from memory, uncertain: 0 to about 4";
    ColumnDepth = column_depth_mm, "mm", Range::new(11.0, 20.0), 14.0, None,
        "anterior-posterior thickness of the columns at the fossa's middle",
        "from memory, uncertain; no measured value found";
    ColumnCortex = column_cortex_mm, "mm", Range::new(0.8, 4.0), 1.8, None,
        "thickness of the cortex of the columns",
        "from memory, uncertain: 1 to 2 on the supracondylar columns";
    ArticularCortex = articular_cortex_mm, "mm", Range::new(0.8, 3.0), 1.2, None,
        "thickness of the shell of the articular block",
        "assumed; no measured value found";
    CanalFloor = canal_floor_mm, "mm", Range::new(36.0, 80.0), 43.0, None,
        "level at which the canal ends and cancellous bone begins; a screw that runs along it bends it away, and the report says so",
        "assumed; the canal closes above the fossa";
    PottingLevel = potting_level_mm, "mm", Range::new(80.0, 260.0), 150.0, None,
        "level of the proximal potting: the model ends there and that face is held",
        "at least two shaft diameters above the higher plate end; common practice, no source";
}

/// Bones that have a name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BonePreset {
    /// The means of the card.
    MeanAdult,
    /// Lengths about one standard deviation below the mean (judgement).
    SmallAdult,
    /// Lengths about one standard deviation above the mean (judgement).
    LargeAdult,
}

bicolumn_base::words! { BonePreset {
    MeanAdult = "mean_adult": "the means of the card",
    SmallAdult = "small_adult": "lengths about one standard deviation below the mean",
    LargeAdult = "large_adult": "lengths about one standard deviation above the mean",
} }

impl BoneSpec {
    /// The parameter card: definitions, means, deviations and sources.
    pub fn card() -> impl Iterator<Item = CardRow> {
        BoneDimension::ALL.iter().map(|d| d.row())
    }

    /// The bone of a preset.
    pub fn preset(preset: BonePreset) -> BoneSpec {
        match preset {
            BonePreset::MeanAdult => Self::mean_adult(),
            BonePreset::SmallAdult => Self::small_adult(),
            BonePreset::LargeAdult => Self::large_adult(),
        }
    }

    /// The mean adult of the card.
    pub fn mean_adult() -> BoneSpec {
        BoneSpec::of(|d| d.row().mean)
    }

    /// A small adult: lengths about one standard deviation below the mean (judgement).
    pub fn small_adult() -> BoneSpec {
        BoneSpec {
            shaft_diameter_mm: 17.0,
            canal_diameter_mm: 8.6,
            epicondylar_width_mm: 54.0,
            capitellum_radius_mm: 10.4,
            capitellum_width_mm: 15.2,
            trochlea_groove_diameter_mm: 16.0,
            trochlea_medial_diameter_mm: 26.4,
            trochlea_lateral_diameter_mm: 19.5,
            trochlea_width_mm: 20.0,
            fossa_length_mm: 17.4,
            fossa_width_mm: 23.4,
            column_depth_mm: 12.8,
            column_cortex_mm: 1.5,
            articular_cortex_mm: 1.0,
            canal_floor_mm: 40.0,
            ..Self::mean_adult()
        }
    }

    /// A large adult: lengths about one standard deviation above the mean (judgement).
    pub fn large_adult() -> BoneSpec {
        BoneSpec {
            shaft_diameter_mm: 21.6,
            canal_diameter_mm: 11.8,
            epicondylar_width_mm: 63.8,
            capitellum_radius_mm: 12.9,
            capitellum_width_mm: 18.8,
            trochlea_groove_diameter_mm: 19.6,
            trochlea_medial_diameter_mm: 33.2,
            trochlea_lateral_diameter_mm: 23.7,
            trochlea_width_mm: 24.2,
            fossa_length_mm: 21.3,
            fossa_width_mm: 28.8,
            column_depth_mm: 15.4,
            column_cortex_mm: 2.1,
            articular_cortex_mm: 1.4,
            canal_floor_mm: 46.0,
            ..Self::mean_adult()
        }
    }
}

impl Default for BoneSpec {
    fn default() -> Self {
        Self::mean_adult()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_dimension_reads_its_own_field_and_is_accepted_at_its_mean() {
        let mean = BoneSpec::mean_adult();
        let written = format!("{mean:?}");
        for row in BoneSpec::card() {
            let d = row.dimension;
            let field = format!("{}: {:?},", d.name(), row.mean);
            assert!(written.contains(&field), "{field}");
            assert!(d.range().contains(row.mean), "{d:?}");
            let mut other = mean.clone();
            other[d] += 0.125;
            assert_eq!(other[d], row.mean + 0.125, "{d:?}");
            let same = BoneDimension::ALL
                .iter()
                .filter(|e| other[**e] == mean[**e]);
            assert_eq!(same.count(), BoneDimension::ALL.len() - 1, "{d:?}");
        }
    }
}
