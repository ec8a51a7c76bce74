//! The models in the page: which form predicts best, shares of the factors, lowest and highest response.

use crate::distinct_cases::DistinctCase;
use crate::fitted::{form_words, nearest, predictor};
use crate::labels::{case_words, factor_words, level_words, shown_unit};
use crate::number::Decimals;
use crate::study_view::StudyView;
use crate::tables::{NONE, Row, Table, cells};
use bicolumn_stats::{Between, Index, Optimum, optimum, sobol_indices};
use bicolumn_store::{FactorValue, ModelFactor, ModelRange, ModelRecord, ModelsRecord};

/// Table of the models by load case; `None` where there is none.
pub(crate) fn model_table(view: &StudyView, record: &ModelsRecord) -> Option<Table> {
    let decimals = view.decimals(&record.response);
    let unit = shown_unit(&record.unit);
    let cases = view.distinct_cases(&[&record.response]);
    let mut rows = vec![];
    for model in &record.models {
        let Some(fitted) = predictor(&record.factors, model) else {
            continue;
        };
        let ends = [1.0, -1.0].map(|sign| optimum(fitted.as_ref(), sign));
        let case = cases.iter().find(|c| c.name == model.case);
        let words = case.map_or_else(|| case_words(&model.case), DistinctCase::words);
        let mut head = format!("{words}: {}, Q² {:.2}", form_words(&model.form), model.q2);
        for (end, name) in ends.iter().zip(["lowest", "highest"]) {
            let Some(end) = end else { continue };
            let near = nearest(&record.factors, model, &end.point);
            let near = near.map_or(String::new(), |n| {
                format!(
                    " (nearest solved point {}: {})",
                    model.ids[n],
                    decimals.show(model.values[n])
                )
            });
            head += &format!(
                "; {name} {} {unit}{near}",
                decimals.show_with(end.prediction.mean, 2.0 * end.prediction.sd)
            );
        }
        rows.push(Row {
            section: head,
            ..Row::default()
        });
        let spread = spread(view, record);
        let shares = sobol_indices(fitted.as_ref(), &spread);
        for (k, factor) in record.factors.iter().enumerate() {
            let share = shares.as_ref().map(|s| s[k]);
            let shown = |i: Option<Index>| i.map_or(NONE.into(), index_words);
            let mut row = vec![
                factor_words(&factor.key),
                shown(share.map(|s| s.first)),
                shown(share.map(|s| s.total)),
            ];
            row.extend(ends.iter().map(|end| {
                end.as_ref()
                    .map_or(NONE.into(), |e| place_words(factor, model, e, k))
            }));
            rows.push(cells(row));
        }
    }
    (!rows.is_empty()).then(|| Table {
        caption: format!("Models of the {} over the factors", record.response.words()),
        heads: vec![
            "factor".into(),
            "share alone".into(),
            "share with others".into(),
            "lowest at".into(),
            "highest at".into(),
        ],
        rows,
        words: 1,
    })
}

/// Distributions of the factors of a sampled design, cut off at the outermost points; uniform for others.
fn spread(view: &StudyView, record: &ModelsRecord) -> Vec<Between> {
    let of_factor = |factor: &ModelFactor| {
        let ModelRange::Between(ends) = factor.over else {
            return None;
        };
        let mut all = view.record.distributions.iter();
        let own = all.find(|d| d.factor == factor.key)?;
        match own.form.as_str() {
            "normal" => Between::normal(own.mean, own.sd, ends),
            "lognormal" => Between::lognormal(own.mean, own.sd, ends),
            _ => None,
        }
    };
    let factors = record.factors.iter();
    factors
        .map(|f| of_factor(f).unwrap_or(Between::Uniform))
        .collect()
}

/// An index with its interval; sampling may take a small one out of 0 to 1, where it is cut off.
fn index_words(index: Index) -> String {
    let [value, low, high] =
        [index.value, index.interval[0], index.interval[1]].map(|x| x.clamp(0.0, 1.0));
    format!("{value:.2} ({low:.2} to {high:.2})")
}

/// Place of an optimum along a factor, with the values that cannot be told from it.
fn place_words(factor: &ModelFactor, model: &ModelRecord, end: &Optimum, k: usize) -> String {
    let [low, high] = end.not_told_apart[k];
    match &factor.over {
        ModelRange::Between(ends) => {
            let all = model.points.iter().map(|p| p[k]).chain(*ends);
            let show = |x| Decimals::of(all.clone()).show(x);
            // At an end of the range the response may go on falling, or rising, beyond it.
            let rim = match ends.contains(&end.point[k]) {
                true => ", the range's end",
                false => "",
            };
            format!(
                "{}{rim} ({} to {})",
                show(end.point[k]),
                show(low),
                show(high)
            )
        }
        ModelRange::Levels(levels) => {
            let word = |x: f64| {
                let level = levels.get(x as usize);
                level.map_or(NONE.into(), |l: &FactorValue| level_words(&factor.key, l))
            };
            match low < high {
                true => format!("{} (or another)", word(end.point[k])),
                false => word(end.point[k]),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fitted::fit_models;
    use crate::synthetic::drawn_study;

    #[test]
    fn shares_and_ends_are_those_of_the_invented_formula() {
        let (_temp, folder) = drawn_study(40);
        let view = StudyView::read(folder).unwrap();
        let record = fit_models(&view).unwrap();
        let table = model_table(&view, &record).unwrap();
        let at = table
            .rows
            .iter()
            .position(|r| r.section.starts_with("axial"));
        let rows = &table.rows[at.unwrap()..];
        assert!(
            rows[0].section.contains("linear model, Q² 1.00; lowest "),
            "{}",
            rows[0].section
        );
        let row = |name: &str| {
            rows.iter()
                .find(|r| r.cells.first().is_some_and(|c| c.contains(name)))
                .unwrap()
        };
        let (stagger, layout) = (row("stagger"), row("layout"));
        // Variances of 2 + 0.1 x over the range of the points, and of 0 or 1.5: (0.1 w)²/12 and 1.5²/4.
        let range = record.factors.iter().find_map(|f| match f.over {
            ModelRange::Between([low, high]) => Some(high - low),
            ModelRange::Levels(_) => None,
        });
        let (own, other) = ((0.1 * range.unwrap()).powi(2) / 12.0, 1.5f64.powi(2) / 4.0);
        let share: f64 = stagger.cells[1][..4].parse().unwrap();
        assert!((share - own / (own + other)).abs() < 0.03, "{share}");
        assert!(
            layout.cells[3].starts_with("parallel"),
            "{:?}",
            layout.cells
        );
        assert!(layout.cells[4].starts_with("orthogonal"));
        assert!(
            stagger.cells[3].contains(", the range's end ("),
            "{:?}",
            stagger.cells
        );
        let lowest: f64 = stagger.cells[3]
            .split(',')
            .next()
            .unwrap()
            .replace('\u{2212}', "-")
            .parse()
            .unwrap();
        let least = view
            .points
            .iter()
            .filter_map(|p| p.factors["plates.stagger_mm"].as_number())
            .fold(f64::MAX, f64::min);
        assert!((lowest - least).abs() < 0.06, "{lowest} {least}");
    }

    #[test]
    fn indices_stay_between_nothing_and_all() {
        let index = Index {
            value: -0.01,
            interval: [-0.03, 0.02],
        };
        assert_eq!(index_words(index), "0.00 (0.00 to 0.02)");
    }
}
