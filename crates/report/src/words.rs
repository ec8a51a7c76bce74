//! The answer in sentences, every number computed from the records and rounded as in the tables.

use crate::effects::effects_sentence;
use crate::labels::{
    STAGGER, capital, case_words, factor_words, level_words, response_words, with_unit,
};
use crate::number::percent;
use crate::peak_places::{peak_sentence, reverse_sentence};
use crate::study_view::{Cell, Change, Group, StudyView, response};
use bicolumn_store::{FactorValue, HeadlineRecord, PointRecord, Status};

/// The answer, a paragraph an entry.
pub fn answer(view: &StudyView) -> Vec<String> {
    let mut paragraphs = Vec::new();
    let done = view.done().count();
    match (view.headline(), done) {
        (_, 0) => paragraphs.push("No design point was finished: there is no answer.".into()),
        (None, _) => paragraphs.push(format!(
            "{} finished. The job names no headline response, so the tables and charts stand alone.",
            capital(&counted(done, "design point"))
        )),
        (Some(headline), _) => {
            paragraphs.extend(worst_sentence(view, headline));
            for group in view.groups() {
                paragraphs.extend(construct_sentence(view, headline, &group));
            }
            paragraphs.extend(effects_sentence(view));
            let places = [peak_sentence(view), reverse_sentence(view)];
            let places: Vec<String> = places.into_iter().flatten().collect();
            if !places.is_empty() {
                paragraphs.push(places.join(" "));
            }
        }
    }
    paragraphs.extend(resolution(view));
    paragraphs.extend(missing_points(view));
    paragraphs
}

/// A change in words: "−16 %", "+2 % (not resolved)".
pub fn change_words(change: &Change) -> String {
    let size = percent(change.relative);
    match change.resolved {
        true => size,
        false => format!("{size} (not resolved)"),
    }
}

/// The baseline in words: "level ends" for a stagger of zero.
pub fn baseline_words(over: &str, baseline: &FactorValue) -> String {
    if over == STAGGER && *baseline == FactorValue::Number(0.0) {
        return "level ends".into();
    }
    format!("{} {}", factor_words(over), level_words(over, baseline))
}

/// The largest value of a construct at a level over the load cases, with its case.
fn largest_over_cases(
    view: &StudyView,
    group: &Group<'_>,
    level: &FactorValue,
) -> Option<(Cell, String)> {
    let cells = view.cases().into_iter().filter_map(|case| {
        let cell = view.cell(group, level, &case)?;
        Some((cell, case))
    });
    cells.fold(None, |best: Option<(Cell, String)>, next| match best {
        Some(b) if b.0.mean >= next.0.mean => Some(b),
        _ => Some(next),
    })
}

fn worst_sentence(view: &StudyView, headline: &HeadlineRecord) -> Option<String> {
    let (value, case, point) = view
        .done()
        .filter_map(|p| view.worst(p).map(|(v, case)| (v, case, p)))
        .fold(
            None,
            |best: Option<(f64, String, &PointRecord)>, next| match best {
                Some(b) if b.0 >= next.0 => Some(b),
                _ => Some(next),
            },
        )?;
    let unit = view.unit(&headline.response);
    let decimals = view.decimals(&headline.response);
    let error = response(point, &case, &headline.response).and_then(|r| r.error_estimate);
    let value = match error {
        Some(e) => decimals.show_with(value, e),
        None => decimals.show(value),
    };
    let value = with_unit(&value, unit);
    let settings: Vec<String> = point
        .factors
        .iter()
        .map(|(key, level)| format!("{} {}", factor_words(key), level_words(key, level)))
        .collect();
    let settings = match settings.is_empty() {
        true => String::new(),
        false => format!(": {}", settings.join(", ")),
    };
    Some(format!(
        "The largest {} of the study is {value}, in {} under the load case {}{settings}.",
        response_words(&headline.response),
        point.id,
        case_words(&case)
    ))
}

fn construct_sentence(
    view: &StudyView,
    headline: &HeadlineRecord,
    group: &Group<'_>,
) -> Option<String> {
    let baseline = view.baseline()?;
    let unit = view.unit(&headline.response);
    let decimals = view.decimals(&headline.response);
    let show = |cell: &Cell| {
        let value = match cell.error {
            Some(e) => decimals.show_with(cell.mean, e),
            None => decimals.show(cell.mean),
        };
        with_unit(&value, unit)
    };
    let (base_value, base_case) = largest_over_cases(view, group, &baseline)?;
    let cases = view.cases();
    let over_cases = match cases.len() {
        1 => String::new(),
        n => format!(" over the {n} load cases"),
    };
    let averaged = match view
        .groups()
        .iter()
        .any(|g| g.points.len() > view.levels().len())
    {
        true => " (means over the other factors)",
        false => "",
    };
    let base_words = baseline_words(&headline.over, &baseline);
    let mut text = format!(
        "{}: with {} the largest {}{over_cases} is {} ({}){averaged}.",
        capital(&group.label),
        base_words,
        response_words(&headline.response),
        show(&base_value),
        case_words(&base_case)
    );
    for level in view.levels().iter().filter(|l| **l != baseline) {
        let Some((value, case)) = largest_over_cases(view, group, level) else {
            continue;
        };
        text += &format!(
            " At {} {} it is {} ({})",
            factor_words(&headline.over),
            level_words(&headline.over, level),
            show(&value),
            case_words(&case)
        );
        // The change of the largest value: between the two cells that the sentence names.
        if let Some(change) = view.change(&value, &base_value) {
            text += &format!(", {} against {base_words}", change_words(&change));
        }
        let changes = changes_by_case(view, group, level, &baseline);
        if changes.len() > 1 {
            let least = changes
                .iter()
                .min_by(|a, b| a.0.relative.total_cmp(&b.0.relative))?;
            let most = changes
                .iter()
                .max_by(|a, b| a.0.relative.total_cmp(&b.0.relative))?;
            text += &format!(
                "; load case by load case from {} ({}) to {} ({})",
                change_words(&least.0),
                case_words(&least.1),
                change_words(&most.0),
                case_words(&most.1)
            );
        }
        text += ".";
    }
    Some(text)
}

