//! A supracondylar fracture: one plane, or a gap between two parallel planes.
//!
//! ```text
//!  reduced (gap 0)      gap                one column in contact
//!  │  proximal  │    │  proximal  │      │  proximal  │
//!  │            │    └────────────┘      │     ┌──────┘
//!  ├────────────┤                        │     │  gap
//!  │            │    ┌────────────┐      ├─────┴──────┐
//!  │   distal   │    │   distal   │      │   distal   │
//! ```

use crate::error::within;
use crate::{
    Bone, ColumnContact, FractureQuantity, FractureSpec, GeometryError, Range, Split, Subject,
};
use bicolumn_base::{Fragment, Vec3};

/// The planes of a supracondylar fracture.
#[derive(Debug, Clone, PartialEq)]
pub struct Fracture {
    /// Dimensions asked for.
    pub spec: FractureSpec,
    /// Middle of the gap on the shaft axis.
    pub centre: Vec3,
    /// Unit normal, pointing proximally.
    pub normal: Vec3,
    /// Where a column in contact ends, if there is one.
    pub step: Option<Step>,
    /// The split of the articular block, if any.
    pub split: Option<Split>,
}

/// The wall between the column in contact and the gap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// A point of it: on the shaft axis, or moved aside where the split would come out beside it.
    pub point: Vec3,
    /// Its unit normal, in the fracture's planes, pointing to the column in contact.
    pub touching: Vec3,
}

/// Distance that the step keeps from the edge of the split, mm (what the mesher takes well).
const STEP_CLEARANCE: f64 = 2.5;

impl Fracture {
    /// Places the fracture in a bone.
    ///
    /// # Errors
    /// [`GeometryError::Dimension`] for a gap outside the metaphysis (below the middle of the fossae or
    /// above the flare), and for a column in contact where there is no gap.
    pub(crate) fn place(bone: &Bone, spec: &FractureSpec) -> Result<Fracture, GeometryError> {
        check_gap(spec)?;
        let inclination = FractureQuantity::Inclination;
        within(
            Subject::Fracture(inclination),
            spec.inclination_deg,
            inclination.range(),
        )?;
        let (lowest, highest) = bone.metaphysis();
        let tilt = spec.inclination_deg.to_radians();
        // The lower plane must keep to its lowest level over the whole width of the fossae.
        let drop = 0.5 * spec.gap_mm / tilt.cos() + bone.fossa_reach() * tilt.tan().abs();
        within(
            Subject::Fracture(FractureQuantity::Level),
            spec.level_mm,
            Range::new(lowest + drop, highest - 0.5 * spec.gap_mm),
        )?;
        let lateral = bone.mirrored(Vec3::new(0.0, tilt.sin(), tilt.cos()));
        let touching = match spec.column_contact {
            ColumnContact::None => None,
            ColumnContact::Medial => Some(-lateral),
            ColumnContact::Lateral => Some(lateral),
        };
        let mut fracture = Fracture {
            spec: spec.clone(),
            centre: bone.shaft_axis(spec.level_mm),
            normal: bone.mirrored(Vec3::new(0.0, tilt.cos(), -tilt.sin())),
            step: None,
            split: match &spec.split {
                Some(split) => Some(Split::place(bone, split)?),
                None => None,
            },
        };
        fracture.step = touching.map(|touching| Step {
            point: fracture.centre + lateral * fracture.step_offset(lateral),
            touching,
        });
        Ok(fracture)
    }

    /// How far beside the shaft axis the step lies so that it clears the edge of the split.
    fn step_offset(&self, lateral: Vec3) -> f64 {
        let Some(split) = &self.split else {
            return 0.0;
        };
        let below = self.centre - self.normal * (0.5 * self.spec.gap_mm);
        let slope = lateral.dot(&split.normal);
        // The split's middle meets the lower plane this far lateral of the axis.
        let at = -split.lateral_of(below) / slope;
        let keep = 0.5 * split.spec.gap_mm / slope.abs() + STEP_CLEARANCE;
        if at.abs() >= keep {
            0.0
        } else if at > 0.0 {
            at - keep
        } else {
            at + keep
        }
    }

    /// Distance of a point above the upper plane; negative below it, mm.
    pub fn above(&self, x: Vec3) -> f64 {
        (x - self.centre).dot(&self.normal) - 0.5 * self.spec.gap_mm
    }

    /// Distance of a point below the lower plane; negative above it, mm.
    pub fn below(&self, x: Vec3) -> f64 {
        -(x - self.centre).dot(&self.normal) - 0.5 * self.spec.gap_mm
    }

    /// The fragment that a point of bone belongs to; inside a gap, the nearer one.
    pub fn fragment_at(&self, x: Vec3) -> Fragment {
        if self.above(x) > self.below(x) {
            return Fragment::Proximal;
        }
        match &self.split {
            None => Fragment::Distal,
            Some(s) if s.lateral_of(x) > 0.0 => Fragment::DistalLateral,
            Some(_) => Fragment::DistalMedial,
        }
    }

