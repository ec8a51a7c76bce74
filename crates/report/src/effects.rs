//! Effects on the responses of a study: main effects and interactions of its factors, as a table of the headline
//! and as a file of all responses.

use crate::error::{ReportError, table_bytes};
use crate::labels::{factor_words, level_words, shown_unit};
use crate::number::Decimals;
use crate::observed::Observed;
use crate::study_view::StudyView;
use crate::tables::{NONE, Row, Table, cells};
use bicolumn_response::ResponseName;
use bicolumn_stats::{
    Design, DesignError, Line, Rest, Term, Variation, analyse, f_probability, pure_error,
};
use bicolumn_store::FactorValue;
use bicolumn_store::table_columns::EFFECTS;

/// Probability below which an effect is more than the scatter of replicates (common practice, no source).
const LEVEL: f64 = 0.05;

/// A response over the points of a study, by the levels of its factors.
struct Spread<'a> {
    /// Factors with the levels that occur.
    factors: Vec<(&'a str, Vec<&'a FactorValue>)>,
    variation: Variation,
    /// Largest value minus the smallest.
    range: f64,
    /// Twice the mean size of the estimated discretisation errors: a difference below it may be the meshes';
    /// `None` unless every point has an estimate.
    doubt: Option<f64>,
    /// Mesh noise on record, in the response's unit at the mean.
    noise: f64,
    /// Scatter of replicates on other meshes.
    pure_error: Option<Rest>,
}

impl<'a> Spread<'a> {
    /// `None` unless two factors vary over the points that have the response, or one that has replicates.
    fn of(
        view: &'a StudyView,
        case: &str,
        name: &ResponseName,
    ) -> Option<Result<Self, DesignError>> {
        // A drawn design has as many levels as points.
        if view.record.drawn.is_some() {
            return None;
        }
        let observed = Observed::of(view, case, name)?;
        let mut factors = vec![];
        let mut points = vec![vec![]; observed.points.len()];
        for (key, levels) in view.analysed_factors() {
            let at_points = observed.levels_of(key)?;
            let levels: Vec<&FactorValue> =
                levels.iter().filter(|l| at_points.contains(l)).collect();
            if levels.len() < 2 {
                continue;
            }
            for (point, level) in points.iter_mut().zip(at_points) {
                point.push(levels.iter().position(|l| *l == level)?);
            }
            factors.push((key.as_str(), levels));
        }
        // The levels of one factor are compared elsewhere; against replicates its effect is tested here.
        if factors.len() < if view.has_replicates() { 1 } else { 2 } {
            return None;
        }
        let levels = factors.iter().map(|(_, levels)| levels.len()).collect();
        let design = Design::new(levels, points);
        let repeats = design.as_ref().ok();
        let pure_error = repeats.and_then(|d| pure_error(d.points(), &observed.values));
        let variation = design.and_then(|d| analyse(&d, &observed.values));
        Some(variation.map(|variation| Spread {
            factors,
            variation,
            range: observed.range(),
            noise: observed.noise_sd,
            doubt: observed.doubt,
            pure_error,
        }))
    }

    fn term_words(&self, term: Term) -> String {
        let words = |f: usize| factor_words(self.factors[f].0);
        match term {
            Term::Main(f) => words(f),
            Term::Pair(a, b) => format!("{} with {}", words(a), words(b)),
        }
    }

    /// Keys of a term's factors.
    fn term_keys(&self, term: Term) -> String {
        match term {
            Term::Main(f) => self.factors[f].0.into(),
            Term::Pair(a, b) => format!("{} x {}", self.factors[a].0, self.factors[b].0),
        }
    }

    /// Levels at which an effect of a line is found, by `word`.
    fn place(
        &self,
        line: &Line,
        effect: usize,
        word: impl Fn(&str, &FactorValue) -> String,
    ) -> String {
        let level = |f: usize, l: usize| word(self.factors[f].0, self.factors[f].1[l]);
        match line.term {
            Term::Main(f) => level(f, effect),
            Term::Pair(a, b) => {
                let of_second = self.factors[b].1.len();
                let (one, other) = (effect / of_second, effect % of_second);
                format!("{}, {}", level(a, one), level(b, other))
            }
        }
    }

