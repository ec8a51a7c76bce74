//! The design of a job: which combinations of the factors' levels are its points, and which effects they confound.

use crate::catalogue::keys;
use crate::job::{Factor, Job};
use crate::job_error::{Fault, JobError, JobErrors};
use crate::sampled::is_sampled;
use crate::settings::Settings;
use crate::words::DesignKind;
use bicolumn_stats::{
    Fraction, MOST_DEFINITIVE, MOST_SCREENED, Term, box_behnken, definitive_screening,
    face_centred, full_factorial, one_at_a_time, plackett_burman,
};
use std::collections::BTreeMap;

/// Level of each factor by point, and the effects that cannot be told apart, in words.
pub(crate) struct Layout {
    pub(crate) choices: Vec<Vec<usize>>,
    pub(crate) aliases: Vec<String>,
    /// Points at the end that are the centre.
    pub(crate) centres: usize,
}

/// Lays out the design of a job.
///
/// # Errors
/// A design that does not exist for these factors; more points than `most`.
pub(crate) fn layout(job: &Job, most: usize) -> Result<Layout, JobErrors> {
    // No factor drives the design.
    let settings = Settings::at(job, &BTreeMap::new());
    let kind = settings.get(keys().run.design);
    let counts: Vec<usize> = job.factors.iter().map(|f| f.levels.len()).collect();
    let factors = counts.len();
    let wrong = |why: String, hint: &str| {
        let spot = job.spot_of(keys().run.design);
        let fault = Fault::Conflict {
            why,
            hint: hint.into(),
        };
        let key = keys().path(keys().run.design);
        let value = format!("\"{}\"", bicolumn_base::Word::word(kind));
        JobErrors(vec![job.error(spot, key, value, fault)])
    };
    let mut aliases = Vec::new();
    let mut centres = usize::from(has_centre(kind));
    let choices = match kind {
        DesignKind::FullFactorial => {
            let total = counts.iter().fold(1_usize, |n, c| n.saturating_mul(*c));
            too_many(job, total, most)?;
            full_factorial(&counts)
        }
        DesignKind::OneAtATime => {
            let total = counts.iter().fold(1_usize, |n, c| n.saturating_add(c - 1));
            too_many(job, total, most)?;
            one_at_a_time(&counts)
        }
        DesignKind::FractionalFactorial => {
            of_levels(job, 2)?;
            let resolution = settings.get(keys().run.resolution);
            let fraction = Fraction::of(factors, resolution).map_err(|e| {
                wrong(
                    e.to_string(),
                    "take design.kind = \"full_factorial\", or another design.resolution",
                )
            })?;
            aliases = classes(job, &fraction.aliases());
            fraction.points()
        }
        DesignKind::PlackettBurman => {
            of_levels(job, 2)?;
            aliases.push(
                "each main effect holds a part of every interaction of two other factors".into(),
            );
            plackett_burman(factors).ok_or_else(|| {
                let why = format!("{factors} factors; at most {MOST_SCREENED} are screened");
                wrong(why, "")
            })?
        }
        DesignKind::DefinitiveScreening => {
            let design = definitive(job)?;
            let design = definitive_screening(&design).ok_or_else(|| {
                let why = format!(
                    "{factors} factors; it takes 3 to {MOST_DEFINITIVE}, one of three levels among them"
                );
                wrong(why, "take design.kind = \"full_factorial\" or \"fractional_factorial\"")
            })?;
            aliases.push(
                "interactions of two factors and curvatures, each of which holds a part of others"
                    .into(),
            );
            centres = design.centres;
            design.points
        }
        DesignKind::BoxBehnken => {
            of_levels(job, 3)?;
            box_behnken(factors).ok_or_else(|| {
                wrong(
                    format!("{factors} factors; it takes 3 to 7"),
                    "take design.kind = \"face_centred\" or \"full_factorial\"",
                )
            })?
        }
        DesignKind::FaceCentred => {
            of_levels(job, 3)?;
            face_centred(factors).ok_or_else(|| {
                wrong(
                    format!("{factors} factors; it takes 2 to 10"),
                    "take design.kind = \"full_factorial\", or fewer factors",
                )
            })?
        }
        DesignKind::CentralComposite
        | DesignKind::Table
        | DesignKind::Random
        | DesignKind::LatinHypercube
        | DesignKind::Halton => job.table_points.clone(),
    };
    too_many(job, choices.len(), most)?;
    Ok(Layout {
        choices,
        aliases,
        centres,
    })
}

