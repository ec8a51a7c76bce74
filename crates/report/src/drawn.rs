//! Sampled designs: the distribution of the responses over the points, and a linear model that says what moves them.

use crate::error::{ReportError, table_bytes};
use crate::labels::{factor_words, shown_unit};
use crate::number::{Decimals, plain};
use crate::observed::Observed;
use crate::study_view::{StudyView, value_of};
use crate::tables::{NONE, Row, Table, cells};
use bicolumn_response::ResponseName;
use bicolumn_stats::{Regression, regress};
use bicolumn_store::results::unit_of_key;
use bicolumn_store::table_columns::REGRESSION;
use bicolumn_store::{FactorValue, PointRecord};

/// A response over the points of a sampled design under a load case.
struct Sample {
    /// Values in ascending order.
    sorted: Vec<f64>,
    /// Terms of the linear model: factors, or a level of one against its first.
    terms: Vec<Term>,
    /// The model; `None` where points or variation do not suffice.
    model: Option<Regression>,
    /// Least difference that is more than the estimated discretisation errors and the mesh noise on record; 0 where there
    /// is neither.
    least: f64,
}

/// Column of the linear model.
struct Term {
    factor: String,
    /// Level of a factor of words, 1 there and 0 elsewhere; `None` for a factor of numbers.
    level: Option<String>,
}

impl Term {
    fn words(&self) -> String {
        match &self.level {
            None => factor_words(&self.factor),
            Some(level) => format!("{} {level}", factor_words(&self.factor)),
        }
    }

    fn key(&self) -> String {
        match &self.level {
            None => self.factor.clone(),
            Some(level) => format!("{} = {level}", self.factor),
        }
    }
}

impl Sample {
    fn of(view: &StudyView, case: &str, name: &ResponseName) -> Option<Sample> {
        let observed = Observed::of(view, case, name)?.over_replicates(view);
        let least = observed.least();
        let (points, values) = (observed.points, observed.values);
        let mut terms = vec![];
        let mut columns: Vec<Vec<f64>> = vec![];
        for (factor, levels) in view.analysed_factors() {
            let numbers = points.iter().map(|p| value_of(p, factor)?.as_number());
            if let Some(numbers) = numbers.collect::<Option<Vec<f64>>>() {
                terms.push(Term {
                    factor: factor.clone(),
                    level: None,
                });
                columns.push(numbers);
                continue;
            }
            for level in levels.iter().skip(1) {
                let is_it =
                    |p: &&PointRecord| f64::from(u8::from(value_of(p, factor) == Some(level)));
                terms.push(Term {
                    factor: factor.clone(),
                    level: Some(FactorValue::to_string(level)),
                });
                columns.push(points.iter().map(is_it).collect());
            }
        }
        let model = regress(&columns, &values);
        let mut sorted = values;
        sorted.sort_by(f64::total_cmp);
        Some(Sample {
            sorted,
            terms,
            model,
            least,
        })
    }

    /// Do the points differ by more than can be told apart? Otherwise a model says nothing.
    fn is_told_apart(&self) -> bool {
        self.sorted[self.sorted.len() - 1] - self.sorted[0] > self.least
    }

    fn mean(&self) -> f64 {
        self.sorted.iter().sum::<f64>() / self.sorted.len() as f64
    }

    /// Standard deviation over the points; `None` of one point.
    fn sd(&self) -> Option<f64> {
        let (n, mean) = (self.sorted.len(), self.mean());
        let squares: f64 = self.sorted.iter().map(|v| (v - mean).powi(2)).sum();
        (n > 1).then(|| (squares / (n - 1) as f64).sqrt())
    }

    /// Quantile by linear interpolation between the order statistics (Hyndman and Fan 1996, Am Stat 50:361, type 7).
    fn quantile(&self, probability: f64) -> f64 {
        let place = probability * (self.sorted.len() - 1) as f64;
        let below = place.floor() as usize;
        let above = (below + 1).min(self.sorted.len() - 1);
        let part = place - below as f64;
        self.sorted[below] * (1.0 - part) + self.sorted[above] * part
    }
}

/// Sentences of the answer: how the points were drawn, and by load case how the response is distributed and which factor
/// moves it most.
pub(crate) fn drawn_sentences(view: &StudyView) -> Vec<String> {
    let (Some(drawn), Some(name)) = (&view.record.drawn, view.lead()) else {
        return vec![];
    };
    let mut paragraphs = vec![format!(
        "The points were drawn: {drawn}. What follows holds for these ranges and this distribution, which the job chose."
    )];
    let decimals = view.decimals(name);
    let unit = shown_unit(view.unit(name));
    for case in view.distinct_cases(&[name]) {
        let Some(sample) = Sample::of(view, &case.name, name) else {
            continue;
        };
        let mut sentence = format!(
            "Under {} the {} is {} {unit} on average over {} points, from {} to {}; its 5 and 95\u{a0}% quantiles (interpolated) are {} and {}.",
            case.words(),
            name.words(),
            decimals.show(sample.mean()),
            sample.sorted.len(),
            decimals.show(sample.quantile(0.0)),
            decimals.show(sample.quantile(1.0)),
            decimals.show(sample.quantile(0.05)),
            decimals.show(sample.quantile(0.95)),
        );
        sentence += &match &sample.model {
            _ if !sample.is_told_apart() => {
                " The points differ by less than can be told apart: nothing is said of the factors."
                    .into()
            }
            None => {
                " The points are too few, or vary too little, for a linear model of all factors."
                    .into()
            }
            Some(model) => followed(model, &sample.terms),
        };
        paragraphs.push(sentence);
    }
    paragraphs
}

