//! The points of a sampled design: numbers between two ends, words and flags from their levels.

use crate::catalogue::keys;
use crate::job::{Factor, Job};
use crate::job_error::{Fault, JobError};
use crate::settings::Settings;
use crate::value::Value;
use crate::words::{DesignKind, Spread};
use bicolumn_stats::{Between, MOST_SEQUENCED, halton, latin_hypercube, random_points};
use std::collections::BTreeMap;

/// Factors with the values that were drawn as their levels, and the index of the level of each, by point.
pub(crate) struct Sampled {
    pub(crate) factors: Vec<Factor>,
    pub(crate) points: Vec<Vec<usize>>,
}

/// Is it a design whose points are drawn?
pub(crate) fn is_sampled(kind: DesignKind) -> bool {
    matches!(
        kind,
        DesignKind::Random | DesignKind::LatinHypercube | DesignKind::Halton
    )
}

/// A sampled design in words; `None` for another kind.
pub(crate) fn in_words(job: &Job, settings: &Settings) -> Option<String> {
    let run = &keys().run;
    let kind = match settings.get(run.design) {
        DesignKind::Random => "random draws",
        DesignKind::LatinHypercube => "a Latin hypercube",
        DesignKind::Halton => "a scrambled Halton sequence",
        _ => return None,
    };
    let spread = match settings.get(run.distribution) {
        Spread::Uniform => "uniform between the ends of each factor",
        Spread::Normal => {
            "normal between the ends of each factor, which are two standard deviations from the middle"
        }
    };
    let (points, seed) = (job.table_points.len(), settings.get(run.seed));
    Some(format!(
        "{points} points of {kind} (seed {seed}), numbers {spread}"
    ))
}

/// Draws the points of a sampled design; `None` for another kind.
///
/// # Errors
/// A design without points or factors, a factor of numbers without two ends, too many factors for a sequence.
pub(crate) fn sample(job: &Job) -> Result<Option<Sampled>, Vec<JobError>> {
    let settings = Settings::at(job, &BTreeMap::new());
    let run = &keys().run;
    let kind = settings.get(run.design);
    if !is_sampled(kind) {
        return Ok(None);
    }
    let of_kind = |why: String, hint: &str| {
        let fault = Fault::Conflict {
            why,
            hint: hint.into(),
        };
        let value = format!("\"{}\"", bicolumn_base::Word::word(kind));
        job.error(
            job.spot_of(run.design),
            keys().path(run.design),
            value,
            fault,
        )
    };
    let mut errors = vec![];
    let Some(count) = settings.get(run.points) else {
        return Err(vec![of_kind(
            "the design needs design.points".into(),
            "say how many points are drawn, such as design.points = 40",
        )]);
    };
    if job.factors.is_empty() {
        return Err(vec![of_kind(
            "the design has no factor".into(),
            "give [factors] with the two ends of each, such as bone.shaft_diameter_mm = [17, 21]",
        )]);
    }
    for factor in &job.factors {
        let is_number = factor.levels[0].number().is_some();
        if is_number && factor.levels.len() != 2 {
            errors.push(job.error(
                Some(factor.spot),
                factor.path(),
                String::new(),
                Fault::Conflict {
                    why: format!(
                        "{} numbers, and a sampled design draws between two ends",
                        factor.levels.len()
                    ),
                    hint: "give the lower and the upper end".into(),
                },
            ));
        }
    }
    let (axes, seed) = (job.factors.len(), settings.get(run.seed) as u64);
    let cube = match kind {
        DesignKind::LatinHypercube => Some(latin_hypercube(count, axes, seed)),
        DesignKind::Halton => halton(count, axes, seed),
        _ => Some(random_points(count, axes, seed)),
    };
    let Some(cube) = cube.filter(|_| errors.is_empty()) else {
        if errors.is_empty() {
            errors.push(of_kind(
                format!("{axes} factors; at most {MOST_SEQUENCED} have a sequence"),
                "take design.kind = \"latin_hypercube\" or \"random\"",
            ));
        }
        return Err(errors);
    };
    let between = match settings.get(run.distribution) {
        Spread::Uniform => Between::Uniform,
        Spread::Normal => Between::Normal,
    };
    let mut points = vec![Vec::with_capacity(axes); count];
    let factors = job.factors.iter().enumerate().map(|(f, factor)| {
        let mut levels: Vec<Value> = vec![];
        for (point, row) in points.iter_mut().zip(&cube) {
            let value = drawn(&factor.levels, row[f], between);
            let level = levels.iter().position(|l| *l == value);
            point.push(level.unwrap_or(levels.len()));
            if level.is_none() {
                levels.push(value);
            }
        }
        Factor {
            levels,
            ..factor.clone()
        }
    });
    let factors = factors.collect();
    Ok(Some(Sampled { factors, points }))
}

