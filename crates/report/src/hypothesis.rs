//! The hypothesis of the job, judged by construct and load case.
//!
//! The claim: with the baseline level of the headline's factor the headline is higher (or lower) than with every level
//! at least so far from it, by at least a share m of its value at the baseline. A level's difference from the baseline at
//! equal other factors is s of that value in the claimed direction, known to ± e: the estimates of the discretisation
//! error of both, or the mesh noise where that is larger. The level supports the claim where s − e reaches m; its
//! difference is smaller than matters where |s| + e stays below m; it refutes the claim where s + e does otherwise; else
//! it is not resolved. A difference that is not credited to the factor judges nothing.

use crate::chart::{Axis, Chart, Marker, Stroke};
use crate::distinct_cases::DistinctCase;
use crate::error::{ReportError, table_bytes};
use crate::interaction_chart::CONSTRUCTS;
use crate::labels::{capital, case_words, factor_words, level_words, with_unit};
use crate::number::{percent, plain};
use crate::study_view::{Change, Group, StudyView};
use crate::tables::{NONE, Row, Table, cells};
use crate::words::{baseline_words, listed};
use bicolumn_store::results::unit_of_key;
use bicolumn_store::{FactorValue, HypothesisRecord};

/// Judgement of the claim, of a level or of all together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Verdict {
    /// A level whose difference is not as claimed, beyond its error.
    Refuted,
    /// A difference that is smaller than matters, beyond its error.
    Smaller,
    /// A difference that its error does not let decide.
    NotResolved,
    /// A difference that is not credited to the factor.
    NotCredited,
    /// All levels differ as claimed, beyond their error.
    Supported,
}

impl Verdict {
    const ALL: [Verdict; 5] = [
        Verdict::Supported,
        Verdict::Refuted,
        Verdict::Smaller,
        Verdict::NotResolved,
        Verdict::NotCredited,
    ];

    pub(crate) fn words(self) -> &'static str {
        match self {
            Verdict::Refuted => "refuted",
            Verdict::Smaller => "smaller than matters",
            Verdict::NotResolved => "not resolved",
            Verdict::NotCredited => "not credited",
            Verdict::Supported => "supported",
        }
    }
}

/// A level against the baseline.
#[derive(Debug, Clone, PartialEq)]
struct Judged {
    level: FactorValue,
    /// (value − baseline) over the baseline's size.
    change: f64,
    /// Error of `change`.
    error: f64,
    verdict: Verdict,
}

/// A construct under a load case.
struct Judgement {
    case: DistinctCase,
    verdict: Verdict,
    levels: Vec<Judged>,
}

impl Judgement {
    /// The level that decides: of those with the verdict the one that speaks least for the claim.
    fn deciding(&self, claim: &HypothesisRecord) -> Option<&Judged> {
        let own = self.levels.iter().filter(|l| l.verdict == self.verdict);
        own.min_by(|a, b| claimed(claim, a.change).total_cmp(&claimed(claim, b.change)))
    }
}

/// A change in the claimed direction: positive where the baseline is higher, or lower, as claimed.
fn claimed(claim: &HypothesisRecord, change: f64) -> f64 {
    match claim.baseline_is.as_str() {
        "lower" => change,
        _ => -change,
    }
}

fn of_level(claim: &HypothesisRecord, change: f64, error: f64) -> Verdict {
    let (s, m) = (
        claimed(claim, change),
        0.01 * claim.least_difference_percent,
    );
    if s - error >= m && s > error {
        Verdict::Supported
    } else if s.abs() + error < m {
        Verdict::Smaller
    } else if s + error < m || s + error <= 0.0 {
        Verdict::Refuted
    } else {
        Verdict::NotResolved
    }
}

