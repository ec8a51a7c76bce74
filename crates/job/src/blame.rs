//! From a construct that cannot be built back to the job keys behind it.

use crate::catalogue::keys;
use crate::handle::KeyId;
use crate::job::Job;
use crate::job_error::Spot;
use crate::key::Fallback;
use crate::named_path::under;
use crate::plan::DesignPoint;
use crate::settings::Settings;
use crate::words::PlateKind;
use bicolumn_base::PlateSite;
use bicolumn_geometry::{
    BoneDimension, FractureQuantity, GeometryError, IndependentQuantity, Member, PlateQuantity,
    ScrewRow, Subject,
};
use bicolumn_mesh::MeshError;

/// Other keys told beside the one that leads.
const MOST_OTHERS: usize = 4;

/// Interfaces asked for that a construct cannot have: the reason, and the keys that it names.
#[derive(Debug, Clone, PartialEq)]
pub struct Refusal {
    /// Reason, as shown to the user.
    pub reason: String,
    /// Keys to change, the likeliest first.
    pub keys: Vec<KeyId>,
}

/// Explains why a point's construct cannot be built: the point, the reason, then the keys that decide
/// it with their lines in the job file.
pub fn explain(error: &GeometryError, job: &Job, point: &DesignPoint) -> String {
    if let GeometryError::Several(errors) = error {
        let mut told: Vec<String> = Vec::new();
        for error in errors {
            let text = explain(error, job, point);
            if !told.contains(&text) {
                told.push(text);
            }
        }
        return told.join("\n");
    }
    let settings = Settings::at(job, &point.levels);
    let keys = keys_behind(error, job);
    let mut text = String::new();
    // The first key at fault leads, in the form of every other message about a job.
    match keys.first() {
        Some(first) => text.push_str(&where_given(*first, job, point, &settings)),
        None => text.push_str(&job.file.display().to_string()),
    }
    text.push_str(&format!(": {}", in_job_words(error)));
    for other in keys.iter().skip(1).take(MOST_OTHERS) {
        text.push_str(&format!(
            "\n  see also: {}",
            where_given(*other, job, point, &settings)
        ));
    }
    text
}

/// The error with a dimension under the name of its key.
fn in_job_words(error: &GeometryError) -> String {
    match error {
        GeometryError::Dimension {
            subject,
            value,
            unit,
            accepted,
            ..
        } => match own_key(*subject) {
            Some(key) => {
                let path = keys().path(key);
                format!("{path} is {value} {unit}; accepted: {accepted}")
            }
            None => error.to_string(),
        },
        other => other.to_string(),
    }
}

/// Explains why the interfaces of a point cannot be had: the first key of the refusal that the job gives
/// leads.
pub fn explain_refusal(refusal: &Refusal, job: &Job, point: &DesignPoint) -> String {
    let reason = &refusal.reason;
    match refusal.keys.iter().find(|k| job.spot_of(**k).is_some()) {
        Some(key) => {
            let settings = Settings::at(job, &point.levels);
            format!("{}: {reason}", where_given(*key, job, point, &settings))
        }
        None => format!("{}: {reason}", job.file.display()),
    }
}

/// Explains why a point's cut program cannot be written: the key of the region or the size field at fault
/// leads.
pub fn explain_sizes(error: &MeshError, job: &Job, point: &DesignPoint) -> String {
    let place = match error {
        MeshError::NoSuchFeature { region, .. } => {
            let path = under(keys().path(keys().mesh.region.around), region);
            let given = job.given.get(&path);
            let value = given.map(|g| g.value.to_string()).unwrap_or_default();
            let is_factor = false;
            told(job, given.map(|g| g.spot), &path, &value, is_factor, point)
        }
        MeshError::SizeFieldTooSmall { .. } => {
            let settings = Settings::at(job, &point.levels);
            where_given(keys().mesh.size_field.id(), job, point, &settings)
        }
        MeshError::Gate(_) | MeshError::TooManySurfaces { .. } => return error.to_string(),
    };
    format!("{place}: {error}")
}

/// `jobs/x.toml:7: plates.stagger_mm = 20 (factor)` or `plates.width_mm = 10 (default)`.
fn where_given(key: KeyId, job: &Job, point: &DesignPoint, settings: &Settings) -> String {
    let value = settings
        .setting(key)
        .map(|s| s.value.to_string())
        .unwrap_or_default();
    let path = keys().path(key);
    let is_factor = point.levels.contains_key(path);
    told(job, job.spot_of(key), path, &value, is_factor, point)
}