    /// Are the faces in contact all over?
    pub fn is_reduced(&self) -> bool {
        self.spec.gap_mm == 0.0
    }
}

/// A gap is zero or wide enough to be meshed; a column in contact needs another that is open.
fn check_gap(spec: &FractureSpec) -> Result<(), GeometryError> {
    let gap = FractureQuantity::Gap;
    let range = gap.range();
    let refuse = |accepted: String| {
        Err(GeometryError::Dimension {
            subject: Subject::Fracture(gap),
            value: spec.gap_mm,
            unit: gap.unit(),
            accepted,
            bounds: Some(range),
        })
    };
    let open = range.contains(spec.gap_mm);
    if !open && spec.gap_mm != 0.0 {
        return refuse(format!("0 (reduced), or {range}"));
    }
    if !open && spec.column_contact != ColumnContact::None {
        return refuse(format!(
            "{range} with one column in contact: the other one is open"
        ));
    }
    if !open && spec.filled {
        return refuse(format!(
            "{range} with healing tissue: a reduced fracture leaves it no room"
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::SplitSpec;
    use crate::bone::tests::mean_bone;

    #[test]
    fn positive_inclination_lifts_the_lateral_side() {
        let spec = FractureSpec {
            level_mm: 40.0,
            gap_mm: 4.0,
            inclination_deg: 10.0,
            column_contact: ColumnContact::Lateral,
            ..FractureSpec::default()
        };
        let f = Fracture::place(&mean_bone(), &spec).unwrap();
        let upper = f.centre + f.normal * 2.0;
        assert!(f.above(upper).abs() < 1e-12 && (f.below(upper) + 4.0).abs() < 1e-12);
        // The same level lies deeper below the plane on the lateral side.
        let x = f.centre - Vec3::y() * 5.0;
        assert!(f.below(x + Vec3::z() * 10.0) > f.below(x - Vec3::z() * 10.0));
        let step = f.step.unwrap();
        assert!(step.touching.dot(&f.normal).abs() < 1e-12 && step.touching.z > 0.9);
        assert_eq!(step.point, f.centre);
    }

    #[test]
    fn the_step_keeps_clear_of_the_split() {
        let of = |inclination_deg| {
            let spec = FractureSpec {
                column_contact: ColumnContact::Medial,
                split: Some(SplitSpec {
                    gap_mm: 2.0,
                    inclination_deg,
                    ..SplitSpec::default()
                }),
                ..FractureSpec::default()
            };
            Fracture::place(&mean_bone(), &spec).unwrap()
        };
        for inclination_deg in [12.0, 15.0, 18.0, 20.0] {
            let f = of(inclination_deg);
            let split = f.split.as_ref().unwrap();
            let edge = f.step.unwrap().point - f.normal * 2.5;
            let gap = (split.lateral_of(edge).abs() - 1.0) / split.normal.z;
            assert!(gap > 2.49 && gap < 6.5, "{inclination_deg}: {gap}");
        }
        assert_eq!(of(0.0).step.unwrap().point, of(0.0).centre, "far off");
    }

    #[test]
    fn a_fracture_outside_the_metaphysis_is_refused_with_its_bounds() {
        for level_mm in [12.0, 90.0, f64::NAN] {
            for gap_mm in [0.0, 5.0] {
                let spec = FractureSpec {
                    level_mm,
                    gap_mm,
                    ..FractureSpec::default()
                };
                let error = Fracture::place(&mean_bone(), &spec).unwrap_err();
                assert!(matches!(error, GeometryError::Dimension { .. }), "{error}");
            }
        }
    }

    #[test]
    fn contact_and_tissue_need_a_gap_and_a_gap_needs_a_millimetre() {
        let placed = |spec: FractureSpec| Fracture::place(&mean_bone(), &spec);
        let closed = FractureSpec {
            gap_mm: 0.0,
            ..FractureSpec::default()
        };
        let reduced = placed(closed.clone()).unwrap();
        assert!(reduced.is_reduced());
        let x = reduced.centre + reduced.normal;
        assert_eq!((reduced.above(x), reduced.below(x)), (1.0, -1.0));
        let medial = FractureSpec {
            column_contact: ColumnContact::Medial,
            ..closed.clone()
        };
        let filled = FractureSpec {
            filled: true,
            ..closed.clone()
        };
        let thin = FractureSpec {
            gap_mm: 0.4,
            ..closed
        };
        for (spec, word) in [(medial, "open"), (filled, "tissue"), (thin, "reduced")] {
            let error = placed(spec).unwrap_err().to_string();
            assert!(
                error.starts_with("fracture gap_mm") && error.contains(word),
                "{error}"
            );
        }
    }
}
