//! The hypothesis of a job: keys that need one another.

use crate::catalogue::keys;
use crate::handle::KeyId;
use crate::job::Job;
use crate::job_error::{Fault, JobError};

/// Keys of `[hypothesis]` that cannot act.
pub(crate) fn check(job: &Job, errors: &mut Vec<JobError>) {
    let run = &keys().run;
    let mut tell = |key: KeyId, why: String, hint: &str| {
        let fault = Fault::Conflict {
            why,
            hint: hint.into(),
        };
        errors.push(job.error(job.spot_of(key), keys().path(key), String::new(), fault));
    };
    let claim = run.baseline_is.id();
    let sizes = [run.least_distance.id(), run.least_difference.id()];
    if job.spot_of(claim).is_none() {
        if let Some(key) = sizes.into_iter().find(|k| job.spot_of(*k).is_some()) {
            let why = format!("has no effect without {}", keys().path(claim));
            tell(
                key,
                why,
                "claim that the headline is \"higher\" or \"lower\" at the baseline, or leave it out",
            );
        }
        return;
    }
    if job.drawn().is_some() {
        let why =
            "a hypothesis compares levels of a factor, and the points of this design are drawn";
        tell(
            claim,
            why.into(),
            "leave it out, or take a design of levels",
        );
        return;
    }
    let Some(over) = job.compared_factor().filter(|f| f.levels.len() > 1) else {
        let why = "a hypothesis compares levels of a factor, and this job has none of two levels";
        tell(claim, why.into(), "give the factor under [factors]");
        return;
    };
    let Some(distance) = job.stated(run.least_distance).filter(|d| *d > 0.0) else {
        return;
    };
    let key = run.least_distance.id();
    let numbers: Option<Vec<f64>> = over.levels.iter().map(|l| l.number()).collect();
    let Some(numbers) = numbers else {
        let why = format!("the levels of {} are no numbers", over.path());
        tell(key, why, "leave it out: every other level counts then");
        return;
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
            over.path()
        );
        tell(key, why, "give a smaller distance, or more levels");
    }
}

#[cfg(test)]
mod tests {
    use crate::Job;
    use std::path::Path;

    fn told(text: &str) -> Option<String> {
        let text = format!("[hypothesis]\n{text}");
        Job::parse(Path::new("x.toml"), &text)
            .err()
            .map(|e| e.to_string())
    }

    #[test]
    fn a_hypothesis_needs_a_factor_with_levels_far_enough() {
        let factor = "[factors]\nplates.stagger_mm = [0, 10, 20]\n";
        assert_eq!(
            told(&format!(
                "baseline_is = \"higher\"\nleast_distance = 20\n{factor}"
            )),
            None
        );
        let wrong = |text: &str, part: &str| {
            let told = told(text).unwrap();
            assert!(told.contains(part), "{told}");
        };
        wrong(
            "baseline_is = \"higher\"\n",
            "x.toml:2: hypothesis.baseline_is",
        );
        wrong(
            &format!("least_distance = 5\n{factor}"),
            "has no effect without hypothesis.baseline_is",
        );
        wrong(
            &format!("baseline_is = \"higher\"\nleast_distance = 25\n{factor}"),
            "the farthest is 20 away",
        );
        let words = "[factors]\nconstruct.layout = [\"parallel\", \"orthogonal\"]\n";
        wrong(
            &format!("baseline_is = \"lower\"\nleast_distance = 1\n{words}"),
            "are no numbers",
        );
        wrong(
            &format!("baseline_is = \"equal\"\n{factor}"),
            "\"higher\", \"lower\"",
        );
    }
}
