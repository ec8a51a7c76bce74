//! Screws independent of plates: lag screws, which press two fragments together, and positional
//! screws, which hold them where they are.
//!
//! Each lies on a line that is given; its head rests on the bone where the line enters.

use crate::error::within;
use crate::fault::Fault;
use crate::head::{HEAD_OVER_CORE, HEIGHT_ON_BONE, Head};
use crate::rod::{Rod, across, rises_above};
use crate::screw_limits::TIP_CLEARANCE;
use crate::spec::{HeadSide, IndependentScrewSpec, ScrewHold};
use crate::{Bone, Fracture, GeometryError, IndependentQuantity, Member, Screw, ScrewRow, Subject};
use bicolumn_base::{Fragment, ScrewNumber, Vec3};

/// Distance that a tip keeps from a fracture face, mm.
const END_CLEARANCE: f64 = 0.8;
/// A head needs the bone to face it: least cosine between the axis and the bone's normal (judgement).
const LEAST_FACING: f64 = 0.6;

/// Places an independent screw; one that cannot be is mended by the nearest line beside it that can.
///
/// # Errors
/// As [`on_its_line`].
pub(crate) fn place(
    bone: &Bone,
    fracture: Option<&Fracture>,
    spec: &IndependentScrewSpec,
    index: usize,
    number: u8,
) -> Result<Screw, Fault> {
    on_its_line(bone, fracture, spec, index, number).map_err(|error| {
        let fault = Fault::from(error);
        if !fault.cures.is_empty() {
            return fault;
        }
        let beside = nearest_lines(bone, fracture, spec, index, number);
        fault.or_by(beside)
    })
}

/// The nearest level, and the nearest place in front of the axis, at which the screw finds a line.
fn nearest_lines(
    bone: &Bone,
    fracture: Option<&Fracture>,
    spec: &IndependentScrewSpec,
    index: usize,
    number: u8,
) -> Vec<(Subject, f64)> {
    use IndependentQuantity as Q;
    let (reach, step) = (12, 1.0);
    let found = [Q::Level, Q::Anterior].map(|quantity| {
        let mut other = spec.clone();
        let value = match quantity {
            Q::Level => spec.level_mm,
            _ => spec.anterior_mm,
        };
        let steps = (1..=reach).flat_map(|k| [1.0, -1.0].map(|sign| sign * step * f64::from(k)));
        let nearest = steps.map(|by| value + by).find(|value| {
            match quantity {
                Q::Level => other.level_mm = *value,
                _ => other.anterior_mm = *value,
            }
            on_its_line(bone, fracture, &other, index, number).is_ok()
        });
        nearest.map(|value| (Subject::Independent(index, quantity), value))
    });
    found.into_iter().flatten().collect()
}

