//! The points of a sampled design: numbers between two ends, words and flags from their levels.

use crate::catalogue::keys;
use crate::handle::KeyId;
use crate::job::{Factor, Job};
use crate::job_error::{Fault, JobError};
use crate::settings::Settings;
use crate::value::Value;
use crate::words::{DesignKind, Spread};
use bicolumn_base::Word;
use bicolumn_stats::{Between, MOST_SEQUENCED, halton, latin_hypercube, random_points};
use bicolumn_store::DistributionRecord;
use std::collections::BTreeMap;

/// Factors with the values that were drawn as their levels, and the index of the level of each, by point.
pub(crate) struct Sampled {
    pub(crate) factors: Vec<Factor>,
    pub(crate) points: Vec<Vec<usize>>,
    /// Distributions of the factors of numbers.
    pub(crate) distributions: Vec<DistributionRecord>,
}

/// Is it a design whose points are drawn?
pub(crate) fn is_sampled(kind: DesignKind) -> bool {
    matches!(
        kind,
        DesignKind::Random | DesignKind::LatinHypercube | DesignKind::Halton
    )
}

/// Has the design a next draw: do more points keep the first?
pub(crate) fn is_sequence(kind: DesignKind) -> bool {
    matches!(kind, DesignKind::Random | DesignKind::Halton)
}