/// Levels that the claim is about.
fn levels_of_claim(view: &StudyView, claim: &HypothesisRecord) -> Vec<FactorValue> {
    let Some(baseline) = view.baseline() else {
        return Vec::new();
    };
    let is_far = |level: &FactorValue| match (level.as_number(), baseline.as_number()) {
        (Some(a), Some(b)) => (a - b).abs() >= claim.least_distance,
        _ => true,
    };
    let levels = view.levels().into_iter();
    levels.filter(|l| *l != baseline && is_far(l)).collect()
}

fn judgements(view: &StudyView, claim: &HypothesisRecord, group: &Group<'_>) -> Vec<Judgement> {
    let Some(name) = view.lead() else {
        return Vec::new();
    };
    let wanted = levels_of_claim(view, claim);
    let of_case = |case: DistinctCase| {
        let judged = |level: &FactorValue| {
            let found = view.compare(group, level, &case.name)?;
            let Change {
                relative: change,
                error,
                ..
            } = found.change?;
            let verdict = match found.withheld {
                Some(_) => Verdict::NotCredited,
                None => of_level(claim, change, error),
            };
            Some(Judged {
                level: level.clone(),
                change,
                error,
                verdict,
            })
        };
        let levels: Vec<Judged> = wanted.iter().filter_map(judged).collect();
        let verdict = levels.iter().map(|l| l.verdict).min()?;
        Some(Judgement {
            case,
            verdict,
            levels,
        })
    };
    let cases = view.distinct_cases(&[name]);
    cases.into_iter().filter_map(of_case).collect()
}

/// The claim in a sentence.
fn claim_sentence(view: &StudyView, claim: &HypothesisRecord) -> Option<String> {
    let (over, baseline, name) = (view.over()?, view.baseline()?, view.lead()?);
    let factor = factor_words(over);
    let far = match claim.least_distance > 0.0 {
        true => {
            let distance = with_unit(&plain(claim.least_distance), unit_of_key(over));
            format!("every level of {factor} at least {distance} away")
        }
        false => format!("every other level of {factor}"),
    };
    let base = baseline_words(over, &baseline);
    Some(format!(
        "Hypothesis: with {base} the {} is {} than with {far}, by at least {}\u{a0}% of its value with {base}.",
        name.words(),
        claim.baseline_is,
        plain(claim.least_difference_percent),
    ))
}

/// A difference with its error, the latter never rounded to nothing.
fn interval(judged: &Judged) -> String {
    let difference = percent(judged.change);
    match 100.0 * judged.error {
        0.0 => difference,
        error if error < 0.05 => format!("{difference} ±\u{a0}<0.1\u{a0}%"),
        error => format!("{difference} ±\u{a0}{error:.1}\u{a0}%"),
    }
}

fn difference_words(over: &str, judged: &Judged) -> String {
    let level = level_words(over, &judged.level);
    format!("{} at {} {level}", interval(judged), factor_words(over))
}

/// The claim, then its verdict for each construct in a sentence; nothing for a job without a hypothesis.
pub(crate) fn hypothesis_sentences(view: &StudyView) -> Vec<String> {
    let Some((claim, over)) = view.record.hypothesis.as_ref().zip(view.over()) else {
        return Vec::new();
    };
    let mut sentences: Vec<String> = claim_sentence(view, claim).into_iter().collect();
    for group in view.groups() {
        let judged = judgements(view, claim, &group);
        let of_verdict = |verdict: Verdict| {
            let own = judged.iter().filter(|j| j.verdict == verdict);
            let cases: Vec<String> = own
                .map(|j| {
                    let deciding = j.deciding(claim).map(|d| difference_words(over, d));
                    match deciding.filter(|_| verdict != Verdict::NotCredited) {
                        Some(difference) => format!("{} ({difference})", j.case.words()),
                        None => j.case.words(),
                    }
                })
                .collect();
            (!cases.is_empty()).then(|| format!("{} under {}", verdict.words(), listed(&cases)))
        };
        let parts: Vec<String> = Verdict::ALL.into_iter().filter_map(of_verdict).collect();
        let label = capital(&group.label);
        sentences.push(match parts.is_empty() {
            true => {
                format!("{label}: no level of the hypothesis has a partner to be compared with.")
            }
            false => format!("{label}: {}.", parts.join("; ")),
        });
    }
    sentences
}