/// Has the design a centre, which may be solved on several meshes?
fn has_centre(kind: DesignKind) -> bool {
    matches!(
        kind,
        DesignKind::DefinitiveScreening
            | DesignKind::BoxBehnken
            | DesignKind::FaceCentred
            | DesignKind::CentralComposite
    )
}

/// Has each factor of a definitive screening design three levels, and not two?
fn definitive(job: &Job) -> Result<Vec<bool>, JobErrors> {
    let of_factor = |factor: &Factor| {
        let are_numbers = factor.levels.iter().all(|l| l.number().is_some());
        match factor.levels.len() {
            2 => Ok(false),
            3 if are_numbers => Ok(true),
            count => Err(JobErrors(vec![job.error(
                Some(factor.spot),
                factor.path(),
                String::new(),
                Fault::Conflict {
                    why: match count {
                        3 => "three words, and the design of this job takes two".into(),
                        _ => format!(
                            "{count} levels, and the design of this job takes three numbers or two levels of any kind"
                        ),
                    },
                    hint: "give a low, a middle and a high number, or two words".into(),
                },
            )])),
        }
    };
    job.factors.iter().map(of_factor).collect()
}

/// Keys of the design that cannot act, or that lack another.
pub(crate) fn check(job: &Job, errors: &mut Vec<JobError>) {
    let kind = Settings::at(job, &BTreeMap::new()).get(keys().run.design);
    let run = &keys().run;
    let idle = |key: &str, wants: &str| Fault::Conflict {
        why: format!("has no effect: {key} belongs to design.kind = \"{wants}\""),
        hint: format!("leave it out, or set design.kind = \"{wants}\""),
    };
    if let Some(spot) = job
        .spot_of(run.resolution)
        .filter(|_| kind != DesignKind::FractionalFactorial)
    {
        let key = keys().path(run.resolution);
        errors.push(job.error(
            Some(spot),
            key,
            String::new(),
            idle(key, "fractional_factorial"),
        ));
    }
    let of_composites = [run.core.id(), run.axial_distance.id(), run.stated_ends.id()];
    for key in of_composites {
        let spot = job.spot_of(key);
        if let Some(spot) = spot.filter(|_| kind != DesignKind::CentralComposite) {
            let key = keys().path(key);
            let fault = idle(key, "central_composite");
            errors.push(job.error(Some(spot), key, String::new(), fault));
        }
    }
    if let Some(spot) = job.spot_of(run.centre_points) {
        let key = keys().path(run.centre_points);
        let told = match has_centre(kind) {
            false => Some((
                format!("has no effect: {key} belongs to a design with a centre"),
                "leave it out, or set design.kind = \"central_composite\", \"face_centred\", \"box_behnken\" or \"definitive_screening\"",
            )),
            true if job.spot_of(run.replicates).is_some() => Some((
                "design.replicates gives the centre its meshes, as every other point".into(),
                "leave one of them out",
            )),
            true => None,
        };
        if let Some((why, hint)) = told {
            let hint = hint.into();
            let fault = Fault::Conflict { why, hint };
            errors.push(job.error(Some(spot), key, String::new(), fault));
        }
    }
    let pose = keys().mesh.pose;
    if let Some(spot) = job.spot_of(pose).filter(|_| job.poses() > 1) {
        errors.push(job.error(
            Some(spot),
            keys().path(pose),
            String::new(),
            Fault::Conflict {
                why: "the design gives its points their poses".into(),
                hint: format!(
                    "leave {} out, or design.replicates and design.centre_points",
                    keys().path(pose)
                ),
            },
        ));
    }
    let of_samples = [
        (job.spot_of(run.points), keys().path(run.points)),
        (job.spot_of(run.seed), keys().path(run.seed)),
        (job.spot_of(run.distribution), keys().path(run.distribution)),
        (job.spot_of(run.normal), keys().path(run.normal)),
        (job.spot_of(run.lognormal), keys().path(run.lognormal)),
    ];
    for (spot, key) in of_samples {
        if let Some(spot) = spot.filter(|_| !is_sampled(kind)) {
            let fault = Fault::Conflict {
                why: format!("has no effect: {key} belongs to a sampled design"),
                hint: "leave it out, or set design.kind = \"random\", \"latin_hypercube\" or \"halton\""
                    .into(),
            };
            errors.push(job.error(Some(spot), key, String::new(), fault));
        }
    }
    if let Some(spot) = job.spot_of(run.table).filter(|_| kind != DesignKind::Table) {
        let key = keys().path(run.table);
        errors.push(job.error(Some(spot), key, String::new(), idle(key, "table")));
    }
    if kind == DesignKind::Table && job.spot_of(run.table).is_none() {
        let fault = Fault::Conflict {
            why: "the design needs design.table".into(),
            hint: "name a CSV file: a line of keys, then a line of their values for each point"
                .into(),
        };
        errors.push(job.error(
            job.spot_of(run.design),
            keys().path(run.design),
            "\"table\"".into(),
            fault,
        ));
    }
}

