//! Directions and lengths of the screws of the distal fragment.
//!
//! Screws of both plates interleave in the columns and the articular block. Every screw stays inside
//! the endosteal surface once it is through the near cortex, so it clears fossae and joint; among all
//! layouts a beam search keeps those that hold most screw length, with diminishing return so that no
//! screw is starved.

use crate::canal::{self, beside_floor_mm};
use crate::fault::Fault;
use crate::freedom::scale;
use crate::limits::DISTAL_WEB;
use crate::rod::{Rod, rises_above};
use crate::screw_limits::{FRACTURE_CLEARANCE, TIP_CLEARANCE};
use crate::seat::{Placed, Seat};
use crate::shaft_screws::{LEAST_SCREWS, Plated};
use crate::{
    Bone, CanalFloor, Concession, Fracture, GeometryError, Member, PlateQuantity, ScrewRow, Subject,
};
use bicolumn_base::{PlateSite, ScrewNumber, Vec3};
use std::collections::BTreeMap;

/// Widest angle between a distal screw and its hole's axis, degrees (judgement; polyaxial holes: from
/// memory, about 15).
pub(crate) const CONE: f64 = 20.0;
const STEP: f64 = 4.0;
/// Shortest distal screw, mm.
pub(crate) const LEAST: f64 = 7.0;
/// Penalty of a degree off the hole's axis, in the score's unit (root of a millimetre; judgement).
const ANGLE_COST: f64 = 0.02;
/// Penalty of a millimetre beside the canal's floor, in the same unit: more than a screw's length brings.
const FLOOR_COST: f64 = 2.0;
/// Layouts kept at each step of the search, and new ones tried from each.
const BEAM: usize = 60;
const BRANCHES: usize = 14;

/// A direction and the longest screw bone allows along it.
struct Ray {
    direction: Vec3,
    angle: f64,
    /// Through the near cortex.
    shortest: f64,
    longest: f64,
}

#[derive(Clone)]
struct Layout {
    screws: Vec<(Vec3, f64)>,
    rods: Vec<Rod>,
    score: f64,
}

