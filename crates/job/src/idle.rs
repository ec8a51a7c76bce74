//! Keys that a job gives and that cannot act: a warning, and of a factor an error.

use crate::catalogue::keys;
use crate::handle::KeyId;
use crate::job::{Factor, Job};
use crate::job_error::{Fault, JobError, JobErrors, Spot};
use crate::key::Fallback;
use crate::named_path::CASES;
use crate::plan::{DesignPoint, Plan};
use crate::settings::Settings;
use std::collections::BTreeMap;

/// A key that acts at no point of a plan so far, with the condition that fails.
struct Idle {
    key: KeyId,
    spot: Spot,
    value: String,
    told: &'static str,
}

impl Idle {
    fn why(&self) -> String {
        format!("has no effect here: it acts only {}", self.told)
    }
}

/// First condition of a key that fails at a point.
fn fails(key: KeyId, settings: &Settings) -> Option<&'static str> {
    let acts = &keys().row(key).acts;
    let failing = acts.iter().find(|a| !(a.when)(settings));
    failing.map(|a| a.told)
}

/// Factors of several levels that act at no point of a plan.
///
/// # Errors
/// These, each with the condition under which it would act.
pub(crate) fn check_factors(job: &Job, points: &[DesignPoint]) -> Result<(), JobErrors> {
    let mut open: Vec<&Factor> = job.factors.iter().filter(|f| f.levels.len() > 1).collect();
    let mut told: BTreeMap<KeyId, &'static str> = BTreeMap::new();
    for point in points {
        open.retain(|f| !keys().row(f.key).acts.is_empty());
        if open.is_empty() {
            break;
        }
        let settings = Settings::at(job, &point.levels);
        open.retain(|f| match fails(f.key, &settings) {
            Some(condition) => {
                told.entry(f.key).or_insert(condition);
                true
            }
            None => false,
        });
    }
    let errors = open.iter().map(|f| {
        let condition = told.get(&f.key).copied().unwrap_or_default();
        let fault = Fault::Conflict {
            why: format!("a factor without effect at any point: it acts only {condition}"),
            hint: "leave the factor out, or give the keys that let it act".into(),
        };
        job.error(Some(f.spot), f.path(), String::new(), fault)
    });
    let errors: Vec<JobError> = errors.collect();
    match errors.is_empty() {
        true => Ok(()),
        false => Err(JobErrors(errors)),
    }
}