/// Places an independent screw on its line.
///
/// # Errors
/// [`GeometryError::Dimension`] for a value out of range, [`GeometryError::ScrewMissesBone`] when the
/// line misses bone, [`GeometryError::NoRoom`] when the head has no footing, the tip would end in a
/// fracture face, or a lag screw has no faces in contact to press together.
fn on_its_line(
    bone: &Bone,
    fracture: Option<&Fracture>,
    spec: &IndependentScrewSpec,
    index: usize,
    number: u8,
) -> Result<Screw, GeometryError> {
    check(spec, index)?;
    let number = ScrewNumber(number);
    let member = Member::Independent { number, index };
    // Shortest length, mm.
    let least = IndependentQuantity::Length.range().least;
    let line_of = [IndependentQuantity::Level, IndependentQuantity::Anterior]
        .map(|q| Subject::Independent(index, q));
    if !matches!(spec.hold, ScrewHold::Lag | ScrewHold::Positional) {
        return Err(GeometryError::NoRoom {
            member,
            why: format!("it has no plate and cannot be {:?}", spec.hold),
            hint: "take a lag or a positional screw".into(),
            remedies: vec![Subject::IndependentHold(index)],
        });
    }
    let no_footing = |why: String| GeometryError::NoRoom {
        member,
        why,
        hint: "change its level_mm, anterior_mm or direction".into(),
        remedies: line_of.into(),
    };
    let (point, direction) = line(bone, spec);
    let (outer, inner) = (bone.outer(), bone.inner());
    let radius = 0.5 * spec.diameter_mm;
    let start = point - direction * 60.0;
    let Some(entry) = (0..480)
        .map(|i| 0.25 * f64::from(i))
        .find(|t| outer.value(start + direction * *t) < 0.0)
        .map(|t| surface_between(outer, start + direction * (t - 0.25), direction))
    else {
        return Err(GeometryError::ScrewMissesBone {
            screw: member,
            held_mm: 0.0,
            needed_mm: least,
            hint: "change its level_mm or anterior_mm".into(),
            remedies: line_of.into(),
        });
    };
    let normal = outer.gradient(entry).normalize();
    let facing = -normal.dot(&direction);
    if facing < LEAST_FACING {
        return Err(no_footing(format!(
            "its axis meets the bone at {:.0} degrees to the surface, where its head has no footing",
            facing.clamp(-1.0, 1.0).asin().to_degrees()
        )));
    }
    let rise = rise_beside_head(outer, entry, direction, HEAD_OVER_CORE * radius);
    if rise > HEIGHT_ON_BONE {
        return Err(no_footing(format!(
            "bone rises at least {rise:.1} mm above its head's footing within the head's radius of {:.1} mm; at most {HEIGHT_ON_BONE} mm, the head's height, is accepted",
            HEAD_OVER_CORE * radius
        )));
    }
    let fall = fall_under_head(outer, entry, direction, HEAD_OVER_CORE * radius);
    if fall > HEIGHT_ON_BONE {
        return Err(no_footing(format!(
            "bone falls away at least {fall:.1} mm under its head within the head's radius of {:.1} mm; at most {HEIGHT_ON_BONE} mm, the head's height, is accepted",
            HEAD_OVER_CORE * radius
        )));
    }
    let keep = -(radius + TIP_CLEARANCE);
    let inside = (4..60)
        .map(|i| 0.25 * f64::from(i))
        .find(|t| inner.value(entry + direction * *t) < keep);
    let deepest = inside.map_or(0.0, |from| {
        rises_above(inner, entry, direction, from, spec.length_mm, keep)
    });
    let rod = |length: f64| Rod {
        from: entry,
        to: entry + direction * length,
        radius,
    };
    let length = (0..)
        .map(|i| deepest - 0.5 * f64::from(i))
        .take_while(|l| *l >= least)
        .find(|l| ends_clear(fracture, &rod(*l)) && !ends_in_marrow(bone, &rod(*l)));
    let Some(length) = length else {
        return Err(GeometryError::ScrewMissesBone {
            screw: member,
            held_mm: deepest,
            needed_mm: least,
            hint: "its line leaves the inside of the bone there: change its level_mm, anterior_mm or direction".into(),
            remedies: line_of.into(),
        });
    };
    let body = rod(length);
    let glides_in = match spec.hold {
        ScrewHold::Lag => Some(near_fragment(fracture, &body).ok_or_else(|| {
            GeometryError::NoRoom {
                member,
                why: "a lag screw presses two faces together, and none in contact lies on its way"
                    .into(),
                hint: "make it positional instead, or close the gap that it crosses".into(),
                remedies: vec![Subject::IndependentHold(index)],
            }
        })?),
        _ => None,
    };
    Ok(Screw {
        number,
        plate: None,
        row: ScrewRow::Independent,
        hold: spec.hold,
        head: Head::OnBone {
            diameter_mm: HEAD_OVER_CORE * spec.diameter_mm,
            height_mm: HEIGHT_ON_BONE,
        },
        glides_in,
        entry,
        direction,
        length_mm: length,
        diameter_mm: spec.diameter_mm,
    })
}

/// A head farther off the columns than this sits on the articular block, mm: lateral heads below the epicondyle are
/// nearer (judgement).
const OFF_COLUMNS: f64 = 2.5;

/// Sentence for the user on a head that sits where no surgeon would put it.
pub(crate) fn seat_note(bone: &Bone, screw: &Screw) -> Option<String> {
    let is_medial = bone.mirrored(screw.entry).z < 0.0;
    (is_medial && bone.off_columns(screw.entry) > OFF_COLUMNS).then(|| {
        format!(
            "{}: its head sits on the medial face of the trochlea, in the notch under the epicondyle, where the ulnar nerve runs; on a mean adult, where no medial plate lies, level_mm = 1, anterior_mm = -3, inclination_deg = -12, turn_deg = 6 leads through the epicondyle",
            screw.number
        )
    })
}

