//! Hypotheses of a job: `[hypothesis]`, one about the headline, and `[hypothesis.NAME]`.

use crate::catalogue::{LEAST_DIFFERENCE_PERCENT, keys};
use crate::handle::KeyId;
use crate::job::{Factor, Job};
use crate::job_error::{Fault, Spot};
use crate::named_elsewhere::{Wrong, by_path, factor, levels, load_case, response, wrong};
use crate::named_path::HYPOTHESES;
use crate::named_table::{NamedTable, WrongTable, names};
use bicolumn_base::Word;
use bicolumn_store::HypothesisRecord;

/// Hypotheses of a job, the one without a name first, the others by name, and their faults.
pub(crate) fn read(
    job: &Job,
    tables: &[(String, Spot)],
) -> (Vec<HypothesisRecord>, Vec<WrongTable>) {
    let (mut claims, mut faults) = (Vec::new(), Vec::new());
    match unnamed(job) {
        Ok(claim) => claims.extend(claim),
        Err((key, why, hint)) => {
            let path = key.map_or("hypothesis", |k| keys().path(k)).to_string();
            faults.push(WrongTable {
                spot: key
                    .and_then(|k| job.spot_of(k))
                    .unwrap_or(Spot { line: 1, column: 1 }),
                value: String::new(),
                path,
                fault: Fault::Conflict { why, hint },
            });
        }
    }
    for (name, spot) in names(HYPOTHESES, &job.given, tables) {
        let table = NamedTable {
            kind: HYPOTHESES,
            name,
            given: &job.given,
        };
        match named(job, &table) {
            Ok(claim) => claims.push(claim),
            Err((key, why, hint)) => {
                faults.push(table.wrong(key, spot, Fault::Conflict { why, hint }));
            }
        }
    }
    (claims, faults)
}

fn unnamed(job: &Job) -> Result<Option<HypothesisRecord>, Wrong> {
    let k = &keys().hypothesis;
    let claim = k.baseline_is.id();
    let Some(direction) = job.stated(k.baseline_is).flatten() else {
        let sizes = [k.least_distance.id(), k.least_difference.id()];
        return match sizes.into_iter().find(|k| job.spot_of(*k).is_some()) {
            Some(key) => {
                let why = format!("has no effect without {}", keys().path(claim));
                let hint = "claim that the headline is \"higher\" or \"lower\" at the baseline, or leave it out";
                Err(wrong(key, why, hint))
            }
            None => Ok(None),
        };
    };
    let over = compared(job, None, claim)?;
    let distance = job.stated(k.least_distance).unwrap_or(0.0);
    check_distance(over, distance, k.least_distance.id())?;
    let difference = job.stated(k.least_difference);
    Ok(Some(HypothesisRecord {
        baseline_is: direction.word().into(),
        least_distance: distance,
        least_difference_percent: difference.unwrap_or(LEAST_DIFFERENCE_PERCENT),
        ..HypothesisRecord::default()
    }))
}

fn named(job: &Job, table: &NamedTable<'_>) -> Result<HypothesisRecord, Wrong> {
    let k = &keys().hypothesis.named;
    let direction = table.value(k.baseline_is).ok_or_else(|| {
        let hint = "claim that the response is \"higher\" or \"lower\" at the baseline";
        wrong(None, "needs baseline_is", hint)
    })?;
    let named = table.value(k.response);
    let named = named.map(|name| response(job, k.response.id(), &name));
    let case = table.value(k.case);
    let case = case.map(|name| load_case(job, k.case.id(), name));
    let (response, case) = (named.transpose()?, case.transpose()?);
    let (over, by) = (table.value(k.over), table.value(k.by));
    let of_claim = compared(job, over.as_deref(), k.over.id())?;
    if let Some(by) = &by {
        let by = factor(job, k.by.id(), by, OF_FACTORS)?;
        if by.key == of_claim.key {
            let hint = "name another factor, or leave it out";
            return Err(wrong(k.by.id(), "is the factor that is compared", hint));
        }
    }
    let distance = table.value(k.least_distance).unwrap_or(0.0);
    check_distance(of_claim, distance, k.least_distance.id())?;
    let at = match table.value(k.at) {
        Some(text) => levels(job, k.at.id(), &text)?,
        None => Vec::new(),
    };
    if at.iter().any(|(own, _)| own.key == of_claim.key) {
        let why = format!("{} is the factor that is compared", of_claim.path());
        return Err(wrong(k.at.id(), why, "name levels of other factors"));
    }
    let difference = table.value(k.least_difference);
    Ok(HypothesisRecord {
        name: table.name.to_string(),
        response,
        over,
        by,
        at: by_path(at),
        case,
        baseline_is: direction.word().into(),
        least_distance: distance,
        least_difference_percent: difference.unwrap_or(LEAST_DIFFERENCE_PERCENT),
    })
}

const OF_FACTORS: &str = "name a key under [factors]";

