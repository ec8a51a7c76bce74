//! A study read back, and the comparison that its headline asks for.

use crate::labels::{factor_words, level_words};
use crate::number::Decimals;
use crate::observed::Observed;
use bicolumn_response::ResponseName;
use bicolumn_stats::{Rest, pure_error};
use bicolumn_store::{
    FactorValue, Gathered, HeadlineRecord, PointRecord, REPLICATE, ResponseRecord, Status,
    StoreError, StudyFolder, StudyRecord,
};
use std::collections::BTreeMap;

/// Everything that the page is made of, except surfaces.
#[derive(Debug, Clone)]
pub(crate) struct StudyView {
    /// Where it was read.
    pub(crate) folder: StudyFolder,
    /// Study record, common to all points.
    pub(crate) record: StudyRecord,
    /// Points with a valid record, in order; failed ones too.
    pub(crate) points: Vec<PointRecord>,
    /// Points without a valid record: id, reason.
    pub(crate) unread: Vec<(String, String)>,
    /// Other stored files that cannot be used, with the reason.
    pub(crate) faults: Vec<String>,
    /// Degrees of freedom of the mesh noise, where it is the scatter of the study's own replicates.
    pub(crate) replicate_freedom: Option<usize>,
}

/// Points of one construct (one level of the factor that splits the headline).
#[derive(Debug)]
pub(crate) struct Group<'a> {
    /// Its name in words.
    pub(crate) label: String,
    /// Its finished points, in order.
    pub(crate) points: Vec<&'a PointRecord>,
}

/// The mean headline value of the points that share construct, level and load case.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Cell {
    /// Mean over the points, in the response's unit.
    pub(crate) mean: f64,
    /// Each point's value.
    pub(crate) values: Vec<f64>,
    /// Size of the largest discretisation error estimate of the points; `None` unless every one has one.
    pub(crate) error: Option<f64>,
    /// How many of the values lie on an edge of the region in which they were sought.
    pub(crate) on_edge: usize,
}

/// A difference from the baseline.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Change {
    /// (value - baseline) / baseline.
    pub(crate) relative: f64,
    /// Error of `relative`: the two error estimates together, or the noise floor where it is larger.
    pub(crate) error: f64,
    /// False when it is smaller than the error estimates or the mesh noise on record.
    pub(crate) resolved: bool,
}

impl StudyView {
    /// Reads `study.json` and all records of a folder.
    ///
    /// # Errors
    /// Only when `study.json` itself is missing or damaged.
    pub(crate) fn read(folder: StudyFolder) -> Result<StudyView, StoreError> {
        let Gathered {
            study,
            points,
            unread,
            faults,
        } = Gathered::read(&folder)?;
        let mut view = StudyView {
            folder,
            record: study,
            points,
            unread,
            faults,
            replicate_freedom: None,
        };
        view.take_noise_of_replicates();
        Ok(view)
    }

    /// Takes the scatter of replicates for the mesh noise, where there are any: of each response the standard deviation over the
    /// poses, pooled over the points of equal factors, as a part of its mean under a load case; of several cases the largest, those
    /// left out whose mean is next to nothing beside the largest.
    pub(crate) fn take_noise_of_replicates(&mut self) {
        if !self.has_replicates() {
            return;
        }
        let cases = self.cases();
        let mut noise = BTreeMap::new();
        let mut freedom = 0;
        for (name, ..) in &self.record.columns {
            let scatter = cases.iter().filter_map(|case| {
                let observed = Observed::of(self, case, name)?;
                let places: Vec<_> = observed.points.iter().map(|p| self.place_of(p)).collect();
                let mean = observed.values.iter().sum::<f64>() / observed.values.len() as f64;
                Some((mean.abs(), pure_error(&places, &observed.values)?))
            });
            let scatter: Vec<(f64, Rest)> = scatter.collect();
            let largest = scatter.iter().map(|s| s.0).fold(0.0, f64::max);
            let shares = scatter
                .iter()
                .filter(|(mean, _)| *mean > 1e-3 * largest)
                .map(|(mean, pure)| (pure.squares / pure.freedom as f64).sqrt() / mean);
            if let Some(most) = shares.reduce(f64::max) {
                noise.insert(name.clone(), most);
            }
            freedom = scatter
                .iter()
                .map(|s| s.1.freedom)
                .fold(freedom, usize::max);
        }
        if freedom > 0 {
            self.record.mesh_noise = noise;
            self.replicate_freedom = Some(freedom);
        }
    }