/// Value at a coordinate of the unit cube: between the two ends of numbers, one of the levels otherwise.
fn drawn(levels: &[Value], coordinate: f64, between: Between) -> Value {
    let of_levels = || {
        let n = (coordinate * levels.len() as f64) as usize;
        levels[n.min(levels.len() - 1)].clone()
    };
    match levels {
        [Value::Integer(a), Value::Integer(b)] => {
            let (low, high) = (*a.min(b), *a.max(b));
            let width = (high - low + 1) as f64;
            Value::Integer((low + (between.quantile(coordinate) * width) as i64).min(high))
        }
        [Value::Number(a), Value::Number(b)] => {
            let place = a.min(*b) + (b - a).abs() * between.quantile(coordinate);
            Value::Number(readable(place, (b - a).abs()))
        }
        _ => of_levels(),
    }
}

/// A number rounded to a power of ten that is a thousandth of the range or less, so that tables can be read.
fn readable(value: f64, range: f64) -> f64 {
    let decimals = (3.0 - range.log10().floor()).clamp(0.0, 12.0) as usize;
    format!("{value:.decimals$}").parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use crate::{Job, Plan};
    use std::path::Path;

    fn plan(text: &str) -> Result<Plan, String> {
        let job = Job::parse(Path::new("x.toml"), text).map_err(|e| e.to_string())?;
        Plan::of(&job).map_err(|e| e.to_string())
    }

    const FACTORS: &str = "[factors]\nbone.shaft_diameter_mm = [17, 21]\nscrews.shaft_count = [2, 4]\nconstruct.layout = [\"parallel\", \"orthogonal\"]\n";

    #[test]
    fn drawn_points_lie_between_the_ends_and_grow_without_moving() {
        for kind in ["random", "latin_hypercube", "halton"] {
            let text =
                |n: usize| format!("design.kind = \"{kind}\"\ndesign.points = {n}\n{FACTORS}");
            let plan = plan(&text(40)).unwrap();
            assert_eq!(plan.points.len(), 40);
            let numbers = |key: &str| -> Vec<f64> {
                plan.points
                    .iter()
                    .map(|p| p.levels[key].number().unwrap())
                    .collect()
            };
            let mean = numbers("bone.shaft_diameter_mm").iter().sum::<f64>() / 40.0;
            assert!((mean - 19.0).abs() < 0.6, "{kind}: {mean}");
            assert!(
                numbers("bone.shaft_diameter_mm")
                    .iter()
                    .all(|d| (17.0..=21.0).contains(d))
            );
            for count in [2.0, 3.0, 4.0] {
                let n = numbers("screws.shaft_count")
                    .iter()
                    .filter(|c| **c == count)
                    .count();
                assert!((7..=20).contains(&n), "{kind}: {count} {n} times");
            }
            if kind != "latin_hypercube" {
                let more = super::tests::plan(&text(50)).unwrap();
                let levels = |p: &Plan| {
                    p.points[..40]
                        .iter()
                        .map(|p| p.levels.clone())
                        .collect::<Vec<_>>()
                };
                assert_eq!(levels(&more), levels(&plan));
            }
        }
    }

    #[test]
    fn sampled_designs_that_cannot_be_drawn_are_refused() {
        let told = |text: &str| plan(text).unwrap_err();
        let kind = "design.kind = \"halton\"\n";
        assert!(told(&format!("{kind}{FACTORS}")).contains("needs design.points"));
        let points = format!("{kind}design.points = 4\n");
        assert!(told(&points).contains("has no factor"));
        let three = format!("{points}[factors]\nfracture.gap_mm = [2, 4, 6]\n");
        assert!(
            told(&three).contains("draws between two ends"),
            "{}",
            told(&three)
        );
        let idle = format!("design.points = 4\n{FACTORS}");
        assert!(told(&idle).contains("has no effect"), "{}", told(&idle));
    }
}
