//! The answer in sentences, every number computed from the records and rounded as in the tables.

use crate::credit::{Withheld, is_no_riser};
use crate::distinct_cases::{DistinctCase, reverse_sentence};
use crate::drawn::drawn_sentences;
use crate::effects::effects_sentence;
use crate::labels::{STAGGER, capital, factor_words, level_words, with_unit};
use crate::moved_to_fit::moved_to_fit_sentences;
use crate::moved_with::moved_sentences;
use crate::number::percent;
use crate::peak_places::peak_sentence;
use crate::study_view::{Cell, Change, Group, StudyView};
use crate::three_stresses::ranking_sentence;
use bicolumn_response::{Choice, ResponseName};
use bicolumn_store::{FactorValue, PointRecord, Status};

/// The answer, a paragraph an entry: a sentence a construct that answers the question in words, and points without a result.
/// Where hypotheses answer the question, the sentences stand with the numbers.
pub(crate) fn answer(view: &StudyView) -> Vec<String> {
    let mut paragraphs = match has_verdicts(view) {
        true => Vec::new(),
        false => lead_sentences(view),
    };
    paragraphs.extend(moved_to_fit_sentences(view));
    paragraphs.extend(missing_points(view));
    paragraphs
}

/// Do verdicts on hypotheses lead the page?
fn has_verdicts(view: &StudyView) -> bool {
    !view.record.hypotheses.is_empty() && view.headline().is_some() && view.done().next().is_some()
}

/// All sentences, of the answer and in numbers.
#[cfg(test)]
pub(crate) fn told(view: &StudyView) -> Vec<String> {
    [answer(view), numbers(view)].concat()
}

fn lead_sentences(view: &StudyView) -> Vec<String> {
    let mut paragraphs = Vec::new();
    let done = view.done().count();
    let all = || view.done().collect::<Vec<_>>();
    match (view.lead(), view.headline(), done) {
        (_, _, 0) => paragraphs.push("No design point was finished: there is no answer.".into()),
        (None, ..) => paragraphs.push(format!(
            "{} finished. The job names no headline response, so the tables and charts stand alone.",
            capital(&counted(done, "design point"))
        )),
        (Some(name), None, _) if view.record.drawn.is_some() => {
            paragraphs.extend(without_values(view, name, &all(), None));
            paragraphs.extend(drawn_sentences(view));
        }
        (Some(name), None, _) => {
            paragraphs.extend(without_values(view, name, &all(), None));
            let points = view.done();
            paragraphs.extend(points.filter_map(|p| point_sentence(view, name, p)));
        }
        (Some(name), Some(_), _) => {
            for group in view.groups() {
                let label = Some(group.label.as_str());
                paragraphs.extend(without_values(view, name, &group.points, label));
                paragraphs.extend(verdict(view, name, &group));
            }
        }
    }
    paragraphs
}

/// The answer in numbers, a paragraph an entry: values at the baseline by load case, what moves the headline, where it was
/// found and how far the numbers can be trusted.
pub(crate) fn numbers(view: &StudyView) -> Vec<String> {
    let mut paragraphs = match has_verdicts(view) {
        true => lead_sentences(view),
        false => Vec::new(),
    };
    if let (Some(name), Some(_)) = (view.lead(), view.headline()) {
        for group in view.groups() {
            paragraphs.extend(baseline_sentence(view, name, &group));
        }
        paragraphs.extend(effects_sentence(view));
        let moved = moved_sentences(view);
        if !moved.is_empty() {
            paragraphs.push(moved.join(" "));
        }
    }
    let ranking = view.headline().and_then(|_| ranking_sentence(view));
    let places = [peak_sentence(view), ranking, reverse_sentence(view)];
    let places: Vec<String> = places.into_iter().flatten().collect();
    if !places.is_empty() {
        paragraphs.push(places.join(" "));
    }
    paragraphs.extend(resolution(view));
    paragraphs
}

/// A change in words: "−16 %", "+2 % (not resolved)".
pub(crate) fn change_words(change: &Change) -> String {
    let size = percent(change.relative);
    match change.resolved {
        true => size,
        false => format!("{size} (not resolved)"),
    }
}