    /// Levels of a point, equal for its replicates.
    pub(crate) fn place_of<'a>(&'a self, point: &'a PointRecord) -> Vec<Option<&'a FactorValue>> {
        let factors = self.analysed_factors();
        factors.map(|(key, _)| value_of(point, key)).collect()
    }

    /// Are there several meshes of the same points?
    pub(crate) fn has_replicates(&self) -> bool {
        let poses = self.record.factors.iter().find(|(key, _)| key == REPLICATE);
        poses.is_some_and(|(_, levels)| levels.len() > 1)
    }

    /// Does every finished point stand on several meshes, and not the centre of a design alone?
    pub(crate) fn replicates_every_point(&self) -> bool {
        let count = |pose: f64| {
            let poses = self.done().filter_map(|p| value_of(p, REPLICATE));
            poses.filter(|p| p.as_number() == Some(pose)).count()
        };
        self.has_replicates() && count(0.0) == count(1.0)
    }

    /// Factors with their levels; not the pose that tells replicates apart.
    pub(crate) fn analysed_factors(&self) -> impl Iterator<Item = &(String, Vec<FactorValue>)> {
        self.record
            .factors
            .iter()
            .filter(|(key, _)| key != REPLICATE)
    }

    /// Finished points.
    pub(crate) fn done(&self) -> impl Iterator<Item = &PointRecord> {
        self.points.iter().filter(|p| p.status == Status::Done)
    }

    /// Finished points that stand at the levels of their factors: none of these was moved.
    pub(crate) fn at_levels(&self) -> impl Iterator<Item = &PointRecord> {
        self.done().filter(|p| p.moved_factors().is_empty())
    }

    /// Load cases in order of first appearance.
    pub(crate) fn cases(&self) -> Vec<String> {
        let mut cases: Vec<String> = Vec::new();
        for case in self.done().flat_map(|p| &p.cases) {
            if !cases.contains(&case.name) {
                cases.push(case.name.clone());
            }
        }
        cases
    }