/// How high bone stands within a head's radius above a flat footing tilted as the surface at the entry
/// is, mm; looked for up to 5 mm.
fn rise_beside_head(outer: &dyn crate::Field, entry: Vec3, direction: Vec3, radius: f64) -> f64 {
    const HIGHEST: f64 = 5.0;
    const STEP: f64 = 0.125;
    let normal = outer.gradient(entry).normalize();
    let (a, b) = across(direction);
    let mut most: f64 = 0.0;
    for share in [0.5, 1.0] {
        for k in 0..16 {
            let angle = std::f64::consts::TAU * f64::from(k) / 16.0;
            let side = (a * angle.cos() + b * angle.sin()) * (share * radius);
            // The flat footing's height above the entry on this line along the axis.
            let flat = side.dot(&normal) / normal.dot(&direction);
            let foot = entry + side - direction * flat;
            let heights = (1..=(HIGHEST / STEP) as i32)
                .rev()
                .map(|i| STEP * f64::from(i));
            let mut in_bone = heights.filter(|h| outer.value(foot - direction * *h) < 0.0);
            most = most.max(in_bone.next().unwrap_or(0.0));
        }
    }
    most
}

/// How far bone falls away within a head's radius below a flat footing tilted as the surface at the entry is, mm;
/// looked for down to 5 mm.
fn fall_under_head(outer: &dyn crate::Field, entry: Vec3, direction: Vec3, radius: f64) -> f64 {
    const DEEPEST: f64 = 5.0;
    const STEP: f64 = 0.125;
    let normal = outer.gradient(entry).normalize();
    let (a, b) = across(direction);
    let fall_at = |angle: f64| {
        let side = (a * angle.cos() + b * angle.sin()) * radius;
        let flat = side.dot(&normal) / normal.dot(&direction);
        let foot = entry + side - direction * flat;
        (0..=(DEEPEST / STEP) as i32)
            .map(|i| STEP * f64::from(i))
            .find(|depth| outer.value(foot + direction * *depth) < 0.0)
            .unwrap_or(DEEPEST)
    };
    (0..16)
        .map(|k| fall_at(std::f64::consts::TAU * f64::from(k) / 16.0))
        .fold(0.0, f64::max)
}

/// A point of the screw's line (where it crosses the sagittal plane of the origin), and its direction.
fn line(bone: &Bone, spec: &IndependentScrewSpec) -> (Vec3, Vec3) {
    let rise = spec.inclination_deg.to_radians();
    let turn = spec.turn_deg.to_radians();
    let medially = match spec.from {
        HeadSide::Lateral => -1.0,
        HeadSide::Medial => 1.0,
    };
    let direction = Vec3::new(
        rise.cos() * turn.sin(),
        rise.sin(),
        medially * rise.cos() * turn.cos(),
    );
    let point = Vec3::new(spec.anterior_mm, spec.level_mm, 0.0);
    (bone.mirrored(point), bone.mirrored(direction))
}

/// Where a field changes sign within a quarter of a millimetre from a point, by bisection.
fn surface_between(field: &dyn crate::Field, from: Vec3, direction: Vec3) -> Vec3 {
    let (mut low, mut high) = (0.0, 0.25);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if field.value(from + direction * middle) < 0.0 {
            high = middle;
        } else {
            low = middle;
        }
    }
    from + direction * high
}

/// Do head and tip stay clear of every fracture face, and does the shank cross them openly?
fn ends_clear(fracture: Option<&Fracture>, rod: &Rod) -> bool {
    let Some(fracture) = fracture else {
        return true;
    };
    let head = HEAD_OVER_CORE * rod.radius + END_CLEARANCE;
    let above = |x: Vec3| (x - fracture.centre).dot(&fracture.normal);
    let half = 0.5 * fracture.spec.gap_mm;
    let by_split = fracture.split.as_ref().is_none_or(|s| {
        let distal = fracture.above(rod.to) < 0.0 || fracture.above(rod.from) < 0.0;
        !distal || rod.crosses_openly(|x| s.lateral_of(x), s.normal, 0.5 * s.spec.gap_mm, head)
    });
    by_split && rod.crosses_openly(above, fracture.normal, half, head)
}