/// Sentence on the factor that a response follows most, where the model predicts better than the mean does.
fn followed(model: &Regression, terms: &[Term]) -> String {
    let explained = format!("{:.0}\u{a0}%", 100.0 * model.r2);
    let sizes = model.standardised.iter().zip(terms);
    let most = sizes.max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
    match most.filter(|_| model.q2 > 0.0) {
        Some((size, term)) => format!(
            " In a linear model of all factors it follows {} most ({} standard deviations for one of the factor); the model explains {explained} of the variation and predicts {:.0}\u{a0}% at points left out of the fit.",
            term.words(),
            Decimals::of(std::iter::once(*size)).show(*size),
            100.0 * model.q2,
        ),
        None => format!(
            " A linear model of all factors explains {explained} of the variation, but predicts points left out of the fit no better than their mean does: no factor is credited."
        ),
    }
}

/// Table of the linear model of the headline by load case; `None` unless the points were drawn.
pub(crate) fn regression_table(view: &StudyView) -> Option<Table> {
    view.record.drawn.as_ref()?;
    let name = view.lead()?;
    let decimals = view.decimals(name);
    let unit = shown_unit(view.unit(name));
    let mut rows = vec![];
    for case in view.distinct_cases(&[name]) {
        let Some(sample) = Sample::of(view, &case.name, name) else {
            continue;
        };
        let spread = sample.sd().map_or(NONE.into(), |sd| decimals.show(sd));
        let mut head = format!(
            "{}: mean {}, standard deviation {spread}, 5, 50 and 95\u{a0}% of the points below {}, {}, {}",
            case.words(),
            decimals.show(sample.mean()),
            decimals.show(sample.quantile(0.05)),
            decimals.show(sample.quantile(0.5)),
            decimals.show(sample.quantile(0.95)),
        );
        if let Some(model) = sample.model.as_ref().filter(|_| sample.is_told_apart()) {
            head += &format!(
                "; R² {:.2}, adjusted {:.2}, Q² {:.2}",
                model.r2, model.adjusted_r2, model.q2
            );
        }
        rows.push(Row {
            section: head,
            ..Row::default()
        });
        let Some(model) = &sample.model else {
            continue;
        };
        if !sample.is_told_apart() {
            rows.push(Row {
                cells: vec!["no model".into()],
                note: "the points differ by less than can be told apart".into(),
                ..Row::default()
            });
            continue;
        }
        let slopes = model.coefficients.iter().skip(1);
        for ((term, slope), size) in sample.terms.iter().zip(slopes).zip(&model.standardised) {
            let per = match (&term.level, shown_unit(unit_of_key(&term.factor))) {
                (Some(_), _) => "against the first level".to_owned(),
                (None, u) if u.is_empty() => "for 1".into(),
                (None, u) => format!("for 1 {u}"),
            };
            rows.push(cells(vec![
                term.words(),
                per,
                plain(slope.value),
                plain(slope.error),
                Decimals::of(std::iter::once(1.0)).show(*size),
            ]));
        }
    }
    (!rows.is_empty()).then(|| Table {
        caption: format!("Linear model of the {}", name.words()),
        heads: vec![
            "factor".into(),
            "step".into(),
            format!("change, {unit}"),
            "standard error".into(),
            "standardised".into(),
        ],
        rows,
        words: 2,
    })
}