/// Verdict and differences by construct and load case; nothing for a job without a hypothesis.
pub(crate) fn hypothesis_table(view: &StudyView) -> Option<Table> {
    let (claim, over) = view.record.hypothesis.as_ref().zip(view.over())?;
    let levels = levels_of_claim(view, claim);
    let mut table = Table {
        caption: "Hypothesis: difference from the baseline, of its value there".into(),
        heads: ["load case".to_string(), "verdict".to_string()]
            .into_iter()
            .chain(
                levels
                    .iter()
                    .map(|l| format!("{} {}", factor_words(over), level_words(over, l))),
            )
            .collect(),
        words: 2,
        ..Table::default()
    };
    for group in view.groups() {
        table.rows.push(Row {
            section: capital(&group.label),
            ..Row::default()
        });
        for judgement in judgements(view, claim, &group) {
            let mut row = vec![
                judgement.case.words(),
                judgement.verdict.words().to_string(),
            ];
            for level in &levels {
                let found = judgement.levels.iter().find(|l| l.level == *level);
                row.push(
                    found.map_or(NONE.into(), |l| match l.verdict == judgement.verdict {
                        true => interval(l),
                        false => format!("{}, {}", interval(l), l.verdict.words()),
                    }),
                );
            }
            table.rows.push(cells(row));
        }
    }
    Some(table)
}

