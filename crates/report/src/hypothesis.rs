//! The hypotheses of the job, each judged by construct and load case.
//!
//! A claim: with the baseline level of its factor its response is higher (or lower) than with every level
//! at least so far from it, by at least a share m of its value at the baseline. A level's difference from the baseline at
//! equal other factors is s of that value in the claimed direction, known to ± e: the estimates of the discretisation
//! error of both, or the mesh noise where that is larger. The level supports the claim where s − e reaches m; its
//! difference is smaller than matters where |s| + e stays below m; it refutes the claim where s + e does otherwise; else
//! it is not resolved. A difference that is not credited to the factor judges nothing.

use crate::distinct_cases::DistinctCase;
use crate::error::{ReportError, table_bytes};
use crate::labels::{capital, case_words, factor_words, level_words, with_unit};
use crate::number::{percent, plain};
use crate::study_view::{Change, Group, StudyView, value_of};
use crate::tables::{NONE, Row, Table, cells};
use crate::words::{baseline_words, listed};
use bicolumn_store::results::unit_of_key;
use bicolumn_store::table_columns::HYPOTHESIS;
use bicolumn_store::{FactorValue, HeadlineRecord, HypothesisRecord, PointRecord};

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
    pub(crate) const ALL: [Verdict; 5] = [
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
pub(crate) struct Judged {
    pub(crate) level: FactorValue,
    /// (value − baseline) over the baseline's size.
    pub(crate) change: f64,
    /// Error of `change`.
    pub(crate) error: f64,
    pub(crate) verdict: Verdict,
}

/// A construct under a load case.
pub(crate) struct Judgement {
    pub(crate) case: DistinctCase,
    pub(crate) verdict: Verdict,
    pub(crate) levels: Vec<Judged>,
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

/// A hypothesis with the part of the study that it is about, compared as it asks.
pub(crate) struct Hypothesis {
    pub(crate) claim: HypothesisRecord,
    pub(crate) view: StudyView,
}

/// The hypotheses of the job that compare levels.
pub(crate) fn hypotheses(view: &StudyView) -> Vec<Hypothesis> {
    let claims = view.record.hypotheses.iter();
    claims.filter_map(|c| Hypothesis::of(view, c)).collect()
}

impl Hypothesis {
    fn of(study: &StudyView, claim: &HypothesisRecord) -> Option<Hypothesis> {
        let headline = study.headline()?;
        let over = claim.over.as_ref().unwrap_or(&headline.over);
        let by = claim.by.as_ref().or(headline.by.as_ref());
        let asked = HeadlineRecord {
            response: claim
                .response
                .as_ref()
                .unwrap_or(&headline.response)
                .clone(),
            over: over.clone(),
            by: by.filter(|by| *by != over).cloned(),
        };
        let mut view = study.clone();
        view.record.headline = Some(asked);
        let is_at = |p: &PointRecord| {
            claim
                .at
                .iter()
                .all(|(key, level)| value_of(p, key).is_some_and(|own| own.to_string() == *level))
        };
        view.points.retain(is_at);
        if let Some(case) = &claim.case {
            for point in &mut view.points {
                point.cases.retain(|c| c.name == *case);
            }
        }
        Some(Hypothesis {
            claim: claim.clone(),
            view,
        })
    }

    /// Its name; "Hypothesis" for the one without.
    pub(crate) fn title(&self) -> String {
        match self.claim.name.as_str() {
            "" => "Hypothesis".into(),
            name => format!("Hypothesis {name}"),
        }
    }

    /// Baseline of the claim: zero where the design has it, otherwise its first level, whether it is solved or not.
    fn baseline(&self) -> Option<FactorValue> {
        let over = self.view.over()?;
        let factors = &self.view.record.factors;
        let (_, levels) = factors.iter().find(|(key, _)| key == over)?;
        let zero = FactorValue::Number(0.0);
        match levels.contains(&zero) {
            true => Some(zero),
            false => levels.first().cloned(),
        }
    }

    /// Levels that it is about, as far as they are solved; none without a solved baseline.
    pub(crate) fn levels(&self) -> Vec<FactorValue> {
        let solved = self.view.baseline();
        let Some(baseline) = self.baseline().filter(|b| Some(b) == solved.as_ref()) else {
            return Vec::new();
        };
        let is_far = |level: &FactorValue| match (level.as_number(), baseline.as_number()) {
            (Some(a), Some(b)) => (a - b).abs() >= self.claim.least_distance,
            _ => true,
        };
        let levels = self.view.levels().into_iter();
        levels.filter(|l| *l != baseline && is_far(l)).collect()
    }

    /// Constructs with their judgements by load case.
    pub(crate) fn judgements(&self) -> Vec<(Group<'_>, Vec<Judgement>)> {
        let groups = self.view.groups().into_iter();
        groups
            .map(|g| {
                let judged = self.of_group(&g);
                (g, judged)
            })
            .collect()
    }

    fn of_group(&self, group: &Group<'_>) -> Vec<Judgement> {
        let Some(name) = self.view.lead() else {
            return Vec::new();
        };
        let wanted = self.levels();
        let of_case = |case: DistinctCase| {
            let judged = |level: &FactorValue| {
                let found = self.view.compare(group, level, &case.name)?;
                let Change {
                    relative: change,
                    error,
                    ..
                } = found.change?;
                let verdict = match found.withheld {
                    Some(_) => Verdict::NotCredited,
                    None => of_level(&self.claim, change, error),
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
        let cases = self.view.distinct_cases(&[name]);
        cases.into_iter().filter_map(of_case).collect()
    }

    /// The claim in a sentence.
    pub(crate) fn claim_sentence(&self) -> Option<String> {
        let (view, claim) = (&self.view, &self.claim);
        let (over, baseline, name) = (view.over()?, self.baseline()?, view.lead()?);
        let factor = factor_words(over);
        let far = match claim.least_distance > 0.0 {
            true => {
                let distance = with_unit(&plain(claim.least_distance), unit_of_key(over));
                format!("every level of {factor} at least {distance} away")
            }
            false => format!("every other level of {factor}"),
        };
        let base = baseline_words(over, &baseline);
        let case = claim.case.as_ref();
        let case = case.map_or(String::new(), |c| format!("under {} ", case_words(c)));
        let at = claim.at.iter().map(|(key, level)| {
            let number = level.parse().map(FactorValue::Number);
            let level = number.unwrap_or_else(|_| FactorValue::Word(level.clone()));
            format!("at {} {}, ", factor_words(key), level_words(key, &level))
        });
        Some(format!(
            "{}: {}{case}with {base} the {} is {} than with {far}, by at least {}\u{a0}% of its value with {base}.",
            self.title(),
            at.collect::<String>(),
            name.words(),
            claim.baseline_is,
            plain(claim.least_difference_percent),
        ))
    }

    /// The verdict in a sentence: how many combinations of construct and load case have which.
    pub(crate) fn verdict_sentence(&self) -> String {
        let judged = self.judgements();
        let all: Vec<Verdict> = judged
            .iter()
            .flat_map(|(_, j)| j)
            .map(|j| j.verdict)
            .collect();
        let count = |verdict: Verdict| all.iter().filter(|v| **v == verdict).count();
        let occurring = Verdict::ALL.into_iter().filter(|v| count(*v) > 0);
        let occurring: Vec<Verdict> = occurring.collect();
        let by = self.view.headline().and_then(|h| h.by.as_deref());
        let combinations = match by.map(factor_words) {
            Some(factor) => format!("combinations of {factor} and load case"),
            None => "load cases".into(),
        };
        match (occurring.as_slice(), all.len()) {
            ([], _) => {
                "Not judged: no level that counts is solved together with the baseline.".into()
            }
            ([one], 1) => format!("{}.", capital(one.words())),
            ([one], n) => format!("{} in all {n} {combinations}.", capital(one.words())),
            ([first, others @ ..], n) => {
                let others = others
                    .iter()
                    .map(|v| format!("{} in {}", v.words(), count(*v)));
                format!(
                    "{} in {} of {n} {combinations}, {}.",
                    capital(first.words()),
                    count(*first),
                    listed(&others.collect::<Vec<_>>())
                )
            }
        }
    }

    fn over(&self) -> &str {
        self.view.over().unwrap_or_default()
    }

    /// Level, difference and error in words.
    pub(crate) fn difference_words(&self, judged: &Judged) -> String {
        let level = level_words(self.over(), &judged.level);
        format!(
            "{} at {} {level}",
            interval(judged),
            factor_words(self.over())
        )
    }

    /// Verdicts of each construct in a sentence, with the level that decides.
    pub(crate) fn construct_sentences(&self) -> Vec<String> {
        let sentence = |(group, judged): (Group<'_>, Vec<Judgement>)| {
            let of_verdict = |verdict: Verdict| {
                let own = judged.iter().filter(|j| j.verdict == verdict);
                let cases: Vec<String> = own
                    .map(|j| {
                        let deciding = j.deciding(&self.claim).map(|d| self.difference_words(d));
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
            match parts.is_empty() {
                true => {
                    format!(
                        "{label}: no level of the hypothesis has a partner to be compared with."
                    )
                }
                false => format!("{label}: {}.", parts.join("; ")),
            }
        };
        self.judgements().into_iter().map(sentence).collect()
    }

    /// Verdict and differences by construct and load case.
    pub(crate) fn table(&self) -> Table {
        let levels = self.levels();
        let head = |l| {
            format!(
                "{} {}",
                factor_words(self.over()),
                level_words(self.over(), l)
            )
        };
        let mut table = Table {
            caption: format!(
                "{}: difference from the baseline, of its value there",
                self.title()
            ),
            heads: ["load case".to_string(), "verdict".to_string()]
                .into_iter()
                .chain(levels.iter().map(head))
                .collect(),
            words: 2,
            ..Table::default()
        };
        for (group, judged) in self.judgements() {
            table.rows.push(Row {
                section: capital(&group.label),
                ..Row::default()
            });
            for judgement in judged {
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
        table
    }
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

/// The table `hypothesis.csv`: a row for each hypothesis, construct, load case and level; `None` for a job without one.
///
/// # Errors
/// [`ReportError`], if the rows cannot be written.
pub(crate) fn hypothesis_csv(view: &StudyView) -> Result<Option<Vec<u8>>, ReportError> {
    if view.record.hypotheses.is_empty() {
        return Ok(None);
    }
    let mut writer = csv::Writer::from_writer(vec![]);
    writer.write_record(HYPOTHESIS.map(|c| c.name))?;
    for hypothesis in hypotheses(view) {
        let response = hypothesis.view.lead().map(ToString::to_string);
        let response = response.unwrap_or_default();
        for (group, judged) in hypothesis.judgements() {
            for (j, l) in judged
                .iter()
                .flat_map(|j| j.levels.iter().map(move |l| (j, l)))
            {
                writer.write_record([
                    &hypothesis.claim.name,
                    &response,
                    hypothesis.over(),
                    &group.label,
                    &j.case.name,
                    &l.level.to_string(),
                    &(100.0 * l.change).to_string(),
                    &(100.0 * l.error).to_string(),
                    l.verdict.words(),
                    j.verdict.words(),
                ])?;
            }
        }
    }
    table_bytes(writer).map(Some)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hypothesis_chart::{hypothesis_charts, hypothesis_legend};
    use crate::synthetic::{CASES, hot_spot, synthetic_study};

    fn claim(baseline_is: &str, percent: f64) -> HypothesisRecord {
        HypothesisRecord {
            baseline_is: baseline_is.into(),
            least_distance: 20.0,
            least_difference_percent: percent,
            ..HypothesisRecord::default()
        }
    }

    fn study(baseline_is: &str, percent: f64) -> StudyView {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        view.record.hypotheses = vec![claim(baseline_is, percent)];
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
    fn sentences_table_and_file_say_what_the_invented_formula_gives() {
        let view = study("higher", 9.5);
        let all = hypotheses(&view);
        let [hypothesis] = all.as_slice() else {
            panic!("one hypothesis");
        };
        let claim = hypothesis.claim_sentence().unwrap();
        assert!(
            claim.contains("at least 20\u{a0}mm away") && claim.contains("9.5"),
            "{claim}"
        );
        let sentences = hypothesis.construct_sentences();
        let table = hypothesis.table();
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
                let own = sentences[g]
                    .split(';')
                    .find(|part| part.contains(&row[0]))
                    .unwrap();
                assert!(own.contains(wanted), "{own}");
            }
        }
        let csv = String::from_utf8(hypothesis_csv(&view).unwrap().unwrap()).unwrap();
        assert_eq!(csv.lines().count(), 1 + 2 * 2 * CASES.len());
        // The verdict counts the rows of the table.
        let verdict = hypothesis.verdict_sentence().to_lowercase();
        assert!(
            verdict.contains(&format!("of {} combinations", rows.len())),
            "{verdict}"
        );
        for word in Verdict::ALL.map(Verdict::words) {
            match rows.iter().filter(|r| r[1] == word).count() {
                0 => assert!(!verdict.contains(word), "{verdict}"),
                n => assert!(verdict.contains(&format!("{word} in {n}")), "{verdict}"),
            }
        }
    }

    #[test]
    fn several_hypotheses_are_judged_each_by_its_own_factor_points_and_case() {
        let mut view = study("higher", 9.5);
        view.record.hypotheses.push(HypothesisRecord {
            name: "layout".into(),
            over: Some("construct.layout".into()),
            by: Some("plates.stagger_mm".into()),
            at: vec![("plates.stagger_mm".into(), "20".into())],
            case: Some("axial".into()),
            least_distance: 0.0,
            ..claim("lower", 1.0)
        });
        let all = hypotheses(&view);
        let judged = all[1].judgements();
        let [(group, judgements)] = judged.as_slice() else {
            panic!("one stagger");
        };
        assert_eq!(group.label, "stagger +20\u{a0}mm");
        let [judgement] = judgements.as_slice() else {
            panic!("one load case");
        };
        let at = |layout| hot_spot(layout, 20.0, "axial");
        let change = at("orthogonal") / at("parallel") - 1.0;
        assert!((judgement.levels[0].change - change).abs() < 1e-12);
        let wanted = of_level(&all[1].claim, change, judgement.levels[0].error);
        assert_eq!(judgement.verdict, wanted);
        let claim = all[1].claim_sentence().unwrap();
        assert!(
            claim.starts_with("Hypothesis layout: at stagger +20\u{a0}mm, under axial"),
            "{claim}"
        );
        let csv = String::from_utf8(hypothesis_csv(&view).unwrap().unwrap()).unwrap();
        assert_eq!(csv.lines().filter(|l| l.starts_with("layout,")).count(), 1);
    }

    #[test]
    fn each_mark_of_the_figure_stands_where_its_number_says() {
        let view = study("lower", 10.0);
        let hypothesis = &hypotheses(&view)[0];
        let charts = hypothesis_charts(hypothesis);
        assert_eq!((charts.len(), hypothesis_legend(hypothesis).len()), (2, 2));
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
        for sentence in hypotheses(&view)[0].construct_sentences() {
            assert!(sentence.contains("not resolved under axial"), "{sentence}");
            assert!(
                !sentence.contains("supported") && !sentence.contains("refuted"),
                "{sentence}"
            );
        }
        // Without its baseline the claim stays as it is, and nothing is judged.
        let mut without = view.clone();
        without
            .points
            .retain(|p| p.factors["plates.stagger_mm"] != FactorValue::Number(0.0));
        let all = hypotheses(&without);
        assert_eq!(
            all[0].claim_sentence(),
            hypotheses(&view)[0].claim_sentence()
        );
        assert!(all[0].verdict_sentence().starts_with("Not judged"));
        assert!(
            all[0]
                .judgements()
                .iter()
                .all(|(_, judged)| judged.is_empty())
        );
        view.record.hypotheses.clear();
        assert!(hypotheses(&view).is_empty());
        assert!(hypothesis_csv(&view).unwrap().is_none());
    }
}
