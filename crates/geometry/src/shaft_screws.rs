//! Directions and lengths of the screws of the proximal fragment.
//!
//! Each screw takes the direction nearest its hole's axis that clears the fracture, the other plate and
//! the screws of both plates; opposite screws that would meet head-on in the canal are turned apart by
//! the smallest angle that serves all.

use crate::canal::{self, beside_floor_mm};
use crate::rod::{Rod, rises_above};
use crate::screw_limits::{
    FRACTURE_CLEARANCE, LEAST_HELD, LEAST_IN_WALL, TIP_CLEARANCE, length_in_bone,
};
use crate::seat::{Placed, Seat};
use crate::{Bone, CanalFloor, Fracture, GeometryError, Plate};
use bicolumn_base::Vec3;

/// Widest angle between a shaft screw and its hole's axis, degrees (variable-angle holes; from memory).
pub(crate) const CONE: f64 = 15.0;
const STEP: f64 = 2.5;
/// How far a screw passing both cortices stands out, mm (common practice, no source: one to two).
const PROTRUSION: f64 = 1.5;

/// Penalty of a millimetre beside the canal's floor, in degrees off the hole's axis (judgement).
const FLOOR_COST: f64 = 2.5;
/// The most it counts for: a full diameter of the canal.
const MOST_FLOOR_COST: f64 = 25.0;

/// Candidate direction of a screw in its seat, with its score.
struct Choice {
    direction: Vec3,
    /// Degrees off the direction wanted, and what lying beside the canal's floor counts for.
    cost: f64,
    length: f64,
    rod: Rod,
    note: Option<String>,
    /// Does it end before the far cortex to make room for another?
    short: bool,
}

/// Places shaft screws.
///
/// # Errors
/// [`GeometryError::NoRoom`] when a screw alone has no place, [`GeometryError::Clash`] when two have none
/// together.
pub(crate) fn place(
    bone: &Bone,
    fracture: Option<&Fracture>,
    plates: &[Plate],
    mut seats: Vec<(Seat, bool)>,
    clearance: f64,
) -> Result<Vec<Placed>, GeometryError> {
    // Neighbours in level decide about each other: search them one after the other.
    seats.sort_by(|a, b| b.0.entry.y.total_cmp(&a.0.entry.y));
    let floor = canal::floor(bone, fracture);
    let mut options = Vec::with_capacity(seats.len());
    for (seat, bicortical) in &seats {
        let found = seat_options(
            bone,
            fracture,
            floor.as_ref(),
            plates,
            seat,
            *bicortical,
            clearance,
        );
        if found.is_empty() {
            return Err(GeometryError::NoRoom {
                member: seat.member(),
                why: format!(
                    "no direction within {CONE}° of its hole in plate.{} at level {:.1} mm holds it in the proximal fragment",
                    seat.plate, seat.entry.y
                ),
                hint: "move the plate's end level, or ask for fewer shaft screws".into(),
                remedies: vec![],
            });
        }
        options.push(found);
    }
    // Short screws only where nothing better serves.
    for short in [false, true] {
        let mut limit = 0.0;
        while limit <= 2.0 * CONE + MOST_FLOOR_COST {
            if let Some(chosen) = search(&options, limit, short, clearance) {
                return Ok(taken(chosen, seats, options));
            }
            limit += STEP;
        }
    }
    Err(worst_pair(&seats, &options, clearance))
}

/// Seats with the options chosen for them.
fn taken(chosen: Vec<usize>, seats: Vec<(Seat, bool)>, options: Vec<Vec<Choice>>) -> Vec<Placed> {
    chosen
        .into_iter()
        .zip(seats)
        .zip(options)
        .map(|((i, (seat, _)), mut list)| {
            let o = list.swap_remove(i);
            Placed {
                seat,
                direction: o.direction,
                length: o.length,
                note: o.note,
            }
        })
        .collect()
}

