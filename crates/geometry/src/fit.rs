//! Search for the construct nearest to a specification: quantities that are free to move are moved by the least change
//! that was found to make it possible.
//!
//! Best first, stage by stage: each fault names the changes of single quantities that may mend it. Those that came
//! furthest in building are tried first, among these the one that changes least, weighted by quantity, with what the
//! faults that plain numbers show will change at least. Derived quantities count for little. A quantity that was moved
//! one way does not come back.

use crate::fault::{Cure, Fault, Stage};
use crate::{ConstructSpec, Moved, Range, Subject};
use std::collections::{BTreeMap, BTreeSet};

/// Specifications tried of which plain numbers show a fault, and those that need a bone.
const MOST_BY_NUMBERS: usize = 3_000;
const MOST_ON_BONE: usize = 40;

/// A specification to be tried.
#[derive(Default)]
struct Candidate {
    /// Stage and plate that the specification it comes from reached.
    reached: Option<(Stage, usize)>,
    /// Cost of what is moved.
    cost: f64,
    /// Least cost of what the known faults will move, each by itself.
    ahead: f64,
    moved: BTreeMap<Subject, f64>,
    /// Least and greatest value left to each quantity moved.
    left: BTreeMap<Subject, Range>,
    faults: Vec<Fault>,
}

/// The first specification, by what it changes, that can be built.
///
/// # Errors
/// The fault of the specification that came furthest, where no change of free quantities was found to do.
pub(crate) fn nearest<T>(
    spec: &ConstructSpec,
    build: &dyn Fn(&ConstructSpec) -> Result<T, Fault>,
) -> Result<(T, Vec<Moved>), Fault> {
    let mut open = vec![Candidate {
        faults: spec.faults(),
        ..Candidate::default()
    }];
    let mut seen: BTreeSet<Vec<(Subject, u64)>> = BTreeSet::new();
    let (mut by_numbers, mut on_bone) = (0, 0);
    let mut furthest: Option<(Fault, bool)> = None;
    while let Some(n) = cheapest(&open) {
        let mut candidate = open.remove(n);
        let tried = with(spec, &candidate.moved);
        let fault = match crate::limits::together(std::mem::take(&mut candidate.faults)) {
            Some(fault) => {
                by_numbers += 1;
                fault
            }
            None => {
                on_bone += 1;
                match build(&tried) {
                    Ok(built) => return Ok((built, moves(spec, &candidate.moved))),
                    Err(fault) => fault,
                }
            }
        };
        let mut is_final = true;
        for cure in &fault.cures {
            let Some(mut next) = changed(spec, &candidate, cure) else {
                continue;
            };
            is_final = false;
            next.reached = Some(progress(&fault));
            let key = next.moved.iter().map(|(s, v)| (*s, v.to_bits()));
            if seen.insert(key.collect()) {
                open.push(next);
            }
        }
        // Of two faults at one stage the one that nothing free mends is told: what mends the other was tried.
        let is_further = |(known, known_is_final): &(Fault, bool)| {
            (progress(known), *known_is_final) >= (progress(&fault), is_final)
        };
        if !furthest.as_ref().is_some_and(is_further) {
            furthest = Some((fault, is_final));
        }
        if by_numbers >= MOST_BY_NUMBERS || on_bone >= MOST_ON_BONE {
            break;
        }
    }
    match furthest {
        Some((fault, _)) => Err(fault),
        None => unreachable!("the specification itself is tried first"),
    }
}

/// Stage and plate that a fault stops at: the stages of laying a plate are one, plate by plate.
fn progress(fault: &Fault) -> (Stage, usize) {
    match fault.stage {
        Stage::Line | Stage::DistalHoles | Stage::ShaftHoles => (
            Stage::Line,
            3 * fault.plate
                + match fault.stage {
                    Stage::Line => 0,
                    Stage::DistalHoles => 1,
                    _ => 2,
                },
        ),
        other => (other, 0),
    }
}

