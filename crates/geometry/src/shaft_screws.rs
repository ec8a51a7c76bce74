//! Directions and lengths of the screws of the proximal fragment.
//!
//! Each screw takes the direction nearest its hole's axis that clears the fracture, the other plate and
//! the screws of both plates; opposite screws that would meet head-on in the canal are turned apart by
//! the smallest angle that serves all. Where the holes asked for do not hold all screws in the cortices asked for,
//! other holes are tried, and rows moved by up to half a pitch where holes are counted from the plate's end, those first that
//! give up least.

use crate::as_built::angle_deg;
use crate::canal::{self, beside_floor_mm};
use crate::fault::Fault;
use crate::rod::{Rod, rises_above};
use crate::screw_limits::{
    FRACTURE_CLEARANCE, LEAST_HELD, LEAST_IN_WALL, TIP_CLEARANCE, length_in_bone,
};
use crate::seat::{Placed, Seat};
use crate::{
    Bone, CanalFloor, Concession, Fracture, GeometryError, Plate, PlateQuantity, PlateSpec,
    ScrewRow,
};
use bicolumn_base::Vec3;
use std::cell::Cell;
use std::collections::BTreeMap;
use std::rc::Rc;

/// Widest angle between a shaft screw and its hole's axis, degrees (variable-angle holes; from memory).
pub(crate) const CONE: f64 = 15.0;
const STEP: f64 = 2.5;
/// How far a screw passing both cortices stands out, mm (common practice, no source: one to two).
const PROTRUSION: f64 = 1.5;

/// Screws of a plate that are not given up (common practice, no source: two or better three on each side).
pub(crate) const LEAST_SCREWS: usize = 2;

/// Penalty of a millimetre beside the canal's floor, in degrees off the hole's axis (judgement).
const FLOOR_COST: f64 = 2.5;
/// The most it counts for: a full diameter of the canal.
const MOST_FLOOR_COST: f64 = 25.0;

/// Candidate direction of a screw in its seat, with its score.
#[derive(Clone)]
struct Choice {
    direction: Vec3,
    /// Degrees off the direction wanted, and what lying beside the canal's floor counts for.
    cost: f64,
    length: f64,
    rod: Rod,
    /// Concession of its end.
    end: Option<Concession>,
}

impl Choice {
    fn lacks_a_cortex(&self) -> bool {
        self.end.is_some_and(Concession::lacks_a_cortex)
    }

    fn given_up(&self, seat: &Seat) -> Vec<Concession> {
        let turned = angle_deg(self.direction, seat.wanted);
        let turned = (turned > 0.05).then_some(Concession::Turned(turned));
        self.end.into_iter().chain(turned).collect()
    }
}

/// A plate with its specification and the number of its first screw.
pub(crate) struct Plated<'a> {
    pub(crate) plate: &'a Plate,
    pub(crate) spec: &'a PlateSpec,
    pub(crate) first_number: u8,
}

/// Shaft screws of a construct, and the row of holes that each plate takes for them.
pub(crate) struct ShaftPlan {
    pub(crate) rows: Vec<usize>,
    pub(crate) placed: Vec<Placed>,
}

/// Combinations of rows tried for screws that all pass the cortices asked for, and for each that does not.
const MOST_TRIED: [usize; 2] = [80, 16];