    /// More than estimated errors and mesh noise; where there are replicates, improbable as their scatter, too.
    fn is_resolved(&self, line: &Line) -> bool {
        line.swing() >= self.doubt.unwrap_or(0.0).max(self.noise)
            && self.tested(line).is_none_or(|(_, p)| p < LEVEL)
    }

    /// Mean square of a line over that of the replicates, and the probability that their scatter alone makes it so large.
    fn tested(&self, line: &Line) -> Option<(f64, f64)> {
        let pure = self.pure_error.filter(|p| p.squares > 0.0)?;
        let ratio = line.squares / line.freedom as f64 / (pure.squares / pure.freedom as f64);
        Some((ratio, f_probability(ratio, line.freedom, pure.freedom)))
    }

    /// Do the points differ by more than the last printed digit, the mesh noise and the error estimates? Shares of a
    /// spread that is none say nothing.
    fn has_shares(&self, decimals: Decimals) -> bool {
        let least = self.doubt.unwrap_or(0.0).max(self.noise);
        self.range >= least.max(decimals.last_place())
    }

    /// Sum of the shares of all lines and of the rest; 1 where the factors were varied independently.
    fn sum_of_shares(&self) -> f64 {
        let lines = self.variation.lines.iter().map(|l| l.share);
        lines.sum::<f64>() + self.variation.rest.share
    }
}

/// Effects on the headline, by load case; `None` where fewer than two factors vary.
pub(crate) fn effect_table(view: &StudyView) -> Option<Table> {
    let headline = view.headline()?;
    let decimals = view.decimals(&headline.response);
    let replicated = view.has_replicates();
    let mut rows = vec![];
    for case in view.distinct_cases(&[&headline.response]) {
        let Some(spread) = Spread::of(view, &case.name, &headline.response) else {
            continue;
        };
        rows.push(Row {
            section: case.words(),
            ..Row::default()
        });
        let spread = match spread {
            Ok(spread) => spread,
            Err(reason) => {
                rows.push(Row {
                    cells: vec!["no effects".into()],
                    note: reason.to_string(),
                    ..Row::default()
                });
                continue;
            }
        };
        let has_shares = spread.has_shares(decimals);
        let share = |value: f64| match has_shares {
            true => share(value),
            false => "–".into(),
        };
        for line in &spread.variation.lines {
            let [least, most] = line.ends();
            let mark = match spread.is_resolved(line) {
                true => "",
                false => " (not resolved)",
            };
            let mut row = vec![
                spread.term_words(line.term),
                spread.place(line, least, level_words),
                spread.place(line, most, level_words),
                format!("{}{mark}", decimals.show(line.swing())),
                share(line.share),
            ];
            if replicated {
                row.push(tested_words(spread.tested(line)));
            }
            rows.push(cells(row));
        }
        let blank = |words: &str, of: f64| {
            let mut row = vec![String::new(); if replicated { 6 } else { 5 }];
            (row[0], row[4]) = (words.into(), share(of));
            cells(row)
        };
        let rest = spread.variation.rest;
        let pure = spread.pure_error.map_or((0, 0.0), |p| (p.freedom, p.share));
        if rest.freedom > pure.0 {
            // The scatter of replicates is part of what is left and has a line of its own.
            let left = (rest.share - pure.1).max(0.0);
            rows.push(blank(rest_words(&spread.variation), left));
        }
        if pure.0 > 0 {
            rows.push(blank("replicates on other meshes", pure.1));
        }
        if let Some(note) = note_on_shares(&spread, has_shares) {
            rows.push(Row {
                cells: vec![String::new()],
                note: note.into(),
                ..Row::default()
            });
        }
    }
    let unit = shown_unit(view.unit(&headline.response));
    (!rows.is_empty()).then(|| Table {
        caption: format!(
            "Effects of the factors on the {}",
            headline.response.words()
        ),
        heads: [
            "factor".into(),
            "least at".into(),
            "most at".into(),
            format!("from least to most, {unit}"),
            "share of the variation".into(),
        ]
        .into_iter()
        .chain(replicated.then(|| "F against replicates (p)".into()))
        .collect(),
        rows,
        words: 3,
    })
}

/// Ratio of mean squares with its probability.
fn tested_words(tested: Option<(f64, f64)>) -> String {
    match tested {
        None => NONE.into(),
        Some((ratio, p)) => {
            let p = match p < 0.001 {
                true => "<0.001".into(),
                false => format!("{p:.3}"),
            };
            format!("{} ({p})", Decimals::of(std::iter::once(ratio)).show(ratio))
        }
    }
}

