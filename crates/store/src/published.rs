//! Published values beside the computed ones: ratio, interval over what the source does not tell, verdict.

use crate::published_record::{PublishedOrder, PublishedRecord};
use crate::record::{PointRecord, ResponseRecord, StudyRecord};
use bicolumn_response::ResponseName;

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
    /// Another verdict at other levels of the factors named, which the source does not tell.
    Depends(Vec<String>),
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
            PublishedVerdict::Depends(on) => {
                format!(
                    "depends on what the source does not tell: {}",
                    on.join(", ")
                )
            }
            PublishedVerdict::NoVerdict(why) => format!("no verdict: {why}"),
        }
    }
}

/// Band that the computed value must lie in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Lower end; `None`: open.
    pub low: Option<f64>,
    /// Upper end; `None`: open.
    pub high: Option<f64>,
}

impl Band {
    /// Band of a published value; `None` where the job states none.
    fn of(p: &PublishedRecord) -> Option<Band> {
        match p.order {
            Some(PublishedOrder::Greater) => Some(Band {
                low: Some(1.0),
                high: None,
            }),
            Some(PublishedOrder::Smaller) => Some(Band {
                low: None,
                high: Some(1.0),
            }),
            None => {
                let value = p.value?;
                let half = match (p.band_percent, p.sd) {
                    (Some(percent), _) => value.abs() * percent / 100.0,
                    (None, Some(sd)) => DEVIATIONS * sd,
                    (None, None) => return None,
                };
                Some(Band {
                    low: Some(value - half),
                    high: Some(value + half),
                })
            }
        }
    }

    fn verdict(&self, (value, error): Reading) -> PublishedVerdict {
        let error = error.unwrap_or(0.0);
        let is_above = |x: f64| self.low.is_none_or(|low| x >= low);
        let is_below = |x: f64| self.high.is_none_or(|high| x <= high);
        let (least, most) = (value - error, value + error);
        if is_above(least) && is_below(most) {
            return PublishedVerdict::Holds;
        }
        match is_above(most) && is_below(least) {
            true => PublishedVerdict::Undecided,
            false => PublishedVerdict::Misses,
        }
    }
}

/// Least and greatest computed value over the factors that the source does not tell.
#[derive(Debug, Clone, PartialEq)]
pub struct Interval {
    /// Least value.
    pub low: f64,
    /// Levels that it stands at.
    pub low_at: Vec<(String, String)>,
    /// Greatest value.
    pub high: f64,
    /// Levels that it stands at.
    pub high_at: Vec<(String, String)>,
}

/// A published value with the computed one.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// The published value.
    pub published: PublishedRecord,
    /// Unit of both; empty for a ratio.
    pub unit: String,
    /// Computed value, at the first levels of what the source does not tell.
    pub computed: Option<f64>,
    /// Its estimated discretisation error, of a ratio both added; `None` where one was not estimated.
    pub error: Option<f64>,
    /// Interval over what the source does not tell; `None` where the job names nothing of it.
    pub interval: Option<Interval>,
    /// Band that it must lie in; `None` where the job states none.
    pub band: Option<Band>,
    /// Verdict.
    pub verdict: PublishedVerdict,
}

/// Value and estimated discretisation error.
type Reading = (f64, Option<f64>);

/// Levels of the factors that the source does not tell, with the value there.
type AtLevels = Vec<(Vec<(String, String)>, Reading)>;

/// Sets the published values of a study beside those of its points.
pub fn compare_published(study: &StudyRecord, points: &[PointRecord]) -> Vec<Comparison> {
    let all = study.published.iter();
    all.map(|p| compare(p, study, points)).collect()
}

fn compare(p: &PublishedRecord, study: &StudyRecord, points: &[PointRecord]) -> Comparison {
    let values = values(p, points);
    let band = Band::of(p);
    let verdict = match (&p.not_comparable, &values, band) {
        (Some(why), ..) => PublishedVerdict::NoVerdict(format!("not comparable, because {why}")),
        (None, Err(why), _) => PublishedVerdict::NoVerdict(why.clone()),
        (None, Ok(_), None) => PublishedVerdict::NoVerdict("no band is stated".into()),
        (None, Ok(_), _) if p.read_from == "memory" => {
            PublishedVerdict::NoVerdict("the published value is from memory".into())
        }
        (None, Ok(values), Some(band)) => {
            let mut each = values.iter().map(|(_, value)| band.verdict(*value));
            let first = each.next().unwrap_or(PublishedVerdict::Undecided);
            match each.all(|v| v == first) {
                true => first,
                false => PublishedVerdict::Depends(p.untold.clone()),
            }
        }
    };
    let values = values.unwrap_or_default();
    let first = values.first().map(|(_, value)| *value);
    let unit = match p.is_of_two() {
        true => String::new(),
        false => {
            let mut columns = study.columns.iter();
            let own = columns.find(|(name, ..)| *name == p.response);
            own.map_or(String::new(), |c| c.1.clone())
        }
    };
    Comparison {
        published: p.clone(),
        unit,
        computed: first.map(|f| f.0),
        error: first.and_then(|f| f.1),
        interval: (!p.untold.is_empty()).then(|| interval(&values)).flatten(),
        band,
        verdict,
    }
}

fn interval(values: &AtLevels) -> Option<Interval> {
    let by_value = |a: &&(_, Reading), b: &&(_, Reading)| a.1.0.total_cmp(&b.1.0);
    let (low, high) = (
        values.iter().min_by(by_value)?,
        values.iter().max_by(by_value)?,
    );
    Some(Interval {
        low: low.1.0,
        low_at: low.0.clone(),
        high: high.1.0,
        high_at: high.0.clone(),
    })
}

