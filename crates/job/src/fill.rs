//! Settings of a design point: factors, then the job, then the defaults.

use crate::catalogue::keys;
use crate::given::Given;
use crate::handle::KeyId;
use crate::job::Job;
use crate::key::{Fallback, KeyRow};
use crate::named_path;
use crate::settings::{Setting, Settings};
use crate::value::Value;
use std::collections::BTreeMap;

impl Settings {
    /// Fills in every key of a job at the factors' levels, by key.
    pub fn at(job: &Job, levels: &BTreeMap<String, Value>) -> Settings {
        let mut all = Settings::default();
        for (path, given) in &job.given {
            if named_path::split(path).is_some() {
                all.push_named(path.clone(), of_job(given));
            }
        }
        for (_, row) in keys().declared() {
            let level = levels.get(&row.path).map(|level| Setting {
                value: level.clone(),
                is_default: false,
                source: "factor of this job".into(),
            });
            let given = || job.given.get(&row.path).map(of_job);
            let setting = level.or_else(given).or_else(|| default(&all, row));
            all.push(setting);
        }
        all
    }

    /// All settings, by path.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &Setting)> {
        let of_keys = keys().declared().filter_map(|(id, row)| {
            let setting = self.setting(id)?;
            Some((row.path.as_str(), setting))
        });
        of_keys.chain(self.named().iter().map(|(path, s)| (path.as_str(), s)))
    }
}

fn of_job(given: &Given) -> Setting {
    Setting {
        value: given.value.clone(),
        is_default: false,
        source: format!("job file, line {}", given.spot.line),
    }
}

/// The default of a key, from the settings of the keys declared before it.
fn default(so_far: &Settings, row: &KeyRow) -> Option<Setting> {
    let setting = |value, source: String| Setting {
        value,
        is_default: true,
        source,
    };
    let own = |value| setting(value, row.source.clone());
    let as_common = |common: &KeyId| {
        let value = so_far.setting(*common)?.value.clone();
        Some(setting(value, format!("as {}", keys().path(*common))))
    };
    match &row.default {
        Fallback::Value(v) => Some(own(v.clone())),
        Fallback::Of(other) => Some(own(so_far.setting(*other)?.value.clone())),
        Fallback::OfOr(other, number) => {
            as_common(other).or_else(|| Some(own(Value::Number(*number))))
        }
        Fallback::OfPlate(other, of_plate) => {
            as_common(other).or_else(|| Some(own((of_plate.rule)(so_far)?)))
        }
        Fallback::Preset(preset) => {
            let entry = (preset.chosen)(so_far);
            let source = format!("{}: {}", entry.word, entry.source);
            Some(setting(Value::Number(entry.value), source))
        }
        Fallback::Rule(derived) => Some(own((derived.rule)(so_far)?)),
        Fallback::Absent => None,
    }
}
