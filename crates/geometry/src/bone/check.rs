//! Checks of the bone's dimensions, each by itself and together.

use crate::error::{within, within_given};
use crate::{BoneDimension, BoneSpec, GeometryError, Range, Subject};

/// Thinnest septum, mm: the grid that the bone's surface is kept on loses thinner ones, at 0.5 mm in the middle of the
/// fossa.
const THINNEST_SEPTUM_MM: f64 = 1.0;

/// Refuses values outside their range and combinations that make no bone.
pub(crate) fn check(spec: &BoneSpec) -> Result<(), GeometryError> {
    use BoneDimension as D;
    let accept = |d: D, range: Range| within(Subject::Bone(d), spec[d], range);
    for d in D::ALL {
        accept(*d, d.range())?;
    }
    let s = spec;
    let widest = 0.75 * s.shaft_diameter_mm;
    accept(D::CanalDiameter, D::CanalDiameter.range().up_to(widest))?;
    if s.septum_thickness_mm > 0.0 {
        let range = Range::new(THINNEST_SEPTUM_MM, s.column_depth_mm - 7.0);
        let subject = Subject::Bone(D::SeptumThickness);
        within_given(subject, s.septum_thickness_mm, "mm (0 = perforated)", range)?;
    }
    let groove = s.trochlea_groove_diameter_mm;
    for (rim, above) in [
        (D::TrochleaMedialDiameter, 2.0),
        (D::TrochleaLateralDiameter, 1.0),
    ] {
        accept(rim, rim.range().from(groove + above))?;
    }
    // The epicondyles must stand clear of the block, and the block of the shaft's border.
    let block = 0.75 * s.trochlea_width_mm + 0.25 * s.capitellum_width_mm;
    let needed = ((block + 4.0) / 0.57).max((s.shaft_diameter_mm / 2.0 + 8.0) / 0.43);
    accept(
        D::EpicondylarWidth,
        D::EpicondylarWidth.range().from(needed),
    )?;
    accept(
        D::ColumnDepth,
        D::ColumnDepth.range().up_to(s.shaft_diameter_mm),
    )?;
    let lowest = s.canal_floor_mm + 40.0;
    accept(D::PottingLevel, D::PottingLevel.range().from(lowest))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn presets_are_accepted_and_nonsense_is_refused_by_name() {
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
            "bone canal_diameter_mm is 15 mm; accepted: 4.0 to 14.4"
        );
        let not_a_number = BoneSpec {
            septum_thickness_mm: f64::NAN,
            ..BoneSpec::mean_adult()
        };
        assert!(check(&not_a_number).is_err());
    }
}
