//! Published values beside the computed ones: `published.csv`, and the verdicts that the report shows.

use crate::error::StoreError;
use crate::record::{PointRecord, PublishedRecord, ResponseRecord, StudyRecord};
use crate::results::Gathered;
use crate::table_columns::PUBLISHED;
use std::path::Path;

/// Standard deviations of the published mean within which a computed value holds.
const DEVIATIONS: f64 = 2.0;

/// Verdict by the rule that the job states.
#[derive(Debug, Clone, PartialEq)]
pub enum PublishedVerdict {
    /// The computed value and its numerical error lie inside the band.
    Holds,
    /// They lie outside.
    Misses,
    /// The numerical error reaches across the band's end.
    Undecided,
    /// Shown without a verdict, with the reason.
    NoVerdict(String),
}

impl PublishedVerdict {
    /// The verdict in a word, with its reason where it is none.
    pub fn told(&self) -> String {
        match self {
            PublishedVerdict::Holds => "holds".into(),
            PublishedVerdict::Misses => "misses".into(),
            PublishedVerdict::Undecided => "undecided within the numerical error".into(),
            PublishedVerdict::NoVerdict(why) => format!("no verdict: {why}"),
        }
    }
}

/// A published value with the computed one.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// The published value.
    pub published: PublishedRecord,
    /// Unit of both; empty for a ratio.
    pub unit: String,
    /// Computed value.
    pub computed: Option<f64>,
    /// Its estimated discretisation error, of a ratio both added; `None` where one was not estimated.
    pub error: Option<f64>,
    /// Ends of the band that it must lie in; `None` where the job states none.
    pub band: Option<[f64; 2]>,
    /// Verdict.
    pub verdict: PublishedVerdict,
}

/// Sets the published values of a study beside those of its points.
pub fn compare_published(study: &StudyRecord, points: &[PointRecord]) -> Vec<Comparison> {
    let compare = |p: &PublishedRecord| {
        let at = |levels| reading(p, levels, points);
        let computed = match &p.over {
            None => at(&p.at),
            Some(over) => at(&p.at)
                .and_then(|a| Ok((a, divisor(at(over)?)?)))
                .map(|(a, b)| {
                    let ratio = a.0 / b.0;
                    let relative = a.1.zip(b.1).map(|(x, y)| (x / a.0).abs() + (y / b.0).abs());
                    (ratio, relative.map(|r| r * ratio.abs()))
                }),
        };
        let unit = match p.over {
            Some(_) => String::new(),
            None => {
                let mut columns = study.columns.iter();
                let own = columns.find(|(name, ..)| *name == p.response);
                own.map_or(String::new(), |c| c.1.clone())
            }
        };
        let half = match (p.band_percent, p.sd) {
            (Some(percent), _) => Some(p.value.abs() * percent / 100.0),
            (None, Some(sd)) => Some(DEVIATIONS * sd),
            (None, None) => None,
        };
        let band = half.map(|half| [p.value - half, p.value + half]);
        let verdict = match (&p.not_comparable, &computed, band) {
            (Some(why), ..) => {
                PublishedVerdict::NoVerdict(format!("not comparable, because {why}"))
            }
            (None, Err(why), _) => PublishedVerdict::NoVerdict(why.clone()),
            (None, Ok(_), None) => PublishedVerdict::NoVerdict("no band is stated".into()),
            (None, Ok(_), _) if p.read_from == "memory" => {
                PublishedVerdict::NoVerdict("the published value is from memory".into())
            }
            (None, Ok((value, error)), Some([low, high])) => {
                let error = error.unwrap_or(0.0);
                match (value - error, value + error) {
                    (a, b) if a >= low && b <= high => PublishedVerdict::Holds,
                    (a, b) if b < low || a > high => PublishedVerdict::Misses,
                    _ => PublishedVerdict::Undecided,
                }
            }
        };
        let computed = computed.ok();
        Comparison {
            published: p.clone(),
            unit,
            computed: computed.map(|c| c.0),
            error: computed.and_then(|c| c.1),
            band,
            verdict,
        }
    };
    study.published.iter().map(compare).collect()
}

/// A value that others can be divided by.
fn divisor(b: (f64, Option<f64>)) -> Result<(f64, Option<f64>), String> {
    match b.0 == 0.0 {
        true => Err("the value to divide by is zero".into()),
        false => Ok(b),
    }
}

/// Value and estimated error at the one point of some levels, or why there is none.
fn reading(
    p: &PublishedRecord,
    levels: &[(String, String)],
    points: &[PointRecord],
) -> Result<(f64, Option<f64>), String> {
    let is_at = |point: &&PointRecord| {
        // A point whose factor was moved is not at its level.
        let at_levels = point.moved_factors().is_empty();
        at_levels
            && levels.iter().all(|(factor, level)| {
                let own = point.factors.get(factor);
                own.is_some_and(|own| own.to_string() == *level)
            })
    };
    let mut found = points.iter().filter(is_at);
    let point = found
        .next()
        .ok_or("no computed point stands at these levels")?;
    if found.next().is_some() {
        return Err("several points have these levels".into());
    }
    let case = point.cases.iter().find(|c| c.name == p.case);
    let case = case.ok_or_else(|| format!("{} has no load case {}", point.id, p.case))?;
    let response = case.response(&p.response);
    if response.is_some_and(ResponseRecord::is_on_edge) {
        let why = "its value lies on an edge of the region in which it was sought";
        return Err(format!("at {} {why}", point.id));
    }
    let value = response.and_then(|r| Some((r.value?, r.error_estimate)));
    value.ok_or_else(|| format!("{} has no value of it", point.id))
}