/// Depth-first choice of one option a seat, costs up to `limit`, all clear of each other.
fn search(options: &[Vec<Choice>], limit: f64, short: bool, clearance: f64) -> Option<Vec<usize>> {
    // A seat that has nothing but short screws takes one.
    let allowed: Vec<bool> = options
        .iter()
        .map(|list| short || list.iter().all(|o| o.short))
        .collect();
    let clear = |chosen: &[usize], seat: usize, i: usize| {
        chosen
            .iter()
            .enumerate()
            .all(|(other, &j)| options[seat][i].rod.clearance(&options[other][j].rod) >= clearance)
    };
    let mut chosen: Vec<usize> = Vec::new();
    let mut next = 0;
    // Bounds the work of a hopeless search; a layout that exists is found long before.
    for _ in 0..20_000 {
        let seat = chosen.len();
        if seat == options.len() {
            return Some(chosen);
        }
        let found = (next..options[seat].len())
            .take_while(|&i| options[seat][i].cost <= limit + 1e-9)
            .find(|&i| options[seat][i].short <= allowed[seat] && clear(&chosen, seat, i));
        match found {
            Some(i) => {
                chosen.push(i);
                next = 0;
            }
            None => next = chosen.pop()? + 1,
        }
    }
    None
}

fn seat_options(
    bone: &Bone,
    fracture: Option<&Fracture>,
    floor: Option<&CanalFloor>,
    plates: &[Plate],
    seat: &Seat,
    bicortical: bool,
    clearance: f64,
) -> Vec<Choice> {
    let mut options: Vec<Choice> = Vec::new();
    let mut take = |direction: Vec3, angle: f64, length: f64, note, short: bool| {
        let rod = seat.rod(direction, length);
        let keep = seat.radius + FRACTURE_CLEARANCE;
        let off = seat
            .off_fracture(fracture, seat.entry)
            .min(seat.off_fracture(fracture, rod.to));
        if off < keep
            || grazes_canal(bone, seat, direction, length)
            || length_in_bone(bone, seat.entry, rod.to) < LEAST_IN_WALL
        {
            return;
        }
        let beside_floor = (FLOOR_COST * beside_floor_mm(bone, floor, &rod)).min(MOST_FLOOR_COST);
        options.push(Choice {
            direction,
            cost: angle + beside_floor,
            length,
            rod,
            note,
            short,
        });
    };
    for (direction, angle) in seat.directions(CONE, STEP) {
        if let Some((length, note)) = length(bone, plates, seat, direction, bicortical, clearance) {
            take(direction, angle, length, note, false);
        }
        if bicortical {
            for length in short_lengths(bone, seat, direction) {
                let note = format!(
                    "{} ends before the far cortex: it would meet a screw of the other plate",
                    seat.number
                );
                take(direction, angle, length, Some(note), true);
            }
        }
    }
    options.sort_by(|p, q| p.cost.total_cmp(&q.cost));
    options
}

/// Lengths that end in the inside, near the middle and just past the near cortex.
fn short_lengths(bone: &Bone, seat: &Seat, direction: Vec3) -> Vec<f64> {
    let exit = rises_above(bone.outer(), seat.entry, direction, 1.0, 60.0, 0.0);
    let middle = 0.5 * exit - 2.0;
    let ends_inside = |l: &f64| seat.rod(direction, *l).tip_range(bone.inner()).1 < -TIP_CLEARANCE;
    let mut lengths: Vec<f64> = Some(middle).filter(ends_inside).into_iter().collect();
    lengths.extend(into_the_inside(bone, seat, direction, exit).filter(|l| *l < middle - 0.5));
    lengths
}

