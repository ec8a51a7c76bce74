//! A sagittal split of the articular block: a plane through the trochlea, or a slice without bone.

use crate::error::within;
use crate::rod::Rod;
use crate::{Bone, FractureQuantity, GeometryError, SplitSpec, Subject, bone::ArticularSurface};
use bicolumn_base::Vec3;

/// The faces of a split: two parallel planes, or one where no bone is missing.
#[derive(Debug, Clone, PartialEq)]
pub struct Split {
    /// Dimensions asked for.
    pub spec: SplitSpec,
    /// Middle of the split on the flexion axis.
    pub centre: Vec3,
    /// Unit normal, pointing laterally.
    pub normal: Vec3,
}

impl Split {
    /// Places the split in a bone.
    ///
    /// # Errors
    /// [`GeometryError::Dimension`] for a value out of range.
    pub(crate) fn place(bone: &Bone, spec: &SplitSpec) -> Result<Split, GeometryError> {
        use FractureQuantity as Q;
        let gap = Q::SplitGap.range();
        if spec.gap_mm != 0.0 && !gap.contains(spec.gap_mm) {
            return Err(GeometryError::Dimension {
                subject: Subject::Fracture(Q::SplitGap),
                value: spec.gap_mm,
                unit: Q::SplitGap.unit(),
                accepted: format!("0 (in contact), or {gap}"),
                bounds: Some(gap),
            });
        }
        for (quantity, value) in [
            (Q::SplitOffset, spec.offset_mm),
            (Q::SplitInclination, spec.inclination_deg),
        ] {
            within(Subject::Fracture(quantity), value, quantity.range())?;
        }
        let groove = bone.articular_centre(ArticularSurface::Trochlea);
        let along = (bone.articular_centre(ArticularSurface::Capitellum) - groove).normalize();
        let tilt = spec.inclination_deg.to_radians();
        Ok(Split {
            spec: spec.clone(),
            centre: groove + along * spec.offset_mm,
            normal: bone.mirrored(Vec3::new(0.0, -tilt.sin(), tilt.cos())),
        })
    }

    /// Distance of a point from the middle of the split; positive on the lateral side, mm.
    pub fn lateral_of(&self, x: Vec3) -> f64 {
        (x - self.centre).dot(&self.normal)
    }

    /// Does a screw end clear of the faces, and cross them, if it does, at an open angle?
    pub(crate) fn admits(&self, rod: &Rod) -> bool {
        let half = 0.5 * self.spec.gap_mm;
        let rim = rod.radius + 0.8;
        rod.crosses_openly(|x| self.lateral_of(x), self.normal, half, rim)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bone::tests::mean_bone;
    use crate::{Construct, ConstructSpec, FractureSpec, ScrewRow};

    fn split(spec: &SplitSpec) -> Result<Split, GeometryError> {
        Split::place(&mean_bone(), spec)
    }

    #[test]
    fn it_passes_the_groove_and_leans_laterally() {
        let s = split(&SplitSpec::default()).unwrap();
        let groove = mean_bone().articular_centre(ArticularSurface::Trochlea);
        assert!(s.lateral_of(groove).abs() < 1e-12);
        assert!(s.lateral_of(groove + Vec3::z()) > 0.9);
        assert!(
            s.lateral_of(groove + Vec3::y() * 20.0) < -4.0,
            "leans laterally"
        );
        let error = split(&SplitSpec {
            gap_mm: 0.3,
            ..SplitSpec::default()
        });
        assert!(
            error
                .unwrap_err()
                .to_string()
                .starts_with("fracture split_gap_mm is 0.3")
        );
    }

    #[test]
    fn screws_cross_it_or_stay_clear() {
        let s = split(&SplitSpec::default()).unwrap();
        let rod = |from: f64, to: f64, up: f64| Rod {
            from: s.centre + s.normal * from,
            to: s.centre + s.normal * to + Vec3::x().cross(&s.normal) * up,
            radius: 1.0,
        };
        assert!(s.admits(&rod(-15.0, 15.0, 0.0)));
        assert!(s.admits(&rod(-15.0, -3.0, 0.0)));
        assert!(!s.admits(&rod(-15.0, -0.5, 0.0)), "ends in the split");
        assert!(!s.admits(&rod(-3.0, 3.0, 20.0)), "grazes it");
    }

    #[test]
    fn both_layouts_hold_a_split_block_with_screws_through_it() {
        for mut spec in [ConstructSpec::parallel(), ConstructSpec::orthogonal()] {
            for gap_mm in [0.0, 2.0] {
                spec.fracture = Some(FractureSpec {
                    split: Some(SplitSpec {
                        gap_mm,
                        ..SplitSpec::default()
                    }),
                    ..FractureSpec::default()
                });
                let c = Construct::on_bone(mean_bone(), &spec).unwrap();
                let split = c.fracture.as_ref().unwrap().split.as_ref().unwrap();
                let through = c.screws.iter().filter(|s| {
                    s.row == ScrewRow::Distal
                        && split.lateral_of(s.entry) * split.lateral_of(s.tip()) < 0.0
                });
                assert!(through.count() >= 1, "{gap_mm}");
                for s in &c.screws {
                    assert!(split.lateral_of(s.tip()).abs() > 0.5 * gap_mm + 0.8);
                }
            }
        }
    }
}