/// Places distal screws, clear of each other and of the screws given.
///
/// # Errors
/// [`GeometryError::ScrewMissesBone`] when a screw finds no bone, [`GeometryError::Clash`] when there is
/// no room for all.
pub(crate) fn place(
    bone: &Bone,
    fracture: Option<&Fracture>,
    mut seats: Vec<(Seat, f64)>,
    plated: &[Plated<'_>],
    others: &[(Member, Rod)],
    clearance: f64,
) -> Result<Vec<Placed>, Fault> {
    let of_plate = |site: PlateSite| plated.iter().find(|p| p.plate.site == site);
    // From the joint upwards, the plates in turn.
    seats.sort_by(|a, b| a.0.entry.y.total_cmp(&b.0.entry.y));
    let floor = canal::floor(bone, fracture);
    let start = Layout {
        screws: Vec::new(),
        rods: others.iter().map(|(_, rod)| *rod).collect(),
        score: 0.0,
    };
    let mut beam = vec![start];
    for (seat, longest) in &seats {
        let rays = rays(bone, fracture, seat, *longest).map_err(|error| {
            let plated = of_plate(seat.plate);
            let moved = plated.map(|p| over_bone(bone, fracture, seat, *longest, p));
            let fault = Fault::from(error).or_by(cures(seat, plated));
            fault.by_together(moved.unwrap_or_default())
        })?;
        let mut next: Vec<Layout> = Vec::new();
        for layout in &beam {
            next.extend(branches(
                bone,
                floor.as_ref(),
                layout,
                fracture,
                seat,
                &rays,
                clearance,
            ));
        }
        if next.is_empty() {
            let error = blocked(seat, &rays, &beam[0], &seats, others, clearance);
            return Err(Fault::from(error).or_by(cures(seat, of_plate(seat.plate))));
        }
        next.sort_by(|a, b| b.score.total_cmp(&a.score));
        next.truncate(BEAM);
        beam = next;
    }
    let Layout { screws, rods, .. } = beam.swap_remove(0);
    let numbers: Vec<ScrewNumber> = (others.iter().map(|(member, _)| member.screw()))
        .chain(seats.iter().map(|(seat, _)| Some(seat.number)))
        .map(|number| number.unwrap_or(ScrewNumber(0)))
        .collect();
    let around: Vec<(ScrewNumber, Rod)> = numbers.into_iter().zip(rods).collect();
    Ok(seats
        .into_iter()
        .zip(screws)
        .map(|((seat, longest), (direction, length))| {
            let shortened = shortened(
                bone,
                fracture,
                &seat,
                (direction, length),
                longest,
                &around,
                clearance,
            );
            Placed {
                seat,
                direction,
                length,
                given_up: shortened.into_iter().collect(),
            }
        })
        .collect())
}

/// Reason why a screw is shorter than the longest asked for.
fn shortened(
    bone: &Bone,
    fracture: Option<&Fracture>,
    seat: &Seat,
    (direction, length): (Vec3, f64),
    longest: f64,
    around: &[(ScrewNumber, Rod)],
    clearance: f64,
) -> Option<Concession> {
    if length > longest - 0.01 {
        return None;
    }
    let alone = reach(bone, None, seat, direction, longest).1;
    let before_fracture = reach(bone, fracture, seat, direction, longest).1;
    if length > before_fracture - 0.01 {
        return Some(match before_fracture < alone - 0.01 {
            true => Concession::ShorterAtFracture,
            false => Concession::ShorterInBone,
        });
    }
    let rod = seat.rod(direction, before_fracture);
    let others = around.iter().filter(|(number, _)| *number != seat.number);
    let nearest = others
        .map(|(number, other)| (*number, rod.clearance(other)))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .filter(|(_, gap)| *gap < clearance);
    let split = fracture.and_then(|f| f.split.as_ref());
    Some(match nearest {
        Some((number, _)) => Concession::ShorterForScrew(number),
        None if split.is_some_and(|s| !s.admits(&rod)) => Concession::ShorterAtFracture,
        None if rod.tip_range(bone.inner()).1 >= -TIP_CLEARANCE => Concession::ShorterInBone,
        None => Concession::ShorterInLayout,
    })
}

/// Cost of a change, and the quantities changed with their values.
type Change = (f64, Vec<(Subject, f64)>);

/// Levels of the first hole, pitches and counts of distal screws with which every hole lies over bone and below the
/// fracture: for each way to change them the nearest.
fn over_bone(
    bone: &Bone,
    fracture: Option<&Fracture>,
    seat: &Seat,
    longest: f64,
    Plated { plate, spec, .. }: &Plated<'_>,
) -> Vec<Vec<(Subject, f64)>> {
    use PlateQuantity as Q;
    const STEP: f64 = 0.5;
    /// Farthest that the first hole moves and the pitch changes, in steps.
    const MOVED: i32 = 12;
    const DRAWN: i32 = 8;
    /// Steps of the plate that are looked at.
    const PLACES: i32 = 120;
    let first = plate.holes[0].along_mm;
    let holds = |step: i32| {
        let hole = plate.hole(first + STEP * f64::from(step), spec.hole_diameter_mm, 0.0);
        let core = spec.distal_screw_diameter_mm;
        let moved = Seat::new(
            plate,
            (0, &hole),
            ScrewRow::Distal,
            core,
            0.0,
            seat.number.0,
        );
        let off = moved.off_fracture(fracture, hole.centre) - moved.radius;
        off >= FRACTURE_CLEARANCE && rays(bone, fracture, &moved, longest).is_ok()
    };
    let known: Vec<bool> = (-MOVED..PLACES).map(holds).collect();
    let is_held = |step: i32| known.get((step + MOVED) as usize).copied().unwrap_or(false);
    let (count, pitch) = (spec.distal_screws, spec.distal_hole_pitch_mm);
    let least_pitch = spec.distal_screw_diameter_mm + DISTAL_WEB;
    let weight = |q: Q| scale(seat.subject(q), 0.0).map_or(0.0, f64::recip);
    let [of_level, of_pitch, of_count] =
        [Q::DistalHoleLevel, Q::DistalHolePitch, Q::DistalScrews].map(weight);
    // For each set of changed quantities the nearest: by level, pitch, count.
    let mut best: BTreeMap<[bool; 3], Change> = BTreeMap::new();
    for screws in (LEAST_SCREWS.min(count)..=count).rev() {
        for by in -MOVED..=MOVED {
            for drawn in -DRAWN..=DRAWN {
                let drawn = STEP * f64::from(drawn);
                if pitch + drawn < least_pitch {
                    continue;
                }
                let step = |k: usize| by + (k as f64 * (pitch + drawn) / STEP).round() as i32;
                if !(0..screws).all(|k| is_held(step(k))) {
                    continue;
                }
                let by = STEP * f64::from(by);
                let fewer = (count - screws) as f64;
                let cost = by.abs() * of_level + drawn.abs() * of_pitch + fewer * of_count;
                let kind = [by != 0.0, drawn != 0.0, screws != count];
                if best.get(&kind).is_some_and(|(known, _)| *known <= cost) {
                    continue;
                }
                let changes = [
                    (kind[0], Q::DistalHoleLevel, spec.distal_hole_level_mm + by),
                    (kind[1], Q::DistalHolePitch, pitch + drawn),
                    (kind[2], Q::DistalScrews, screws as f64),
                ];
                let changes = changes.into_iter().filter(|c| c.0);
                let changes = changes.map(|(_, q, value)| (seat.subject(q), value));
                best.insert(kind, (cost, changes.collect()));
            }
        }
    }
    let mut found: Vec<_> = best.into_values().filter(|b| !b.1.is_empty()).collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    found.into_iter().map(|(_, changes)| changes).collect()
}

/// Changes of a plate that may give its distal screws room.
fn cures(seat: &Seat, plated: Option<&Plated<'_>>) -> Vec<(Subject, f64)> {
    use PlateQuantity as Q;
    let Some(Plated { spec, .. }) = plated else {
        return vec![];
    };
    let (level, pitch) = (spec.distal_hole_level_mm, spec.distal_hole_pitch_mm);
    let mut all = vec![
        (Q::DistalHolePitch, pitch + 1.0),
        (Q::DistalHoleLevel, level + 1.0),
        (Q::DistalHolePitch, pitch - 0.5),
        (Q::DistalHoleLevel, level + 3.0),
    ];
    if spec.distal_screw_diameter_mm > 2.0 {
        let thinner = (spec.distal_screw_diameter_mm - 0.3).max(2.0);
        all.push((Q::DistalScrewDiameter, thinner));
    }
    if spec.distal_screws > LEAST_SCREWS {
        all.push((Q::DistalScrews, spec.distal_screws as f64 - 1.0));
    }
    let subject = |(q, value)| (seat.subject(q), value);
    all.into_iter().map(subject).collect()
}

fn rays(
    bone: &Bone,
    fracture: Option<&Fracture>,
    seat: &Seat,
    longest: f64,
) -> Result<Vec<Ray>, GeometryError> {
    let mut rays = Vec::new();
    let mut best: f64 = 0.0;
    for (direction, angle) in seat.directions(CONE, STEP) {
        let (through, longest) = reach(bone, fracture, seat, direction, longest);
        best = best.max(longest);
        let shortest = through.max(LEAST);
        if longest >= shortest {
            rays.push(Ray {
                direction,
                angle,
                shortest,
                longest,
            });
        }
    }
    if rays.is_empty() {
        return Err(GeometryError::ScrewMissesBone {
            screw: seat.member(),
            held_mm: best,
            needed_mm: LEAST,
            hint: format!(
                "its hole in plate.{} lies at level {:.1} mm over thin bone: change distal_hole_level_mm or distal_hole_pitch_mm, or ask for fewer distal screws",
                seat.plate, seat.entry.y
            ),
            remedies: [
                PlateQuantity::DistalHoleLevel,
                PlateQuantity::DistalHolePitch,
                PlateQuantity::DistalScrewDiameter,
            ]
            .map(|q| seat.subject(q))
            .into(),
        });
    }
    Ok(rays)
}

/// Between which lengths a screw along a direction ends well inside the bone, mm.
fn reach(
    bone: &Bone,
    fracture: Option<&Fracture>,
    seat: &Seat,
    direction: Vec3,
    longest: f64,
) -> (f64, f64) {
    let inner = bone.inner();
    let keep = -(seat.radius + TIP_CLEARANCE);
    let inside = |t: &f64| inner.value(seat.entry + direction * *t) < keep;
    let Some(start) = (4..40).map(|i| 0.25 * f64::from(i)).find(inside) else {
        return (0.0, 0.0);
    };
    let end = rises_above(inner, seat.entry, direction, start, longest, keep);
    // The fracture's planes are straight, so is the screw.
    let off = |t: f64| {
        seat.off_fracture(fracture, seat.entry + direction * t) - seat.radius - FRACTURE_CLEARANCE
    };
    let (at_entry, at_end) = (off(0.0), off(end));
    if at_entry < 0.0 {
        return (start, 0.0);
    }
    (
        start,
        if at_end >= 0.0 {
            end
        } else {
            end * at_entry / (at_entry - at_end)
        },
    )
}

/// The best ways to add a screw to a layout: for each direction the longest clear screw, and a shorter
/// one that leaves more room to others.
fn branches(
    bone: &Bone,
    floor: Option<&CanalFloor>,
    layout: &Layout,
    fracture: Option<&Fracture>,
    seat: &Seat,
    rays: &[Ray],
    clearance: f64,
) -> Vec<Layout> {
    let split = fracture.and_then(|f| f.split.as_ref());
    let mut found: Vec<(f64, Vec3, f64)> = Vec::new();
    for ray in rays {
        let clear = |length: f64| {
            let rod = seat.rod(ray.direction, length);
            layout.rods.iter().all(|r| rod.clearance(r) >= clearance)
                && split.is_none_or(|s| s.admits(&rod))
                && rod.tip_range(bone.inner()).1 < -TIP_CLEARANCE
        };
        let lengths = (0..)
            .map(|i| ray.longest - 1.5 * f64::from(i))
            .take_while(|l| *l >= ray.shortest);
        let Some(length) = lengths.into_iter().find(|l| clear(*l)) else {
            continue;
        };
        for length in [length, (0.6 * length).max(ray.shortest)] {
            let beside = beside_floor_mm(bone, floor, &seat.rod(ray.direction, length));
            let cost = ANGLE_COST * ray.angle + FLOOR_COST * beside;
            found.push((length.sqrt() - cost, ray.direction, length));
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    // Every other one below the best third, so that the choice is not all neighbours.
    let spread = found.iter().step_by(1 + found.len() / (2 * BRANCHES));
    let best = found.iter().take(BRANCHES / 2);
    best.chain(spread)
        .take(BRANCHES)
        .map(|(score, direction, length)| {
            let mut next = layout.clone();
            next.screws.push((*direction, *length));
            next.rods.push(seat.rod(*direction, *length));
            next.score += score;
            next
        })
        .collect()
}

/// The clash that leaves a seat without a screw: against its best direction in the best layout.
fn blocked(
    seat: &Seat,
    rays: &[Ray],
    layout: &Layout,
    seats: &[(Seat, f64)],
    others: &[(Member, Rod)],
    clearance: f64,
) -> GeometryError {
    let mut best = (f64::MIN, 0, Vec3::zeros());
    for ray in rays {
        let rod = seat.rod(ray.direction, ray.shortest);
        let worst = layout
            .rods
            .iter()
            .enumerate()
            .map(|(i, r)| (rod.clearance(r), i, rod.meeting_point(r)))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        if let Some(w) = worst
            && w.0 > best.0
        {
            best = w;
        }
    }
    // A layout's rods are those of the other screws, then those of the seats in order.
    let in_the_way = others.iter().map(|(member, _)| *member);
    let mut in_the_way = in_the_way.chain(seats.iter().map(|s| s.0.member()));
    let second = in_the_way.nth(best.1).unwrap_or(seat.member());
    GeometryError::Clash {
        first: seat.member(),
        second,
        overlap_mm: (clearance - best.0).max(0.0),
        clearance_mm: clearance,
        level_mm: best.2.y,
        hint: format!(
            "no direction within {CONE}° of its hole is free: ask for fewer or thinner distal screws, or a larger distal_hole_pitch_mm"
        ),
        remedies: vec![seat.subject(PlateQuantity::DistalHolePitch)],
    }
}
