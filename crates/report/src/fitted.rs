//! Models of the headline response over the factors of a study: fitted, stored, read back, used to predict.

use crate::observed::Observed;
use crate::study_view::{StudyView, value_of};
use bicolumn_stats::{
    Axis, Covariance, Degree, GaussianProcess, Prediction, Predictor, ResponseSurface, Space,
};
use bicolumn_store::{
    FactorValue, ModelFactor, ModelForm, ModelRange, ModelRecord, ModelsRecord, PointRecord, SCHEMA,
};

/// Least number of points a factor (a choice of this program; Loeppky, Sacks and Welch 2009, Technometrics 51:366, advise ten).
const POINTS_A_FACTOR: usize = 5;
/// Least number of points.
const LEAST_POINTS: usize = 8;
/// Least number of values of some factor of numbers.
const LEAST_VALUES: usize = 3;
/// Most points of a Gaussian process: its cost grows with their cube.
const MOST_OF_PROCESS: usize = 300;

/// Factors that vary over the finished points at their levels; `None` where none is a number of several values.
fn factors(view: &StudyView) -> Option<Vec<ModelFactor>> {
    let points: Vec<&PointRecord> = view.at_levels().collect();
    let mut factors = vec![];
    let mut has_numbers = false;
    for (key, levels) in view.analysed_factors() {
        let values: Option<Vec<&FactorValue>> = points.iter().map(|p| value_of(p, key)).collect();
        let values = values?;
        let numbers: Option<Vec<f64>> = values.iter().map(|v| v.as_number()).collect();
        let over = match numbers {
            Some(mut numbers) => {
                numbers.sort_by(f64::total_cmp);
                numbers.dedup();
                has_numbers |= numbers.len() >= LEAST_VALUES;
                ModelRange::Between([*numbers.first()?, *numbers.last()?])
            }
            None => {
                let occurring = levels.iter().filter(|l| values.contains(l));
                ModelRange::Levels(occurring.cloned().collect())
            }
        };
        let varies = match &over {
            ModelRange::Between([low, high]) => low < high,
            ModelRange::Levels(levels) => levels.len() > 1,
        };
        if varies {
            factors.push(ModelFactor {
                key: key.clone(),
                over,
            });
        }
    }
    has_numbers.then_some(factors)
}

fn space(factors: &[ModelFactor]) -> Option<Space> {
    let axis = |f: &ModelFactor| match &f.over {
        ModelRange::Between([low, high]) => Axis::Number {
            low: *low,
            high: *high,
        },
        ModelRange::Levels(levels) => Axis::Word {
            levels: levels.len(),
        },
    };
    Space::new(factors.iter().map(axis).collect())
}

fn coordinate(factor: &ModelFactor, value: &FactorValue) -> Option<f64> {
    match &factor.over {
        ModelRange::Between(_) => value.as_number(),
        ModelRange::Levels(levels) => levels.iter().position(|l| l == value).map(|k| k as f64),
    }
}