/// Remark on the shares of a load case, where there is one.
fn note_on_shares(spread: &Spread<'_>, has_shares: bool) -> Option<&'static str> {
    const ROUNDING: f64 = 0.005;
    if !has_shares {
        return Some("the points differ by less than can be told apart: no shares");
    }
    let off = (spread.sum_of_shares() - 1.0).abs();
    (off > ROUNDING).then_some(
        "the shares do not add up to 100\u{a0}%: not every combination of levels has a result, so the factors' \
         parts overlap or leave gaps",
    )
}

/// Most terms that the sentence names.
const MOST_NAMED: usize = 3;

/// How much of the headline's variation the terms make that matter most, over the load cases.
pub(crate) fn effects_sentence(view: &StudyView) -> Option<String> {
    let headline = view.headline()?;
    let decimals = view.decimals(&headline.response);
    // Each term with its least and its largest share, over the load cases under which the points differ.
    let mut terms: Vec<(String, [f64; 2])> = vec![];
    let mut alike: Vec<String> = vec![];
    for case in view.distinct_cases(&[&headline.response]) {
        let Some(Ok(spread)) = Spread::of(view, &case.name, &headline.response) else {
            continue;
        };
        if !spread.has_shares(decimals) {
            alike.push(case.words());
            continue;
        }
        for line in &spread.variation.lines {
            let words = match line.term {
                Term::Main(_) => spread.term_words(line.term),
                Term::Pair(..) => format!("{} together", spread.term_words(line.term)),
            };
            match terms.iter_mut().find(|(w, _)| *w == words) {
                Some((_, [least, most])) => {
                    (*least, *most) = (least.min(line.share), most.max(line.share));
                }
                None => terms.push((words, [line.share; 2])),
            }
        }
    }
    terms.sort_by(|a, b| b.1[1].total_cmp(&a.1[1]));
    let of = |(words, [least, most]): &(String, [f64; 2])| {
        let [least, most] = [least, most].map(|s| format!("{:.0}", 100.0 * s));
        match least == most {
            true => format!("{words} accounts for {most}\u{a0}%"),
            false => format!("{words} accounts for {least} to {most}\u{a0}%"),
        }
    };
    let named: Vec<String> = terms.iter().take(MOST_NAMED).map(of).collect();
    let mut sentences = vec![];
    if !named.is_empty() {
        sentences.push(format!(
            "Of the variation between points, by load case, {}.",
            named.join(", ")
        ));
    }
    if !named.is_empty() && !view.record.aliases.is_empty() {
        sentences.push(aliased_sentence(&view.record.aliases));
    }
    if !alike.is_empty() {
        sentences.push(format!(
            "Under {} the points differ by less than can be told apart.",
            alike.join(", ")
        ));
    }
    (!sentences.is_empty()).then(|| sentences.join(" "))
}

/// Sentence on the effects that the design confounds, the first few of them by name.
fn aliased_sentence(aliases: &[String]) -> String {
    let named = aliases.iter().take(MOST_NAMED).map(String::as_str);
    let named: Vec<&str> = named.collect();
    let more = match aliases.len() - named.len() {
        0 => String::new(),
        n => format!("; and {n} more, all in study.json"),
    };
    format!(
        "The design does not tell these effects apart, so that a share of one may be another's: {}{more}.",
        named.join("; ")
    )
}

/// Terms of the linear models that the effects come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum ModelTerms {
    /// Main effects, for every response with effects.
    Mains,
    /// Main effects and interactions of two factors, for at least one response.
    Pairs,
}

/// Terms fitted to the responses of a study; `None` where no response has effects.
pub(crate) fn model_terms(view: &StudyView) -> Option<ModelTerms> {
    let mut terms = None;
    for case in view.cases() {
        for (name, ..) in &view.record.columns {
            match Spread::of(view, &case, name) {
                Some(Ok(spread)) if !spread.variation.without_pairs => {
                    return Some(ModelTerms::Pairs);
                }
                Some(Ok(_)) => terms = Some(ModelTerms::Mains),
                _ => {}
            }
        }
    }
    terms
}

fn rest_words(variation: &Variation) -> &'static str {
    match variation.without_pairs {
        true => "the rest: factors together",
        false => "the rest: three factors or more together",
    }
}

