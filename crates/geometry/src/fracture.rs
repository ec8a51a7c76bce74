//! A supracondylar gap between two parallel planes.

use crate::{Bone, FractureSpec, GeometryError};
use bicolumn_base::Vec3;

/// The two planes of a supracondylar gap.
#[derive(Debug, Clone, PartialEq)]
pub struct Fracture {
    /// What was asked for.
    pub spec: FractureSpec,
    /// Middle of the gap on the shaft axis.
    pub centre: Vec3,
    /// Unit normal, pointing proximally.
    pub normal: Vec3,
}

impl Fracture {
    /// Places the gap in a bone.
    ///
    /// # Errors
    /// [`GeometryError::Dimension`] for a gap outside the metaphysis: below the top of the fossae or
    /// above the flare.
    pub(crate) fn place(bone: &Bone, spec: &FractureSpec) -> Result<Fracture, GeometryError> {
        within("gap_mm", spec.gap_mm, "mm", 1.0, 15.0)?;
        within("inclination_deg", spec.inclination_deg, "deg", -20.0, 20.0)?;
        let (lowest, highest) = bone.metaphysis();
        let tilt = spec.inclination_deg.to_radians();
        // The lower plane must pass above the fossae over their whole width.
        let drop = 0.5 * spec.gap_mm / tilt.cos() + bone.fossa_reach() * tilt.tan().abs();
        within(
            "level_mm",
            spec.level_mm,
            "mm",
            lowest + drop,
            highest - 0.5 * spec.gap_mm,
        )?;
        Ok(Fracture {
            spec: spec.clone(),
            centre: bone.shaft_axis(spec.level_mm),
            normal: bone.mirrored(Vec3::new(0.0, tilt.cos(), -tilt.sin())),
        })
    }

    /// Distance of a point above the upper plane; negative below it, mm.
    pub fn above(&self, x: Vec3) -> f64 {
        (x - self.centre).dot(&self.normal) - 0.5 * self.spec.gap_mm
    }

    /// Distance of a point below the lower plane; negative above it, mm.
    pub fn below(&self, x: Vec3) -> f64 {
        -(x - self.centre).dot(&self.normal) - 0.5 * self.spec.gap_mm
    }
}

fn within(
    key: &str,
    value: f64,
    unit: &'static str,
    least: f64,
    most: f64,
) -> Result<(), GeometryError> {
    crate::spec::within(format!("fracture.{key}"), value, unit, least, most)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bone::tests::mean_bone;

    #[test]
    fn positive_inclination_lifts_the_lateral_side() {
        let spec = FractureSpec {
            level_mm: 40.0,
            gap_mm: 4.0,
            inclination_deg: 10.0,
        };
        let f = Fracture::place(&mean_bone(), &spec).unwrap();
        let upper = f.centre + f.normal * 2.0;
        assert!(f.above(upper).abs() < 1e-12 && (f.below(upper) + 4.0).abs() < 1e-12);
        // The same level lies deeper below the plane on the lateral side.
        let x = f.centre - Vec3::y() * 5.0;
        assert!(f.below(x + Vec3::z() * 10.0) > f.below(x - Vec3::z() * 10.0));
    }

    #[test]
    fn a_gap_outside_the_metaphysis_is_refused_with_its_bounds() {
        for level_mm in [12.0, 90.0, f64::NAN] {
            let spec = FractureSpec {
                level_mm,
                gap_mm: 5.0,
                inclination_deg: 0.0,
            };
            let error = Fracture::place(&mean_bone(), &spec).unwrap_err();
            assert!(matches!(error, GeometryError::Dimension { .. }), "{error}");
        }
    }
}
