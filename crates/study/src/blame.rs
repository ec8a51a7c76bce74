//! From a construct that cannot be built back to the job keys behind it.

use crate::job::Job;
use crate::key_table::{key, keys};
use crate::keys::Fallback;
use crate::plan::DesignPoint;
use crate::settings::Settings;
use crate::{regions, size_field_file};
use bicolumn_geometry::GeometryError;
use bicolumn_mesh::MeshError;

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

/// Explains why the interfaces of a point cannot be had: the first key that the reason names leads, as far
/// as the job gives it.
pub fn explain_refusal(reason: &str, job: &Job, point: &DesignPoint) -> String {
    let named = named_in(reason);
    let given = named.iter().find(|k| job.spot_of(k).is_some());
    match given {
        Some(key) => {
            let settings = Settings::at(job, point);
            format!("{}: {reason}", where_given(key, job, point, &settings))
        }
        None => format!("{}: {reason}", job.file.display()),
    }
}

/// Explains why a point's cut program cannot be written: the key of the region or the size field at fault
/// leads.
pub fn explain_sizes(error: &MeshError, job: &Job, point: &DesignPoint) -> String {
    let key = match error {
        MeshError::NoSuchFeature { region, .. } => format!("{}{region}.around", regions::PREFIX),
        MeshError::SizeFieldTooSmall { .. } => size_field_file::KEY.to_string(),
        MeshError::Gate(_) | MeshError::TooManySurfaces { .. } => return error.to_string(),
    };
    let settings = Settings::at(job, point);
    format!("{}: {error}", where_given(&key, job, point, &settings))
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
    let told = error.to_string();
    let mut candidates = named_in(&told);
    match error {
        GeometryError::Dimension { what, .. } => candidates = vec![what.clone()],
        GeometryError::Clash { first, second, .. } => {
            candidates.extend(part_keys(first, &told));
            candidates.extend(part_keys(second, &told));
        }
        GeometryError::ScrewMissesBone { screw, .. } => {
            candidates.extend(part_keys(screw, &told));
        }
        GeometryError::Surface(_) => candidates.insert(0, "bone.surface_file".into()),
        GeometryError::NoRoom { what, .. } => candidates.extend(part_keys(what, &told)),
    }
    let mut given = Vec::new();
    let mut defaults = Vec::new();
    for candidate in candidates {
        let path = of_the_plate(decisive(&candidate, job), &told, job);
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
        Some(Fallback::OfSite(other) | Fallback::OfOr(other, _))
            if job.spot_of(other).is_some() =>
        {
            (*other).to_string()
        }
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

/// A key that has no value for both plates: that of the plate which the message tells of.
fn of_the_plate(path: String, told: &str, job: &Job) -> String {
    let common = key(&path).is_some_and(|k| k.default == Fallback::Absent);
    match path.strip_prefix("plates.") {
        Some(name) if common && job.spot_of(&path).is_none() => {
            let medial = told.contains("plate.medial");
            format!("plates.{}.{name}", if medial { "medial" } else { "other" })
        }
        _ => path,
    }
}

/// Keys that a message names, in full or without their section.
fn named_in(told: &str) -> Vec<String> {
    let mut found = Vec::new();
    for token in told.split(|c: char| !(c.is_alphanumeric() || c == '.' || c == '_')) {
        let token = token.trim_end_matches('.');
        let ending = format!(".{token}");
        let named = keys()
            .iter()
            .find(|k| k.path == token || token.contains('_') && k.path.ends_with(&ending));
        found.extend(named.map(|k| k.path.clone()));
    }
    found
}

/// Keys that place and size a part, by its name and by which row of screws the message tells of.
fn part_keys(part: &str, told: &str) -> Vec<String> {
    const SCREWS: [&str; 6] = [
        "shaft_count",
        "shaft_diameter_mm",
        "bicortical",
        "distal_count",
        "distal_diameter_mm",
        "distal_length_mm",
    ];
    const PLATES: [&str; 7] = [
        "end_level_mm",
        "stagger_mm",
        "distal_hole_level_mm",
        "distal_hole_pitch_mm",
        "hole_pitch_mm",
        "width_mm",
        "thickness_mm",
    ];
    let both_and_each = |section: &str, names: &[&str]| -> Vec<String> {
        let prefixes = [
            section.to_string(),
            format!("{section}.medial"),
            format!("{section}.other"),
        ];
        names
            .iter()
            .flat_map(|n| prefixes.iter().map(move |p| format!("{p}.{n}")))
            .collect()
    };
    if part.contains("screw") {
        let (shaft, distal) = (told.contains("shaft screw"), told.contains("distal"));
        let of_row = |name: &&&str| match (shaft, distal) {
            (true, false) => !name.starts_with("distal"),
            (false, true) => name.starts_with("distal"),
            _ => true,
        };
        let screws: Vec<&str> = SCREWS.iter().filter(of_row).copied().collect();
        let mut keys = both_and_each("screws", &screws);
        keys.extend(both_and_each("plates", &PLATES));
        keys.push("construct.clearance_mm".into());
        keys
    } else if part.contains("plate") {
        let mut keys = both_and_each("plates", &PLATES);
        keys.push("bone.potting_level_mm".into());
        keys.extend(both_and_each("screws", &["shaft_count", "distal_count"]));
        keys
    } else if part.contains("fracture") {
        ["level_mm", "gap_mm", "inclination_deg"]
            .map(|n| format!("fracture.{n}"))
            .into()
    } else {
        Vec::new()
    }
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
            value: 12.0,
            unit: "mm",
            accepted: "at most 11".into(),
        };
        let text = explained("[plates]\nwidth_mm = 12\n", &error);
        assert!(
            text.starts_with("x.toml:2: plates.width_mm = 12: "),
            "{text}"
        );
        let text = explained("", &error);
        assert!(
            text.starts_with("x.toml: plates.width_mm = 10 (default): "),
            "{text}"
        );
    }

    #[test]
    fn a_default_that_depends_on_the_site_is_told_with_its_value() {
        let error = GeometryError::NoRoom {
            what: "plate.medial".into(),
            why: "its distal end would overhang the bone".into(),
            hint: "set distal_hole_level_mm to 9.25 or more".into(),
        };
        let text = explained("", &error);
        let start = "x.toml: plates.medial.distal_hole_level_mm = 9 (default): plate.medial: ";
        assert!(text.starts_with(start), "{text}");
        let text = explained("plates.distal_hole_level_mm = 9.1\n", &error);
        let start = "x.toml:1: plates.distal_hole_level_mm = 9.1: plate.medial: ";
        assert!(text.starts_with(start), "{text}");
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
