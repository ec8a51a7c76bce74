//! Draws of a sampled design whose constructs cannot be built, and the next of the sequence in their place.
//!
//! A draw has its number in the sequence for its id, so that it keeps it whatever else is replaced. The draws of a design are the
//! shortest beginning of the sequence that holds as many constructs as the job asks for that can be built; it depends on the
//! job alone, not on what is finished or on shards.

use crate::check::CheckedPoint;
use bicolumn_job::{DesignPoint, Job, Plan};
use std::collections::BTreeMap;

/// Design of a job with the draws that take the place of those that cannot be built.
pub(crate) struct Settled {
    /// Job and plan with more draws; `None` where none is replaced.
    pub(crate) longer: Option<(Job, Plan)>,
    /// Points looked at, by index.
    pub(crate) checked: BTreeMap<usize, CheckedPoint>,
    /// Replaced draws.
    pub(crate) replaced: Replaced,
}

/// Draws that cannot be built.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Replaced {
    /// Draws that the job asks for, each with the one that takes its place.
    pub pairs: Vec<(String, Option<String>)>,
    /// Later draws, which take no place.
    pub passed_over: Vec<String>,
}

impl Replaced {
    /// Clauses about them; `None` where there is none.
    pub fn told(&self) -> Option<String> {
        let with = |is_replaced: bool| {
            let pairs = self
                .pairs
                .iter()
                .filter(move |p| p.1.is_some() == is_replaced);
            let words = pairs.map(|(id, by)| match by {
                Some(by) => format!("{id} by {by}"),
                None => id.clone(),
            });
            words.collect::<Vec<_>>().join(", ")
        };
        let clauses = [
            (
                "cannot be built, replaced by the next of the sequence",
                with(true),
            ),
            (
                "cannot be built and taken for none of them",
                self.passed_over.join(", "),
            ),
            (
                "cannot be built, not replaced, as too few of the next can be",
                with(false),
            ),
        ];
        let told = clauses.into_iter().filter(|(_, ids)| !ids.is_empty());
        let told: Vec<String> = told.map(|(words, ids)| format!("{words}: {ids}")).collect();
        (!told.is_empty()).then(|| told.join("; "))
    }

    /// Has a draw that cannot be built no other in its place?
    fn is_missed(&self, id: &str) -> bool {
        let mut pairs = self.pairs.iter();
        pairs.any(|(own, by)| own == id && by.is_none())
    }
}