/// Keys that a job gives without effect at any of its points, one warning for each reason, in the order of the file; and
/// factors that act at some of the points only.
pub fn warnings(job: &Job, plan: &Plan) -> Vec<JobError> {
    let mut idle: Vec<Idle> = given(job);
    let mut partly: Vec<(&Factor, usize, Option<&'static str>)> =
        job.factors.iter().map(|f| (f, 0, None)).collect();
    partly.retain(|(f, ..)| !keys().row(f.key).acts.is_empty());
    for point in &plan.points {
        if idle.is_empty() && partly.is_empty() {
            break;
        }
        let settings = Settings::at(job, &point.levels);
        idle.retain_mut(|i| match fails(i.key, &settings) {
            Some(told) => {
                i.told = told;
                true
            }
            None => false,
        });
        for (factor, acting, told) in &mut partly {
            match fails(factor.key, &settings) {
                Some(condition) => *told = Some(condition),
                None => *acting += 1,
            }
        }
    }
    idle.sort_by_key(|i| i.spot);
    let mut found: Vec<JobError> = vec![];
    let mut reasons: Vec<&str> = vec![];
    for i in &idle {
        if reasons.contains(&i.told) {
            continue;
        }
        reasons.push(i.told);
        let alike = idle.iter().filter(|o| o.told == i.told && o.key != i.key);
        let others: Vec<String> = alike
            .map(|o| format!("{} (line {})", keys().path(o.key), o.spot.line))
            .collect();
        let why = match others.is_empty() {
            true => i.why(),
            false => format!("{}; so do {}", i.why(), others.join(", ")),
        };
        found.push(warning(job, i.spot, keys().path(i.key), &i.value, why));
    }
    for (factor, acting, told) in partly {
        if let Some(condition) = told {
            let why = format!(
                "acts at {acting} of {} points only: it acts only {condition}",
                plan.points.len()
            );
            found.push(warning(job, factor.spot, factor.path(), "", why));
        }
    }
    found.extend(unsolved_cases(job));
    found.sort_by_key(|e| e.spot);
    found
}

/// Keys with conditions that the job gives another value than the default.
fn given(job: &Job) -> Vec<Idle> {
    let given = job.given.iter().filter_map(|(path, given)| {
        let key = keys().find(path)?;
        let row = keys().row(key);
        let is_default = matches!(&row.default, Fallback::Value(v) if *v == given.value);
        (!row.acts.is_empty() && !is_default).then(|| Idle {
            key,
            spot: given.spot,
            value: given.value.to_string(),
            told: "",
        })
    });
    given.collect()
}

/// Load cases of the job that `loads.cases` leaves out.
fn unsolved_cases(job: &Job) -> Vec<JobError> {
    let wanted = Settings::at(job, &BTreeMap::new()).get(keys().loads.cases);
    let left_out = job
        .load_cases
        .iter()
        .filter(|c| !wanted.iter().any(|w| w == c.name()));
    let spot = |name: &str| {
        let table = format!("{CASES}{name}.");
        let mut given = job.given.iter();
        given.find_map(|(path, g)| path.starts_with(&table).then_some(g.spot))
    };
    left_out
        .filter_map(|c| {
            let why = format!(
                "is not solved: {} does not name it",
                keys().path(keys().loads.cases)
            );
            Some(warning(
                job,
                spot(c.name())?,
                &format!("{CASES}{}", c.name()),
                "",
                why,
            ))
        })
        .collect()
}

fn warning(job: &Job, spot: Spot, path: &str, value: &str, why: String) -> JobError {
    let hint = String::new();
    job.error(
        Some(spot),
        path,
        value.into(),
        Fault::Conflict { why, hint },
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    fn told(text: &str) -> Vec<String> {
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        let plan = Plan::of(&job).unwrap();
        let warnings = warnings(&job, &plan);
        warnings.iter().map(ToString::to_string).collect()
    }

    /// A line that is idle by itself, and the lines that let it act.
    const PAIRS: &[(&str, &str)] = &[
        (
            "screws.shaft_preload_n = 200",
            "screws.shaft_hold = \"non_locking\"",
        ),
        (
            "screws.distal_preload_n = 200",
            "screws.distal_hold = \"non_locking\"",
        ),
        (
            "screws.medial.shaft_preload_n = 200",
            "screws.medial.shaft_hold = \"non_locking\"",
        ),
        (
            "screws.independent_1.preload_n = 90",
            "screws.independent_1.hold = \"lag\"",
        ),
        (
            "screws.independent_2.length_mm = 41",
            "screws.independent_2.hold = \"positional\"",
        ),
        (
            "interfaces.friction = 0.25",
            "interfaces.plate_bone = \"frictional\"",
        ),
        (
            "interfaces.friction = 0.25",
            "interfaces.screw_bone = \"threaded\"",
        ),
        (
            "interfaces.friction = 0.25",
            "fracture.gap_mm = 0\ninterfaces.fracture_faces = \"frictional\"",
        ),
        (
            "interfaces.friction = 0.25",
            "screws.distal_hold = \"non_locking\"\ninterfaces.screw.07.seat = \"frictional\"",
        ),
        (
            "interfaces.plate_bone_friction = 0.25",
            "interfaces.plate.medial.bone = \"frictional\"",
        ),
        (
            "interfaces.head_seat_friction = 0.25",
            "screws.shaft_hold = \"non_locking\"\ninterfaces.head_seat = \"frictional\"",
        ),
        (
            "interfaces.screw_bone_friction = 0.25",
            "interfaces.screw.01.bone = \"threaded\"",
        ),
        (
            "interfaces.fracture_faces_friction = 0.4",
            "fracture.column_contact = \"medial\"\ninterfaces.fracture_faces = \"frictional\"",
        ),
        (
            "interfaces.plate.medial.bone_friction = 0.4",
            "interfaces.plate_bone = \"frictional\"",
        ),
        (
            "interfaces.contact_gap_mm = 0.2",
            "interfaces.plate_bone = \"frictionless\"",
        ),
        (
            "interfaces.head_seat = \"frictional\"",
            "screws.independent_1.hold = \"lag\"",
        ),
        (
            "interfaces.fracture_faces = \"frictional\"",
            "fracture.gap_mm = 0",
        ),
        (
            "interfaces.increments = 3",
            "interfaces.screw_bone = \"threaded\"",
        ),
        (
            "fracture.split_gap_mm = 3",
            "fracture.pattern = \"intercondylar\"",
        ),
        (
            "fracture.split_offset_mm = 1",
            "fracture.pattern = \"intercondylar\"",
        ),
        (
            "materials.gap_tissue.young_mpa = 5",
            "fracture.filling = \"healing_tissue\"",
        ),
        (
            "materials.cortical.poisson = 0.2",
            "materials.cortical.symmetry = \"isotropic\"",
        ),
        (
            "materials.cancellous.density_g_per_cm3 = 0.3",
            "materials.cancellous.density_law = \"pooled\"",
        ),
        (
            "materials.cancellous.rim_depth_mm = 5",
            "materials.cancellous.density_law = \"pooled\"\nmaterials.cancellous.rim_density_ratio = 2",
        ),
        ("plates.stagger_from = \"upper\"", "plates.stagger_mm = 10"),
        (
            "loads.column_n = 90",
            "loads.cases = [\"axial\", \"medial_column\"]",
        ),
        (
            "supports.proximal_centre_level_mm = 160",
            "supports.proximal = \"ball_joint\"",
        ),
        ("bone.surface_unit = \"m\"", "bone.surface_file = \"a.stl\""),
    ];

    #[test]
    fn a_key_that_cannot_act_is_told_and_one_that_can_is_not() {
        for (key, with) in PAIRS {
            let path = key.split(' ').next().unwrap();
            let idle = told(key);
            assert_eq!(idle.len(), 1, "{key}: {idle:?}");
            let start = format!("x.toml:1: {path} = ");
            assert!(idle[0].starts_with(&start), "{idle:?}");
            assert!(
                idle[0].contains("has no effect here: it acts only "),
                "{idle:?}"
            );
            let acting = told(&format!("{key}\n{with}\n"));
            let names = |t: &&String| t.contains(path);
            assert_eq!(acting.iter().find(names), None, "{key} with {with}");
        }
    }

    #[test]
    fn a_factor_that_cannot_act_is_an_error_and_one_that_acts_in_part_a_warning() {
        for (key, with) in PAIRS.iter().filter(|(key, _)| !key.contains('"')) {
            let (path, value) = key.split_once(" = ").unwrap();
            if !keys().row(keys().find(path).unwrap()).may_be_factor() {
                continue;
            }
            let value: f64 = value.parse().unwrap();
            let factor = format!("[factors]\n{path} = [{value}, {}]\n", value + 1.0);
            let factor = match path.ends_with("friction")
                || path.ends_with("poisson")
                || path.ends_with("cm3")
                || path.ends_with("contact_gap_mm")
            {
                true => format!("[factors]\n{path} = [{value}, {}]\n", value + 0.1),
                false => factor,
            };
            let job = Job::parse(Path::new("x.toml"), &factor).unwrap();
            let error = Plan::of(&job).unwrap_err().to_string();
            assert!(
                error.starts_with(&format!(
                    "x.toml:2: {path}: a factor without effect at any point"
                )),
                "{error}"
            );
            let job = Job::parse(Path::new("x.toml"), &format!("{with}\n{factor}")).unwrap();
            assert!(Plan::of(&job).is_ok(), "{path} with {with}");
        }
        let part = told(
            "[factors]\ninterfaces.friction = [0.1, 0.3]\ninterfaces.plate_bone = [\"apart\", \"frictional\"]\n",
        );
        assert_eq!(part.len(), 1, "{part:?}");
        assert!(
            part[0].starts_with("x.toml:2: interfaces.friction: acts at 2 of 4 points only"),
            "{part:?}"
        );
    }

    #[test]
    fn one_warning_names_all_keys_of_a_reason() {
        let bare = told(
            "construct.layout = \"bare_bone\"\nplates.width_mm = 9\nscrews.shaft_count = 2\nfracture.gap_mm = 3\n",
        );
        assert_eq!(bare.len(), 1, "{bare:?}");
        assert!(
            bare[0].contains("so do screws.shaft_count (line 3), fracture.gap_mm (line 4)")
                || bare[0].contains("so do fracture.gap_mm (line 4), screws.shaft_count (line 3)"),
            "{bare:?}"
        );
        let one = told(
            "construct.layout = \"medial_only\"\nplates.other.width_mm = 9\nplates.medial.width_mm = 9\nplates.width_mm = 11\n",
        );
        assert_eq!(one.len(), 2, "{one:?}");
        let case = told("loads.cases = [\"axial\"]\n[loads.case.lift]\nforce_n = 50\n");
        assert!(
            case[0].contains("loads.case.lift: is not solved"),
            "{case:?}"
        );
        // Defaults that are written out are no slip.
        assert!(told("fracture.split_offset_mm = 0\nscrews.shaft_preload_n = 0.0\n").is_empty());
    }
}