/// A sampled design in words; `None` for another kind.
pub(crate) fn in_words(settings: &Settings) -> Option<String> {
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
        Spread::Lognormal => {
            "lognormal between the ends of each factor, whose logarithms are two standard deviations from their middle"
        }
    };
    let own = [(run.normal, "normal"), (run.lognormal, "lognormal")]
        .into_iter()
        .filter_map(|(key, form)| {
            let stated = settings.get(key)?;
            Some(format!("; {form}, cut off at the ends: {}", stated.trim()))
        });
    let spread = format!("{spread}{}", own.collect::<String>());
    let (points, seed) = (settings.get(run.points)?, settings.get(run.seed));
    let lone = match settings.get(run.design) {
        DesignKind::LatinHypercube => {
            "; a point that cannot be built is not replaced, since more points would be another hypercube"
        }
        _ => "",
    };
    Some(format!(
        "{points} points of {kind} (seed {seed}), numbers {spread}{lone}"
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
    let Some(count) = job.draws.or(settings.get(run.points)) else {
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
    let distributions = distributions(job, &settings)?;
    let between_of = |factor: &Factor| {
        let own = distributions.iter().find(|d| d.factor == factor.path());
        own.and_then(between).unwrap_or(Between::Uniform)
    };
    let mut points = vec![Vec::with_capacity(axes); count];
    let factors = job.factors.iter().enumerate().map(|(f, factor)| {
        let between = between_of(factor);
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
    Ok(Some(Sampled {
        factors,
        points,
        distributions,
    }))
}

/// A distribution as places between its ends; `None` where there is none.
fn between(of: &DistributionRecord) -> Option<Between> {
    match of.form.as_str() {
        "normal" => Between::normal(of.mean, of.sd, of.ends),
        "lognormal" => Between::lognormal(of.mean, of.sd, of.ends),
        _ => Some(Between::Uniform),
    }
}

/// Distributions of the factors of numbers: those that the job states by mean and deviation, the others between their ends.
fn distributions(job: &Job, settings: &Settings) -> Result<Vec<DistributionRecord>, Vec<JobError>> {
    let run = &keys().run;
    let mut errors = vec![];
    let mut stated: Vec<(&Factor, Spread, [f64; 2], KeyId)> = vec![];
    for (key, form) in [
        (run.normal, Spread::Normal),
        (run.lognormal, Spread::Lognormal),
    ] {
        let Some(text) = settings.get(key) else {
            continue;
        };
        for part in text.split(';') {
            let told = |why: String| told(job, key.id(), why);
            match mean_and_sd(job, part) {
                Err(why) => errors.push(told(why)),
                Ok((factor, _)) if stated.iter().any(|s| s.0.key == factor.key) => {
                    errors.push(told(format!("{} has two distributions", factor.path())));
                }
                Ok((factor, moments)) => stated.push((factor, form, moments, key.id())),
            }
        }
    }
    let mut all = vec![];
    for factor in &job.factors {
        let numbers: Option<Vec<f64>> = factor.levels.iter().map(Value::number).collect();
        let Some([a, b]) = numbers
            .as_deref()
            .and_then(|n| <[f64; 2]>::try_from(n).ok())
        else {
            continue;
        };
        let ends = [a.min(b), a.max(b)];
        let own = stated.iter().find(|s| s.0.key == factor.key);
        let (form, [mean, sd], key) = match own {
            Some((_, form, moments, key)) => (*form, *moments, *key),
            None => {
                let form = settings.get(run.distribution);
                (form, by_ends(form, ends), run.distribution.id())
            }
        };
        let record = DistributionRecord {
            factor: factor.path().to_string(),
            form: form.word().to_string(),
            mean,
            sd,
            ends,
        };
        if between(&record).is_none() {
            let why = match form {
                Spread::Lognormal if ends[0] <= 0.0 => {
                    format!("a lognormal {} needs ends above 0", record.factor)
                }
                _ => format!(
                    "less than a hundredth of {} = {mean} ± {sd} lies between its ends {} and {}",
                    record.factor, ends[0], ends[1]
                ),
            };
            errors.push(told(job, key, why));
        }
        all.push(record);
    }
    match errors.is_empty() {
        true => Ok(all),
        false => Err(errors),
    }
}

fn told(job: &Job, key: KeyId, why: String) -> JobError {
    let hint = "write \"bone.shaft_diameter_mm = 19.3 ± 1.2\", a factor between two ends, its mean and standard deviation";
    let fault = Fault::Conflict {
        why,
        hint: hint.into(),
    };
    job.error(job.spot_of(key), keys().path(key), String::new(), fault)
}

/// A factor with its mean and standard deviation, from "key = mean ± deviation".
fn mean_and_sd<'a>(job: &'a Job, part: &str) -> Result<(&'a Factor, [f64; 2]), String> {
    let form = || {
        format!(
            "{:?} is no factor with mean ± standard deviation",
            part.trim()
        )
    };
    let (path, moments) = part.split_once('=').ok_or_else(form)?;
    let factor = job.factors.iter().find(|f| f.path() == path.trim());
    let factor = factor.ok_or_else(|| format!("{} is no factor of this job", path.trim()))?;
    if factor.levels[0].number().is_none() {
        return Err(format!("{} is no number", path.trim()));
    }
    let (mean, sd) = moments
        .split_once('±')
        .or_else(|| moments.split_once("+-"))
        .ok_or_else(form)?;
    let number = |text: &str| text.trim().parse::<f64>().map_err(|_| form());
    let (mean, sd) = (number(mean)?, number(sd)?);
    match sd > 0.0 && sd.is_finite() && mean.is_finite() {
        true => Ok((factor, [mean, sd])),
        false => Err(form()),
    }
}

/// Mean and standard deviation, before it is cut off, of a distribution whose ends are two standard deviations from its
/// middle; of a lognormal one those of the number, by the closed form of its moments.
fn by_ends(form: Spread, [low, high]: [f64; 2]) -> [f64; 2] {
    match form {
        Spread::Uniform => [0.5 * (low + high), (high - low) / 12f64.sqrt()],
        Spread::Normal => [0.5 * (low + high), 0.25 * (high - low)],
        Spread::Lognormal => {
            let (middle, sd) = (0.5 * (low.ln() + high.ln()), 0.25 * (high.ln() - low.ln()));
            let mean = (middle + 0.5 * sd * sd).exp();
            [mean, mean * (sd * sd).exp_m1().sqrt()]
        }
    }
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
    fn a_factor_may_have_a_distribution_of_its_own() {
        let text = format!(
            "design.kind = \"halton\"\ndesign.points = 400\ndesign.normal = \"bone.shaft_diameter_mm = 18 ± 0.4\"\n{FACTORS}"
        );
        let job = Job::parse(Path::new("x.toml"), &text).unwrap();
        let diameters = Plan::of(&job).unwrap().points.into_iter();
        let diameters = diameters.map(|p| p.levels["bone.shaft_diameter_mm"].number().unwrap());
        let diameters: Vec<f64> = diameters.collect();
        let mean = diameters.iter().sum::<f64>() / 400.0;
        let sd = (diameters.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / 400.0).sqrt();
        // The ends 17 and 21 cut off 0.6 %.
        assert!(
            (mean - 18.0).abs() < 0.02 && (sd - 0.39).abs() < 0.02,
            "{mean} {sd}"
        );
        let [diameter, screws] = job.distributions() else {
            panic!("{:?}", job.distributions());
        };
        assert_eq!(
            (diameter.form.as_str(), diameter.mean, diameter.sd),
            ("normal", 18.0, 0.4)
        );
        assert_eq!((screws.form.as_str(), screws.ends), ("uniform", [2.0, 4.0]));
        assert!(
            job.drawn()
                .unwrap()
                .contains("normal, cut off at the ends: bone.shaft_diameter_mm = 18 ± 0.4")
        );
        // A lognormal by its ends has the geometric mean of these for its median.
        let record = |form, [mean, sd]: [f64; 2]| super::DistributionRecord {
            factor: String::new(),
            form: String::from(form),
            mean,
            sd,
            ends: [2.0, 18.0],
        };
        let moments = super::by_ends(super::Spread::Lognormal, [2.0, 18.0]);
        let between = super::between(&record("lognormal", moments)).unwrap();
        assert!((2.0 + 16.0 * between.quantile(0.5) - 6.0).abs() < 1e-9);
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
        let spread = |line: &str| told(&format!("{points}{line}\n{FACTORS}"));
        for (line, part) in [
            (
                "design.normal = \"bone.shaft_diameter_mm = 19\"",
                "no factor with mean",
            ),
            (
                "design.normal = \"fracture.gap_mm = 4 ± 1\"",
                "is no factor of this job",
            ),
            (
                "design.normal = \"construct.layout = 4 ± 1\"",
                "is no number",
            ),
            (
                "design.lognormal = \"bone.shaft_diameter_mm = 40 ± 1\"",
                "less than a hundredth",
            ),
            (
                "design.normal = \"bone.shaft_diameter_mm = 19 ± 1\"\ndesign.lognormal = \"bone.shaft_diameter_mm = 19 ± 1\"",
                "has two distributions",
            ),
        ] {
            assert!(spread(line).contains(part), "{}", spread(line));
        }
        let signed = format!(
            "{points}design.distribution = \"lognormal\"\n[factors]\nplates.stagger_mm = [-20, 20]\n"
        );
        assert!(
            told(&signed).contains("needs ends above 0"),
            "{}",
            told(&signed)
        );
        let idle = format!("design.points = 4\n{FACTORS}");
        assert!(told(&idle).contains("has no effect"), "{}", told(&idle));
    }
}
