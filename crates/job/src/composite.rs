//! The levels of a central composite design: two ends of each factor become corners, axial points and a centre.

use crate::catalogue::keys;
use crate::job::{Factor, Job, convert};
use crate::job_error::{Fault, JobError};
use crate::key::Kind;
use crate::raw::RawValue;
use crate::settings::Settings;
use crate::value::Value;
use crate::words::{CompositeCore, DesignKind, StatedEnds};
use bicolumn_stats::{CentralComposite, Core};
use std::collections::BTreeMap;

/// Factors with all their levels, and the index of the level of each, by point.
pub(crate) struct Composite {
    pub(crate) factors: Vec<Factor>,
    pub(crate) points: Vec<Vec<usize>>,
}

/// Lays out a central composite design; `None` for another kind.
///
/// # Errors
/// A factor without two numbers, a number of factors without such a design, a level that its key does not accept.
pub(crate) fn expand(job: &Job) -> Result<Option<Composite>, Vec<JobError>> {
    let settings = Settings::at(job, &BTreeMap::new());
    let run = &keys().run;
    if settings.get(run.design) != DesignKind::CentralComposite {
        return Ok(None);
    }
    let mut errors = vec![];
    let mut ends = vec![];
    for factor in &job.factors {
        let numbers: Option<Vec<f64>> = factor.levels.iter().map(Value::number).collect();
        match numbers.as_deref() {
            Some([a, b]) => ends.push([a.min(*b), a.max(*b)]),
            _ => errors.push(job.error(
                Some(factor.spot),
                factor.path(),
                String::new(),
                Fault::Conflict {
                    why: "a central composite design takes two numbers of every factor".into(),
                    hint: "give a low and a high number; for words take one job a level, or design.kind = \"full_factorial\"".into(),
                },
            )),
        }
    }
    let core = match settings.get(run.core) {
        CompositeCore::Fraction => Core::Fraction,
        CompositeCore::Full => Core::Full,
    };
    let Some(design) = CentralComposite::of(job.factors.len(), core) else {
        let fault = Fault::Conflict {
            why: format!("{} factors; it takes 2 to 10", job.factors.len()),
            hint: "take design.kind = \"full_factorial\"".into(),
        };
        let key = keys().path(run.design);
        let spot = job.spot_of(run.design);
        errors.push(job.error(spot, key, "\"central_composite\"".into(), fault));
        return Err(errors);
    };
    if !errors.is_empty() {
        return Err(errors);
    }
    let stated = settings.get(run.axial_distance);
    let distance = stated.unwrap_or_else(|| design.rotatable_distance());
    let places = match settings.get(run.stated_ends) {
        StatedEnds::Corners => [-distance, -1.0, 0.0, 1.0, distance],
        StatedEnds::Axial => [-1.0, -1.0 / distance, 0.0, 1.0 / distance, 1.0],
    };
    let mut factors = vec![];
    // At a distance of 1 the axial points stand at the levels of the corners.
    let mut level_of: Vec<Vec<usize>> = vec![];
    for (factor, ends) in job.factors.iter().zip(ends) {
        let mut levels: Vec<Value> = vec![];
        let mut own = vec![];
        for (n, place) in places.into_iter().enumerate() {
            let wrong = match level_at(factor, ends, place) {
                Ok(value) => {
                    let found = levels.iter().position(|l| *l == value);
                    own.push(found.unwrap_or(levels.len()));
                    if found.is_none() {
                        levels.push(value);
                    }
                    continue;
                }
                Err(fault) => fault,
            };
            let name = match n {
                0 | 4 => "axial point",
                2 => "centre",
                _ => "corner",
            };
            let shown = format!(
                "{} ({name}, {} half widths from the middle of the stated levels)",
                rounded(at(ends, place), ends),
                (1e3 * place.abs()).round() / 1e3,
            );
            errors.push(job.error(Some(factor.spot), factor.path(), shown, wrong));
        }
        level_of.push(own);
        factors.push(Factor {
            levels,
            ..factor.clone()
        });
    }
    if !errors.is_empty() {
        return Err(errors);
    }
    let level = |(f, n): (usize, &usize)| level_of[f][*n];
    let points = design.points.iter();
    let points = points.map(|p| p.iter().enumerate().map(level).collect());
    Ok(Some(Composite {
        factors,
        points: points.collect(),
    }))
}

fn at([low, high]: [f64; 2], place: f64) -> f64 {
    0.5 * (low + high) + 0.5 * (high - low) * place
}

/// Level of a factor at a place from −1, its lower end, to 1.
fn level_at(factor: &Factor, ends: [f64; 2], place: f64) -> Result<Value, Fault> {
    let value = rounded(at(ends, place), ends);
    let row = keys().row(factor.key);
    let raw = match &row.kind {
        Kind::Integer { .. } if value.fract() != 0.0 => {
            return Err(Fault::Conflict {
                why: "no whole number, and this key takes one".into(),
                hint: "choose ends and design.axial_distance so that middle, corners and axial points are whole, or design.kind = \"face_centred\"".into(),
            });
        }
        Kind::Integer { .. } => RawValue::Integer(value as i64),
        _ => RawValue::Float(value),
    };
    convert(&raw, row)
}