/// The computed values, one for each combination of levels that the source does not tell, or why there is none.
fn values(p: &PublishedRecord, points: &[PointRecord]) -> Result<AtLevels, String> {
    let at = |levels, response, case| readings(p, levels, (response, case), points);
    let dividends = at(&p.at, &p.response, &p.case)?;
    if !p.is_of_two() {
        return Ok(dividends);
    }
    let response = p.over_response.as_ref().unwrap_or(&p.response);
    let case = p.over_case.as_ref().unwrap_or(&p.case);
    let divisors = at(p.over.as_ref().unwrap_or(&p.at), response, case)?;
    let mut ratios = AtLevels::new();
    for (levels, a) in dividends {
        let Some((_, b)) = divisors.iter().find(|(own, _)| *own == levels) else {
            continue;
        };
        if b.0 == 0.0 {
            return Err("the value to divide by is zero".into());
        }
        let ratio = match p.order {
            // An order is one of sizes: motions have signs.
            Some(_) => (a.0 / b.0).abs(),
            None => a.0 / b.0,
        };
        let relative = a.1.zip(b.1).map(|(x, y)| (x / a.0).abs() + (y / b.0).abs());
        ratios.push((levels, (ratio, relative.map(|r| r * ratio.abs()))));
    }
    match ratios.is_empty() {
        true => Err("the two constructs have no levels of the others in common".into()),
        false => Ok(ratios),
    }
}

/// Value and estimated error at the points of some levels, by the levels of what the source does not tell.
fn readings(
    p: &PublishedRecord,
    levels: &[(String, String)],
    (response, case): (&ResponseName, &str),
    points: &[PointRecord],
) -> Result<AtLevels, String> {
    let is_at = |point: &&PointRecord| {
        // A point whose factor was moved is not at its level.
        let at_levels = point.moved_factors().is_empty();
        at_levels
            && levels.iter().all(|(factor, level)| {
                let own = point.factors.get(factor);
                own.is_some_and(|own| own.to_string() == *level)
            })
    };
    let mut found = AtLevels::new();
    for point in points.iter().filter(is_at) {
        let untold = p.untold.iter().filter_map(|factor| {
            let own = point.factors.get(factor)?;
            Some((factor.clone(), own.to_string()))
        });
        let untold: Vec<_> = untold.collect();
        if found.iter().any(|(levels, _)| *levels == untold) {
            return Err("several points have these levels".into());
        }
        found.push((untold, reading(point, response, case)?));
    }
    match found.is_empty() {
        true => Err("no computed point stands at these levels".into()),
        false => Ok(found),
    }
}

fn reading(point: &PointRecord, response: &ResponseName, case: &str) -> Result<Reading, String> {
    let own = point.cases.iter().find(|c| c.name == case);
    let own = own.ok_or_else(|| format!("{} has no load case {case}", point.id))?;
    let found = own.response(response);
    if found.is_some_and(ResponseRecord::is_on_edge) {
        let why = "its value lies on an edge of the region in which it was sought";
        return Err(format!("at {} {why}", point.id));
    }
    let value = found.and_then(|r| Some((r.value?, r.error_estimate)));
    value.ok_or_else(|| format!("{} has no value of it", point.id))
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
        let published = self.published.value.filter(|v| *v != 0.0)?;
        Some(100.0 * (self.computed? - published) / published.abs())
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
            over_response: None,
            over_case: None,
            untold: vec![],
            value: Some(value),
            order: None,
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

    #[test]
    fn an_order_holds_where_the_error_leaves_no_doubt_of_it() {
        let order = |at: &str, over: &str, order| PublishedRecord {
            at: vec![("f".into(), at.into())],
            over: Some(vec![("f".into(), over.into())]),
            value: None,
            sd: None,
            order: Some(order),
            ..published(0.0)
        };
        use PublishedOrder::{Greater, Smaller};
        let found = verdict(order("x", "y", Greater));
        assert_eq!(
            (found.computed, found.verdict),
            (Some(2.0), PublishedVerdict::Holds)
        );
        assert_eq!(
            verdict(order("x", "y", Smaller)).verdict,
            PublishedVerdict::Misses
        );
        assert_eq!(
            verdict(order("y", "x", Smaller)).verdict,
            PublishedVerdict::Holds
        );
        // A value beside itself: the error reaches to both sides of 1.
        assert_eq!(
            verdict(order("x", "x", Greater)).verdict,
            PublishedVerdict::Undecided
        );
    }

    #[test]
    fn what_the_source_does_not_tell_makes_an_interval_and_perhaps_the_verdict() {
        let anywhere = |value: f64, sd: f64| PublishedRecord {
            at: vec![],
            untold: vec!["f".into()],
            sd: Some(sd),
            ..published(value)
        };
        // 500 and 250 N/mm: both inside 375 ± 200, the first alone inside 500 ± 100, neither inside 800 ± 20.
        let found = verdict(anywhere(375.0, 100.0));
        assert_eq!(found.verdict, PublishedVerdict::Holds);
        let interval = found.interval.unwrap();
        assert_eq!((interval.low, interval.high), (250.0, 500.0));
        assert_eq!(levels_in_words(&interval.low_at), "f = y");
        assert_eq!(found.computed, Some(500.0));
        let depends = verdict(anywhere(500.0, 50.0)).verdict;
        assert_eq!(
            depends.told(),
            "depends on what the source does not tell: f"
        );
        assert_eq!(
            verdict(anywhere(800.0, 10.0)).verdict,
            PublishedVerdict::Misses
        );
    }
}