/// Does a screw end in the empty canal, or beside its floor?
fn ends_in_marrow(bone: &Bone, rod: &Rod) -> bool {
    rod.to.y > bone.spec().canal_floor_mm - rod.radius - END_CLEARANCE
        && bone.inner().value(rod.to) < 0.0
}

/// The fragment under the head, if the faces between it and the fragment at the tip are in contact.
fn near_fragment(fracture: Option<&Fracture>, rod: &Rod) -> Option<Fragment> {
    let fracture = fracture?;
    let (near, far) = (fracture.fragment_at(rod.from), fracture.fragment_at(rod.to));
    let closed = if near.is_distal() == far.is_distal() {
        fracture
            .split
            .as_ref()
            .is_some_and(|s| s.spec.gap_mm == 0.0)
    } else {
        fracture.is_reduced()
    };
    (near != far && closed).then_some(near)
}

fn check(spec: &IndependentScrewSpec, index: usize) -> Result<(), GeometryError> {
    use IndependentQuantity as Q;
    for (quantity, value) in [
        (Q::Level, spec.level_mm),
        (Q::Anterior, spec.anterior_mm),
        (Q::Inclination, spec.inclination_deg),
        (Q::Turn, spec.turn_deg),
        (Q::Diameter, spec.diameter_mm),
        (Q::Length, spec.length_mm),
    ] {
        within(
            Subject::Independent(index, quantity),
            value,
            quantity.range(),
        )?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bone::tests::mean_bone;
    use crate::{Construct, ConstructSpec, FractureSpec, SplitSpec};

    fn across(hold: ScrewHold) -> ConstructSpec {
        ConstructSpec {
            fracture: Some(FractureSpec {
                split: Some(SplitSpec::default()),
                ..FractureSpec::default()
            }),
            independent: vec![IndependentScrewSpec {
                hold,
                ..IndependentScrewSpec::default()
            }],
            ..ConstructSpec::orthogonal()
        }
    }

    #[test]
    fn a_transverse_lag_screw_crosses_the_split_and_glides_under_its_head() {
        let c = Construct::on_bone(mean_bone(), &across(ScrewHold::Lag)).unwrap();
        let screw = c.screws.last().unwrap();
        assert_eq!(screw.row, ScrewRow::Independent);
        assert_eq!((screw.plate, screw.hold), (None, ScrewHold::Lag));
        assert_eq!(screw.glides_in, Some(Fragment::DistalLateral));
        let bone = c.bone.outer();
        assert!(bone.value(screw.entry).abs() < 1e-6);
        assert!(bone.value(screw.tip()) < -1.5 && screw.tip().z < screw.entry.z - 20.0);
        let fracture = c.fracture.as_ref().unwrap();
        assert_eq!(fracture.fragment_at(screw.tip()), Fragment::DistalMedial);
    }

    #[test]
    fn a_lag_screw_without_faces_to_press_is_refused_a_positional_one_is_not() {
        let open = |hold| {
            let mut spec = across(hold);
            let fracture = spec.fracture.as_mut().unwrap();
            fracture.split.as_mut().unwrap().gap_mm = 2.0;
            Construct::on_bone(mean_bone(), &spec).map(|c| c.screws.last().cloned())
        };
        let told = open(ScrewHold::Lag).unwrap_err().to_string();
        assert!(
            told.contains("screw.13") && told.contains("positional"),
            "{told}"
        );
        assert_eq!(
            open(ScrewHold::Positional).unwrap().unwrap().glides_in,
            None
        );
    }

    #[test]
    fn lines_that_miss_or_graze_are_refused_by_name() {
        let told = |change: &dyn Fn(&mut IndependentScrewSpec)| {
            let mut spec = across(ScrewHold::Positional);
            change(&mut spec.independent[0]);
            Construct::on_bone(mean_bone(), &spec)
                .err()
                .map(|e| e.to_string())
                .unwrap_or_default()
        };
        let m = told(&|s| s.level_mm = -14.9);
        assert!(m.contains("screw.13") && m.contains("level_mm"), "{m}");
        let m = told(&|s| s.diameter_mm = 9.0);
        assert!(m.starts_with("independent screw 1 diameter_mm is 9"), "{m}");
    }

    #[test]
    fn a_head_in_the_notch_under_the_medial_epicondyle_is_told_with_a_line_that_leads_through_it() {
        let bone = mean_bone();
        let placed = |spec: IndependentScrewSpec| place(&bone, None, &spec, 1, 13).unwrap();
        let medial = IndependentScrewSpec {
            hold: ScrewHold::Positional,
            from: HeadSide::Medial,
            ..IndependentScrewSpec::default()
        };
        let in_notch = placed(medial.clone());
        let note = seat_note(&bone, &in_notch).unwrap();
        assert!(
            note.contains("screw.13") && note.contains("notch"),
            "{note}"
        );
        let value = |key: &str| -> f64 {
            let rest = note.split(&format!("{key} = ")).nth(1).unwrap();
            let end = rest.find(|c: char| !(c.is_ascii_digit() || c == '-' || c == '.'));
            rest[..end.unwrap_or(rest.len())].parse().unwrap()
        };
        let through = placed(IndependentScrewSpec {
            level_mm: value("level_mm"),
            anterior_mm: value("anterior_mm"),
            inclination_deg: value("inclination_deg"),
            turn_deg: value("turn_deg"),
            ..medial
        });
        assert_eq!(seat_note(&bone, &through), None);
        // Half a millimetre from the border of the bone, as far out as it reaches.
        let reach = 60.0
            - crate::bone::first_crossing(bone.outer(), Vec3::new(-5.5, 8.0, -60.0), Vec3::z());
        assert!(
            (-through.entry.z - reach).abs() < 0.5,
            "{:?}",
            through.entry
        );
        assert!(through.length_mm > 40.0);
        let lateral = placed(IndependentScrewSpec {
            hold: ScrewHold::Positional,
            ..IndependentScrewSpec::default()
        });
        assert_eq!(seat_note(&bone, &lateral), None);
    }

    /// A floor with a block on it, a box of a given height from x = 2 mm on.
    struct Step(f64);
    impl crate::Field for Step {
        fn value(&self, x: Vec3) -> f64 {
            x.z.min((2.0 - x.x).max(x.z - self.0))
        }
        fn gradient(&self, _x: Vec3) -> Vec3 {
            Vec3::z()
        }
        fn bounds(&self) -> bicolumn_base::Aabb {
            bicolumn_base::Aabb::EVERYWHERE
        }
    }

    /// A floor that drops by so much at x = 2 mm.
    struct Ledge(f64);
    impl crate::Field for Ledge {
        fn value(&self, x: Vec3) -> f64 {
            x.z.max((x.x - 2.0).min(x.z + self.0))
        }
        fn gradient(&self, _x: Vec3) -> Vec3 {
            Vec3::z()
        }
        fn bounds(&self) -> bicolumn_base::Aabb {
            bicolumn_base::Aabb::EVERYWHERE
        }
    }

    #[test]
    fn a_block_beside_a_head_counts_where_the_head_reaches_it() {
        let rise = |height, direction: Vec3, radius| {
            rise_beside_head(&Step(height), Vec3::zeros(), direction.normalize(), radius)
        };
        let (down, tilted) = (-Vec3::z(), Vec3::new(0.4, 0.0, -1.0));
        assert!((rise(3.0, down, 2.5) - 3.0).abs() <= 0.125);
        assert_eq!(rise(3.0, down, 1.9), 0.0, "the block is out of reach");
        // A flat floor is no rise, however the axis is tilted to it.
        assert_eq!(rise(0.0, tilted, 2.5), 0.0);
        assert_eq!(rise(0.0, down, 2.5), 0.0);
    }

    #[test]
    fn a_ledge_under_a_head_counts_where_the_head_hangs_over_it() {
        let fall =
            |depth: f64, radius| fall_under_head(&Ledge(depth), Vec3::zeros(), -Vec3::z(), radius);
        assert!((fall(1.5, 2.5) - 1.5).abs() <= 0.125, "{}", fall(1.5, 2.5));
        assert!(fall(9.0, 2.5) >= 5.0);
        assert!(fall(1.5, 1.9) <= 0.125, "the ledge is out of reach");
        let tilted = Vec3::new(0.4, 0.0, -1.0).normalize();
        assert!(fall_under_head(&Ledge(0.0), Vec3::zeros(), tilted, 2.5) <= 0.125);
    }
}