/// The baseline in words: "level ends" for a stagger of zero.
pub(crate) fn baseline_words(over: &str, baseline: &FactorValue) -> String {
    if over == STAGGER && *baseline == FactorValue::Number(0.0) {
        return "level ends".into();
    }
    format!("{} {}", factor_words(over), level_words(over, baseline))
}

/// A list in words: "a", "a and b", "a, b and c".
pub(crate) fn listed(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

fn shown(view: &StudyView, name: &ResponseName, cell: &Cell) -> String {
    let decimals = view.decimals(name);
    let value = match cell.error {
        Some(e) => decimals.show_with(cell.mean, e),
        None => decimals.show(cell.mean),
    };
    with_unit(&value, view.unit(name))
}

/// Sentence on finished points none of which has a value of the headline, with responses that have one.
fn without_values(
    view: &StudyView,
    name: &ResponseName,
    points: &[&PointRecord],
    label: Option<&str>,
) -> Option<String> {
    let has = |p: &PointRecord, name: &ResponseName| {
        let found = p.cases.iter().filter_map(|c| c.response(name));
        found.into_iter().any(|r| r.value.is_some())
    };
    if points.is_empty() || points.iter().any(|p| has(p, name)) {
        return None;
    }
    let subject = match label {
        Some(label) => format!("{}: no value", capital(label)),
        None => "No finished design point has a value".into(),
    };
    let reason = match points.iter().all(|p| p.plates.is_empty()) {
        true => ", for no plate is there",
        false => "",
    };
    let columns = view.record.columns.iter().map(|c| &c.0);
    let with_value = columns.filter(|n| points.iter().any(|p| has(p, n)));
    let names: Vec<String> = with_value.take(3).map(|n| n.to_string()).collect();
    let others = match names.is_empty() {
        true => String::new(),
        false => format!(
            "; run.headline may name one that has, as {}",
            listed(&names)
        ),
    };
    Some(format!(
        "{subject} of the {}{reason}{others}.",
        name.words()
    ))
}

/// The headline of a point of a study without factors, by load case.
fn point_sentence(view: &StudyView, name: &ResponseName, point: &PointRecord) -> Option<String> {
    let of_case = |case: &DistinctCase| {
        let cell = view.mean_of(&[point], &case.name)?;
        let riser = match is_no_riser(point, &case.name, name) {
            Some(true) => ", no stress riser",
            _ => "",
        };
        let value = shown(view, name, &cell);
        Some(format!("{value} ({}{riser})", case.words()))
    };
    let values: Vec<String> = view
        .distinct_cases(&[name])
        .iter()
        .filter_map(of_case)
        .collect();
    (!values.is_empty()).then(|| {
        format!(
            "{}: the {} is {}.",
            capital(&point.id),
            name.words(),
            listed(&values)
        )
    })
}

/// The value of a construct at the baseline, by load case.
fn baseline_sentence(view: &StudyView, name: &ResponseName, group: &Group<'_>) -> Option<String> {
    let (over, baseline) = (view.over()?, view.baseline()?);
    let mut averaged = None;
    let of_case = |case: &DistinctCase| {
        let found = view.compare(group, &baseline, &case.name)?;
        averaged = averaged
            .take()
            .or_else(|| view.averaged_words(group, &case.name));
        Some(format!(
            "{} ({})",
            shown(view, name, &found.cell),
            case.words()
        ))
    };
    let values: Vec<String> = view
        .distinct_cases(&[name])
        .iter()
        .filter_map(of_case)
        .collect();
    let averaged = averaged.map_or(String::new(), |words| format!(" ({words})"));
    (!values.is_empty()).then(|| {
        format!(
            "{} with {}{averaged}: the {} is {}.",
            capital(&group.label),
            baseline_words(over, &baseline),
            name.words(),
            listed(&values)
        )
    })
}

/// Changes of one construct under one load case, by what they say.
#[derive(Default)]
struct Finding {
    /// Resolved changes that are credited to the factor, with their levels.
    credited: Vec<(f64, String)>,
    is_unresolved: bool,
    is_no_riser: bool,
    is_on_edge: bool,
    not_decided: Option<Choice>,
    is_one_cortex: bool,
}

/// The answer for one construct: under which load cases the headline is higher or lower than at the baseline, by
/// how much at most, and where nothing is credited to the factor.
fn verdict(view: &StudyView, name: &ResponseName, group: &Group<'_>) -> Option<String> {
    let (over, baseline) = (view.over()?, view.baseline()?);
    let levels = view.levels();
    let mut groups: [Vec<String>; 6] = Default::default();
    let [higher, lower, either, alike, no_riser, on_edge] = &mut groups;
    let mut not_decided: Vec<(Choice, Vec<String>)> = Vec::new();
    let mut one_cortex: Vec<(String, [usize; 2])> = Vec::new();
    let mut any = false;
    for case in view.distinct_cases(&[name]) {
        let mut finding = Finding::default();
        for level in levels.iter().filter(|l| **l != baseline) {
            let Some(found) = view.compare(group, level, &case.name) else {
                continue;
            };
            let Some(change) = found.change else { continue };
            any = true;
            let at = format!("{} {}", factor_words(over), level_words(over, level));
            match found.withheld {
                Some(Withheld::NoRiser) => finding.is_no_riser = true,
                Some(Withheld::OnEdge(_)) => finding.is_on_edge = true,
                Some(Withheld::NotDecided(choice)) => finding.not_decided = Some(choice),
                Some(Withheld::OneCortex { baseline, level }) => {
                    finding.is_one_cortex = true;
                    if !one_cortex.iter().any(|(words, _)| *words == at) {
                        one_cortex.push((at, [baseline, level]));
                    }
                }
                None if change.resolved => finding.credited.push((change.relative, at)),
                None => finding.is_unresolved = true,
            }
        }
        let by_size = |a: &&(f64, String), b: &&(f64, String)| a.0.total_cmp(&b.0);
        let ends = finding
            .credited
            .iter()
            .min_by(by_size)
            .zip(finding.credited.iter().max_by(by_size));
        let words = case.words();
        if finding.is_on_edge {
            on_edge.push(words.clone());
        }
        if let Some(choice) = finding.not_decided {
            match not_decided.iter_mut().find(|(c, _)| *c == choice) {
                Some((_, cases)) => cases.push(words.clone()),
                None => not_decided.push((choice, vec![words.clone()])),
            }
        }
        let told = |end: &(f64, String)| format!("{} at {}", percent(end.0), end.1);
        let most = if finding.credited.len() > 1 {
            "up to "
        } else {
            ""
        };
        match ends {
            Some((least, _)) if least.0 > 0.0 => {
                let (_, largest) = ends?;
                higher.push(format!("{words} ({most}{})", told(largest)));
            }
            Some((least, largest)) if largest.0 < 0.0 => {
                lower.push(format!("{words} ({most}{})", told(least)));
            }
            Some((least, largest)) => {
                either.push(format!("{words} ({}, {})", told(least), told(largest)));
            }
            None if finding.is_unresolved => alike.push(words),
            None if finding.is_no_riser && !finding.is_one_cortex => no_riser.push(words),
            None => {}
        }
    }
    if !any {
        return None;
    }
    let [higher, lower, either, alike, no_riser, on_edge] = &groups;
    let mut parts = Vec::new();
    for (words, cases) in [
        ("higher under", higher),
        ("lower under", lower),
        ("higher or lower by level under", either),
    ] {
        if !cases.is_empty() {
            parts.push(format!("{words} {}", listed(cases)));
        }
    }
    if !alike.is_empty() {
        parts.push(format!("not told apart under {}", listed(alike)));
    }
    let against = baseline_words(over, &baseline);
    let label = capital(&group.label);
    let mut text = match parts.is_empty() {
        true => format!("{label}: nothing is credited to {}.", factor_words(over)),
        false => format!(
            "{label}, against {against}: the {} is {}.",
            name.words(),
            parts.join("; ")
        ),
    };
    if !no_riser.is_empty() {
        text += &format!(
            " No stress riser under {}: the bone there carries about the nominal stress of its intact section or less, or the value lies \
             at the proximal limit of its region, and the change is not {}'s.",
            listed(no_riser),
            factor_words(over)
        );
    }
    if !on_edge.is_empty() {
        text += &format!(
            " Not credited to {} under {}: a value there lies on the edge of the region in which it is sought, and is set \
             by where that ends.",
            factor_words(over),
            listed(on_edge)
        );
    }
    for (choice, cases) in not_decided {
        text += &format!(
            " Not decided under {}: with {} the difference has the other sign.",
            listed(&cases),
            choice.words()
        );
    }
    for (at, [baseline, level]) in one_cortex {
        text += &format!(
            " Not credited to {}: {at}, where {} as built, {baseline} with {against}.",
            factor_words(over),
            match level {
                1 => "1 shaft screw holds in one cortex".into(),
                n => format!("{n} shaft screws hold in one cortex"),
            }
        );
    }
    Some(text)
}

/// How far the numbers can be trusted as numbers.
fn resolution(view: &StudyView) -> Option<String> {
    view.lead()?;
    view.done().next()?;
    let noise = view.noise();
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
             over {}); smaller differences are marked not resolved.{}",
            cv * 100.0,
            match view.replicate_freedom {
                Some(freedom) => replicates_words(freedom, view.replicates_every_point()),
                None => poses_words(view.record.mesh_noise_poses),
            },
            match estimated {
                true => " So are those within the discretisation error estimates.",
                false => " The values carry no estimate of their discretisation error yet.",
            }
        ),
    })
}

