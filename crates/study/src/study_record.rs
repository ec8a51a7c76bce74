//! `study.json`: what holds for all points of a job.

use crate::draws::Replaced;
use bicolumn_geometry::Landmarks;
use bicolumn_job::{
    Derived, ENGINE_VERSION, Fallback, Job, KeyId, Plan, PointInputs, Settings, Value, keys,
    spoken_unit,
};
use bicolumn_response::ResponseId;
use bicolumn_store::{
    FactorValue, HeadlineRecord, InputRecord, MovedRecord, REPLICATE, SCHEMA, StudyRecord,
};

/// Values of a key that differ between points are listed up to this many.
const MOST_SHOWN: usize = 8;

/// Writes up a job and its plan. `planned`: inputs of its points; `moved`: keys whose values were moved, by point; `replaced`:
/// draws that cannot be built;
/// `landmarks`: of the first point's bone, where it was built.
pub(crate) fn study_record(
    job: &Job,
    plan: &Plan,
    (planned, moved): (&[PointInputs], &[(&str, &[MovedRecord])]),
    replaced: &Replaced,
    landmarks: Option<Landmarks>,
) -> StudyRecord {
    let settings: Vec<Settings> = plan
        .points
        .iter()
        .map(|p| Settings::at(job, &p.levels))
        .collect();
    let run = &keys().run;
    let first = settings.first();
    let text = |key| first.map(|s| s.get(key)).unwrap_or_default();
    StudyRecord {
        schema: SCHEMA,
        engine_version: ENGINE_VERSION.to_string(),
        title: text(run.title),
        question: text(run.question),
        job_text: job.text.clone(),
        factors: job
            .factors
            .iter()
            .map(|f| {
                (
                    f.path().to_string(),
                    f.levels.iter().map(Value::to_record).collect(),
                )
            })
            .chain(replicates(job))
            .collect(),
        points: plan.points.iter().map(|p| p.id.clone()).collect(),
        digests: planned.iter().map(|p| p.digest.clone()).collect(),
        inputs: keys()
            .rows()
            .filter_map(|(k, _)| input(k, job, &settings, moved))
            .collect(),
        columns: ResponseId::all()
            .iter()
            .map(|id| ((*id).into(), id.unit().symbol().into(), id.definition()))
            .chain(job.sensors().iter().map(|s| {
                let name = s.column().as_str().into();
                (name, s.unit().symbol().into(), s.definition())
            }))
            .collect(),
        aliases: plan.aliases.clone(),
        drawn: job.drawn().map(|drawn| match replaced.told() {
            Some(told) => format!("{drawn}; {told}"),
            None => drawn,
        }),
        hypotheses: job.hypotheses().to_vec(),
        distributions: job.distributions().to_vec(),
        mesh_noise: Default::default(),
        mesh_noise_poses: 0,
        published: job.published().to_vec(),
        headline: first.and_then(|s| headline(job, s)),
        lead_response: Some(text(run.headline))
            .filter(|t| !t.is_empty())
            .map(|t| t.as_str().into()),
        landmarks: landmarks.map(|l| l.rows).unwrap_or_default(),
    }
}

/// Factor that tells the replicates of a point apart, where there are any.
fn replicates(job: &Job) -> Option<(String, Vec<FactorValue>)> {
    let poses = (0..job.poses()).map(|n| FactorValue::Number(n as f64));
    let poses: Vec<FactorValue> = poses.collect();
    (poses.len() > 1).then(|| (REPLICATE.to_owned(), poses))
}

/// The row of a key in the table of inputs; a key without a value has none.
fn input(
    key: KeyId,
    job: &Job,
    settings: &[Settings],
    moved: &[(&str, &[MovedRecord])],
) -> Option<InputRecord> {
    let of_first = settings.first()?;
    let first = of_first.setting(key)?;
    let mut values: Vec<String> = Vec::new();
    for s in settings {
        let value = s.setting(key)?.value.to_string();
        if !values.contains(&value) {
            values.push(value);
        }
    }
    let left_out = values.len().saturating_sub(MOST_SHOWN);
    values.truncate(MOST_SHOWN);
    let mut value = values.join(", ");
    if left_out > 0 {
        value.push_str(&format!(" and {left_out} more"));
    }
    let varies = values.len() > 1 && !job.factors.iter().any(|f| f.key == key);
    let row = keys().row(key);
    let moved: Vec<(&str, &MovedRecord)> = moved
        .iter()
        .flat_map(|(id, of_point)| of_point.iter().map(move |m| (*id, m)))
        .filter(|(_, m)| m.key == row.path)
        .collect();
    let source = match (&row.default, varies) {
        (_, true) => "follows from the factors".to_string(),
        (Fallback::Rule(rule), _) if first.is_default => {
            let causes = valued(rule, of_first);
            match causes.is_empty() {
                true => first.source.clone(),
                false => format!("{} (from {})", first.source, causes.join(", ")),
            }
        }
        _ => first.source.clone(),
    };
    Some(InputRecord {
        key: row.path.clone(),
        value,
        unit: spoken_unit(row.kind.unit()).to_string(),
        is_default: first.is_default,
        origin: origin(key, job, of_first, &moved).into(),
        source: if moved.is_empty() {
            source
        } else {
            format!("{source}; {}", told(&moved))
        },
    })
}

/// Origin of a key's value in a word.
fn origin(key: KeyId, job: &Job, first: &Settings, moved: &[(&str, &MovedRecord)]) -> &'static str {
    let is_default = first.setting(key).is_some_and(|s| s.is_default);
    if moved.iter().any(|(_, m)| !m.is_derived) {
        return "moved";
    }
    if job.factors.iter().any(|f| f.key == key) {
        return "factor";
    }
    let follows = match &keys().row(key).default {
        Fallback::Rule(rule) => rule.causes.is_empty() || !valued(rule, first).is_empty(),
        _ => false,
    };
    match is_default {
        true if follows || !moved.is_empty() => "derived",
        true => "default",
        false => "given",
    }
}