/// # Errors
/// More points than are accepted.
pub(crate) fn too_many(job: &Job, total: usize, most: usize) -> Result<(), JobErrors> {
    if total <= most {
        return Ok(());
    }
    Err(JobErrors(vec![job.error(
        job.factors.first().map(|f| f.spot),
        "factors",
        String::new(),
        Fault::Conflict {
            why: format!("{total} design points; at most {most} are accepted"),
            hint: "take fewer levels, or another design.kind".into(),
        },
    )]))
}

/// Has every factor so many levels?
fn of_levels(job: &Job, wanted: usize) -> Result<(), JobErrors> {
    let Some(other) = job.factors.iter().find(|f| f.levels.len() != wanted) else {
        return Ok(());
    };
    let count = other.levels.len();
    Err(JobErrors(vec![job.error(
        Some(other.spot),
        other.path(),
        String::new(),
        Fault::Conflict {
            why: format!(
                "{count} levels, and the design of this job takes {wanted} of every factor"
            ),
            hint: match wanted {
                2 => "give a low and a high level".into(),
                _ => "give a low, a middle and a high level".into(),
            },
        },
    )]))
}

/// Classes of effects that stand for one another, as "a = b × c".
fn classes(job: &Job, classes: &[Vec<Term>]) -> Vec<String> {
    let name = |f: usize| job.factors.get(f).map(Factor::path).unwrap_or_default();
    let word = |term: &Term| match term {
        Term::Main(f) => name(*f).to_string(),
        Term::Pair(a, b) => format!("{} × {}", name(*a), name(*b)),
    };
    classes
        .iter()
        .map(|class| class.iter().map(word).collect::<Vec<_>>().join(" = "))
        .collect()
}

#[cfg(test)]
mod tests {
    use crate::{Job, Plan};
    use std::path::Path;

    fn plan(text: &str) -> Result<Plan, String> {
        let job = Job::parse(Path::new("x.toml"), text).map_err(|e| e.to_string())?;
        Plan::of(&job).map_err(|e| e.to_string())
    }

    const FIVE: &str = "[factors]\nfracture.gap_mm = [2, 5]\nplates.stagger_mm = [0, 20]\n\
        plates.thickness_mm = [2.5, 3.5]\nscrews.shaft_count = [2, 3]\nconstruct.layout = [\"parallel\", \"orthogonal\"]\n";