/// Factor whose levels are compared: the one named, otherwise the headline's.
fn compared<'a>(job: &'a Job, named: Option<&str>, key: KeyId) -> Result<&'a Factor, Wrong> {
    if job.drawn().is_some() {
        let why =
            "a hypothesis compares levels of a factor, and the points of this design are drawn";
        return Err(wrong(key, why, "leave it out, or take a design of levels"));
    }
    let found = match named {
        Some(path) => Some(factor(job, key, path, OF_FACTORS)?),
        None => job.compared_factor(),
    };
    found.filter(|f| f.levels.len() > 1).ok_or_else(|| {
        let why = "a hypothesis compares levels of a factor, and this job has none of two levels";
        wrong(key, why, "give the factor under [factors]")
    })
}

/// Is a level of a factor at least so far from its baseline?
fn check_distance(factor: &Factor, distance: f64, key: KeyId) -> Result<(), Wrong> {
    if distance <= 0.0 {
        return Ok(());
    }
    let numbers: Option<Vec<f64>> = factor.levels.iter().map(|l| l.number()).collect();
    let Some(numbers) = numbers else {
        let why = format!("the levels of {} are no numbers", factor.path());
        let hint = "leave it out: every other level counts then";
        return Err(wrong(key, why, hint));
    };
    let baseline = match numbers.contains(&0.0) {
        true => 0.0,
        false => numbers[0],
    };
    let farthest = numbers
        .iter()
        .map(|n| (n - baseline).abs())
        .fold(0.0, f64::max);
    if farthest < distance {
        let why = format!(
            "no level of {} is so far from the baseline {baseline}; the farthest is {farthest} away",
            factor.path()
        );
        return Err(wrong(key, why, "give a smaller distance, or more levels"));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use crate::Job;
    use std::path::Path;

    const FACTORS: &str = "[factors]\nplates.stagger_mm = [0, 10, 20]\nconstruct.layout = [\"parallel\", \"orthogonal\"]\n";

    fn job(text: &str) -> Result<Job, String> {
        Job::parse(Path::new("x.toml"), text).map_err(|e| e.to_string())
    }

    fn is_wrong(text: &str, part: &str) {
        let told = job(text).unwrap_err();
        assert!(told.contains(part), "{told}");
    }

    #[test]
    fn a_hypothesis_needs_a_factor_with_levels_far_enough() {
        let one = |text: &str| format!("[hypothesis]\n{text}");
        let far = one(&format!(
            "baseline_is = \"higher\"\nleast_distance = 20\n{FACTORS}"
        ));
        assert_eq!(job(&far).unwrap().hypotheses().len(), 1);
        is_wrong(
            &one("baseline_is = \"higher\"\n"),
            "x.toml:2: hypothesis.baseline_is",
        );
        is_wrong(
            &one(&format!("least_distance = 5\n{FACTORS}")),
            "has no effect without hypothesis.baseline_is",
        );
        is_wrong(
            &one(&format!(
                "baseline_is = \"higher\"\nleast_distance = 25\n{FACTORS}"
            )),
            "the farthest is 20 away",
        );
        let words = "[factors]\nconstruct.layout = [\"parallel\", \"orthogonal\"]\n";
        is_wrong(
            &one(&format!(
                "baseline_is = \"lower\"\nleast_distance = 1\n{words}"
            )),
            "are no numbers",
        );
        is_wrong(
            &one(&format!("baseline_is = \"equal\"\n{FACTORS}")),
            "\"higher\", \"lower\"",
        );
    }

    #[test]
    fn several_hypotheses_have_each_its_response_factor_points_and_case() {
        let text = format!(
            "{FACTORS}[hypothesis.riser]\nbaseline_is = \"higher\"\nleast_distance = 20\n[hypothesis.stiff]\n\
             response = \"stiffness_n_per_mm\"\nbaseline_is = \"lower\"\nover = \"construct.layout\"\nby = \"plates.stagger_mm\"\n\
             case = \"axial\"\nleast_difference_percent = 5\n"
        );
        let job = job(&text).unwrap();
        let [riser, stiff] = job.hypotheses() else {
            panic!("{:?}", job.hypotheses());
        };
        assert_eq!(
            (riser.name.as_str(), riser.least_difference_percent),
            ("riser", 10.0)
        );
        assert_eq!(riser.response, None);
        assert_eq!(stiff.over.as_deref(), Some("construct.layout"));
        assert_eq!(stiff.response, Some("stiffness_n_per_mm".into()));
        assert_eq!(
            (stiff.case.as_deref(), stiff.least_difference_percent),
            (Some("axial"), 5.0)
        );

        let with = |line: &str| format!("{FACTORS}[hypothesis.a]\n{line}\n");
        is_wrong(&with(""), "x.toml:4: hypothesis.a: needs baseline_is");
        for (line, part) in [
            ("response = \"stiffness\"", "no such response"),
            ("case = \"axail\"", "no such load case"),
            (
                "over = \"fracture.gap_mm\"",
                "fracture.gap_mm is no factor of this job",
            ),
            (
                "by = \"plates.stagger_mm\"",
                "is the factor that is compared",
            ),
            (
                "at = \"construct.layout = lateral_only\"",
                "lateral_only is no level",
            ),
            (
                "at = \"plates.stagger_mm = 10\"",
                "is the factor that is compared",
            ),
            ("least_distance = 21", "the farthest is 20 away"),
            ("distance = 21", "no such key"),
        ] {
            is_wrong(&with(&format!("baseline_is = \"higher\"\n{line}")), part);
        }
    }
}