/// Places shaft screws: in the rows and holes nearest to those asked for that hold all of them as asked; where none
/// does, with as few screws in one cortex as can be.
///
/// # Errors
/// [`GeometryError::NoRoom`] when a screw alone has no place, [`GeometryError::Clash`] when two have none
/// together.
pub(crate) fn place(
    bone: &Bone,
    fracture: Option<&Fracture>,
    plated: &[Plated<'_>],
    clearance: f64,
) -> Result<ShaftPlan, Fault> {
    let plates: Vec<&Plate> = plated.iter().map(|p| p.plate).collect();
    let floor = canal::floor(bone, fracture);
    let mut planner = Planner {
        bone,
        fracture,
        floor: floor.as_ref(),
        plates: &plates,
        plated,
        clearance,
        known: BTreeMap::new(),
        pairs: BTreeMap::new(),
    };
    let combinations = combinations(&plates);
    let screws: usize = plated.iter().map(|p| p.spec.shaft_screws).sum();
    for lacking in 0..=screws {
        let most = MOST_TRIED[lacking.min(1)];
        for rows in combinations.iter().take(most) {
            if let Some(placed) = planner.screws_in(rows, lacking) {
                return Ok(ShaftPlan {
                    rows: rows.clone(),
                    placed,
                });
            }
        }
    }
    Err(planner.refusal())
}

/// Choices of a row for each plate, by what they give up together.
fn combinations(plates: &[&Plate]) -> Vec<Vec<usize>> {
    let mut all: Vec<(f64, Vec<usize>)> = vec![(0.0, vec![])];
    for plate in plates {
        all = all
            .iter()
            .flat_map(|(cost, rows)| {
                plate.rows.iter().enumerate().map(move |(row, choice)| {
                    let mut rows = rows.clone();
                    rows.push(row);
                    (cost + choice.cost, rows)
                })
            })
            .collect();
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all.into_iter().map(|(_, rows)| rows).collect()
}

/// Options of a seat, by cost.
type Options = Rc<Vec<Choice>>;
/// A place for a screw: plate and bits of the distance along it.
type Place = (usize, u64);

/// Are the options of two seats clear of each other? Each pair is looked at once.
struct Pairs {
    width: usize,
    known: Vec<Cell<Option<bool>>>,
}

impl Pairs {
    fn of(one: &Options, other: &Options) -> Pairs {
        Pairs {
            width: other.len(),
            known: vec![Cell::new(None); one.len() * other.len()],
        }
    }

    fn are_clear(&self, (i, one): (usize, &Choice), (j, other): (usize, &Choice), by: f64) -> bool {
        let known = &self.known[i * self.width + j];
        known.get().unwrap_or_else(|| {
            let are_clear = one.rod.clearance(&other.rod) >= by;
            known.set(Some(are_clear));
            are_clear
        })
    }
}

/// A seat with its place and options.
type Seated = (Seat, Options, Place);

struct Planner<'a> {
    bone: &'a Bone,
    fracture: Option<&'a Fracture>,
    floor: Option<&'a CanalFloor>,
    plates: &'a [&'a Plate],
    plated: &'a [Plated<'a>],
    clearance: f64,
    known: BTreeMap<Place, Options>,
    pairs: BTreeMap<(Place, Place), Rc<Pairs>>,
}