/// A number rounded to a power of ten that is a millionth of the range or less, so that tables can be read.
fn rounded(value: f64, [low, high]: [f64; 2]) -> f64 {
    let decimals = (6.0 - (high - low).log10().floor()).clamp(0.0, 12.0) as usize;
    let shown = format!("{value:.decimals$}").parse().unwrap_or(value);
    // No minus before a zero.
    shown + 0.0
}

#[cfg(test)]
mod tests {
    use crate::{Job, Plan};
    use std::path::Path;

    const TWO: &str = "[factors]\nfracture.gap_mm = [4, 6]\nplates.stagger_mm = [-10, 10]\n";

    fn plan(design: &str, factors: &str) -> Result<Plan, String> {
        let text = format!("[design]\nkind = \"central_composite\"\n{design}\n{factors}");
        let job = Job::parse(Path::new("x.toml"), &text).map_err(|e| e.to_string())?;
        Plan::of(&job).map_err(|e| e.to_string())
    }

    fn pairs(plan: &Plan) -> Vec<[f64; 2]> {
        let number = |p: &crate::DesignPoint, key: &str| p.levels[key].number().unwrap();
        let points = plan.points.iter();
        points
            .map(|p| [number(p, "fracture.gap_mm"), number(p, "plates.stagger_mm")])
            .collect()
    }

    #[test]
    fn stated_levels_are_corners_or_axial_points() {
        let root = 2f64.sqrt();
        for (ends, half) in [("corners", 1.0), ("axial", 1.0 / root)] {
            let found = pairs(&plan(&format!("stated_ends = \"{ends}\""), TWO).unwrap());
            let far = half * root;
            let wanted = [
                [-half, -half],
                [-half, half],
                [half, -half],
                [half, half],
                [-far, 0.0],
                [far, 0.0],
                [0.0, -far],
                [0.0, far],
                [0.0, 0.0],
            ];
            assert_eq!(found.len(), 9);
            for (found, wanted) in found.iter().zip(wanted) {
                let wanted = [5.0 + wanted[0], 10.0 * wanted[1]];
                let far = |n: usize| (found[n] - wanted[n]).abs();
                assert!(far(0) < 1e-5 && far(1) < 1e-5, "{found:?} {wanted:?}");
            }
        }
        let faces = plan("axial_distance = 1", TWO).unwrap();
        let mut gaps: Vec<f64> = pairs(&faces).iter().map(|p| p[0]).collect();
        gaps.sort_by(f64::total_cmp);
        gaps.dedup();
        assert_eq!(gaps, [4.0, 5.0, 6.0]);
    }

    #[test]
    fn a_level_that_its_key_does_not_take_is_refused_with_what_is_accepted() {
        let told = plan("", &TWO.replace("[4, 6]", "[2, 8]")).unwrap_err();
        let wanted = "fracture.gap_mm = 0.757359 (axial point, 1.414 half widths from the middle of the stated levels): must be 0 (reduced: the faces touch) or lie between 1 and 15 mm";
        assert!(told.contains(wanted), "{told}");
        let screws = "[factors]\nscrews.shaft_count = [2, 4]\nfracture.gap_mm = [4, 6]\n";
        let told = plan("", screws).unwrap_err();
        assert!(told.contains("(axial point"), "{told}");
        assert!(told.contains("no whole number"), "{told}");
        assert_eq!(plan("axial_distance = 1", screws).unwrap().points.len(), 9);
        let words = "[factors]\nconstruct.layout = [\"parallel\", \"orthogonal\"]\n";
        let told = plan("", words).unwrap_err();
        assert!(told.contains("two numbers of every factor"), "{told}");
        let one = plan("", "[factors]\nfracture.gap_mm = [4, 6]\n").unwrap_err();
        assert!(one.contains("1 factors; it takes 2 to 10"), "{one}");
    }

    #[test]
    fn the_centre_may_be_solved_on_several_meshes() {
        let plan = plan("centre_points = 4", TWO).unwrap();
        assert_eq!(plan.points.len(), 12);
        let pose = |n: usize| plan.points[n].levels["mesh.pose"].number();
        assert_eq!(
            [0, 7, 8, 9, 11].map(pose),
            [0.0, 0.0, 0.0, 1.0, 3.0].map(Some)
        );
        assert_eq!(pairs(&plan)[8..], [[5.0, 0.0]; 4]);
        let both = super::tests::plan("centre_points = 4\nreplicates = 2", TWO).unwrap_err();
        assert!(both.contains("design.replicates"), "{both}");
    }
}