/// Keys with a value that a rule takes its own from.
fn valued(rule: &Derived, settings: &Settings) -> Vec<&'static str> {
    let causes = rule.causes.iter();
    let valued = causes.filter(|k| settings.setting(**k).is_some());
    valued.map(|k| keys().path(*k)).collect()
}

/// Values that were built in place of those stated, in words.
fn told(moved: &[(&str, &MovedRecord)]) -> String {
    let mut values: Vec<(f64, Vec<&str>)> = Vec::new();
    for (id, m) in moved {
        match values.iter_mut().find(|(built, _)| *built == m.built) {
            Some((_, ids)) => ids.push(id),
            None => values.push((m.built, vec![id])),
        }
    }
    let left_out = values.len().saturating_sub(MOST_SHOWN);
    values.truncate(MOST_SHOWN);
    let values = values
        .iter()
        .map(|(built, ids)| format!("{built} at {}", ids.join(", ")));
    let mut list = values.collect::<Vec<_>>().join("; ");
    if left_out > 0 {
        list.push_str(&format!("; and {left_out} more"));
    }
    match moved.iter().all(|(_, m)| m.is_derived) {
        true => format!(
            "not stated, derived from the rest of the construct where that does not take it: {list}"
        ),
        false => format!("moved to make the construct possible: {list}"),
    }
}

/// The comparison that leads the report: as the job says, else over the first factor of numbers and by
/// the first factor of words.
fn headline(job: &Job, settings: &Settings) -> Option<HeadlineRecord> {
    let run = &keys().run;
    if job.drawn().is_some() {
        return None;
    }
    let over = job.compared_factor()?.path().to_string();
    let first_with_words = || {
        let mut factors = job.factors.iter();
        let found = factors.find(|f| f.levels[0].number().is_none());
        found.map(|f| f.path().to_string())
    };
    let by = settings
        .get(run.by)
        .filter(|t| !t.is_empty())
        .or_else(first_with_words)
        .filter(|by| *by != over);
    Some(HeadlineRecord {
        response: settings.get(run.headline).as_str().into(),
        over,
        by,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    fn record(text: &str) -> StudyRecord {
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        let plan = Plan::of(&job).unwrap();
        study_record(&job, &plan, (&[], &[]), &Replaced::default(), None)
    }

    #[test]
    fn the_headline_falls_to_numbers_over_and_words_by() {
        let h = record("[factors]\nconstruct.layout = [\"parallel\", \"orthogonal\"]\nplates.stagger_mm = [0, 20]\n")
            .headline
            .unwrap();
        assert_eq!(h.over, "plates.stagger_mm");
        assert_eq!(h.by.as_deref(), Some("construct.layout"));
        let without_factors = record("");
        assert!(without_factors.headline.is_none());
        assert_eq!(without_factors.lead_response, Some(h.response));
    }

    #[test]
    fn moved_and_derived_inputs_tell_what_was_built_and_where() {
        let text = "plates.width_mm = 9\n[factors]\nplates.stagger_mm = [0, 20]\n";
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        let plan = Plan::of(&job).unwrap();
        let moved = |key: &str, built, is_derived| MovedRecord {
            key: key.into(),
            unit: "mm".into(),
            stated: 9.0,
            built,
            is_derived,
            factors: vec![],
        };
        let first = [moved("plates.medial.width_mm", 8.5, false)];
        let second = [
            moved("plates.medial.width_mm", 8.5, false),
            moved("bone.potting_level_mm", 158.0, true),
        ];
        let of_points: [(&str, &[MovedRecord]); 2] = [("p001", &first), ("p002", &second)];
        let record = study_record(&job, &plan, (&[], &of_points), &Replaced::default(), None);
        let row = |k: &str| record.inputs.iter().find(|i| i.key == k).unwrap();
        let width = row("plates.medial.width_mm");
        assert_eq!((&*width.origin, &*width.value), ("moved", "9"));
        let tail = "; moved to make the construct possible: 8.5 at p001, p002";
        assert!(width.source.ends_with(tail), "{}", width.source);
        let potting = row("bone.potting_level_mm");
        assert_eq!(potting.origin, "derived");
        assert!(
            potting.source.ends_with("158 at p002"),
            "{}",
            potting.source
        );
    }

    #[test]
    fn every_input_shows_value_unit_and_source() {
        let r = record("fracture.gap_mm = 4\n[factors]\nplates.stagger_mm = [0, 20]\n");
        let row = |k: &str| r.inputs.iter().find(|i| i.key == k).unwrap();
        assert_eq!(row("fracture.gap_mm").value, "4");
        assert!(!row("fracture.gap_mm").is_default);
        assert_eq!(row("fracture.gap_mm").source, "job file, line 1");
        assert_eq!(row("plates.stagger_mm").value, "0, 20");
        assert_eq!(row("plates.medial.end_level_mm").value, "90, 100");
        assert_eq!(
            row("plates.medial.end_level_mm").source,
            "follows from the factors"
        );
        assert_eq!(row("loads.torsion_nmm").unit, "N·mm");
        assert!(row("loads.torsion_nmm").is_default);
        assert_eq!(row("fracture.gap_mm").origin, "given");
        assert_eq!(row("plates.stagger_mm").origin, "factor");
        assert_eq!(row("loads.torsion_nmm").origin, "default");
        assert_eq!(row("plates.medial.end_level_mm").origin, "derived");
        assert!(r.inputs.iter().all(|i| !i.source.is_empty()));
    }
}
