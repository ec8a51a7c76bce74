//! The parameter card: each dimension's definition, mean, spread, source and accepted range; presets.

use crate::spec::within;
use crate::{BoneSpec, GeometryError};

/// One row of the card.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct CardRow {
    /// Key in the job file.
    pub key: &'static str,
    /// Anatomical definition of the dimension.
    pub definition: &'static str,
    /// Value of the mean adult.
    pub mean: f64,
    /// Standard deviation in the source; none where no source gives one.
    pub sd: Option<f64>,
    /// Unit.
    pub unit: &'static str,
    /// Where mean and deviation come from.
    pub source: &'static str,
    /// Lowest value accepted.
    pub least: f64,
    /// Highest value accepted.
    pub most: f64,
}

type Get = fn(&BoneSpec) -> f64;

#[rustfmt::skip]
const ROWS: [(Get, CardRow); 20] = [
    (|s| s.shaft_diameter_mm, row("shaft_diameter_mm", "outer diameter of the shaft", 19.3, Some(2.3), "mm", "Murdoch et al. 2002, 20 shafts, MRI", 13.0, 28.0)),
    (|s| s.canal_diameter_mm, row("canal_diameter_mm", "diameter of the medullary canal of the distal shaft", 10.2, Some(2.0), "mm", "Schwarz et al. 2020, 30 humeri, narrowest canal 10.15 ± 1.96", 4.0, 20.0)),
    (|s| s.epicondylar_width_mm, row("epicondylar_width_mm", "distance between the epicondyles", 58.9, Some(4.9), "mm", "Yang et al. 2024, BMC Musculoskelet Disord 25:760, 80 CT", 45.0, 75.0)),
    (|s| s.medial_column_angle_deg, row("medial_column_angle_deg", "angle of the medial column's border to the shaft, coronal", 43.0, Some(7.5), "deg", "Yang et al., preprint, 80 CT, 43.05 ± 7.53 (medial crest angle, read as this; from memory, teaching value 45)", 28.0, 52.0)),
    (|s| s.lateral_column_angle_deg, row("lateral_column_angle_deg", "angle of the lateral column's border to the shaft, coronal", 16.0, Some(7.3), "deg", "Yang et al., preprint, 80 CT, 16.03 ± 7.32 (lateral crest angle, read as this; from memory, teaching value 20)", 10.0, 31.0)),
    (|s| s.articular_valgus_deg, row("articular_valgus_deg", "flexion axis against the normal of the shaft, coronal", 3.8, Some(3.3), "deg", "Yang et al., preprint, 80 CT, humeral axis angle 86.22 ± 3.27", 0.0, 10.0)),
    (|s| s.anterior_tilt_deg, row("anterior_tilt_deg", "anterior angulation of the articular block", 38.0, None, "deg", "about 40, textbook; 37.31 ± 9.10 is the sagittal angle of the lateral crest, Yang et al., preprint", 19.0, 50.0)),
    (|s| s.capitellum_radius_mm, row("capitellum_radius_mm", "sagittal radius of the capitellum", 11.6, Some(1.4), "mm", "capitellum morphology 2011, J Shoulder Elbow Surg 20:880, 50 CT", 8.5, 15.0)),
    (|s| s.capitellum_width_mm, row("capitellum_width_mm", "width of the capitellum", 17.0, Some(2.0), "mm", "Desai et al. 2014, J Shoulder Elbow Surg 23:463, 50 CT", 13.0, 22.0)),
    (|s| s.trochlea_groove_diameter_mm, row("trochlea_groove_diameter_mm", "diameter of the trochlear groove", 17.8, Some(2.0), "mm", "pooled western value in Yang et al. 2024, BMC Musculoskelet Disord 25:760", 13.0, 23.0)),
    (|s| s.trochlea_medial_diameter_mm, row("trochlea_medial_diameter_mm", "diameter of the trochlea's medial rim", 29.9, Some(4.1), "mm", "pooled western value in Yang et al. 2024, BMC Musculoskelet Disord 25:760", 20.0, 38.0)),
    (|s| s.trochlea_lateral_diameter_mm, row("trochlea_lateral_diameter_mm", "diameter of the trochlea's lateral rim", 21.6, Some(2.2), "mm", "pooled western value in Yang et al. 2024, BMC Musculoskelet Disord 25:760", 15.0, 28.0)),
    (|s| s.trochlea_width_mm, row("trochlea_width_mm", "width of the trochlea", 22.0, Some(3.0), "mm", "Desai et al. 2014, J Shoulder Elbow Surg 23:463, 50 CT", 16.0, 29.0)),
    (|s| s.fossa_length_mm, row("fossa_length_mm", "proximal-distal extent of the olecranon fossa", 19.4, Some(2.4), "mm", "Fahrioglu et al. 2019, 50 dry bones", 12.0, 26.0)),
    (|s| s.fossa_width_mm, row("fossa_width_mm", "medial-lateral extent of the olecranon fossa", 26.2, Some(3.2), "mm", "Fahrioglu et al. 2019, 50 dry bones", 16.0, 34.0)),
    (|s| s.septum_thickness_mm, row("septum_thickness_mm", "bone between the olecranon and the coronoid fossa; 0 = perforated", 2.0, None, "mm", "from memory, uncertain: 0 to about 4", 0.0, 6.0)),
    (|s| s.column_depth_mm, row("column_depth_mm", "anterior-posterior thickness of the columns at the fossa's middle", 14.0, None, "mm", "from memory, uncertain; no measured value found", 11.0, 20.0)),
    (|s| s.column_cortex_mm, row("column_cortex_mm", "thickness of the cortex of the columns", 1.8, None, "mm", "from memory, uncertain: 1 to 2 on the supracondylar columns", 0.8, 4.0)),
    (|s| s.articular_cortex_mm, row("articular_cortex_mm", "thickness of the shell of the articular block", 1.2, None, "mm", "assumed; no measured value found", 0.8, 3.0)),
    (|s| s.canal_floor_mm, row("canal_floor_mm", "level at which the canal ends and cancellous bone begins; a screw that runs along it bends it away, and the report says so", 43.0, None, "mm", "assumed; the canal closes above the fossa", 36.0, 80.0)),
];