/// Length of a screw along a direction, with what is worth telling about it.
fn length(
    bone: &Bone,
    plates: &[Plate],
    seat: &Seat,
    direction: Vec3,
    bicortical: bool,
    clearance: f64,
) -> Option<(f64, Option<String>)> {
    let (outer, inner) = (bone.outer(), bone.inner());
    let exit = rises_above(outer, seat.entry, direction, 1.0, 60.0, 0.0);
    if exit >= 60.0 {
        return None;
    }
    let rod = |length: f64| seat.rod(direction, length);
    let hits = |r: &Rod| {
        plates
            .iter()
            .filter(|p| p.site != seat.plate)
            .find(|p| p.gap(r).0 < clearance)
    };
    if !bicortical {
        return into_the_inside(bone, seat, direction, exit).map(|l| (l, None));
    }
    let through = (0..8)
        .map(|i| exit + PROTRUSION + 0.25 * f64::from(i))
        .find(|l| rod(*l).tip_range(outer).0 > TIP_CLEARANCE)?;
    let Some(plate) = hits(&rod(through)) else {
        return Some((through, None));
    };
    let note = format!(
        "{} ends inside the far cortex: it would reach plate.{}",
        seat.number, plate.site
    );
    let inside = (0..16).map(|i| exit - 0.8 - 0.2 * f64::from(i)).find(|l| {
        let r = rod(*l);
        r.tip_range(outer).1 < -TIP_CLEARANCE
            && r.tip_range(inner).0 > TIP_CLEARANCE
            && hits(&r).is_none()
    });
    if let Some(length) = inside {
        return Some((length, Some(note)));
    }
    let note = format!(
        "{} ends before the far cortex, which is too thin to end in: it would reach plate.{}",
        seat.number, plate.site
    );
    let before = (0..40)
        .map(|i| exit - 1.0 - 0.25 * f64::from(i))
        .find(|l| *l > LEAST_HELD && rod(*l).tip_range(inner).1 < -TIP_CLEARANCE)?;
    hits(&rod(before)).is_none().then_some((before, Some(note)))
}

/// Length of a screw that passes the near cortex only: about 3 mm into the inside.
fn into_the_inside(bone: &Bone, seat: &Seat, direction: Vec3, exit: f64) -> Option<f64> {
    let inner = bone.inner();
    let wall = (0..200)
        .map(|i| 0.5 + 0.1 * f64::from(i))
        .find(|t| *t < exit && inner.value(seat.entry + direction * *t) < 0.0)?;
    [3.0, 2.5, 3.5, 2.0, 1.5, 4.0]
        .into_iter()
        .map(|into| wall + into)
        .find(|l| *l > LEAST_HELD && seat.rod(direction, *l).tip_range(inner).1 < -TIP_CLEARANCE)
}

/// Does a screw's side run along the canal's wall instead of crossing it?
fn grazes_canal(bone: &Bone, seat: &Seat, direction: Vec3, length: f64) -> bool {
    let deepest = seat
        .rod(direction, length)
        .axis_points()
        .map(|p| bone.inner().value(p))
        .fold(f64::MAX, f64::min);
    (deepest.abs() - seat.radius).abs() < 0.4 || deepest.abs() < seat.radius
}

/// The pair that can least be brought apart.
fn worst_pair(seats: &[(Seat, bool)], options: &[Vec<Choice>], clearance: f64) -> GeometryError {
    let mut worst = (f64::MAX, 0, 0, Vec3::zeros());
    for a in 0..options.len() {
        for b in a + 1..options.len() {
            let mut best = (f64::MIN, Vec3::zeros());
            for p in &options[a] {
                for q in &options[b] {
                    let c = p.rod.clearance(&q.rod);
                    if c > best.0 {
                        best = (c, p.rod.meeting_point(&q.rod));
                    }
                }
            }
            if best.0 < worst.0 {
                worst = (best.0, a, b, best.1);
            }
        }
    }
    GeometryError::Clash {
        first: seats[worst.1].0.member(),
        second: seats[worst.2].0.member(),
        overlap_mm: (clearance - worst.0).max(0.0),
        clearance_mm: clearance,
        level_mm: worst.3.y,
        hint: format!(
            "no directions within {CONE}° keep the shaft screws apart: shift one plate's end level by a few millimetres, or use thinner or fewer screws"
        ),
        remedies: vec![],
    }
}