/// Models of the headline response by load case, of each that form which predicts points left out best; `None` where the study
/// has no headline, too few points or no factor of numbers. A case whose points cannot be told apart, or that no form predicts
/// better than the mean does, has no model.
pub(crate) fn fit_models(view: &StudyView) -> Option<ModelsRecord> {
    let name = view.lead()?;
    let factors = factors(view)?;
    let space = space(&factors)?;
    let least_points = LEAST_POINTS.max(POINTS_A_FACTOR * factors.len());
    let cases = view.distinct_cases(&[name]).into_iter().filter_map(|case| {
        let observed = Observed::of(view, &case.name, name)?.over_replicates(view);
        (observed.points.len() >= least_points).then_some((case.name, observed))
    });
    let cases: Vec<(String, Observed<'_>)> = cases.collect();
    if cases.is_empty() {
        return None;
    }
    let models = cases.into_iter().filter_map(|(case, observed)| {
        if !observed.is_told_apart() {
            return None;
        }
        let place = |p: &&PointRecord| -> Option<Vec<f64>> {
            let of_factor = |f: &ModelFactor| coordinate(f, value_of(p, &f.key)?);
            factors.iter().map(of_factor).collect()
        };
        let points: Vec<Vec<f64>> = observed.points.iter().map(place).collect::<Option<_>>()?;
        let values = &observed.values;
        let surface = |degree, form| {
            let fitted = ResponseSurface::fit(&space, degree, &points, values)?;
            Some((fitted.regression().q2, form))
        };
        let process = || {
            if points.len() > MOST_OF_PROCESS {
                return None;
            }
            let fitted = GaussianProcess::fit(&space, &points, values, observed.noise_sd)?;
            let Covariance { reach, nugget } = fitted.covariance().clone();
            Some((fitted.q2(), ModelForm::GaussianProcess { reach, nugget }))
        };
        let forms = [
            surface(Degree::Linear, ModelForm::Linear),
            surface(Degree::Quadratic, ModelForm::Quadratic),
            process(),
        ];
        // Of equals the simpler: it comes first.
        let best = forms.into_iter().flatten().filter(|f| f.0 > 0.0);
        let (q2, form) = best.reduce(|a, b| if b.0 > a.0 { b } else { a })?;
        Some(ModelRecord {
            case,
            form,
            q2,
            ids: observed.points.iter().map(|p| p.id.clone()).collect(),
            points,
            values: observed.values,
        })
    });
    Some(ModelsRecord {
        schema: SCHEMA,
        engine_version: view.record.engine_version.clone(),
        response: name.clone(),
        unit: view.unit(name).to_owned(),
        models: models.collect(),
        factors,
    })
}

/// Model built again from its record; `None` where the record does not hold one.
pub(crate) fn predictor(
    factors: &[ModelFactor],
    model: &ModelRecord,
) -> Option<Box<dyn Predictor>> {
    let space = space(factors)?;
    let fits = model.points.iter().all(|p| space.contains(p));
    if !fits || model.points.len() != model.values.len() || model.ids.len() != model.points.len() {
        return None;
    }
    let surface = |degree| -> Option<Box<dyn Predictor>> {
        let fitted = ResponseSurface::fit(&space, degree, &model.points, &model.values)?;
        Some(Box::new(fitted))
    };
    match &model.form {
        ModelForm::Linear => surface(Degree::Linear),
        ModelForm::Quadratic => surface(Degree::Quadratic),
        ModelForm::GaussianProcess { reach, nugget } => {
            let sound = reach.len() == factors.len()
                && reach.iter().all(|r| r.is_finite() && *r > 0.0)
                && *nugget > 0.0;
            let covariance = Covariance {
                reach: reach.clone(),
                nugget: *nugget,
            };
            let process = GaussianProcess::with(&space, &model.points, &model.values, covariance);
            Some(Box::new(process.filter(|_| sound)?))
        }
    }
}

/// Index of the point of a model nearest to a place, numbers in parts of their range; another level counts as a whole range.
pub(crate) fn nearest(
    factors: &[ModelFactor],
    model: &ModelRecord,
    place: &[f64],
) -> Option<usize> {
    let distance = |p: &Vec<f64>| -> f64 {
        let of_factor = |(f, (a, b)): (&ModelFactor, (&f64, &f64))| match &f.over {
            ModelRange::Between([low, high]) => ((a - b) / (high - low)).powi(2),
            ModelRange::Levels(_) => f64::from(u8::from(a != b)),
        };
        factors.iter().zip(p.iter().zip(place)).map(of_factor).sum()
    };
    let by_distance = model.points.iter().map(distance).enumerate();
    by_distance.min_by(|a, b| a.1.total_cmp(&b.1)).map(|n| n.0)
}

/// Form of a model in words.
pub(crate) fn form_words(form: &ModelForm) -> &'static str {
    match form {
        ModelForm::Linear => "linear model",
        ModelForm::Quadratic => "quadratic response surface",
        ModelForm::GaussianProcess { .. } => "Gaussian process",
    }
}

/// Prediction of a stored model under a load case.
#[derive(Debug, Clone, PartialEq)]
pub struct CasePrediction {
    /// Load case.
    pub case: String,
    /// Form of the model in words.
    pub form: &'static str,
    /// Share of the variation that the model predicts at points left out.
    pub q2: f64,
    /// Expected response.
    pub mean: f64,
    /// Its standard deviation by the model's own assumptions.
    pub sd: f64,
    /// Nearest solved point: id, response there.
    pub nearest: (String, f64),
}

/// Predicts the response of stored models at values of their factors, given as text by key: a number, or the word of a level.
///
/// # Errors
/// A reason in words: a factor that is missing, unknown, given twice or outside of what the models hold for; a record that holds no
/// sound model.
pub fn predict_at(
    record: &ModelsRecord,
    given: &[(String, String)],
) -> Result<Vec<CasePrediction>, String> {
    for (n, (key, _)) in given.iter().enumerate() {
        if !record.factors.iter().any(|f| f.key == *key) {
            let known: Vec<&str> = record.factors.iter().map(|f| f.key.as_str()).collect();
            return Err(format!(
                "{key} is no factor of the models; factors: {}",
                known.join(", ")
            ));
        }
        if given[..n].iter().any(|(other, _)| other == key) {
            return Err(format!("{key} is given twice"));
        }
    }
    let place = |f: &ModelFactor| {
        let accepted = accepted(f);
        let text = given.iter().find(|(key, _)| *key == f.key);
        let (_, text) = text.ok_or_else(|| format!("{} is missing: {accepted}", f.key))?;
        let refused = || format!("{} = {text}: {accepted}", f.key);
        match &f.over {
            ModelRange::Between([low, high]) => {
                let number = text.parse::<f64>().map_err(|_| refused())?;
                let inside = (*low..=*high).contains(&number);
                inside.then_some(number).ok_or_else(refused)
            }
            ModelRange::Levels(levels) => {
                let found = levels.iter().position(|l| l.to_string() == *text);
                found.map(|k| k as f64).ok_or_else(refused)
            }
        }
    };
    let place: Vec<f64> = record.factors.iter().map(place).collect::<Result<_, _>>()?;
    let of_case = |m: &ModelRecord| {
        let unsound = || format!("the model of load case {} is not sound", m.case);
        let model = predictor(&record.factors, m).ok_or_else(unsound)?;
        let near = nearest(&record.factors, m, &place).ok_or_else(unsound)?;
        let Prediction { mean, sd } = model.predict(&place);
        Ok(CasePrediction {
            case: m.case.clone(),
            form: form_words(&m.form),
            q2: m.q2,
            mean,
            sd,
            nearest: (m.ids[near].clone(), m.values[near]),
        })
    };
    record.models.iter().map(of_case).collect()
}