impl Planner<'_> {
    /// Seats of a combination of rows with their options, from the proximal end down.
    fn seats(&mut self, rows: &[usize]) -> Vec<Seated> {
        let mut seats = Vec::new();
        for (n, plated) in self.plated.iter().enumerate() {
            let (plate, spec) = (plated.plate, plated.spec);
            let choice = &plate.rows[rows[n]];
            for (k, hole) in choice.filled.iter().enumerate() {
                let along = choice.along_mm[*hole];
                let at = plate.hole(along, spec.hole_diameter_mm, spec.slot_mm);
                let index = spec.distal_screws + choice.along_mm.len() - 1 - hole;
                let number = plated.first_number + k as u8;
                let (core, tilt) = (spec.shaft_screw_diameter_mm, spec.shaft_screw_tilt_deg);
                let seat = Seat::new(plate, (index, &at), ScrewRow::Shaft, core, tilt, number);
                let key = (n, along.to_bits());
                let options = match self.known.get(&key) {
                    Some(options) => options.clone(),
                    None => {
                        let options = Rc::new(self.options(&seat, spec.bicortical));
                        self.known.insert(key, options.clone());
                        options
                    }
                };
                seats.push((seat, options, key));
            }
        }
        // Neighbours in level decide about each other: search them one after the other.
        seats.sort_by(|a, b| b.0.entry.y.total_cmp(&a.0.entry.y));
        seats
    }

    /// Screws in a combination of rows, at most so many of them lacking a cortex.
    fn screws_in(&mut self, rows: &[usize], lacking: usize) -> Option<Vec<Placed>> {
        let seats = self.seats(rows);
        let must_lack = |list: &Options| list.iter().all(Choice::lacks_a_cortex);
        let lists: Vec<&[Choice]> = seats.iter().map(|s| s.1.as_slice()).collect();
        if lists.iter().any(|list| list.is_empty())
            || seats.iter().filter(|s| must_lack(&s.1)).count() > lacking
        {
            return None;
        }
        let pairs: Vec<Vec<Rc<Pairs>>> = (0..seats.len())
            .map(|one| {
                (0..one)
                    .map(|other| self.pairs(&seats[one], &seats[other]))
                    .collect()
            })
            .collect();
        let least = lists.iter().map(|list| list[0].cost).fold(0.0, f64::max);
        // The rows asked for are searched thoroughly, others quickly.
        let (step, work) = match rows.iter().all(|row| *row == 0) {
            true => (STEP, 20_000),
            false => (4.0 * STEP, 2_000),
        };
        let mut limit = 0.0;
        while limit <= 2.0 * CONE + MOST_FLOOR_COST {
            // No seat has an option below its first one's cost.
            if limit + 1e-9 >= least
                && let Some(chosen) = search(&lists, &pairs, (limit, work), lacking, self.clearance)
            {
                let placed = chosen
                    .into_iter()
                    .zip(&seats)
                    .map(|(i, (seat, list, _))| Placed {
                        seat: seat.clone(),
                        direction: list[i].direction,
                        length: list[i].length,
                        given_up: list[i].given_up(seat),
                    });
                return Some(placed.collect());
            }
            limit += step;
        }
        None
    }

    fn pairs(&mut self, one: &Seated, other: &Seated) -> Rc<Pairs> {
        let pairs = self.pairs.entry((one.2, other.2));
        let pairs = pairs.or_insert_with(|| Rc::new(Pairs::of(&one.1, &other.1)));
        pairs.clone()
    }

    /// The reason why the rows asked for hold no screws, and what may mend it.
    fn refusal(&mut self) -> Fault {
        let rows = vec![0; self.plates.len()];
        let seats = self.seats(&rows);
        let error = match seats.iter().find(|(_, list, _)| list.is_empty()) {
            Some((seat, _, _)) => GeometryError::NoRoom {
                member: seat.member(),
                why: format!(
                    "no direction within {CONE}° of its hole in plate.{} at level {:.1} mm holds it in the proximal fragment, and none of the other holes and rows that were tried holds all",
                    seat.plate, seat.entry.y
                ),
                hint: "move the plate's end level, or ask for fewer or thinner shaft screws".into(),
                remedies: [
                    PlateQuantity::EndLevel,
                    PlateQuantity::ShaftScrews,
                    PlateQuantity::ShaftScrewDiameter,
                ]
                .map(|q| seat.subject(q))
                .into(),
            },
            None => worst_pair(&seats, self.clearance),
        };
        let mut cures = Vec::new();
        for Plated { spec, .. } in self.plated {
            use PlateQuantity as Q;
            let core = spec.shaft_screw_diameter_mm;
            if core > 2.0 {
                cures.push((spec.subject(Q::ShaftScrewDiameter), (core - 0.3).max(2.0)));
            }
            if spec.shaft_screws > LEAST_SCREWS {
                let fewer = spec.shaft_screws - 1;
                cures.push((spec.subject(Q::ShaftScrews), fewer as f64));
            }
            for by in [-4.0, 4.0] {
                cures.push((spec.subject(Q::EndLevel), spec.end_level_mm + by));
            }
        }
        Fault::from(error).or_by(cures)
    }

    fn options(&self, seat: &Seat, bicortical: bool) -> Vec<Choice> {
        let (bone, fracture) = (self.bone, self.fracture);
        let mut options: Vec<Choice> = Vec::new();
        let mut take = |direction: Vec3, angle: f64, length: f64, end: Option<Concession>| {
            let rod = seat.rod(direction, length);
            let keep = seat.radius + FRACTURE_CLEARANCE;
            let off = seat
                .off_fracture(fracture, seat.entry)
                .min(seat.off_fracture(fracture, rod.to));
            if off < keep || length_in_bone(bone, seat.entry, rod.to) < LEAST_IN_WALL {
                return;
            }
            let deepest = deepest_in_canal(bone, seat, direction, length);
            if (deepest.abs() - seat.radius).abs() < 0.4 || deepest.abs() < seat.radius {
                return;
            }
            let end = match bicortical && deepest > 0.0 {
                true => Some(Concession::InOneWall),
                false => end,
            };
            let beside_floor =
                (FLOOR_COST * beside_floor_mm(bone, self.floor, &rod)).min(MOST_FLOOR_COST);
            options.push(Choice {
                direction,
                cost: angle + beside_floor,
                length,
                rod,
                end,
            });
        };
        for (direction, angle) in seat.directions(CONE, STEP) {
            // The way into the fragment alone rules most directions out beside a fracture.
            let keep = seat.radius + FRACTURE_CLEARANCE;
            if seat.off_fracture(fracture, seat.entry) < keep {
                break;
            }
            let exit = rises_above(bone.outer(), seat.entry, direction, 1.0, 60.0, 0.0);
            let mut short = Concession::BeforeScrew;
            if exit < 60.0
                && let Some((length, end)) = self.length(seat, direction, exit, bicortical)
            {
                match opens_into_fossa(bone, seat, direction, length) {
                    true => short = Concession::BeforeFossa,
                    false => take(direction, angle, length, end),
                }
            }
            if bicortical {
                for length in short_lengths(bone, seat, direction, exit) {
                    if !opens_into_fossa(bone, seat, direction, length) {
                        take(direction, angle, length, Some(short));
                    }
                }
            }
        }
        options.sort_by(|p, q| p.cost.total_cmp(&q.cost));
        options
    }

    /// Length of a screw along a direction that leaves the bone at `exit`, and how it ends.
    fn length(
        &self,
        seat: &Seat,
        direction: Vec3,
        exit: f64,
        bicortical: bool,
    ) -> Option<(f64, Option<Concession>)> {
        let (outer, inner) = (self.bone.outer(), self.bone.inner());
        let rod = |length: f64| seat.rod(direction, length);
        let hits = |r: &Rod| {
            let mut others = self.plates.iter().filter(|p| p.site != seat.plate);
            others.find(|p| p.gap(r, self.clearance).0 < self.clearance)
        };
        if !bicortical {
            return into_the_inside(self.bone, seat, direction, exit).map(|l| (l, None));
        }
        let through = (0..8)
            .map(|i| exit + PROTRUSION + 0.25 * f64::from(i))
            .find(|l| rod(*l).tip_range(outer).0 > TIP_CLEARANCE)?;
        let Some(plate) = hits(&rod(through)) else {
            return Some((through, None));
        };
        let inside = (0..16).map(|i| exit - 0.8 - 0.2 * f64::from(i)).find(|l| {
            let r = rod(*l);
            r.tip_range(outer).1 < -TIP_CLEARANCE
                && r.tip_range(inner).0 > TIP_CLEARANCE
                && hits(&r).is_none()
        });
        if let Some(length) = inside {
            return Some((length, Some(Concession::InFarCortex(plate.site))));
        }
        let before = (0..40)
            .map(|i| exit - 1.0 - 0.25 * f64::from(i))
            .find(|l| *l > LEAST_HELD && rod(*l).tip_range(inner).1 < -TIP_CLEARANCE)?;
        let end = Some(Concession::BeforeFarCortex(plate.site));
        hits(&rod(before)).is_none().then_some((before, end))
    }
}