/// Place of the candidate that came furthest, of those the cheapest, of two alike the later.
fn cheapest(open: &[Candidate]) -> Option<usize> {
    let best = open.iter().enumerate().rev().min_by(|(_, a), (_, b)| {
        let costs = (a.cost + a.ahead).total_cmp(&(b.cost + b.ahead));
        b.reached.cmp(&a.reached).then(costs)
    });
    best.map(|(n, _)| n)
}

fn with(spec: &ConstructSpec, moved: &BTreeMap<Subject, f64>) -> ConstructSpec {
    let mut tried = spec.clone();
    for (subject, value) in moved {
        tried.set(*subject, *value);
    }
    tried
}

/// Cost of changes together; none where a quantity must stay.
fn cost(spec: &ConstructSpec, changes: impl Iterator<Item = (Subject, f64)>) -> Option<f64> {
    changes.into_iter().try_fold(0.0, |sum, (subject, value)| {
        let asked = spec.value(subject)?;
        Some(sum + spec.freedom.cost(subject, asked, value)?)
    })
}

/// A candidate with quantities changed, as far as that may be.
fn changed(spec: &ConstructSpec, from: &Candidate, cure: &Cure) -> Option<Candidate> {
    let mut next = Candidate {
        moved: from.moved.clone(),
        left: from.left.clone(),
        ..Candidate::default()
    };
    let all = Range::new(f64::NEG_INFINITY, f64::INFINITY);
    for (subject, value) in &cure.0 {
        let asked = spec.value(*subject)?;
        let now = from.moved.get(subject).copied().unwrap_or(asked);
        let left = from.left.get(subject).copied().unwrap_or(all);
        if *value == now || !left.contains(*value) || !subject.range()?.contains(*value) {
            return None;
        }
        next.moved.insert(*subject, *value);
        let onwards = match *value > now {
            true => left.from(*value),
            false => left.up_to(*value),
        };
        next.left.insert(*subject, onwards);
    }
    next.cost = cost(spec, next.moved.iter().map(|(s, v)| (*s, *v)))?;
    next.faults = with(spec, &next.moved).faults();
    let least = |fault: &Fault| {
        let cures = fault.cures.iter();
        let costs = cures.filter_map(|Cure(changes)| cost(spec, changes.iter().copied()));
        costs.reduce(f64::min).unwrap_or(0.0)
    };
    next.ahead = next.faults.iter().map(least).sum();
    Some(next)
}

fn moves(spec: &ConstructSpec, moved: &BTreeMap<Subject, f64>) -> Vec<Moved> {
    let moves = moved.iter().filter_map(|(subject, built)| {
        let asked = spec.value(*subject)?;
        (asked != *built).then(|| Moved {
            subject: *subject,
            asked,
            built: *built,
            is_derived: spec.freedom.derived.contains(subject),
        })
    });
    moves.collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{GeometryError, Member, PlateQuantity};
    use bicolumn_base::PlateSite;

    #[test]
    fn the_fault_told_is_one_that_nothing_free_mends() {
        let level = Subject::Plate(PlateSite::Medial, PlateQuantity::DistalHoleLevel);
        let mut spec = ConstructSpec::orthogonal();
        spec.freedom.derived = [level].into();
        let asked = spec.value(level).unwrap();
        let fault = |why: &str| {
            Fault::from(GeometryError::NoRoom {
                member: Member::Plate(PlateSite::Medial),
                why: why.into(),
                hint: "raise it".into(),
                remedies: vec![level],
            })
            .at(Stage::Line)
        };
        // Raised, the first hole lies over bone, but the plate is too wide there as well.
        let build = |tried: &ConstructSpec| -> Result<(), Fault> {
            Err(match tried.value(level) == Some(asked) {
                true => fault("its end overhangs").or_by([(level, asked + 0.5)]),
                false => fault("it is too wide"),
            })
        };
        let told = nearest(&spec, &build).unwrap_err().error.to_string();
        assert!(told.contains("it is too wide"), "{told}");
        // Where its level is stated, it is the fault at hand.
        spec.freedom.derived.clear();
        let told = nearest(&spec, &build).unwrap_err().error.to_string();
        assert!(told.contains("its end overhangs"), "{told}");
    }
}