fn changes_by_case(
    view: &StudyView,
    group: &Group<'_>,
    level: &FactorValue,
    baseline: &FactorValue,
) -> Vec<(Change, String)> {
    view.cases()
        .into_iter()
        .filter_map(|case| {
            let cell = view.cell(group, level, &case)?;
            let base = view.cell(group, baseline, &case)?;
            Some((view.change(&cell, &base)?, case))
        })
        .collect()
}

/// How far the numbers can be trusted as numbers.
fn resolution(view: &StudyView) -> Option<String> {
    let headline = view.headline()?;
    view.done().next()?;
    let noise = view.record.mesh_noise.get(&headline.response);
    Some(match (view.has_estimates(), noise) {
        (false, None) => "These numbers carry no estimate of their discretisation error and no \
             mesh-noise figure yet: a small difference may belong to the mesh and not to the \
             construct."
            .into(),
        (true, None) => {
            "Behind ± stands the size of the estimated discretisation error, where there is \
             an estimate; differences smaller than those of the two values together are marked not \
             resolved. A mesh-noise figure is not on record, and what the mesh changes of the \
             construct's shape is in neither."
                .into()
        }
        (estimated, Some(cv)) => format!(
            "The mesh noise on record for this response is {:.1}\u{a0}% (coefficient of variation \
             over shifted meshes); smaller differences are marked not resolved.{}",
            cv * 100.0,
            match estimated {
                true => " So are those within the discretisation error estimates.",
                false => " The values carry no estimate of their discretisation error yet.",
            }
        ),
    })
}

fn missing_points(view: &StudyView) -> Option<String> {
    let failed = view
        .points
        .iter()
        .filter(|p| p.status != Status::Done)
        .count();
    let missing = failed + view.unread.len();
    (missing > 0).then(|| {
        let verb = if missing == 1 { "is" } else { "are" };
        format!(
            "{missing} of {} {verb} without a result and not part of these numbers; the table \
             gives the reasons.",
            counted(view.record.points.len(), "design point")
        )
    })
}

fn counted(n: usize, thing: &str) -> String {
    match n {
        1 => format!("1 {thing}"),
        n => format!("{n} {thing}s"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::{hot_spot, synthetic_study};

    #[test]
    fn the_sentences_say_what_the_records_say() {
        let (_temp, folder) = synthetic_study();
        let view = StudyView::read(folder).unwrap();
        let text = answer(&view).join("\n");
        // Oracle: the invented formula behind the records, evaluated here again.
        let cases = view.cases();
        let largest = |layout: &str, stagger: f64| {
            let values = cases.iter().map(|c| (hot_spot(layout, stagger, c), c));
            values.max_by(|a, b| a.0.total_cmp(&b.0)).unwrap()
        };
        for layout in ["parallel", "orthogonal"] {
            let (base, case) = largest(layout, 0.0);
            let start = format!("{}: with level ends", capital(layout));
            assert!(text.contains(&start), "{text}");
            assert!(
                text.contains(&format!("is {base:.1}\u{a0}MPa ({})", case_words(case))),
                "{text}"
            );
            let (value, _) = largest(layout, 20.0);
            let change = percent(value / base - 1.0);
            let wanted = format!("stagger +20\u{a0}mm it is {value:.1}\u{a0}MPa");
            assert!(
                text.contains(&wanted) && text.contains(&change),
                "{wanted} {change}: {text}"
            );
        }
        let (all, _) = ["parallel", "orthogonal"]
            .iter()
            .flat_map(|l| [-20.0, 0.0, 20.0].map(|s| largest(l, s)))
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .unwrap();
        assert!(
            text.contains(&format!("of the study is {all:.1}")),
            "{text}"
        );
        assert!(text.contains("no estimate of their discretisation error"));
        assert!(
            text.contains("1 of 7 design points is without a result"),
            "{text}"
        );
        assert!(!text.contains("not resolved"));
    }

    #[test]
    fn a_change_below_the_noise_is_not_resolved() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        let response = view.headline().unwrap().response.clone();
        view.record.mesh_noise.insert(response.clone(), 0.5);
        let text = answer(&view).join("\n");
        assert!(
            text.contains("(not resolved)") && text.contains("50.0\u{a0}%"),
            "{text}"
        );
        view.record.mesh_noise.insert(response, 1e-6);
        let text = answer(&view).join("\n");
        assert!(!text.contains("(not resolved)"), "{text}");
    }

    #[test]
    fn error_estimates_decide_too() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        for point in &mut view.points {
            for case in &mut point.cases {
                for r in &mut case.responses {
                    r.error_estimate = r.value.map(|v| v.abs());
                }
            }
        }
        let text = answer(&view).join("\n");
        assert!(text.contains("(not resolved)"), "{text}");
        assert!(!text.contains("no estimate"), "{text}");
    }
}