/// Depth-first choice of one option a seat, costs up to a limit, at most so many lacking a cortex, all clear of each
/// other. `work` bounds a hopeless search; a layout that exists is found long before. `pairs` are those of each seat with
/// the seats before it.
fn search(
    options: &[&[Choice]],
    pairs: &[Vec<Rc<Pairs>>],
    (limit, work): (f64, usize),
    lacking: usize,
    clearance: f64,
) -> Option<Vec<usize>> {
    let lacks = |seat: usize, i: usize| options[seat][i].lacks_a_cortex();
    let clear = |chosen: &[usize], seat: usize, i: usize| {
        let one = (i, &options[seat][i]);
        chosen.iter().enumerate().all(|(other, &j)| {
            pairs[seat][other].are_clear(one, (j, &options[other][j]), clearance)
        })
    };
    let mut chosen: Vec<usize> = Vec::new();
    let mut next = 0;
    for _ in 0..work {
        let seat = chosen.len();
        if seat == options.len() {
            return Some(chosen);
        }
        let lack = chosen.iter().enumerate().filter(|(s, i)| lacks(*s, **i));
        let may_lack = lack.count() < lacking;
        let found = (next..options[seat].len())
            .take_while(|&i| options[seat][i].cost <= limit + 1e-9)
            .find(|&i| (may_lack || !lacks(seat, i)) && clear(&chosen, seat, i));
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

/// Lengths that end in the inside, near the middle and just past the near cortex.
fn short_lengths(bone: &Bone, seat: &Seat, direction: Vec3, exit: f64) -> Vec<f64> {
    let middle = 0.5 * exit - 2.0;
    let ends_inside = |l: &f64| seat.rod(direction, *l).tip_range(bone.inner()).1 < -TIP_CLEARANCE;
    let mut lengths: Vec<f64> = Some(middle).filter(ends_inside).into_iter().collect();
    lengths.extend(into_the_inside(bone, seat, direction, exit).filter(|l| *l < middle - 0.5));
    lengths
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

/// Does a screw come out into a fossa, with its side or its tip?
fn opens_into_fossa(bone: &Bone, seat: &Seat, direction: Vec3, length: f64) -> bool {
    let mut points = seat.rod(direction, length).axis_points();
    points.any(|p| bone.opens_into_fossa(p, seat.radius))
}

/// Least value of the inner surface's field along a screw's axis, mm: close to its radius the screw's side runs along
/// the canal's wall instead of crossing it.
fn deepest_in_canal(bone: &Bone, seat: &Seat, direction: Vec3, length: f64) -> f64 {
    seat.rod(direction, length)
        .axis_points()
        .map(|p| bone.inner().value(p))
        .fold(f64::MAX, f64::min)
}

/// The pair that can least be brought apart.
fn worst_pair(seats: &[Seated], clearance: f64) -> GeometryError {
    let mut worst = (f64::MAX, 0, 0, Vec3::zeros());
    for a in 0..seats.len() {
        for b in a + 1..seats.len() {
            let mut best = (f64::MIN, Vec3::zeros());
            for p in seats[a].1.iter() {
                for q in seats[b].1.iter() {
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
            "no directions within {CONE}° keep the shaft screws apart, nor do the other holes and rows that were tried: use thinner or fewer screws"
        ),
        remedies: [worst.1, worst.2]
            .iter()
            .flat_map(|s| {
                [
                    PlateQuantity::ShaftScrewDiameter,
                    PlateQuantity::ShaftScrews,
                ]
                .map(|q| seats[*s].0.subject(q))
            })
            .collect(),
    }
}