/// Number of posed meshes, with how well it makes the noise known: a standard deviation of n normally scattered values
/// has a relative standard error of 1/√(2(n − 1)).
fn poses_words(poses: usize) -> String {
    match poses {
        0 | 1 => "shifted meshes".into(),
        n => {
            let known = 100.0 / (2.0 * (n as f64 - 1.0)).sqrt();
            format!("{n} shifted meshes, itself known to about {known:.0}\u{a0}%")
        }
    }
}

/// Replicates of the study, with how well they make the noise known.
fn replicates_words(freedom: usize, of_every_point: bool) -> String {
    let known = 100.0 / (2.0 * freedom as f64).sqrt();
    let points = match of_every_point {
        true => "each point",
        false => "some points",
    };
    format!(
        "the replicates of {points} on other meshes, {freedom} degrees of freedom, itself known to about {known:.0}\u{a0}%; of \
         several load cases the largest"
    )
}

fn missing_points(view: &StudyView) -> Option<String> {
    let failed = view
        .points
        .iter()
        .filter(|p| p.status != Status::Done)
        .count();
    let is_skipped = |p: &&PointRecord| matches!(p.status, Status::Skipped { .. });
    let skipped = view.points.iter().filter(is_skipped).count();
    let missing = failed + view.unread.len();
    (missing > 0).then(|| {
        let verb = if missing == 1 { "is" } else { "are" };
        let left_out = match skipped {
            0 => String::new(),
            n => format!(" ({n} left out, for the construct cannot be built)"),
        };
        format!(
            "{missing} of {} {verb} without a result{left_out} and not part of these numbers; the table \
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
    use crate::labels::case_words;
    use crate::synthetic::{CASES, hot_spot, synthetic_study};

    fn study() -> StudyView {
        let (_temp, folder) = synthetic_study();
        StudyView::read(folder).unwrap()
    }

    #[test]
    fn the_sentences_say_what_the_records_say() {
        let view = study();
        let paragraphs = told(&view);
        let text = paragraphs.join("\n");
        for (k, layout) in ["parallel", "orthogonal"].into_iter().enumerate() {
            // A sentence a construct leads.
            let start = format!("{}, against level ends: the", capital(layout));
            assert!(paragraphs[k].starts_with(&start), "{text}");
            for (case, _) in CASES {
                // Oracle: the invented formula behind the records, evaluated here again.
                let of = |stagger| hot_spot(layout, stagger, case);
                let base = format!("{:.1}\u{a0}MPa ({})", of(0.0), case_words(case));
                assert!(text.contains(&base), "{base}: {text}");
                let changes = [-20.0, 20.0].map(|s| of(s) / of(0.0) - 1.0);
                let words = case_words(case);
                let (least, largest) = (changes[0].min(changes[1]), changes[0].max(changes[1]));
                let at = |change: f64| match change == changes[0] {
                    true => "stagger −20\u{a0}mm",
                    false => "stagger +20\u{a0}mm",
                };
                let wanted = if largest < 0.0 {
                    format!("{words} (up to {} at {}", percent(least), at(least))
                } else if least > 0.0 {
                    format!("{words} (up to {} at {}", percent(largest), at(largest))
                } else {
                    format!("{words} ({} at {}, ", percent(least), at(least))
                };
                assert!(paragraphs[k].contains(&wanted), "{wanted}: {text}");
            }
        }
        assert!(
            !text.contains("of the study"),
            "no maximum over load cases: {text}"
        );
        assert!(text.contains("no estimate of their discretisation error"));
        assert!(
            text.contains("1 of 7 design points is without a result"),
            "{text}"
        );
        assert!(!text.contains("not resolved") && !text.contains("not told apart"));
    }

    #[test]
    fn a_construct_without_a_value_says_so_and_names_responses_that_have_one() {
        let mut view = study();
        let name = view.lead().unwrap().clone();
        for point in &mut view.points {
            if point.factors["construct.layout"] != FactorValue::Word("orthogonal".into()) {
                continue;
            }
            point.plates.clear();
            for case in &mut point.cases {
                case.responses.retain(|r| r.name != name);
            }
        }
        let text = told(&view).join("\n");
        let told = format!(
            "Orthogonal: no value of the {}, for no plate is there; run.headline may name one that has, as ",
            name.words()
        );
        assert!(text.contains(&told), "{text}");
        assert!(!text.contains("Parallel: no value"), "{text}");
    }

    #[test]
    fn a_change_below_the_noise_is_not_told_as_one() {
        let mut view = study();
        let response = view.lead().unwrap().clone();
        view.record.mesh_noise.insert(response.clone(), 0.5);
        let paragraphs = told(&view);
        for verdict in &paragraphs[..2] {
            assert!(verdict.contains("not told apart under axial"), "{verdict}");
            assert!(!verdict.contains('%'), "{verdict}");
        }
        assert!(paragraphs.join("\n").contains("50.0\u{a0}%"));
        for (poses, known) in [(2, "71"), (8, "27")] {
            view.record.mesh_noise_poses = poses;
            let text = told(&view).join("\n");
            let wanted = format!("{poses} shifted meshes, itself known to about {known}\u{a0}%");
            assert!(text.contains(&wanted), "{text}");
        }
        view.record.mesh_noise.insert(response, 1e-6);
        let text = told(&view).join("\n");
        assert!(!text.contains("not told apart"), "{text}");
    }

    #[test]
    fn error_estimates_decide_too() {
        let mut view = study();
        for point in &mut view.points {
            for case in &mut point.cases {
                for r in &mut case.responses {
                    r.error_estimate = r.value.map(|v| v.abs());
                }
            }
        }
        let text = told(&view).join("\n");
        assert!(text.contains("not told apart under"), "{text}");
        assert!(!text.contains("no estimate"), "{text}");
    }

    #[test]
    fn a_study_without_factors_is_answered_by_load_case() {
        let mut view = study();
        view.record.factors.clear();
        view.record.headline = None;
        view.points.truncate(1);
        let text = told(&view).join("\n");
        for (case, _) in CASES {
            let value = hot_spot("parallel", -20.0, case);
            let wanted = format!("{value:.1}\u{a0}MPa ({})", case_words(case));
            assert!(text.contains(&wanted), "{wanted}: {text}");
        }
        assert!(!text.contains("names no headline response"), "{text}");
        view.record.lead_response = None;
        assert!(told(&view)[0].contains("names no headline response"));
    }

    #[test]
    fn screws_that_miss_the_far_cortex_take_the_credit_away() {
        let mut view = study();
        for point in &mut view.points {
            let is_level = point.factors["plates.stagger_mm"] == FactorValue::Number(0.0);
            for screw in point.screws.iter_mut().filter(|_| is_level) {
                screw.cortices = Some(1);
            }
        }
        let all = view.points[0].screws.len();
        let verdict = &told(&view)[0];
        assert!(
            verdict.starts_with("Parallel: nothing is credited to stagger."),
            "{verdict}"
        );
        let wanted = format!("0 shaft screws hold in one cortex as built, {all} with level ends");
        assert!(verdict.contains(&wanted), "{wanted}: {verdict}");
        assert!(!verdict.contains('%'), "{verdict}");
    }
}