/// The table `regression.csv`: a row for each load case, response and term, with the distribution of the response;
/// `None` unless the points were drawn.
///
/// # Errors
/// [`ReportError`], if the rows cannot be written.
pub(crate) fn regression_csv(view: &StudyView) -> Result<Option<Vec<u8>>, ReportError> {
    if view.record.drawn.is_none() {
        return Ok(None);
    }
    let mut writer = csv::Writer::from_writer(vec![]);
    writer.write_record(REGRESSION.map(|c| c.name))?;
    let shown = |x: Option<f64>| x.map_or(String::new(), |x| x.to_string());
    for case in view.cases() {
        for (name, unit, _) in &view.record.columns {
            let Some(sample) = Sample::of(view, &case, name) else {
                continue;
            };
            let model = sample.model.as_ref();
            let terms =
                std::iter::once("intercept".to_owned()).chain(sample.terms.iter().map(Term::key));
            for (k, term) in terms.enumerate().take(model.map_or(1, |_| usize::MAX)) {
                let coefficient = model.and_then(|m| m.coefficients.get(k));
                let standardised = model.and_then(|m| m.standardised.get(k.checked_sub(1)?));
                writer.write_record([
                    case.clone(),
                    name.to_string(),
                    unit.clone(),
                    sample.sorted.len().to_string(),
                    sample.mean().to_string(),
                    shown(sample.sd()),
                    sample.quantile(0.05).to_string(),
                    sample.quantile(0.5).to_string(),
                    sample.quantile(0.95).to_string(),
                    term,
                    shown(coefficient.map(|c| c.value)),
                    shown(coefficient.map(|c| c.error)),
                    shown(standardised.copied()),
                    shown(model.map(|m| m.r2)),
                    shown(model.map(|m| m.adjusted_r2)),
                    shown(model.map(|m| m.q2)),
                ])?;
            }
        }
    }
    table_bytes(writer).map(Some)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::{HEADLINE, drawn_study};

    #[test]
    fn the_model_of_an_invented_formula_is_found_in_sentence_table_and_file() {
        let (_temp, folder) = drawn_study(40);
        let view = StudyView::read(folder).unwrap();
        // The formula of the invented study: 2 + 0.1 stagger, and 1.5 more in orthogonal plates.
        let sample = Sample::of(&view, "axial", &HEADLINE).unwrap();
        let model = sample.model.as_ref().unwrap();
        let found: Vec<f64> = model.coefficients.iter().map(|c| c.value).collect();
        let at = |key: &str| {
            let place = sample.terms.iter().position(|t| t.key() == key).unwrap();
            found[place + 1]
        };
        assert!((found[0] - 2.0).abs() < 1e-9, "{found:?}");
        assert!((at("plates.stagger_mm") - 0.1).abs() < 1e-9);
        assert!((at("construct.layout = orthogonal") - 1.5).abs() < 1e-9);
        assert!(model.q2 > 1.0 - 1e-9);

        let sentences = drawn_sentences(&view);
        assert!(sentences[0].contains("40 points"), "{}", sentences[0]);
        let axial = sentences.iter().find(|s| s.contains("axial")).unwrap();
        let mean = view.decimals(&HEADLINE).show(sample.mean());
        assert!(
            axial.contains(&format!("is {mean} MPa on average over 40 points")),
            "{axial}"
        );
        assert!(axial.contains("explains 100\u{a0}%"), "{axial}");
        let table = regression_table(&view).unwrap();
        let row = table
            .rows
            .iter()
            .find(|r| r.cells.len() == 5 && r.cells[1].contains("mm"));
        assert_eq!(row.unwrap().cells[2], "0.1");
        let bytes = regression_csv(&view).unwrap().unwrap();
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        let rows: Vec<csv::StringRecord> = reader.records().map(|r| r.unwrap()).collect();
        let slope = rows.iter().find(|r| {
            &r[0] == "axial" && r[1] == HEADLINE.to_string() && &r[9] == "plates.stagger_mm"
        });
        let slope: f64 = slope.unwrap()[10].parse().unwrap();
        assert!((slope - 0.1).abs() < 1e-9);
    }

    #[test]
    fn a_model_that_predicts_nothing_credits_no_factor_and_noise_is_not_modelled() {
        let (_temp, folder) = drawn_study(40);
        let mut view = StudyView::read(folder).unwrap();
        // Values that follow no factor.
        for (n, point) in view.points.iter_mut().enumerate() {
            let responses = point.cases.iter_mut().flat_map(|c| &mut c.responses);
            for r in responses.filter(|r| r.name == HEADLINE) {
                r.value = Some(5.0 + ((n * n * 31) % 17) as f64);
            }
        }
        let sample = Sample::of(&view, "axial", &HEADLINE).unwrap();
        assert!(sample.model.as_ref().unwrap().q2 < 0.0);
        let told = drawn_sentences(&view).join(" ");
        assert!(told.contains("no factor is credited"), "{told}");
        assert!(!told.contains("it follows"), "{told}");
        let responses = |p: &mut PointRecord| {
            let responses = p.cases.iter_mut().flat_map(|c| &mut c.responses);
            for r in responses.filter(|r| r.name == HEADLINE) {
                r.error_estimate = Some(20.0);
            }
        };
        view.points.iter_mut().for_each(responses);
        let told = drawn_sentences(&view).join(" ");
        assert!(told.contains("less than can be told apart"), "{told}");
        let table = regression_table(&view).unwrap();
        assert!(table.rows.iter().all(|r| r.cells.len() < 2));
        assert!(!table.rows[0].section.contains("R²"));
    }

    #[test]
    fn quantiles_lie_between_order_statistics() {
        let sample = Sample {
            sorted: vec![1.0, 2.0, 4.0, 8.0, 16.0],
            terms: vec![],
            model: None,
            least: 0.0,
        };
        assert_eq!(sample.quantile(0.5), 4.0);
        assert_eq!(sample.quantile(0.25), 2.0);
        assert!((sample.quantile(0.95) - 14.4).abs() < 1e-12);
        assert!((sample.sd().unwrap() - 6.099_180_272_790_763).abs() < 1e-12);
    }
}