fn told(
    job: &Job,
    spot: Option<Spot>,
    path: &str,
    value: &str,
    is_factor: bool,
    point: &DesignPoint,
) -> String {
    let file = job.file.display();
    match spot {
        Some(spot) if is_factor => {
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
fn keys_behind(error: &GeometryError, job: &Job) -> Vec<KeyId> {
    let mut candidates = Vec::new();
    let of_remedies = |remedies: &[Subject]| -> Vec<KeyId> {
        remedies.iter().flat_map(|r| of_subject(*r, job)).collect()
    };
    match error {
        GeometryError::Dimension { subject, .. } => candidates.extend(of_subject(*subject, job)),
        GeometryError::Clash {
            first,
            second,
            remedies,
            ..
        } => {
            candidates.extend(of_remedies(remedies));
            if remedies.is_empty() {
                candidates.extend(of_member(*first, job));
                candidates.extend(of_member(*second, job));
            }
        }
        GeometryError::ScrewMissesBone {
            screw, remedies, ..
        } => {
            candidates.extend(of_remedies(remedies));
            if remedies.is_empty() {
                candidates.extend(of_member(*screw, job));
            }
        }
        GeometryError::Several(_) => {}
        GeometryError::Surface(_) => {
            let k = &keys().bone;
            candidates.push(k.surface_file.id());
            candidates.push(k.surface_unit.id());
            candidates.extend(k.landmarks.map(|l| l.id()));
        }
        GeometryError::NoRoom {
            member, remedies, ..
        } => {
            candidates.extend(of_remedies(remedies));
            if remedies.is_empty() {
                candidates.extend(of_member(*member, job));
            }
        }
    }
    let mut given = Vec::new();
    let mut defaults = Vec::new();
    for candidate in candidates {
        let key = decisive(candidate, job);
        let list = match job.spot_of(key) {
            Some(_) => &mut given,
            None => &mut defaults,
        };
        if !list.contains(&key) {
            list.push(key);
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
fn decisive(key: KeyId, job: &Job) -> KeyId {
    let is_given = |key: &KeyId| job.spot_of(*key).is_some();
    if is_given(&key) {
        return key;
    }
    match &keys().row(key).default {
        Fallback::Of(other) => decisive(*other, job),
        Fallback::OfPlate(other, _) | Fallback::OfOr(other, _) if is_given(other) => *other,
        Fallback::Preset(preset) if is_given(&preset.by) => preset.by,
        Fallback::Rule(derived) => {
            let section = |k: &KeyId| keys().path(*k).split('.').next();
            // A key that stands in for this one and is not given leads nowhere, nor does a bone that is the default.
            let usual = derived.causes.iter().rev().find(|k| {
                let is_absent = matches!(keys().row(**k).default, Fallback::Absent);
                !is_absent && section(k) == section(&key)
            });
            let given = derived.causes.iter().find(|k| is_given(k));
            given.or(usual).map_or(key, |cause| decisive(*cause, job))
        }
        Fallback::OfPlate(..)
        | Fallback::OfOr(..)
        | Fallback::Preset(_)
        | Fallback::Value(_)
        | Fallback::Absent => key,
    }
}

fn plate_at(site: PlateSite) -> PlateKind {
    match site {
        PlateSite::Medial => PlateKind::Medial,
        PlateSite::Lateral | PlateSite::Posterolateral => PlateKind::Other,
    }
}

/// The key of a quantity, which its value is read from.
pub(crate) fn own_key(subject: Subject) -> Option<KeyId> {
    let k = keys();
    let independent = |n: usize| k.screws.independent.get(n.checked_sub(1)?);
    Some(match subject {
        Subject::Bone(q) => k.bone.of(q).id(),
        Subject::Fracture(q) => k.fracture.of(q).id(),
        Subject::Plate(site, q) => of_plate(plate_at(site), q),
        Subject::Independent(n, q) => independent(n)?.of(q).id(),
        Subject::IndependentHold(n) => independent(n)?.hold.id(),
        Subject::Clearance => k.construct.clearance.id(),
    })
}

fn of_plate(which: PlateKind, quantity: PlateQuantity) -> KeyId {
    let (plates, screws) = (&keys().plates, &keys().screws);
    match quantity {
        PlateQuantity::Width => plates.width.of(which).id(),
        PlateQuantity::Thickness => plates.thickness.of(which).id(),
        PlateQuantity::HolePitch => plates.hole_pitch.of(which).id(),
        PlateQuantity::DistalHolePitch => plates.distal_hole_pitch.of(which).id(),
        PlateQuantity::DistalWidth => plates.distal_width.of(which).id(),
        PlateQuantity::HoleDiameter => plates.hole_diameter.of(which).id(),
        PlateQuantity::StandOff => keys().interfaces.stand_off.id(),
        PlateQuantity::EndLevel => plates.end(which).id(),
        PlateQuantity::DistalHoleLevel => plates.distal_hole_level.of(which).id(),
        PlateQuantity::ShaftScrews => screws.shaft_count.of(which).id(),
        PlateQuantity::DistalScrews => screws.distal_count.of(which).id(),
        PlateQuantity::ShaftScrewDiameter => screws.shaft_diameter.of(which).id(),
        PlateQuantity::DistalScrewDiameter => screws.distal_diameter.of(which).id(),
        PlateQuantity::DistalScrewLength => screws.distal_length.of(which).id(),
        PlateQuantity::Slot => plates.slot.of(which).id(),
        PlateQuantity::EndDistance => plates.end_distance.of(which).id(),
        PlateQuantity::FractureDistance => screws.fracture_distance.of(which).id(),
        PlateQuantity::ShaftScrewTilt => screws.shaft_tilt.of(which).id(),
    }
}

/// Keys that decide a quantity. The level of a plate's end follows from a mean level and a stagger, unless
/// it is given by itself.
fn of_subject(subject: Subject, job: &Job) -> Vec<KeyId> {
    let own = own_key(subject);
    let mean = match subject {
        Subject::Plate(_, PlateQuantity::EndLevel) => Some(keys().plates.end_level.id()),
        _ => None,
    };
    let is_given = own.is_some_and(|k| job.spot_of(k).is_some());
    mean.filter(|_| !is_given).into_iter().chain(own).collect()
}

/// Keys that place and size a member.
fn of_member(member: Member, job: &Job) -> Vec<KeyId> {
    use PlateQuantity as Q;
    const SHAFT: [Q; 2] = [Q::ShaftScrews, Q::ShaftScrewDiameter];
    const DISTAL: [Q; 3] = [
        Q::DistalScrews,
        Q::DistalScrewDiameter,
        Q::DistalScrewLength,
    ];
    const PLACE: [Q; 6] = [
        Q::EndLevel,
        Q::DistalHoleLevel,
        Q::DistalHolePitch,
        Q::HolePitch,
        Q::Width,
        Q::Thickness,
    ];
    // A screw gives way to both plates and their screws: its own plate's keys come first.
    let of_sites = |sites: &[PlateSite], quantities: &[Q]| -> Vec<KeyId> {
        quantities
            .iter()
            .flat_map(|q| sites.iter().map(|site| Subject::Plate(*site, *q)))
            .flat_map(|subject| of_subject(subject, job))
            .collect()
    };
    let mut found = Vec::new();
    match member {
        Member::Fracture => {
            use FractureQuantity as F;
            let decide = [F::Level, F::Gap, F::Inclination];
            found.extend(decide.map(|q| keys().fracture.of(q).id()));
        }
        Member::Plate(site) => {
            found.extend(of_sites(&[site], &PLACE));
            found.push(keys().bone.of(BoneDimension::PottingLevel).id());
            found.extend(of_sites(&[site], &[Q::ShaftScrews, Q::DistalScrews]));
        }
        Member::PlateScrew { row, plate, .. } => {
            let sites = [plate, across_from(plate)];
            let bicortical = sites.map(|s| keys().screws.bicortical.of(plate_at(s)).id());
            if matches!(row, ScrewRow::Shaft | ScrewRow::Independent) {
                found.extend(of_sites(&sites, &SHAFT));
                found.extend(bicortical);
            }
            if matches!(row, ScrewRow::Distal | ScrewRow::Independent) {
                found.extend(of_sites(&sites, &DISTAL));
            }
            found.extend(of_sites(&sites, &PLACE));
            found.push(keys().construct.clearance.id());
        }
        Member::Independent { index, .. } => {
            let own = IndependentQuantity::ALL.iter();
            found.extend(own.filter_map(|q| own_key(Subject::Independent(index, *q))));
            let sites = [PlateSite::Medial, PlateSite::Lateral];
            found.extend(of_sites(&sites, &SHAFT));
            found.extend(of_sites(&sites, &DISTAL));
            found.extend(of_sites(&sites, &PLACE));
            found.push(keys().construct.clearance.id());
        }
    }
    found
}

/// A site of the other plate.
fn across_from(site: PlateSite) -> PlateSite {
    match site {
        PlateSite::Medial => PlateSite::Lateral,
        PlateSite::Lateral | PlateSite::Posterolateral => PlateSite::Medial,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Plan;
    use bicolumn_base::ScrewNumber;
    use std::path::Path;

    fn explained(text: &str, error: &GeometryError) -> String {
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        let plan = Plan::of(&job).unwrap();
        explain(error, &job, &plan.points[0])
    }

    #[test]
    fn a_dimension_is_traced_to_its_line_through_the_fallback() {
        let error = GeometryError::Dimension {
            subject: Subject::Plate(PlateSite::Medial, PlateQuantity::Width),
            value: 12.0,
            unit: "mm",
            accepted: "at most 11".into(),
            bounds: None,
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
            member: Member::Plate(PlateSite::Medial),
            why: "its distal end would overhang the bone".into(),
            hint: "set distal_hole_level_mm to 9.25 or more".into(),
            remedies: vec![Subject::Plate(
                PlateSite::Medial,
                PlateQuantity::DistalHoleLevel,
            )],
        };
        let text = explained("", &error);
        let start = "x.toml: plates.medial.distal_hole_level_mm = 9 (default): plate.medial: ";
        assert!(text.starts_with(start), "{text}");
        let text = explained("plates.distal_hole_level_mm = 9.1\n", &error);
        let start = "x.toml:1: plates.distal_hole_level_mm = 9.1: plate.medial: ";
        assert!(text.starts_with(start), "{text}");
    }

    fn shaft_screw(n: u8) -> Member {
        Member::PlateScrew {
            number: ScrewNumber(n),
            row: ScrewRow::Shaft,
            plate: PlateSite::Medial,
        }
    }

    #[test]
    fn a_clash_lists_the_keys_that_the_job_gives() {
        let error = GeometryError::Clash {
            first: shaft_screw(2),
            second: shaft_screw(5),
            overlap_mm: 0.5,
            clearance_mm: 0.8,
            level_mm: 70.0,
            hint: "move one".into(),
            remedies: vec![],
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

    #[test]
    fn a_dimension_is_told_under_the_name_of_its_key_whatever_the_key() {
        let plates = [PlateSite::Medial, PlateSite::Posterolateral];
        let of_plates = plates.iter().flat_map(|site| {
            let quantities = PlateQuantity::ALL.iter();
            quantities.map(|q| Subject::Plate(*site, *q))
        });
        let bone = BoneDimension::ALL.iter().map(|q| Subject::Bone(*q));
        let fracture = FractureQuantity::ALL.iter().map(|q| Subject::Fracture(*q));
        let own = IndependentQuantity::ALL.iter();
        let independent = own.map(|q| Subject::Independent(2, *q));
        let subjects = bone.chain(fracture).chain(of_plates).chain(independent);
        for subject in subjects.chain([Subject::Clearance]) {
            let key = keys().row(own_key(subject).unwrap());
            let name = subject.to_string();
            let unit = subject.unit();
            assert_eq!(key.kind.unit(), unit, "{subject}");
            let error = GeometryError::Dimension {
                subject,
                value: 1e6,
                unit,
                accepted: "less".into(),
                bounds: None,
            };
            let text = explained("", &error);
            let told = format!("{} is 1000000 {unit}; accepted: less", key.path);
            assert!(text.ends_with(&told), "{name}: {text}");
        }
        assert_eq!(own_key(Subject::IndependentHold(0)), None);
        assert_eq!(own_key(Subject::IndependentHold(3)), None);
    }

    #[test]
    fn an_end_that_is_given_by_itself_is_blamed_by_itself() {
        let error = GeometryError::NoRoom {
            member: Member::Plate(PlateSite::Medial),
            why: "it is too long".into(),
            hint: "shorten it".into(),
            remedies: vec![Subject::Plate(PlateSite::Medial, PlateQuantity::EndLevel)],
        };
        let own = "plates.end_level_mm = 90\nplates.medial.end_level_mm = 140\n";
        let text = explained(own, &error);
        let start = "x.toml:2: plates.medial.end_level_mm = 140: plate.medial: ";
        assert!(text.starts_with(start), "{text}");
        let text = explained("plates.end_level_mm = 140\nplates.stagger_mm = 4\n", &error);
        let start = "x.toml:1: plates.end_level_mm = 140: plate.medial: ";
        assert!(text.starts_with(start), "{text}");
        assert!(
            text.contains("see also: x.toml:2: plates.stagger_mm = 4"),
            "{text}"
        );
    }
}