    #[test]
    fn fractions_hold_their_points_and_name_their_aliases() {
        let design = "design.kind = \"fractional_factorial\"\n";
        let four = plan(&format!("{design}design.resolution = 3\n{FIVE}")).unwrap();
        assert_eq!(four.points.len(), 8);
        assert!(
            four.aliases
                .iter()
                .any(|a| a.starts_with("fracture.gap_mm = ")),
            "{:?}",
            four.aliases
        );
        let five = plan(&format!("{design}design.resolution = 5\n{FIVE}")).unwrap();
        assert_eq!((five.points.len(), five.aliases.len()), (16, 0));
        let screened = plan(&format!("design.kind = \"plackett_burman\"\n{FIVE}")).unwrap();
        assert_eq!(screened.points.len(), 12);
    }

    #[test]
    fn designs_that_do_not_exist_are_refused_with_the_reason() {
        let told = |text: &str| plan(text).unwrap_err();
        let fraction = "design.kind = \"fractional_factorial\"\ndesign.resolution = 5\n[factors]\nfracture.gap_mm = [2, 5]\nplates.stagger_mm = [0, 20]\n";
        assert!(
            told(fraction).contains("full factorial of 4 points"),
            "{}",
            told(fraction)
        );
        let levels = format!("design.kind = \"box_behnken\"\n{FIVE}");
        assert!(
            told(&levels).contains("x.toml:3: fracture.gap_mm: 2 levels, and the design"),
            "{}",
            told(&levels)
        );
        let idle = format!("design.resolution = 4\n{FIVE}");
        assert!(told(&idle).contains("has no effect"), "{}", told(&idle));
        assert!(told("design.kind = \"table\"\n").contains("needs design.table"));
        let two = "design.kind = \"box_behnken\"\n[factors]\nfracture.gap_mm = [2, 5, 8]\nplates.stagger_mm = [0, 10, 20]\n";
        assert!(
            told(two).contains("2 factors; it takes 3 to 7"),
            "{}",
            told(two)
        );
        let faces = plan(&two.replace("box_behnken", "face_centred")).unwrap();
        assert_eq!(faces.points.len(), 9);
        let centre = plan(&format!("design.centre_points = 3\n{FIVE}")).unwrap_err();
        assert!(
            centre.contains("belongs to a design with a centre"),
            "{centre}"
        );
        let core = plan(&format!("design.core = \"full\"\n{FIVE}")).unwrap_err();
        assert!(
            core.contains("design.kind = \"central_composite\""),
            "{core}"
        );
    }

    #[test]
    fn numbers_and_categories_are_screened_together() {
        let text = "design.kind = \"definitive_screening\"\ndesign.centre_points = 2\n[factors]\nfracture.gap_mm = [2, 5, 8]\n\
            construct.layout = [\"parallel\", \"orthogonal\"]\nplates.stagger_mm = [0, 10, 20]\nplates.thickness_mm = [2.5, 3, 3.5]\n";
        let screened = plan(text).unwrap();
        // Four factors: 8 runs, and two centres on two meshes each.
        assert_eq!(screened.points.len(), 12);
        let level = |n: usize, key: &str| screened.points[n].levels[key].to_string();
        assert_eq!(level(8, "fracture.gap_mm"), "5");
        assert_ne!(level(8, "construct.layout"), level(10, "construct.layout"));
        assert_eq!(level(8, "construct.layout"), level(9, "construct.layout"));
        assert_eq!(
            (level(9, "mesh.pose"), level(7, "mesh.pose")),
            ("1".into(), "0".into())
        );
        let words = text.replace(
            "\"parallel\", \"orthogonal\"",
            "\"parallel\", \"orthogonal\", \"medial_only\"",
        );
        let told = plan(&words).unwrap_err();
        assert!(told.contains("three words, and the design"), "{told}");
        let told = plan(&text.replace("[2, 5, 8]", "[2, 5, 8, 10]")).unwrap_err();
        assert!(told.contains("4 levels, and the design"), "{told}");
    }
}
