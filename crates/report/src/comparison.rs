//! Comparison of the levels of the headline's factor at equal levels of all other factors.
//!
//! A block is a combination of levels of the other factors. Where some blocks hold every level of the factor,
//! means are taken over those alone, so that all levels have the same partners. Where none does (points lost),
//! a level is compared over the blocks that it shares with the baseline, and its partners' mean is told with it.

use crate::credit::{Withheld, reversing_choice, withheld};
use crate::labels::{factor_words, level_words};
use crate::study_view::{Cell, Change, Group, StudyView, response, value_of};
use bicolumn_response::ResponseName;
use bicolumn_store::{FactorValue, PointRecord};

/// The value of one construct at one level under one load case, against the baseline at equal other factors.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Compared {
    /// Mean over the compared points at the level.
    pub(crate) cell: Cell,
    /// Mean over their partners at the baseline; `None` at the baseline itself and where there are none.
    pub(crate) base: Option<Cell>,
    /// Change against `base`.
    pub(crate) change: Option<Change>,
    /// Reason that the change is not credited to the factor.
    pub(crate) withheld: Option<Withheld>,
}

/// Levels of the other factors at a point.
pub(crate) type Block<'a> = Vec<(&'a str, Option<&'a FactorValue>)>;

impl StudyView {
    pub(crate) fn block_of<'a>(&'a self, point: &'a PointRecord) -> Block<'a> {
        let over = self.over().unwrap_or_default();
        let others = self.record.factors.iter().filter(|(key, _)| key != over);
        others
            .map(|(key, _)| (key.as_str(), value_of(point, key)))
            .collect()
    }