    /// The points at their levels, split by the headline's second factor; one group when there is none.
    pub(crate) fn groups(&self) -> Vec<Group<'_>> {
        let by = self.record.headline.as_ref().and_then(|h| h.by.as_deref());
        let mut groups: Vec<Group<'_>> = Vec::new();
        for point in self.at_levels() {
            let label = match by.and_then(|key| Some((key, value_of(point, key)?))) {
                Some((key, value @ FactorValue::Number(_))) => {
                    format!("{} {}", factor_words(key), level_words(key, value))
                }
                Some((key, value)) => level_words(key, value),
                None => construct_words(point),
            };
            match groups.iter_mut().find(|g| by.is_none() || g.label == label) {
                Some(group) => group.points.push(point),
                None => groups.push(Group {
                    label,
                    points: vec![point],
                }),
            }
        }
        groups
    }

    /// Levels of the headline's factor that occur in finished points, in the design's order.
    fn designed_levels(&self) -> Vec<FactorValue> {
        let Some(over) = self.over() else {
            return Vec::new();
        };
        let mut levels: Vec<FactorValue> = Vec::new();
        let designed = self.record.factors.iter().find(|(name, _)| *name == over);
        let occurring = || self.at_levels().filter_map(|p| value_of(p, over));
        for level in designed.iter().flat_map(|(_, levels)| levels) {
            if occurring().any(|v| v == level) {
                levels.push(level.clone());
            }
        }
        for level in occurring() {
            if !levels.contains(level) {
                levels.push(level.clone());
            }
        }
        levels
    }

    /// Levels of the headline's factor that occur in finished points: numbers in ascending order, words in the
    /// design's.
    pub(crate) fn levels(&self) -> Vec<FactorValue> {
        let mut levels = self.designed_levels();
        let numbers: Option<Vec<f64>> = levels.iter().map(FactorValue::as_number).collect();
        if let Some(mut numbers) = numbers {
            numbers.sort_by(f64::total_cmp);
            levels = numbers.into_iter().map(FactorValue::Number).collect();
        }
        levels
    }

    /// The level that the others are compared with: zero where there is one, otherwise the design's first.
    pub(crate) fn baseline(&self) -> Option<FactorValue> {
        let levels = self.designed_levels();
        let zero = FactorValue::Number(0.0);
        if levels.contains(&zero) {
            return Some(zero);
        }
        levels.into_iter().next()
    }

    /// Mean of the headline value over points under a load case; `None` where none has it.
    pub(crate) fn mean_of(&self, points: &[&PointRecord], case: &str) -> Option<Cell> {
        self.mean_of_response(points, case, self.lead()?)
    }

    /// Mean of a response over points under a load case; `None` where none has it.
    pub(crate) fn mean_of_response(
        &self,
        points: &[&PointRecord],
        case: &str,
        name: &ResponseName,
    ) -> Option<Cell> {
        let found = points.iter().filter_map(|p| response(p, case, name));
        let found: Vec<&ResponseRecord> = found.filter(|r| r.value.is_some()).collect();
        let values: Vec<f64> = found.iter().filter_map(|r| r.value).collect();
        if values.is_empty() {
            return None;
        }
        let errors: Option<Vec<f64>> = found.iter().map(|r| r.error_estimate).collect();
        Some(Cell {
            mean: values.iter().sum::<f64>() / values.len() as f64,
            values,
            error: errors.map(|e| e.into_iter().map(f64::abs).fold(0.0, f64::max)),
            on_edge: found.iter().filter(|r| r.is_on_edge()).count(),
        })
    }

    /// Change of a cell against the baseline's cell; `None` when the baseline is zero.
    ///
    /// Not resolved: smaller than the two error estimates together, or than the noise floor of
    /// the response, whichever is on record.
    pub(crate) fn change(&self, cell: &Cell, baseline: &Cell) -> Option<Change> {
        if baseline.mean == 0.0 {
            return None;
        }
        let difference = cell.mean - baseline.mean;
        let noise = self.noise().map_or(0.0, |cv| cv * baseline.mean.abs());
        let estimates = cell.error.unwrap_or(0.0) + baseline.error.unwrap_or(0.0);
        let error = noise.max(estimates);
        Some(Change {
            relative: difference / baseline.mean.abs(),
            error: error / baseline.mean.abs(),
            resolved: difference.abs() >= error,
        })
    }

    /// Largest headline value of a point over its load cases, with the case.
    pub(crate) fn worst(&self, point: &PointRecord) -> Option<(f64, String)> {
        let name = self.lead()?;
        point
            .cases
            .iter()
            .filter_map(|c| Some((response(point, &c.name, name)?.value?, c.name.clone())))
            .fold(None, |best: Option<(f64, String)>, next| match best {
                Some(b) if b.0 >= next.0 => Some(b),
                _ => Some(next),
            })
    }

    /// The load case with the study's largest headline value; otherwise the first.
    pub(crate) fn worst_case(&self) -> Option<String> {
        self.done()
            .filter_map(|p| self.worst(p))
            .fold(None, |best: Option<(f64, String)>, next| match best {
                Some(b) if b.0 >= next.0 => Some(b),
                _ => Some(next),
            })
            .map(|(_, case)| case)
            .or_else(|| self.cases().into_iter().next())
    }

    /// The points that stand for all: all of them up to `most`, otherwise the first and those with
    /// the lowest and highest headline value.
    pub(crate) fn chosen(&self, most: usize) -> Vec<&PointRecord> {
        let done: Vec<&PointRecord> = self.done().collect();
        if done.len() <= most {
            return done;
        }
        let value = |p: &PointRecord| self.worst(p).map(|(v, _)| v);
        let mut ids: Vec<&str> = vec![&done[0].id];
        let valued = || done.iter().filter_map(|p| Some((value(p)?, p.id.as_str())));
        let lowest = valued().min_by(|a, b| a.0.total_cmp(&b.0));
        let highest = valued().max_by(|a, b| a.0.total_cmp(&b.0));
        ids.extend(lowest.into_iter().chain(highest).map(|(_, id)| id));
        done.into_iter()
            .filter(|p| ids.contains(&p.id.as_str()))
            .collect()
    }

    /// Unit of a response as recorded.
    pub(crate) fn unit(&self, response: &ResponseName) -> &str {
        self.record
            .columns
            .iter()
            .find(|(name, ..)| name == response)
            .map_or("", |(_, unit, _)| unit)
    }

    /// Decimals of a response, the same wherever it is printed.
    pub(crate) fn decimals(&self, name: &ResponseName) -> Decimals {
        let cases = self.done().flat_map(|p| &p.cases);
        let values = cases.filter_map(|c| c.response(name));
        Decimals::of(values.filter_map(|r| r.value))
    }

    /// The headline, if the study has one.
    pub(crate) fn headline(&self) -> Option<&HeadlineRecord> {
        self.record.headline.as_ref()
    }

    /// The response that the answer is about.
    pub(crate) fn lead(&self) -> Option<&ResponseName> {
        let headline = self.headline().map(|h| &h.response);
        headline.or(self.record.lead_response.as_ref())
    }

    /// The factor that the headline is compared over.
    pub(crate) fn over(&self) -> Option<&str> {
        self.headline().map(|h| h.over.as_str())
    }

    /// Mesh noise on record for the headline: coefficient of variation over posed meshes.
    pub(crate) fn noise(&self) -> Option<f64> {
        self.record.mesh_noise.get(self.lead()?).copied()
    }

    /// Does any headline value carry an estimate of its discretisation error?
    pub(crate) fn has_estimates(&self) -> bool {
        let Some(name) = self.lead() else {
            return false;
        };
        self.done()
            .flat_map(|p| &p.cases)
            .filter_map(|c| c.response(name))
            .any(|r| r.error_estimate.is_some())
    }
}

