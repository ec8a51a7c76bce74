//! The last check of a construct: every pair of parts, by itself and not by how it was laid out.

use crate::rod::Rod;
use crate::screw_limits::{LEAST_HELD, LEAST_IN_WALL, TIP_CLEARANCE, length_in_bone};
use crate::{
    Bone, Fracture, GeometryError, Head, IndependentQuantity, Member, Plate, Screw, ScrewRow,
    Subject,
};
use bicolumn_base::Vec3;

/// A hundredth of a millimetre of slack for the fields' interpolation.
const SLACK: f64 = 0.02;

/// Solids of a construct to be checked against each other.
pub(crate) struct Solids<'a> {
    pub(crate) bone: &'a Bone,
    pub(crate) fracture: Option<&'a Fracture>,
    pub(crate) plates: &'a [Plate],
    pub(crate) screws: &'a [Screw],
}

impl Solids<'_> {
    /// A screw as errors name it.
    fn member(&self, screw: &Screw) -> Member {
        let number = screw.number;
        match screw.plate {
            Some(plate) => Member::PlateScrew {
                number,
                row: screw.row,
                plate,
            },
            None => Member::Independent {
                number,
                index: 1 + self
                    .screws
                    .iter()
                    .filter(|s| s.plate.is_none() && s.number < number)
                    .count(),
            },
        }
    }
}

/// Checks all clearances.
///
/// # Errors
/// The first pair at fault.
pub(crate) fn check(solids: &Solids<'_>, clearance: f64) -> Result<(), GeometryError> {
    for (i, a) in solids.plates.iter().enumerate() {
        for b in &solids.plates[i + 1..] {
            plates_apart(a, b, clearance)?;
        }
    }
    for (i, a) in solids.screws.iter().enumerate() {
        for b in &solids.screws[i + 1..] {
            screws_apart(solids, a, b, clearance)?;
        }
    }
    for screw in solids.screws {
        clear_of_plates(solids, screw, clearance)?;
        held(solids, screw)?;
        in_its_fragment(solids, screw)?;
    }
    Ok(())
}

/// A screw's body from the outer face of its plate.
fn rod(solids: &Solids<'_>, screw: &Screw) -> Rod {
    let top = solids
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

/// Advice that mends a clash, and the quantities that it names.
struct Mend {
    hint: String,
    remedies: Vec<Subject>,
}

impl Mend {
    fn by(hint: &str) -> Mend {
        Mend {
            hint: hint.into(),
            remedies: vec![],
        }
    }

    /// A screw independent of plates moves by its own line; another by the general advice.
    fn of(member: Member, hint: &str) -> Mend {
        match member {
            Member::Independent { index, .. } => Mend {
                hint: format!(
                    "change the level_mm, anterior_mm or direction of independent screw {index}"
                ),
                remedies: [IndependentQuantity::Level, IndependentQuantity::Anterior]
                    .map(|q| Subject::Independent(index, q))
                    .into(),
            },
            Member::Fracture | Member::Plate(_) | Member::PlateScrew { .. } => Mend::by(hint),
        }
    }
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
        Member::Plate(a.site),
        Member::Plate(b.site),
        worst,
        clearance,
        Mend::by("make the plates narrower or move one of them"),
    )
}

fn screws_apart(
    solids: &Solids<'_>,
    a: &Screw,
    b: &Screw,
    clearance: f64,
) -> Result<(), GeometryError> {
    let (r, s) = (rod(solids, a), rod(solids, b));
    clash(
        solids.member(a),
        solids.member(b),
        (r.clearance(&s), r.meeting_point(&s)),
        clearance,
        Mend::of(
            solids.member(b),
            "use thinner or fewer screws, or shift one plate's end level",
        ),
    )
}

fn clear_of_plates(
    solids: &Solids<'_>,
    screw: &Screw,
    clearance: f64,
) -> Result<(), GeometryError> {
    let body = rod(solids, screw);
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
    for plate in solids.plates.iter().filter(|p| Some(p.site) != screw.plate) {
        let nearest = [Some(body), head]
            .into_iter()
            .flatten()
            .map(|r| plate.gap(&r, clearance))
            .fold(
                (f64::MAX, screw.entry),
                |a, b| if b.0 < a.0 { b } else { a },
            );
        clash(
            solids.member(screw),
            Member::Plate(plate.site),
            nearest,
            clearance,
            Mend::of(solids.member(screw), "shift one plate's end level"),
        )?;
    }
    Ok(())
}

fn clash(
    first: Member,
    second: Member,
    (gap, at): (f64, Vec3),
    clearance_mm: f64,
    mend: Mend,
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
        hint: mend.hint,
        remedies: mend.remedies,
    })
}

/// Enough of the shaft in bone, and a tip that is clearly inside or clearly through.
fn held(solids: &Solids<'_>, screw: &Screw) -> Result<(), GeometryError> {
    let bone = solids.bone;
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
            screw: solids.member(screw),
            held_mm: in_bone,
            needed_mm: needed,
            hint: "move its plate".into(),
            remedies: vec![],
        });
    }
    let grazing = [bone.outer(), bone.inner()].into_iter().any(|field| {
        let (low, high) = body.tip_range(field);
        low < TIP_CLEARANCE - SLACK && high > -TIP_CLEARANCE + SLACK
    });
    if grazing {
        return Err(GeometryError::NoRoom {
            member: solids.member(screw),
            why: "its tip lies in the surface of the bone, where it can be neither in nor out"
                .into(),
            hint: "change its length".into(),
            remedies: vec![],
        });
    }
    Ok(())
}

fn in_its_fragment(solids: &Solids<'_>, screw: &Screw) -> Result<(), GeometryError> {
    let Some(fracture) = solids.fracture else {
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
        first: solids.member(screw),
        second: Member::Fracture,
        overlap_mm: 0.5 - off,
        clearance_mm: 0.5,
        level_mm: fracture.spec.level_mm,
        hint: "move the fracture or ask for fewer screws".into(),
        remedies: vec![],
    })
}
