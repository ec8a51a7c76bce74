//! The last check of a construct: every pair of parts, by itself and not by how it was laid out.

use crate::rod::Rod;
use crate::shaft_screws::{LEAST_HELD, LEAST_IN_WALL, TIP_CLEARANCE};
use crate::{Bone, Construct, GeometryError, Head, Plate, Screw, ScrewRow};
use bicolumn_base::Vec3;

/// A hundredth of a millimetre of slack for the fields' interpolation.
const SLACK: f64 = 0.02;

/// Checks all clearances.
///
/// # Errors
/// The first pair at fault.
pub(crate) fn check(construct: &Construct, clearance: f64) -> Result<(), GeometryError> {
    for (i, a) in construct.plates.iter().enumerate() {
        for b in &construct.plates[i + 1..] {
            plates_apart(a, b, clearance)?;
        }
    }
    for (i, a) in construct.screws.iter().enumerate() {
        for b in &construct.screws[i + 1..] {
            screws_apart(construct, a, b, clearance)?;
        }
    }
    for screw in &construct.screws {
        clear_of_plates(construct, screw, clearance)?;
        held(&construct.bone, screw)?;
        in_its_fragment(construct, screw)?;
    }
    Ok(())
}

/// A screw's body from the outer face of its plate.
fn rod(construct: &Construct, screw: &Screw) -> Rod {
    let top = construct
        .plates
        .iter()
        .find(|p| Some(p.site) == screw.plate)
        .map_or(0.0, |p| p.stand_off_mm + p.thickness_mm);
    Rod {
        from: screw.entry - screw.direction * top,
        to: screw.tip(),
        radius: 0.5 * screw.diameter_mm,
    }
}

/// Hint for a screw without a plate: the keys of its line that move it.
fn own_place(construct: &Construct, screw: &Screw) -> Option<String> {
    let mut independent = construct.screws.iter();
    let before = independent
        .by_ref()
        .take_while(|s| s.number != screw.number)
        .filter(|s| s.row == ScrewRow::Independent)
        .count();
    (screw.row == ScrewRow::Independent).then(|| {
        let n = before + 1;
        format!("change screws.independent_{n}.level_mm, screws.independent_{n}.anterior_mm or its direction")
    })
}

fn plates_apart(a: &Plate, b: &Plate, clearance: f64) -> Result<(), GeometryError> {
    let mut worst = (f64::MAX, Vec3::zeros());
    let steps = (a.length_mm / 1.5).ceil() as i32;
    for i in 0..=steps {
        let (p, t, n) = a.centre_line(a.length_mm * f64::from(i) / f64::from(steps));
        let across = t.cross(&n);
        for j in -4..=4 {
            for height in [a.stand_off_mm, a.stand_off_mm + a.thickness_mm] {
                let x = a.over(p + across * (0.125 * f64::from(j) * a.width_mm), height);
                let gap = b.value(x);
                if gap < worst.0 {
                    worst = (gap, x);
                }
            }
        }
    }
    clash(
        format!("plate.{}", a.site),
        format!("plate.{}", b.site),
        worst,
        clearance,
        "make the plates narrower or move one of them",
    )
}

fn screws_apart(
    construct: &Construct,
    a: &Screw,
    b: &Screw,
    clearance: f64,
) -> Result<(), GeometryError> {
    let (r, s) = (rod(construct, a), rod(construct, b));
    clash(
        a.number.to_string(),
        b.number.to_string(),
        (r.clearance(&s), r.meeting_point(&s)),
        clearance,
        &own_place(construct, b).unwrap_or_else(|| {
            "use thinner or fewer screws, or shift one plate's end level".to_string()
        }),
    )
}