fn accepted(factor: &ModelFactor) -> String {
    match &factor.over {
        ModelRange::Between([low, high]) => format!("the models hold from {low} to {high}"),
        ModelRange::Levels(levels) => {
            let levels: Vec<String> = levels.iter().map(ToString::to_string).collect();
            format!("the models know {}", levels.join(", "))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::{drawn_study, synthetic_study};
    use bicolumn_store::{read_record, write_record};

    #[test]
    fn models_of_an_invented_formula_predict_it_after_they_were_stored() {
        let (_temp, folder) = drawn_study(40);
        let view = StudyView::read(folder).unwrap();
        let record = fit_models(&view).unwrap();
        let path = view.folder.models_json();
        write_record(&path, &record).unwrap();
        let read: ModelsRecord = read_record(&path).unwrap();
        assert_eq!(read, record);
        let at = |stagger: &str, layout: &str| {
            let given = [("plates.stagger_mm", stagger), ("construct.layout", layout)];
            let given = given.map(|(k, v)| (k.to_owned(), v.to_owned()));
            predict_at(&read, &given)
        };
        // The formula of the invented study: 2 + 0.1 stagger, and 1.5 more in orthogonal plates.
        let found = at("12", "orthogonal").unwrap();
        let axial = found.iter().find(|p| p.case == "axial").unwrap();
        assert!((axial.mean - 4.7).abs() < 1e-6, "{axial:?}");
        assert_eq!(axial.form, "linear model", "of equals the simplest");
        assert!(axial.sd < 1e-6 && axial.q2 > 0.999_999);
        let (id, value) = &axial.nearest;
        let point = view.points.iter().find(|p| p.id == *id).unwrap();
        assert_eq!(
            point.factors["construct.layout"],
            FactorValue::Word("orthogonal".into())
        );
        let stagger = point.factors["plates.stagger_mm"].as_number().unwrap();
        assert!((value - (3.5 + 0.1 * stagger)).abs() < 1e-12);
        assert!((stagger - 12.0).abs() < 6.0);

        for (stagger, layout, told) in [
            (
                "55",
                "parallel",
                "plates.stagger_mm = 55: the models hold from ",
            ),
            (
                "x",
                "parallel",
                "plates.stagger_mm = x: the models hold from ",
            ),
            (
                "5",
                "oblique",
                "construct.layout = oblique: the models know ",
            ),
        ] {
            let error = at(stagger, layout).unwrap_err();
            assert!(error.starts_with(told), "{error}");
        }
        let one = |k: &str| vec![(k.to_owned(), "5".to_owned())];
        let error = predict_at(&read, &one("plates.stagger_mm")).unwrap_err();
        assert!(error.contains("is missing"), "{error}");
        let error = predict_at(&read, &one("bone.width")).unwrap_err();
        assert!(
            error.contains("no factor of the models; factors: "),
            "{error}"
        );
        let error = predict_at(
            &read,
            &[one("plates.stagger_mm"), one("plates.stagger_mm")].concat(),
        );
        assert!(error.unwrap_err().contains("twice"));
    }

    #[test]
    fn too_few_points_have_no_models_and_noise_is_not_modelled() {
        let (_temp, folder) = synthetic_study();
        assert!(fit_models(&StudyView::read(folder).unwrap()).is_none());
        let (_temp, folder) = drawn_study(40);
        let mut view = StudyView::read(folder).unwrap();
        for r in view.points.iter_mut().flat_map(|p| &mut p.cases) {
            r.responses
                .iter_mut()
                .for_each(|r| r.error_estimate = Some(50.0));
        }
        assert_eq!(fit_models(&view).unwrap().models, []);
    }

    #[test]
    fn a_record_that_holds_no_sound_model_is_refused() {
        let (_temp, folder) = drawn_study(20);
        let record = fit_models(&StudyView::read(folder).unwrap()).unwrap();
        let sound = &record.models[0];
        assert!(predictor(&record.factors, sound).is_some());
        let mut short = sound.clone();
        short.values.pop();
        let mut outside = sound.clone();
        outside.points[0][0] = 1e6;
        let mut other = sound.clone();
        other.form = ModelForm::GaussianProcess {
            reach: vec![-1.0, 0.5],
            nugget: 1e-6,
        };
        for m in [short, outside, other] {
            assert!(predictor(&record.factors, &m).is_none());
        }
    }
}