/// A panel a construct: differences by load case with their errors, and the band that does not matter.
pub(crate) fn hypothesis_charts(view: &StudyView) -> Vec<String> {
    let Some((claim, over)) = view.record.hypothesis.as_ref().zip(view.over()) else {
        return Vec::new();
    };
    let matters = claim.least_difference_percent;
    let all: Vec<(Group<'_>, Vec<Judgement>)> = view
        .groups()
        .into_iter()
        .map(|g| {
            let judged = judgements(view, claim, &g);
            (g, judged)
        })
        .collect();
    let ends = all.iter().flat_map(|(_, j)| j).flat_map(|j| &j.levels);
    let most = ends
        .map(|l| 100.0 * (l.change.abs() + l.error))
        .fold(1.5 * matters, f64::max);
    let levels = levels_of_claim(view, claim);
    let panel = |(group, judged): &(Group<'_>, Vec<Judgement>)| {
        if judged.is_empty() {
            return None;
        }
        let title = format!(
            "Differences from the baseline by load case, {}",
            group.label
        );
        let x = Axis::between(-0.5, judged.len() as f64 - 0.5);
        let y = Axis::between(-1.05 * most, 1.05 * most);
        let mut chart = Chart::new(&title, [520.0, 260.0], 56.0, 46.0, x, y);
        let (top, bottom) = (chart.at_y(matters), chart.at_y(-matters));
        let (left, right) = (chart.left(), chart.at_x(judged.len() as f64 - 0.5));
        chart.bar([left, top], [right - left, bottom - top], "#eee", "none");
        chart.heading(&capital(&group.label));
        chart.y_axis("difference, %");
        for (c, judgement) in judged.iter().enumerate() {
            for (k, judged) in judgement.levels.iter().enumerate() {
                let nth = levels.iter().position(|l| *l == judged.level).unwrap_or(k);
                let colour = CONSTRUCTS[nth % CONSTRUCTS.len()];
                let offset = (k as f64 + 0.5) / judgement.levels.len() as f64 - 0.5;
                let x = chart.at_x(c as f64 + 0.7 * offset);
                let at = |share: f64| 100.0 * share;
                let stroke = Stroke {
                    colour: colour.to_string(),
                    width: 1.6,
                    dash: "",
                };
                let whisker = [judged.change - judged.error, judged.change + judged.error]
                    .map(|v| chart.at_y(at(v)));
                chart.segment([x, whisker[0]], [x, whisker[1]], &stroke);
                let tip = format!(
                    "{}, {}: {}",
                    judgement.case.words(),
                    difference_words(over, judged),
                    judged.verdict.words()
                );
                let y = chart.at_y(at(judged.change));
                let shape = match judged.verdict {
                    Verdict::NotCredited => Marker::Ring,
                    _ => Marker::nth(nth % 4),
                };
                chart.marker([x, y], shape, colour, 4.0, &tip);
            }
            // Of cases that are each other's reverse the first; neighbours of many in two rows, so that none overlap.
            let below = match judged.len() > 4 && c % 2 == 1 {
                true => 14.0,
                false => 2.0,
            };
            chart.x_tick(c as f64, &case_words(&judgement.case.name), below);
        }
        chart.baseline();
        Some(chart.finish())
    };
    all.iter().filter_map(panel).collect()
}

/// Levels of the claim with the colours of their markers.
pub(crate) fn hypothesis_legend(view: &StudyView) -> Vec<(String, &'static str)> {
    let Some((claim, over)) = view.record.hypothesis.as_ref().zip(view.over()) else {
        return Vec::new();
    };
    let levels = levels_of_claim(view, claim);
    let named = levels.iter().enumerate();
    named
        .map(|(k, l)| {
            let words = format!("{} {}", factor_words(over), level_words(over, l));
            (words, CONSTRUCTS[k % CONSTRUCTS.len()])
        })
        .collect()
}

/// The table `hypothesis.csv`: a row for each construct, load case and level; `None` for a job without a hypothesis.
///
/// # Errors
/// [`ReportError`], if the rows cannot be written.
pub(crate) fn hypothesis_csv(view: &StudyView) -> Result<Option<Vec<u8>>, ReportError> {
    let Some(claim) = &view.record.hypothesis else {
        return Ok(None);
    };
    let mut writer = csv::Writer::from_writer(vec![]);
    writer.write_record([
        "construct",
        "case",
        "level",
        "difference_percent",
        "error_percent",
        "verdict_of_level",
        "verdict",
    ])?;
    for group in view.groups() {
        for j in judgements(view, claim, &group) {
            for l in &j.levels {
                writer.write_record([
                    group.label.clone(),
                    j.case.name.clone(),
                    l.level.to_string(),
                    (100.0 * l.change).to_string(),
                    (100.0 * l.error).to_string(),
                    l.verdict.words().to_string(),
                    j.verdict.words().to_string(),
                ])?;
            }
        }
    }
    table_bytes(writer).map(Some)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::{CASES, hot_spot, synthetic_study};
    use crate::words::answer;

    fn claim(baseline_is: &str, percent: f64) -> HypothesisRecord {
        HypothesisRecord {
            baseline_is: baseline_is.into(),
            least_distance: 20.0,
            least_difference_percent: percent,
        }
    }

    fn study(baseline_is: &str, percent: f64) -> StudyView {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        view.record.hypothesis = Some(claim(baseline_is, percent));
        view
    }

    #[test]
    fn a_level_is_judged_by_the_whole_of_its_interval() {
        let higher = claim("higher", 10.0);
        for (change, error, verdict) in [
            (-0.15, 0.04, Verdict::Supported),
            (-0.15, 0.06, Verdict::NotResolved),
            (-0.04, 0.05, Verdict::Smaller),
            (0.04, 0.05, Verdict::Smaller),
            (0.08, 0.05, Verdict::Refuted),
            (0.30, 0.05, Verdict::Refuted),
            (-0.08, 0.05, Verdict::NotResolved),
            (0.0, 0.5, Verdict::NotResolved),
        ] {
            assert_eq!(
                of_level(&higher, change, error),
                verdict,
                "{change} {error}"
            );
            assert_eq!(of_level(&claim("lower", 10.0), -change, error), verdict);
        }
        // Without a least difference the sign decides.
        assert_eq!(
            of_level(&claim("higher", 0.0), -0.01, 0.0),
            Verdict::Supported
        );
        assert_eq!(of_level(&claim("higher", 0.0), 0.01, 0.0), Verdict::Refuted);
        assert_eq!(of_level(&claim("higher", 0.0), 0.0, 0.0), Verdict::Refuted);
    }

    #[test]
    fn the_answer_opens_with_the_verdict_of_the_invented_formula() {
        let view = study("higher", 9.5);
        let sentences = hypothesis_sentences(&view);
        assert_eq!(answer(&view)[..sentences.len()], sentences);
        assert!(
            sentences[0].contains("with level ends")
                && sentences[0].contains("20\u{a0}mm away, by at least 9.5\u{a0}%"),
            "{}",
            sentences[0]
        );
        let table = hypothesis_table(&view).unwrap();
        let rows: Vec<&Vec<String>> = table
            .rows
            .iter()
            .map(|r| &r.cells)
            .filter(|c| !c.is_empty())
            .collect();
        assert_eq!(rows.len(), 2 * CASES.len());
        for (g, layout) in ["parallel", "orthogonal"].into_iter().enumerate() {
            for (c, (case, _)) in CASES.iter().enumerate() {
                // Oracle: the invented formula, which carries no error.
                let of = |s| hot_spot(layout, s, case) / hot_spot(layout, 0.0, case) - 1.0;
                let least = of(-20.0).max(of(20.0));
                let wanted = match least {
                    x if x <= -0.095 => "supported",
                    x if x > 0.095 => "refuted",
                    _ => "smaller than matters",
                };
                let row = rows[g * CASES.len() + c];
                assert_eq!(row[1], wanted, "{layout} {case}: {least}");
                for (cell, stagger) in row[2..].iter().zip([-20.0, 20.0]) {
                    let shown = cell
                        .split('\u{a0}')
                        .next()
                        .unwrap()
                        .replace('\u{2212}', "-");
                    let shown: f64 = shown.trim_start_matches(['+', '±']).parse().unwrap();
                    assert!((shown - 100.0 * of(stagger)).abs() < 0.501, "{cell}");
                }
                // The sentence says under the same verdict what the table says.
                let own = sentences[g + 1]
                    .split(';')
                    .find(|part| part.contains(&row[0]))
                    .unwrap();
                assert!(own.contains(wanted), "{own}");
            }
        }
        let csv = String::from_utf8(hypothesis_csv(&view).unwrap().unwrap()).unwrap();
        assert_eq!(csv.lines().count(), 1 + 2 * 2 * CASES.len());
    }

    #[test]
    fn each_mark_of_the_figure_stands_where_its_number_says() {
        let view = study("lower", 10.0);
        let charts = hypothesis_charts(&view);
        assert_eq!((charts.len(), hypothesis_legend(&view).len()), (2, 2));
        let change = hot_spot("parallel", 20.0, "axial") / hot_spot("parallel", 0.0, "axial") - 1.0;
        assert!(
            charts[0].contains(&format!("{} at stagger", percent(change))),
            "{}",
            charts[0]
        );
    }

    #[test]
    fn an_error_as_large_as_the_difference_leaves_it_unresolved() {
        let mut view = study("higher", 10.0);
        let response = view.lead().unwrap().clone();
        view.record.mesh_noise.insert(response, 0.5);
        for sentence in &hypothesis_sentences(&view)[1..] {
            assert!(sentence.contains("not resolved under axial"), "{sentence}");
            assert!(
                !sentence.contains("supported") && !sentence.contains("refuted"),
                "{sentence}"
            );
        }
        view.record.hypothesis = None;
        assert!(hypothesis_sentences(&view).is_empty() && hypothesis_charts(&view).is_empty());
        assert!(hypothesis_csv(&view).unwrap().is_none());
    }
}