fn clear_of_plates(
    construct: &Construct,
    screw: &Screw,
    clearance: f64,
) -> Result<(), GeometryError> {
    let body = rod(construct, screw);
    let head = match screw.head {
        Head::OnBone {
            diameter_mm,
            height_mm,
        } => Some(Rod {
            from: screw.entry,
            to: screw.entry - screw.direction * height_mm,
            radius: 0.5 * diameter_mm,
        }),
        _ => None,
    };
    for plate in construct
        .plates
        .iter()
        .filter(|p| Some(p.site) != screw.plate)
    {
        let nearest = [Some(body), head]
            .into_iter()
            .flatten()
            .map(|r| plate.gap(&r))
            .fold(
                (f64::MAX, screw.entry),
                |a, b| if b.0 < a.0 { b } else { a },
            );
        clash(
            screw.number.to_string(),
            format!("plate.{}", plate.site),
            nearest,
            clearance,
            &own_place(construct, screw)
                .unwrap_or_else(|| "shift one plate's end level".to_string()),
        )?;
    }
    Ok(())
}

fn clash(
    first: String,
    second: String,
    (gap, at): (f64, Vec3),
    clearance_mm: f64,
    hint: &str,
) -> Result<(), GeometryError> {
    if gap >= clearance_mm - SLACK {
        return Ok(());
    }
    Err(GeometryError::Clash {
        first,
        second,
        overlap_mm: clearance_mm - gap,
        clearance_mm,
        level_mm: at.y,
        hint: hint.into(),
    })
}

/// Enough of the shaft in bone, and a tip that is clearly inside or clearly through.
fn held(bone: &Bone, screw: &Screw) -> Result<(), GeometryError> {
    let body = Rod {
        from: screw.entry,
        to: screw.tip(),
        radius: 0.5 * screw.diameter_mm,
    };
    let in_bone = length_in_bone(bone, screw.entry, screw.tip());
    let needed = match screw.row {
        ScrewRow::Shaft => LEAST_IN_WALL,
        ScrewRow::Distal | ScrewRow::Independent => LEAST_HELD,
    };
    if in_bone < needed {
        return Err(GeometryError::ScrewMissesBone {
            screw: screw.number.to_string(),
            held_mm: in_bone,
            needed_mm: needed,
            hint: "move its plate".into(),
        });
    }
    let grazing = [bone.outer(), bone.inner()].into_iter().any(|field| {
        let (low, high) = body.tip_range(field);
        low < TIP_CLEARANCE - SLACK && high > -TIP_CLEARANCE + SLACK
    });
    if grazing {
        return Err(GeometryError::NoRoom {
            what: screw.number.to_string(),
            why: "its tip lies in the surface of the bone, where it can be neither in nor out"
                .into(),
            hint: "change its length".into(),
        });
    }
    Ok(())
}

/// How much of a segment lies in cortical or cancellous bone, mm; the canal is empty.
pub(crate) fn length_in_bone(bone: &Bone, from: Vec3, to: Vec3) -> f64 {
    let length = (to - from).norm();
    let n = (4.0 * length).ceil().max(1.0);
    let step = (to - from) / n;
    let in_bone = (0..n as usize).filter(|i| {
        let x = from + step * (*i as f64 + 0.5);
        let marrow = bone.inner().value(x) < 0.0 && x.y > bone.spec().canal_floor_mm;
        bone.outer().value(x) < 0.0 && !marrow
    });
    in_bone.count() as f64 * length / n
}

fn in_its_fragment(construct: &Construct, screw: &Screw) -> Result<(), GeometryError> {
    let Some(fracture) = &construct.fracture else {
        return Ok(());
    };
    let off = [screw.entry, screw.tip()]
        .map(|x| match screw.row {
            ScrewRow::Shaft => fracture.above(x),
            ScrewRow::Distal => fracture.below(x),
            // It was placed on its line with regard to the fracture.
            ScrewRow::Independent => f64::INFINITY,
        })
        .into_iter()
        .fold(f64::MAX, f64::min)
        - 0.5 * screw.diameter_mm;
    if off >= 0.5 {
        return Ok(());
    }
    Err(GeometryError::Clash {
        first: screw.number.to_string(),
        second: "fracture".into(),
        overlap_mm: 0.5 - off,
        clearance_mm: 0.5,
        level_mm: fracture.spec.level_mm,
        hint: "move the fracture or ask for fewer screws".into(),
    })
}