fn share(share: f64) -> String {
    format!("{:.1}\u{a0}%", 100.0 * share)
}

/// The table `effects.csv`: a row for each load case, response and term; `None` where fewer than two factors vary. A
/// load case that is another's reverse has no rows of its own for a response of equal size: `reverse_case` names it.
///
/// # Errors
/// [`ReportError`], if the rows cannot be written.
pub(crate) fn effects_csv(view: &StudyView) -> Result<Option<Vec<u8>>, ReportError> {
    let mut writer = csv::Writer::from_writer(vec![]);
    writer.write_record(EFFECTS.map(|c| c.name))?;
    let mut is_empty = true;
    let bare = |_: &str, level: &FactorValue| level.to_string();
    let columns = view.record.columns.iter();
    let distinct: Vec<_> = columns
        .map(|(name, unit, _)| (name, unit, view.distinct_cases(&[name])))
        .collect();
    for case in view.cases() {
        for (name, unit, cases) in &distinct {
            let Some(of) = cases.iter().find(|c| c.name == case) else {
                continue;
            };
            let Some(Ok(spread)) = Spread::of(view, &case, name) else {
                continue;
            };
            let reverse = of.reverse.clone().unwrap_or_default();
            is_empty = false;
            let doubt = spread.doubt.map_or(String::new(), |d| d.to_string());
            for line in &spread.variation.lines {
                let [least, most] = line.ends();
                let tested = spread.tested(line);
                writer.write_record([
                    case.clone(),
                    name.to_string(),
                    unit.to_string(),
                    spread.term_keys(line.term),
                    line.freedom.to_string(),
                    line.squares.to_string(),
                    line.share.to_string(),
                    line.swing().to_string(),
                    spread.place(line, least, bare),
                    spread.place(line, most, bare),
                    doubt.clone(),
                    tested.map_or(String::new(), |t| t.0.to_string()),
                    tested.map_or(String::new(), |t| t.1.to_string()),
                    reverse.clone(),
                ])?;
            }
            let own = spread.pure_error.map(|pure| ("pure_error", pure));
            for (term, rest) in std::iter::once(("rest", spread.variation.rest)).chain(own) {
                let mut row = vec![
                    case.clone(),
                    name.to_string(),
                    unit.to_string(),
                    term.into(),
                    rest.freedom.to_string(),
                    rest.squares.to_string(),
                    rest.share.to_string(),
                ];
                row.extend(vec![String::new(); 6]);
                row.push(reverse.clone());
                writer.write_record(row)?;
            }
        }
    }
    let bytes = table_bytes(writer)?;
    Ok((!is_empty).then_some(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::{CASES, HEADLINE, hot_spot, replicated, synthetic_study};
    use bicolumn_response::{Load, ResponseId};

    #[test]
    fn effects_are_tested_against_the_scatter_of_replicates() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        assert!(!view.has_replicates() && view.replicate_freedom.is_none());
        replicated(&mut view);
        // Six places of three poses; deviations of 0.1 about each mean, 0.05 about the first.
        let squares = 5.0 * 2.0 * 0.1f64.powi(2) + 2.0 * 0.05f64.powi(2);
        let spread = Spread::of(&view, "axial", &HEADLINE).unwrap().unwrap();
        let pure = spread.pure_error.unwrap();
        assert_eq!(pure.freedom, 12);
        assert!((pure.squares / squares - 1.0).abs() < 1e-9);
        assert_eq!(spread.factors.len(), 2, "the pose is no factor");
        let line = &spread.variation.lines[0];
        let (ratio, p) = spread.tested(line).unwrap();
        let expected = line.squares / line.freedom as f64 / (squares / 12.0);
        assert!((ratio / expected - 1.0).abs() < 1e-9);
        assert!((0.0..1.0).contains(&p));
        let is_more_than_noise = line.swing() >= spread.noise;
        assert_eq!(spread.is_resolved(line), p < LEVEL && is_more_than_noise);
        // The mesh noise is that scatter over the mean, the largest of the load cases: the axial case is the smallest.
        assert_eq!(view.replicate_freedom, Some(12));
        let of_axial = (squares / 12.0).sqrt() / spread.variation.mean;
        assert!((view.noise().unwrap() / of_axial - 1.0).abs() < 1e-9);
        let table = effect_table(&view).unwrap();
        assert_eq!(table.heads.len(), 6);
        let row = table.rows.iter().find(|r| r.cells.len() == 6).unwrap();
        assert_eq!(row.cells[5], tested_words(Some((ratio, p))));
        let pure_row = table.rows.iter().find(|r| {
            r.cells
                .first()
                .is_some_and(|c| c == "replicates on other meshes")
        });
        assert_eq!(pure_row.unwrap().cells[4], share(pure.share));
        let bytes = effects_csv(&view).unwrap().unwrap();
        let text = String::from_utf8(bytes).unwrap();
        assert!(text.contains(",pure_error,12,"));
        let told = crate::words::told(&view).join(" ");
        assert!(told.contains("12 degrees of freedom"), "{told}");
        // Models and draws take the mean over the replicates, whose noise is less by √3.
        let all = Observed::of(&view, "axial", &HEADLINE).unwrap();
        let (first, noise) = (all.values[..3].iter().sum::<f64>() / 3.0, all.noise_sd);
        let means = all.over_replicates(&view);
        assert_eq!(
            (means.points.len(), means.points[1].id.as_str()),
            (6, "p002-0")
        );
        assert!((means.values[0] - first).abs() < 1e-12);
        assert!((means.noise_sd * 3f64.sqrt() / noise - 1.0).abs() < 1e-12);
    }

    #[test]
    fn effects_that_the_design_confounds_are_named_beside_the_shares() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        assert!(!effects_sentence(&view).unwrap().contains("apart"));
        view.record.aliases = (0..MOST_NAMED + 2)
            .map(|i| format!("a = b × {i}"))
            .collect();
        let text = effects_sentence(&view).unwrap();
        let told = "does not tell these effects apart, so that a share of one may be another's: a = b × 0; ";
        assert!(
            text.contains(told) && text.contains("; and 2 more, all in study.json"),
            "{text}"
        );
    }

    #[test]
    fn the_table_gives_what_the_invented_formula_does() {
        let (_temp, folder) = synthetic_study();
        let view = StudyView::read(folder).unwrap();
        let table = effect_table(&view).unwrap();
        // A section and three lines for each load case; nothing is left over.
        assert_eq!(table.rows.len(), 4 * CASES.len());
        let case = CASES[0].0;
        let mean = |layout: &str| -> f64 {
            let each = [-20.0, 0.0, 20.0].map(|s| hot_spot(layout, s, case));
            each.iter().sum::<f64>() / 3.0
        };
        let swing = (mean("parallel") - mean("orthogonal")).abs();
        let decimals = view.decimals(&HEADLINE);
        let of_layout = &table.rows[1].cells;
        assert_eq!(of_layout[0], "layout");
        assert!(
            of_layout[3].starts_with(&decimals.show(swing)),
            "{of_layout:?}"
        );
        assert_eq!(table.rows[3].cells[0], "layout with stagger");
        let shares = table.rows[1..4].iter().map(|r| {
            let text = r.cells[4].trim_end_matches("\u{a0}%");
            text.parse::<f64>().unwrap()
        });
        assert!((shares.sum::<f64>() - 100.0).abs() < 0.2);
    }

    #[test]
    fn the_file_holds_every_response_and_names_levels_as_the_job_does() {
        let (_temp, folder) = synthetic_study();
        let view = StudyView::read(folder).unwrap();
        let bytes = effects_csv(&view).unwrap().unwrap();
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        let rows: Vec<csv::StringRecord> = reader.records().map(|r| r.unwrap()).collect();
        let of = |response: &str| rows.iter().filter(|r| &r[1] == response).count();
        assert_eq!(of(&HEADLINE.to_string()), 4 * CASES.len());
        assert_eq!(
            of(&ResponseId::from(Load::Stiffness).name()),
            4 * CASES.len()
        );
        let pair = rows.iter().find(|r| r[3].contains(" x ")).unwrap();
        assert_eq!(&pair[3], "construct.layout x plates.stagger_mm");
        assert!(pair[8].contains("parallel") || pair[8].contains("orthogonal"));
    }

    #[test]
    fn a_load_case_that_is_anothers_reverse_has_no_rows_of_its_own() {
        let view = crate::distinct_cases::tests::with_a_reversed_pair();
        let bytes = effects_csv(&view).unwrap().unwrap();
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        let rows: Vec<csv::StringRecord> = reader.records().map(|r| r.unwrap()).collect();
        let (first, second) = (CASES[1].0, CASES[2].0);
        assert!(rows.iter().all(|r| &r[0] != second));
        for row in &rows {
            let reverse = if &row[0] == first { second } else { "" };
            assert_eq!(&row[13], reverse, "{row:?}");
        }
        let of_headline = rows.iter().filter(|r| r[1] == HEADLINE.to_string());
        assert_eq!(of_headline.count(), 4 * (CASES.len() - 1));
    }

    #[test]
    fn the_sentence_gives_the_shares_of_the_table() {
        let (_temp, folder) = synthetic_study();
        let view = StudyView::read(folder).unwrap();
        let sentence = effects_sentence(&view).unwrap();
        let table = effect_table(&view).unwrap();
        let rows = table.rows.iter().filter(|r| r.section.is_empty());
        let of_stagger = rows.filter(|r| r.cells[0] == "stagger");
        let shares = of_stagger.map(|r| {
            let text = r.cells[4].trim_end_matches("\u{a0}%");
            text.parse::<f64>().unwrap()
        });
        let (least, most) = shares.fold((100.0, 0.0), |(l, m): (f64, f64), s| (l.min(s), m.max(s)));
        let words = format!("stagger accounts for {least:.0} to {most:.0}\u{a0}%");
        assert!(sentence.contains(&words), "{sentence}: {words}");
    }

    /// The invented study with all values of the headline drawn towards one by a factor.
    fn nearly_alike(factor: f64) -> StudyView {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        let name = view.lead().unwrap().clone();
        for case in view.points.iter_mut().flat_map(|p| &mut p.cases) {
            for r in case.responses.iter_mut().filter(|r| r.name == name) {
                r.value = r.value.map(|v| 30.0 + factor * v);
            }
        }
        view
    }

    #[test]
    fn a_spread_of_nothing_has_no_shares() {
        let text = |view: &StudyView| {
            let table = effect_table(view).unwrap();
            let cells = table.rows.iter().flat_map(|r| r.cells.clone());
            let told = cells.collect::<Vec<_>>().join(" ");
            let notes = table
                .rows
                .iter()
                .map(|r| r.note.clone())
                .collect::<String>();
            (told, notes, effects_sentence(view).unwrap())
        };
        let (cells, notes, sentence) = text(&nearly_alike(1e-4));
        assert!(
            !cells.contains('%') && notes.contains("no shares"),
            "{cells} {notes}"
        );
        assert!(!sentence.contains('%'), "{sentence}");
        assert!(sentence.starts_with("Under axial,"), "{sentence}");
        let (cells, notes, sentence) = text(&nearly_alike(1.0));
        assert!(cells.contains('%') && notes.is_empty(), "{cells} {notes}");
        assert!(
            sentence.contains('%') && !sentence.contains("told apart"),
            "{sentence}"
        );
        // Mesh noise on record is a resolution, too.
        let mut view = nearly_alike(1.0);
        let name = view.lead().unwrap().clone();
        view.record.mesh_noise.insert(name, 0.9);
        assert!(!text(&view).0.contains('%'));
    }

    #[test]
    fn shares_that_do_not_add_up_say_so() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        // One at a time: level ends in both layouts, the others in one.
        view.points.retain(|p| {
            let is_level = p.factors["plates.stagger_mm"] == FactorValue::Number(0.0);
            is_level || p.factors["construct.layout"] == FactorValue::Word("parallel".into())
        });
        let table = effect_table(&view).unwrap();
        let notes = table
            .rows
            .iter()
            .filter(|r| r.note.contains("do not add up"));
        assert!(notes.count() > 0, "{:?}", table.rows);
    }

    #[test]
    fn one_factor_alone_has_no_table() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        view.record.factors.remove(0);
        assert!(effect_table(&view).is_none());
        assert!(effects_csv(&view).unwrap().is_none());
        assert_eq!(model_terms(&view), None);
    }

    #[test]
    fn pairs_are_fitted_where_the_points_suffice() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        assert_eq!(model_terms(&view), Some(ModelTerms::Pairs));
        // One at a time from level ends of the parallel layout.
        view.points.retain(|p| {
            let is_level = p.factors["plates.stagger_mm"] == FactorValue::Number(0.0);
            is_level || p.factors["construct.layout"] == FactorValue::Word("parallel".into())
        });
        assert_eq!(model_terms(&view), Some(ModelTerms::Mains));
    }
}