    /// Points of a group at a level with a value of a response under a load case.
    fn valued<'a>(
        &self,
        group: &Group<'a>,
        level: &FactorValue,
        case: &str,
        name: &ResponseName,
    ) -> Vec<&'a PointRecord> {
        let Some(over) = self.over() else {
            return Vec::new();
        };
        let has_value =
            |p: &PointRecord| response(p, case, name).is_some_and(|r| r.value.is_some());
        let points = group.points.iter().copied();
        points
            .filter(|p| value_of(p, over) == Some(level) && has_value(p))
            .collect()
    }

    /// Blocks that hold every level that occurs in a group under a load case.
    fn complete_blocks<'a>(
        &'a self,
        group: &Group<'a>,
        case: &str,
        name: &ResponseName,
    ) -> Vec<Block<'a>> {
        let levels = self.levels();
        let occurring: Vec<Vec<Block<'a>>> = levels
            .iter()
            .map(|level| self.valued(group, level, case, name))
            .filter(|points| !points.is_empty())
            .map(|points| points.into_iter().map(|p| self.block_of(p)).collect())
            .collect();
        let Some((first, others)) = occurring.split_first() else {
            return Vec::new();
        };
        let mut complete: Vec<Block<'a>> = Vec::new();
        for block in first {
            let everywhere = others.iter().all(|blocks| blocks.contains(block));
            if everywhere && !complete.contains(block) {
                complete.push(block.clone());
            }
        }
        complete
    }

    /// Have all levels of a group the same partners under a load case? Only then may their means be joined by a
    /// line, and stand beside each other without their partners'.
    pub(crate) fn has_common_partners(
        &self,
        group: &Group<'_>,
        case: &str,
        name: &ResponseName,
    ) -> bool {
        !self.complete_blocks(group, case, name).is_empty()
    }

    /// The points that a level's value is the mean of, and their partners at the baseline.
    pub(crate) fn partners<'a>(
        &'a self,
        group: &Group<'a>,
        level: &FactorValue,
        case: &str,
        name: &ResponseName,
    ) -> [Vec<&'a PointRecord>; 2] {
        let of_level = self.valued(group, level, case, name);
        let Some(baseline) = self.baseline() else {
            return [of_level, Vec::new()];
        };
        let of_base = self.valued(group, &baseline, case, name);
        let within = |points: &[&'a PointRecord], blocks: &[Block<'a>]| -> Vec<&'a PointRecord> {
            let kept = points.iter().copied();
            kept.filter(|p| blocks.contains(&self.block_of(p)))
                .collect()
        };
        let complete = self.complete_blocks(group, case, name);
        if !complete.is_empty() {
            return [within(&of_level, &complete), within(&of_base, &complete)];
        }
        let blocks = |points: &[&'a PointRecord]| -> Vec<Block<'a>> {
            points.iter().map(|p| self.block_of(p)).collect()
        };
        let (level_blocks, base_blocks) = (blocks(&of_level), blocks(&of_base));
        let partners = within(&of_base, &level_blocks);
        match partners.is_empty() || *level == baseline {
            true => [of_level, Vec::new()],
            false => [within(&of_level, &base_blocks), partners],
        }
    }

    /// The headline value of one construct at one level under one load case, against the baseline; `None` where
    /// no point has it.
    pub(crate) fn compare(
        &self,
        group: &Group<'_>,
        level: &FactorValue,
        case: &str,
    ) -> Option<Compared> {
        let name = self.lead()?;
        let [points, partners] = self.partners(group, level, case, name);
        let cell = self.mean_of(&points, case)?;
        let base = match self.baseline().as_ref() == Some(level) {
            true => None,
            false => self.mean_of(&partners, case),
        };
        let change = base.as_ref().and_then(|b| self.change(&cell, b));
        let withheld = base.as_ref().and_then(|_| {
            let over = self.over()?;
            withheld(over, name, case, &points, &partners)
        });
        // A difference whose sign hangs on a choice of the definition is not decided by it.
        let withheld = withheld.or_else(|| {
            let difference = change.as_ref().filter(|c| c.resolved)?.relative;
            let choice = reversing_choice(name, case, &points, &partners, difference)?;
            Some(Withheld::NotDecided(choice))
        });
        Some(Compared {
            cell,
            base,
            change,
            withheld,
        })
    }

    /// Settings of the other factors that a group's values are means over, in words; nothing where there are
    /// no other factors.
    pub(crate) fn averaged_words(&self, group: &Group<'_>, case: &str) -> Option<String> {
        let by = self.headline().and_then(|h| h.by.as_deref());
        let varied = |key: &str| {
            let mut values = group.points.iter().map(|p| value_of(p, key));
            let first = values.next().flatten();
            values.any(|v| v != first)
        };
        let over = self.over()?;
        let others: Vec<&str> = self
            .record
            .factors
            .iter()
            .map(|(key, _)| key.as_str())
            .filter(|key| *key != over && Some(*key) != by && varied(key))
            .collect();
        if others.is_empty() {
            let repeated = group.points.len() > self.levels().len();
            return repeated.then(|| "means over points of equal factors".into());
        }
        match self.complete_blocks(group, case, self.lead()?).as_slice() {
            [] => Some("each level against its own partners at equal other factors".into()),
            [one] => {
                let settings = one.iter().filter(|(key, _)| others.contains(key));
                let words = settings.filter_map(|(key, level)| {
                    Some(format!(
                        "{} {}",
                        factor_words(key),
                        level_words(key, (*level)?)
                    ))
                });
                Some(format!("at {}", words.collect::<Vec<_>>().join(", ")))
            }
            many => Some(format!(
                "means over the {} settings of the other factors that all levels share",
                many.len()
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::{HEADLINE, synthetic_study};

    const OTHER: &str = "plates.thickness_mm";

    /// The invented study's parallel points with a second factor: (stagger, thickness, value under every case).
    fn study_of(rows: &[(f64, f64, f64)]) -> StudyView {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        let model = view.points[0].clone();
        view.record.factors = vec![
            (
                "plates.stagger_mm".into(),
                [0.0, -12.0, 12.0].map(FactorValue::Number).to_vec(),
            ),
            (OTHER.into(), [3.0, 3.5].map(FactorValue::Number).to_vec()),
        ];
        view.record.headline.as_mut().unwrap().by = None;
        let point = |(i, (stagger, thickness, value)): (usize, &(f64, f64, f64))| {
            let mut p = model.clone();
            p.id = format!("p{:03}", i + 1);
            p.factors = [("plates.stagger_mm", *stagger), (OTHER, *thickness)]
                .map(|(k, v)| (k.to_string(), FactorValue::Number(v)))
                .into();
            for case in &mut p.cases {
                case.responses.retain(|r| r.name == HEADLINE);
                for r in &mut case.responses {
                    r.value = Some(*value);
                }
            }
            p
        };
        view.points = rows.iter().enumerate().map(point).collect();
        view
    }

    fn compared(view: &StudyView, stagger: f64) -> Compared {
        let groups = view.groups();
        assert_eq!(groups.len(), 1);
        let level = FactorValue::Number(stagger);
        view.compare(&groups[0], &level, "axial").unwrap()
    }

    #[test]
    fn one_at_a_time_points_are_compared_with_the_baseline_point_alone() {
        // Thickness moves the value by 10, stagger by 1: a mean over unequal partners would tell −4.
        let view = study_of(&[
            (0.0, 3.0, 20.0),
            (-12.0, 3.0, 21.0),
            (12.0, 3.0, 22.0),
            (0.0, 3.5, 30.0),
        ]);
        let c = compared(&view, -12.0);
        assert_eq!((c.cell.mean, c.base.as_ref().unwrap().mean), (21.0, 20.0));
        assert!((c.change.unwrap().relative - 0.05).abs() < 1e-12);
        // The baseline's own value is that of the same partners.
        assert_eq!(compared(&view, 0.0).cell.mean, 20.0);
        let groups = view.groups();
        let words = view.averaged_words(&groups[0], "axial").unwrap();
        assert_eq!(words, "at thickness 3\u{a0}mm");
    }

    #[test]
    fn a_factorial_that_lost_a_point_compares_shared_blocks_only() {
        let all = [
            (0.0, 3.0, 20.0),
            (0.0, 3.5, 30.0),
            (-12.0, 3.0, 21.0),
            (12.0, 3.0, 22.0),
            (12.0, 3.5, 32.0),
        ];
        let view = study_of(&all);
        // −12 at 3.5 is lost: 3.5 is no block of all levels.
        assert_eq!(compared(&view, 0.0).cell.mean, 20.0);
        assert_eq!(compared(&view, 12.0).cell.mean, 22.0);
        let groups = view.groups();
        assert!(view.has_common_partners(&groups[0], "axial", &HEADLINE));
    }

    #[test]
    fn without_a_common_block_each_level_has_its_own_partners() {
        let view = study_of(&[
            (0.0, 3.0, 20.0),
            (0.0, 3.5, 30.0),
            (-12.0, 3.0, 21.0),
            (12.0, 3.5, 33.0),
        ]);
        let groups = view.groups();
        assert!(!view.has_common_partners(&groups[0], "axial", &HEADLINE));
        let c = compared(&view, 12.0);
        assert_eq!((c.cell.mean, c.base.unwrap().mean), (33.0, 30.0));
        assert!((c.change.unwrap().relative - 0.1).abs() < 1e-12);
        let c = compared(&view, -12.0);
        assert_eq!((c.cell.mean, c.base.unwrap().mean), (21.0, 20.0));
    }

    #[test]
    fn a_level_without_partner_is_not_compared() {
        let view = study_of(&[(0.0, 3.0, 20.0), (12.0, 3.5, 33.0)]);
        let c = compared(&view, 12.0);
        assert_eq!((c.cell.mean, c.base, c.change), (33.0, None, None));
    }
}
