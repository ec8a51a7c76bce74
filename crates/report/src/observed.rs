//! Values of a response over the points of a study, with the least difference that can be told apart.

use crate::study_view::{StudyView, response, value_of};
use bicolumn_response::ResponseName;
use bicolumn_store::{FactorValue, PointRecord};

/// Values of a response under a load case at the points that stand at their levels.
pub(crate) struct Observed<'a> {
    /// Points.
    pub(crate) points: Vec<&'a PointRecord>,
    /// Value at each.
    pub(crate) values: Vec<f64>,
    /// Twice the mean size of the estimated discretisation errors: a difference below it may be the meshes'; `None` unless
    /// every point has an estimate.
    pub(crate) doubt: Option<f64>,
    /// Standard deviation from mesh to mesh, where it is on record; otherwise 0.
    pub(crate) noise_sd: f64,
}

impl<'a> Observed<'a> {
    /// `None` where no point has a value.
    pub(crate) fn of(view: &'a StudyView, case: &str, name: &ResponseName) -> Option<Observed<'a>> {
        let found = view.at_levels().filter_map(|p| {
            let r = response(p, case, name)?;
            Some((p, r.value?, r.error_estimate))
        });
        let found: Vec<(&PointRecord, f64, Option<f64>)> = found.collect();
        let count = found.len() as f64;
        let errors: Option<Vec<f64>> = found.iter().map(|f| f.2.map(f64::abs)).collect();
        let mean = found.iter().map(|f| f.1).sum::<f64>() / count;
        let noise = view.record.mesh_noise.get(name).copied().unwrap_or(0.0);
        (!found.is_empty()).then(|| Observed {
            points: found.iter().map(|f| f.0).collect(),
            values: found.iter().map(|f| f.1).collect(),
            doubt: errors.map(|e| 2.0 * e.iter().sum::<f64>() / count),
            noise_sd: noise * mean.abs(),
        })
    }

    /// The same with the mean over the replicates of each point in place of them, under the first's name: of replicates each
    /// would be predicted by the others.
    pub(crate) fn over_replicates(self, view: &StudyView) -> Observed<'a> {
        if !view.has_replicates() {
            return self;
        }
        let mut means = Observed {
            points: vec![],
            values: vec![],
            ..self
        };
        let mut places: Vec<Vec<Option<&FactorValue>>> = vec![];
        let mut counts: Vec<f64> = vec![];
        for (point, value) in self.points.into_iter().zip(self.values) {
            let place = view.place_of(point);
            match places.iter().position(|p| *p == place) {
                Some(n) => {
                    counts[n] += 1.0;
                    means.values[n] += (value - means.values[n]) / counts[n];
                }
                None => {
                    places.push(place);
                    counts.push(1.0);
                    means.points.push(point);
                    means.values.push(value);
                }
            }
        }
        // Of a centre with replicates alone, the other points have the noise of one mesh.
        let fewest = counts.into_iter().fold(f64::MAX, f64::min).max(1.0);
        means.noise_sd /= fewest.sqrt();
        means
    }

    /// Least difference that is more than the estimated discretisation errors and the mesh noise on record; 0 where there is
    /// neither.
    pub(crate) fn least(&self) -> f64 {
        self.doubt.unwrap_or(0.0).max(self.noise_sd)
    }

    /// Largest value minus the smallest.
    pub(crate) fn range(&self) -> f64 {
        let [low, high] = self
            .values
            .iter()
            .fold([f64::MAX, f64::MIN], |[l, h], v| [l.min(*v), h.max(*v)]);
        high - low
    }

    /// Do the points differ by more than can be told apart? Otherwise a model says nothing.
    pub(crate) fn is_told_apart(&self) -> bool {
        self.range() > self.least()
    }

    /// Level of a factor at each point; `None` where one has none.
    pub(crate) fn levels_of(&self, key: &str) -> Option<Vec<&'a FactorValue>> {
        self.points.iter().map(|p| value_of(p, key)).collect()
    }
}
