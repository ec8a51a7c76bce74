//! From a construct that cannot be built back to the job keys behind it.

use crate::job::Job;
use crate::key_table::key;
use crate::keys::Fallback;
use crate::plan::DesignPoint;
use crate::settings::Settings;
use bicolumn_geometry::GeometryError;

/// Explains why a point's construct cannot be built: the point, the reason, then the keys that decide
/// it with their lines in the job file.
pub fn explain(error: &GeometryError, job: &Job, point: &DesignPoint) -> String {
    let settings = Settings::at(job, point);
    let keys = keys_behind(error, job, point);
    let mut text = String::new();
    // The first key at fault leads, in the form of every other message about a job.
    match keys.first() {
        Some(first) => text.push_str(&where_given(first, job, point, &settings)),
        None => text.push_str(&job.file.display().to_string()),
    }
    text.push_str(&format!(": {error}"));
    for other in keys.iter().skip(1) {
        text.push_str(&format!(
            "\n  see also: {}",
            where_given(other, job, point, &settings)
        ));
    }
    text
}

/// `jobs/x.toml:7: plates.stagger_mm = 20 (factor)` or `plates.width_mm = 10 (default)`.
fn where_given(path: &str, job: &Job, point: &DesignPoint, settings: &Settings) -> String {
    let value = settings
        .get(path)
        .map(|s| s.value.to_string())
        .unwrap_or_default();
    let file = job.file.display();
    match job.spot_of(path) {
        Some(spot) if point.levels.contains_key(path) => {
            format!(
                "{file}:{}: {path} = {value} (factor, {})",
                spot.line, point.id
            )
        }
        Some(spot) => format!("{file}:{}: {path} = {value}", spot.line),
        None => format!("{file}: {path} = {value} (default)"),
    }
}

/// Job keys that decide an error, the likeliest first. Keys that the job itself gives come before
/// defaults; among defaults only the likeliest stays.
pub fn keys_behind(error: &GeometryError, job: &Job, point: &DesignPoint) -> Vec<String> {
    let candidates: Vec<String> = match error {
        GeometryError::Dimension { what, .. } => vec![what.clone()],
        GeometryError::Clash { first, second, .. } => {
            let mut keys = part_keys(first);
            keys.extend(part_keys(second));
            keys
        }
        GeometryError::ScrewMissesBone { screw, .. } => part_keys(screw),
        GeometryError::NoRoom { what, why, hint } => {
            let mut keys = named_in(&[what, why, hint]);
            keys.extend(part_keys(what));
            keys
        }
    };
    let mut given = Vec::new();
    let mut defaults = Vec::new();
    for candidate in candidates {
        let path = decisive(&candidate, job);
        if key(&path).is_none() {
            continue;
        }
        let list = if job.spot_of(&path).is_some() || point.levels.contains_key(&path) {
            &mut given
        } else {
            &mut defaults
        };
        if !list.contains(&path) {
            list.push(path);
        }
    }
    if given.is_empty() {
        defaults.truncate(1);
        return defaults;
    }
    given
}

/// The key that a value was really taken from: `plates.medial.width_mm` unless it is given falls back
/// to `plates.width_mm`.
fn decisive(path: &str, job: &Job) -> String {
    if job.spot_of(path).is_some() {
        return path.to_string();
    }
    match key(path).map(|k| &k.default) {
        Some(Fallback::Of(other)) => decisive(other, job),
        Some(Fallback::Staggered(_)) => {
            let stagger = "plates.stagger_mm";
            if job.spot_of(stagger).is_some() {
                stagger.to_string()
            } else {
                "plates.end_level_mm".to_string()
            }
        }
        Some(Fallback::Preset(by)) if job.spot_of(by).is_some() => (*by).to_string(),
        _ => path.to_string(),
    }
}

/// Full key names that stand in a message.
fn named_in(texts: &[&String]) -> Vec<String> {
    let mut found = Vec::new();
    for text in texts {
        for token in text.split(|c: char| !(c.is_alphanumeric() || c == '.' || c == '_')) {
            let token = token.trim_end_matches('.');
            if key(token).is_some() {
                found.push(token.to_string());
            }
        }
    }
    found
}

/// Keys that place and size a part, by its name.
fn part_keys(part: &str) -> Vec<String> {
    let keys: &[&str] = if part.contains("screw") {
        &[
            "screws.shaft_count",
            "screws.medial.shaft_count",
            "screws.other.shaft_count",
            "screws.distal_count",
            "screws.medial.distal_count",
            "screws.other.distal_count",
            "screws.shaft_diameter_mm",
            "screws.distal_diameter_mm",
            "screws.distal_length_mm",
            "plates.distal_hole_level_mm",
            "plates.distal_hole_pitch_mm",
            "plates.hole_pitch_mm",
            "plates.stagger_mm",
            "plates.end_level_mm",
            "construct.clearance_mm",
        ]
    } else if part.contains("plate") {
        &[
            "plates.end_level_mm",
            "plates.stagger_mm",
            "plates.medial.end_level_mm",
            "plates.other.end_level_mm",
            "plates.width_mm",
            "plates.distal_hole_level_mm",
            "bone.potting_level_mm",
        ]
    } else if part.contains("fracture") || part.contains("gap") {
        &[
            "fracture.level_mm",
            "fracture.gap_mm",
            "fracture.inclination_deg",
        ]
    } else {
        &[]
    };
    keys.iter().map(|k| (*k).to_string()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Plan;
    use std::path::Path;

    fn explained(text: &str, error: &GeometryError) -> String {
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        let plan = Plan::of(&job).unwrap();
        explain(error, &job, &plan.points[0])
    }

    #[test]
    fn a_dimension_is_traced_to_its_line_through_the_fallback() {
        let error = GeometryError::Dimension {
            what: "plates.medial.width_mm".into(),
            value: 15.0,
            unit: "mm",
            accepted: "at most 14".into(),
        };
        let text = explained("[plates]\nwidth_mm = 15\n", &error);
        assert!(
            text.starts_with("x.toml:2: plates.width_mm = 15: "),
            "{text}"
        );
        let text = explained("", &error);
        assert!(
            text.starts_with("x.toml: plates.width_mm = 10 (default): "),
            "{text}"
        );
    }

    #[test]
    fn a_clash_lists_the_keys_that_the_job_gives() {
        let error = GeometryError::Clash {
            first: "screw.02".into(),
            second: "screw.05".into(),
            overlap_mm: 0.5,
            clearance_mm: 0.8,
            level_mm: 70.0,
            hint: "move one".into(),
        };
        let text = explained(
            "screws.shaft_count = 5\n[factors]\nplates.stagger_mm = [1, 2]\n",
            &error,
        );
        assert!(
            text.starts_with("x.toml:1: screws.shaft_count = 5: screw.02 and screw.05"),
            "{text}"
        );
        assert!(
            text.contains("see also: x.toml:3: plates.stagger_mm = 1 (factor, p001)"),
            "{text}"
        );
    }
}