/// Finds the draws of a job. `remembered`: can the construct of a point be built, where that is known; `build`: looks at some
/// points of a job. At most as many draws again as the job asks for are looked at. A design without a next draw stays as it is, and
/// nothing is looked at.
pub(crate) fn settle(
    job: &Job,
    plan: &Plan,
    remembered: &dyn Fn(&Job, &DesignPoint) -> Option<bool>,
    build: &dyn Fn(&Job, Vec<&DesignPoint>) -> Vec<CheckedPoint>,
) -> Settled {
    let mut settled = Settled {
        longer: None,
        checked: BTreeMap::new(),
        replaced: Replaced::default(),
    };
    if !job.has_next_draw() {
        return settled;
    }
    let poses = job.poses();
    let asked = plan.points.len() / poses;
    let mut can_be_built: Vec<bool> = vec![];
    loop {
        let (job, plan) = settled.longer.as_ref().map_or((job, plan), |(j, p)| (j, p));
        let new = &plan.points[can_be_built.len()..];
        let first = can_be_built.len();
        can_be_built.extend(new.iter().map(|p| remembered(job, p).unwrap_or(true)));
        let open = (0..new.len()).filter(|n| remembered(job, &new[*n]).is_none());
        let open: Vec<usize> = open.collect();
        let looked = build(job, open.iter().map(|n| &new[*n]).collect());
        for (n, c) in open.into_iter().zip(looked) {
            can_be_built[first + n] = !c.is_unbuildable;
            settled.checked.insert(first + n, c);
        }
        let draws = plan.points.len() / poses;
        let stands = |draw: &[bool]| draw.iter().all(|b| *b);
        let standing = can_be_built.chunks(poses).filter(|d| stands(d)).count();
        let next = draws + asked.saturating_sub(standing).min(2 * asked - draws);
        let longer = match standing {
            0 => None,
            _ if next == draws => None,
            // More points than a plan may have: the draws stay as they are.
            _ => {
                let job = job.with_draws(next);
                Plan::of(&job).ok().map(|plan| (job, plan))
            }
        };
        match longer {
            Some(longer) => settled.longer = Some(longer),
            None => break,
        }
    }
    let plan = settled.longer.as_ref().map_or(plan, |(_, plan)| plan);
    let (within, beyond) = can_be_built.split_at(plan.points.len().min(asked * poses));
    let (own, later) = plan.points.split_at(within.len());
    let ids = |points: &[DesignPoint], stand: &[bool], wanted: bool| -> Vec<String> {
        let points = points.iter().zip(stand);
        let some = points.filter(|(_, stands)| **stands == wanted);
        some.map(|(p, _)| p.id.clone()).collect()
    };
    let mut spare = ids(later, beyond, true).into_iter();
    let refused = ids(own, within, false).into_iter();
    settled.replaced = Replaced {
        pairs: refused.map(|id| (id, spare.next())).collect(),
        passed_over: ids(later, beyond, false),
    };
    for c in settled.checked.values_mut().filter(|c| c.is_unbuildable) {
        c.is_skipped |= !settled.replaced.is_missed(&c.point.id);
    }
    settled
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_job::resolve;
    use std::path::Path;

    /// Draws of a sequence of which the points with these numbers cannot be built, and how often each was looked at.
    fn settled(design: &str, bad: &[usize], known: usize) -> (Settled, Vec<usize>) {
        let text = format!("{design}\n[factors]\nfracture.gap_mm = [2, 8]\n");
        let job = Job::parse(Path::new("x.toml"), &text).unwrap();
        let plan = Plan::of(&job).unwrap();
        let number = |p: &DesignPoint| p.id[1..].parse::<usize>().unwrap();
        let looks = std::cell::RefCell::new(vec![]);
        let settled = settle(
            &job,
            &plan,
            &|_, p| (number(p) <= known).then(|| !bad.contains(&number(p))),
            &|job, points| {
                let look = |point: &&DesignPoint| {
                    looks.borrow_mut().push(number(point));
                    CheckedPoint {
                        point: (*point).clone(),
                        inputs: resolve(job, point),
                        built: Err("not built here".into()),
                        is_skipped: false,
                        is_unbuildable: bad.contains(&number(point)),
                    }
                };
                points.iter().map(look).collect()
            },
        );
        (settled, looks.into_inner())
    }

    const SIX: &str = "design.kind = \"halton\"\ndesign.points = 6";

    #[test]
    fn the_next_draws_take_the_places_and_each_is_looked_at_once() {
        let (found, looks) = settled(SIX, &[2, 5, 7], 0);
        assert_eq!(looks, (1..=9).collect::<Vec<_>>());
        let wanted = "cannot be built, replaced by the next of the sequence: p002 by p008, p005 by p009; \
            cannot be built and taken for none of them: p007";
        assert_eq!(found.replaced.told().as_deref(), Some(wanted));
        let (job, plan) = found.longer.as_ref().unwrap();
        assert_eq!(plan.points.len(), 9);
        // The first draws are those that would have been drawn without a replacement.
        let own = Job::parse(Path::new("x.toml"), &job.text).unwrap();
        assert_eq!(Plan::of(&own).unwrap().points[..], plan.points[..6]);
        assert!(found.checked[&1].is_skipped && !found.checked[&0].is_skipped);
        // Whatever is known already, the draws are the same.
        for known in [3, 6, 20] {
            let (again, looks) = settled(SIX, &[2, 5, 7], known);
            assert_eq!(again.replaced, found.replaced);
            assert_eq!(looks, (known + 1..=9).collect::<Vec<_>>());
        }
    }

    #[test]
    fn draws_end_where_too_few_can_be_built_and_other_designs_are_not_looked_at() {
        let most: Vec<usize> = (2..=40).collect();
        let (found, looks) = settled(SIX, &most, 0);
        assert_eq!(looks.len(), 12);
        let told = found.replaced.told().unwrap();
        assert!(
            told.contains("not replaced, as too few of the next can be: p002"),
            "{told}"
        );
        assert!(!found.checked[&1].is_skipped, "it has failed");
        let all: Vec<usize> = (1..=40).collect();
        assert_eq!(settled(SIX, &all, 0).1.len(), 6, "nothing can be built");
        for design in ["", &SIX.replace("halton", "latin_hypercube")] {
            let (found, looks) = settled(design, &[1], 0);
            assert!(looks.is_empty() && found.longer.is_none());
            assert_eq!(found.replaced.told(), None);
        }
    }

    #[test]
    fn replicates_of_a_draw_are_replaced_together() {
        let design = format!("{SIX}\ndesign.replicates = 2");
        let (found, _) = settled(&design, &[3, 4], 0);
        let told = found.replaced.told().unwrap();
        assert!(told.ends_with("p003 by p013, p004 by p014"), "{told}");
    }
}