/// The table as text, a row for each published value; `None` where the job has none.
///
/// # Errors
/// [`StoreError::NotStorable`] at `path`.
pub(crate) fn published_table(
    gathered: &Gathered,
    path: &Path,
) -> Result<Option<Vec<u8>>, StoreError> {
    let all = compare_published(&gathered.study, &gathered.points);
    if all.is_empty() {
        return Ok(None);
    }
    let written = rows(&all).map_err(|e| StoreError::NotStorable {
        path: path.to_path_buf(),
        reason: e.to_string(),
    })?;
    Ok(Some(written))
}

fn rows(all: &[Comparison]) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(PUBLISHED.map(|c| c.name))?;
    let number = |n: Option<f64>| n.map_or(String::new(), |n| n.to_string());
    for c in all {
        let p = &c.published;
        writer.write_record([
            p.name.clone(),
            p.response.to_string(),
            p.case.clone(),
            levels_in_words(&p.at),
            p.over.as_deref().map_or(String::new(), levels_in_words),
            c.unit.clone(),
            p.value.to_string(),
            number(p.sd),
            p.n.map_or(String::new(), |n| n.to_string()),
            number(c.band.map(|b| b[0])),
            number(c.band.map(|b| b[1])),
            number(c.computed),
            number(c.error),
            number(c.difference_percent()),
            c.verdict.told(),
            p.read_from.clone(),
            p.source.clone(),
        ])?;
    }
    writer.into_inner().map_err(|e| e.into_error().into())
}

/// Levels as a job writes them.
pub fn levels_in_words(levels: &[(String, String)]) -> String {
    let each = levels
        .iter()
        .map(|(factor, level)| format!("{factor} = {level}"));
    each.collect::<Vec<_>>().join("; ")
}

impl Comparison {
    /// Computed less published, per cent of the published value.
    pub fn difference_percent(&self) -> Option<f64> {
        let published = self.published.value;
        (published != 0.0).then(|| Some(100.0 * (self.computed? - published) / published.abs()))?
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::FactorValue;
    use crate::record::tests::sample_point;
    use bicolumn_response::Load;

    fn published(value: f64) -> PublishedRecord {
        PublishedRecord {
            name: "a".into(),
            response: Load::Stiffness.into(),
            case: "axial".into(),
            at: vec![("f".into(), "x".into())],
            over: None,
            value,
            sd: Some(25.0),
            n: Some(6),
            band_percent: None,
            source: "invented".into(),
            read_from: "table".into(),
            not_comparable: None,
        }
    }

    /// Points x and y with 500 and 250 N/mm, errors of 10 and 5.
    fn points() -> Vec<PointRecord> {
        [("p001", "x", 500.0), ("p002", "y", 250.0)]
            .into_iter()
            .map(|(id, level, value)| {
                let mut point = sample_point(id, 0.0);
                let level = FactorValue::Word(level.into());
                point.factors = [("f".to_string(), level)].into();
                let r = &mut point.cases[0].responses[0];
                (r.value, r.error_estimate) = (Some(value), Some(0.02 * value));
                point
            })
            .collect()
    }

    fn verdict(row: PublishedRecord) -> Comparison {
        let mut study = crate::results::tests::sample_study();
        study.published = vec![row];
        compare_published(&study, &points()).remove(0)
    }

    #[test]
    fn a_value_holds_with_all_of_its_error_or_not_at_all() {
        // Two standard deviations: 50 about the mean; the computed value is 500 with 10 of error.
        for (mean, expected) in [
            (530.0, PublishedVerdict::Holds),
            (545.0, PublishedVerdict::Undecided),
            (555.0, PublishedVerdict::Undecided),
            (565.0, PublishedVerdict::Misses),
            (450.0, PublishedVerdict::Undecided),
            (430.0, PublishedVerdict::Misses),
        ] {
            assert_eq!(verdict(published(mean)).verdict, expected, "{mean}");
        }
        let percent = PublishedRecord {
            band_percent: Some(1.0),
            ..published(530.0)
        };
        assert_eq!(verdict(percent).verdict, PublishedVerdict::Misses);
        let found = verdict(published(400.0));
        assert_eq!(found.difference_percent(), Some(25.0));
        assert_eq!(found.unit, "N/mm");
    }

    #[test]
    fn a_ratio_adds_the_relative_errors_of_both() {
        let found = verdict(PublishedRecord {
            over: Some(vec![("f".into(), "y".into())]),
            sd: None,
            band_percent: Some(10.0),
            ..published(2.1)
        });
        assert_eq!((found.computed, found.unit.as_str()), (Some(2.0), ""));
        assert!((found.error.unwrap() - 0.08).abs() < 1e-12);
        // 1.92 to 2.08 in 1.89 to 2.31.
        assert_eq!(found.verdict, PublishedVerdict::Holds);
    }

    #[test]
    fn what_cannot_be_compared_says_why() {
        let told = |row| verdict(row).verdict.told();
        let memory = PublishedRecord {
            read_from: "memory".into(),
            ..published(500.0)
        };
        assert_eq!(
            told(memory),
            "no verdict: the published value is from memory"
        );
        let apart = PublishedRecord {
            not_comparable: Some("its lever is not told".into()),
            ..published(500.0)
        };
        assert!(told(apart).ends_with("not comparable, because its lever is not told"));
        let anywhere = PublishedRecord {
            at: vec![],
            ..published(500.0)
        };
        assert_eq!(
            told(anywhere),
            "no verdict: several points have these levels"
        );
        let nowhere = PublishedRecord {
            case: "varus".into(),
            ..published(500.0)
        };
        assert_eq!(told(nowhere), "no verdict: p001 has no load case varus");
    }
}