/// Value of a factor, or of any job key, at a point.
pub(crate) fn value_of<'a>(point: &'a PointRecord, key: &str) -> Option<&'a FactorValue> {
    point.factors.get(key).or_else(|| point.inputs.get(key))
}

/// A response of a point under a load case.
pub(crate) fn response<'a>(
    point: &'a PointRecord,
    case: &str,
    name: &ResponseName,
) -> Option<&'a ResponseRecord> {
    let case = point.cases.iter().find(|c| c.name == case)?;
    case.response(name)
}

/// The plates of a point in words: "medial and lateral plate".
fn construct_words(point: &PointRecord) -> String {
    match point.plates.as_slice() {
        [] => "no plate".into(),
        [one] => format!("{} plate", one.site),
        many => {
            let sites: Vec<&str> = many.iter().map(|p| p.site.as_str()).collect();
            format!("{} plates", sites.join(" and "))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::{hot_spot, synthetic_study};

    #[test]
    fn levels_groups_and_baseline_follow_the_design() {
        let (_temp, folder) = synthetic_study();
        let view = StudyView::read(folder).unwrap();
        // The failed point's level of 60 mm does not occur.
        assert_eq!(view.levels(), [-20.0, 0.0, 20.0].map(FactorValue::Number));
        assert_eq!(view.baseline(), Some(FactorValue::Number(0.0)));
        let groups = view.groups();
        let labels: Vec<&str> = groups.iter().map(|g| g.label.as_str()).collect();
        assert_eq!(labels, ["parallel", "orthogonal"]);
        let found = view.compare(&groups[1], &FactorValue::Number(20.0), "torsion");
        let cell = found.unwrap().cell;
        assert!((cell.mean - hot_spot("orthogonal", 20.0, "torsion")).abs() < 1e-12);
        assert_eq!(cell.error, None);
    }

    #[test]
    fn of_many_points_the_first_lowest_and_highest_stand_for_all() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        assert_eq!(view.chosen(6).len(), 6);
        let six: Vec<PointRecord> = view.done().cloned().collect();
        view.points.clear();
        for i in 0..48 {
            let mut p = six[i % 6].clone();
            p.id = format!("q{i:03}");
            for case in &mut p.cases {
                for r in &mut case.responses {
                    // Lowest at 30, highest at 17.
                    let factor = [(30, 0.01), (17, 100.0)].iter().find(|(at, _)| *at == i);
                    r.value = r.value.map(|v| v * factor.map_or(1.0, |f| f.1));
                }
            }
            view.points.push(p);
        }
        let ids: Vec<&str> = view.chosen(8).iter().map(|p| p.id.as_str()).collect();
        assert_eq!(ids, ["q000", "q017", "q030"]);
        // Means over the points that share construct, level and case.
        let groups = view.groups();
        let found = view.compare(&groups[0], &FactorValue::Number(0.0), "axial");
        assert_eq!(found.unwrap().cell.values.len(), 8);
        assert!(crate::line_styles::some_points_left_out(&view));
        // The page of many points is made without their surfaces, too.
        assert!(
            crate::page::render(&view, None)
                .unwrap()
                .html
                .contains("means over points of equal factors")
        );
    }
}