#[allow(clippy::too_many_arguments)]
const fn row(
    key: &'static str,
    definition: &'static str,
    mean: f64,
    sd: Option<f64>,
    unit: &'static str,
    source: &'static str,
    least: f64,
    most: f64,
) -> CardRow {
    CardRow {
        key,
        definition,
        mean,
        sd,
        unit,
        source,
        least,
        most,
    }
}

impl BoneSpec {
    /// The parameter card: definitions, means, deviations, sources and accepted ranges.
    pub fn card() -> Vec<CardRow> {
        ROWS.iter().map(|(_, row)| row.clone()).collect()
    }

    /// The mean adult of the card.
    pub fn mean_adult() -> BoneSpec {
        BoneSpec {
            shaft_diameter_mm: 19.3,
            canal_diameter_mm: 10.2,
            epicondylar_width_mm: 58.9,
            medial_column_angle_deg: 43.0,
            lateral_column_angle_deg: 16.0,
            articular_valgus_deg: 3.8,
            anterior_tilt_deg: 38.0,
            capitellum_radius_mm: 11.6,
            capitellum_width_mm: 17.0,
            trochlea_groove_diameter_mm: 17.8,
            trochlea_medial_diameter_mm: 29.9,
            trochlea_lateral_diameter_mm: 21.6,
            trochlea_width_mm: 22.0,
            fossa_length_mm: 19.4,
            fossa_width_mm: 26.2,
            septum_thickness_mm: 2.0,
            column_depth_mm: 14.0,
            column_cortex_mm: 1.8,
            articular_cortex_mm: 1.2,
            canal_floor_mm: 43.0,
            potting_level_mm: 150.0,
            left: false,
            surface_file: None,
        }
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

/// Refuses values outside their range and combinations that make no bone.
pub(crate) fn check(spec: &BoneSpec) -> Result<(), GeometryError> {
    for (get, row) in &ROWS {
        within(
            &format!("bone.{}", row.key),
            get(spec),
            row.unit,
            row.least,
            row.most,
        )?;
    }
    let s = spec;
    within(
        "bone.canal_diameter_mm",
        s.canal_diameter_mm,
        "mm",
        4.0,
        0.75 * s.shaft_diameter_mm,
    )?;
    if s.septum_thickness_mm > 0.0 {
        let most = s.column_depth_mm - 7.0;
        within(
            "bone.septum_thickness_mm",
            s.septum_thickness_mm,
            "mm (0 = perforated)",
            1.0,
            most,
        )?;
    }
    let groove = s.trochlea_groove_diameter_mm;
    within(
        "bone.trochlea_medial_diameter_mm",
        s.trochlea_medial_diameter_mm,
        "mm",
        groove + 2.0,
        38.0,
    )?;
    within(
        "bone.trochlea_lateral_diameter_mm",
        s.trochlea_lateral_diameter_mm,
        "mm",
        groove + 1.0,
        28.0,
    )?;
    // The epicondyles must stand clear of the block, and the block of the shaft's border.
    let block = 0.75 * s.trochlea_width_mm + 0.25 * s.capitellum_width_mm;
    let needed = ((block + 4.0) / 0.57).max((s.shaft_diameter_mm / 2.0 + 8.0) / 0.43);
    within(
        "bone.epicondylar_width_mm",
        s.epicondylar_width_mm,
        "mm",
        needed,
        75.0,
    )?;
    let depth = s.shaft_diameter_mm;
    within("bone.column_depth_mm", s.column_depth_mm, "mm", 11.0, depth)?;
    within(
        "bone.potting_level_mm",
        s.potting_level_mm,
        "mm",
        s.canal_floor_mm + 40.0,
        260.0,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_card_and_the_mean_adult_agree() {
        let mean = BoneSpec::mean_adult();
        for (get, row) in &ROWS {
            assert_eq!(get(&mean), row.mean, "{}", row.key);
        }
    }

    #[test]
    fn presets_are_accepted_and_nonsense_is_refused_with_its_key() {
        for spec in [
            BoneSpec::mean_adult(),
            BoneSpec::small_adult(),
            BoneSpec::large_adult(),
        ] {
            assert_eq!(check(&spec), Ok(()));
        }
        let wide_canal = BoneSpec {
            canal_diameter_mm: 15.0,
            ..BoneSpec::mean_adult()
        };
        let message = check(&wide_canal).unwrap_err().to_string();
        assert_eq!(
            message,
            "bone.canal_diameter_mm is 15 mm; accepted: 4.0 to 14.5"
        );
        let not_a_number = BoneSpec {
            septum_thickness_mm: f64::NAN,
            ..BoneSpec::mean_adult()
        };
        assert!(check(&not_a_number).is_err());
    }
}
