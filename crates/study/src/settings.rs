//! Every key's value at one design point, after factors, the job and the defaults.

use crate::job::{Given, Job};
use crate::key_table::{key, keys};
use crate::keys::{Fallback, Key};
use crate::plan::DesignPoint;
use crate::presets;
use crate::regions;
use crate::value::Value;
use bicolumn_geometry::spec::PlateSiteName;
use bicolumn_geometry::{FractureSpec, PlateSpec};
use std::collections::BTreeMap;

/// One key's value and where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct Setting {
    /// The value.
    pub value: Value,
    /// Did neither the job nor a factor give it?
    pub is_default: bool,
    /// Source in words.
    pub source: String,
}

/// All keys that have a value, by path.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings(BTreeMap<String, Setting>);

impl Settings {
    /// Fills in every key at a design point.
    pub fn at(job: &Job, point: &DesignPoint) -> Settings {
        let mut all = BTreeMap::new();
        for k in keys() {
            if let Some(setting) = find(job, point, k) {
                all.insert(k.path.clone(), setting);
            }
        }
        let named = job.given.iter();
        for (path, given) in named.filter(|g| g.0.starts_with(regions::PREFIX)) {
            all.insert(path.clone(), of_job(given));
        }
        Settings(all)
    }

    /// The setting of a key, if it has one.
    pub fn get(&self, path: &str) -> Option<&Setting> {
        self.0.get(path)
    }

    /// All settings, by path.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &Setting)> {
        self.0.iter().map(|(k, s)| (k.as_str(), s))
    }

    /// A number.
    ///
    /// # Panics
    /// If the key list has no such number: a slip in this crate, which the tests would show.
    #[allow(clippy::expect_used)]
    pub(crate) fn number(&self, path: &str) -> f64 {
        let value = self.get(path).and_then(|s| s.value.number());
        value.expect("the key list has this number, with a default")
    }

    /// A count, of a key whose least value is not negative.
    pub(crate) fn count(&self, path: &str) -> usize {
        self.number(path) as usize
    }

    /// Is this flag set? A key that is no flag is not.
    pub(crate) fn flag(&self, path: &str) -> bool {
        matches!(
            self.get(path),
            Some(Setting {
                value: Value::Flag(true),
                ..
            })
        )
    }

    /// A word or text; empty if there is none.
    pub fn text(&self, path: &str) -> &str {
        self.get(path).and_then(|s| s.value.text()).unwrap_or("")
    }

    /// A list; empty if there is none.
    pub(crate) fn list(&self, path: &str) -> &[String] {
        match self.get(path) {
            Some(Setting {
                value: Value::List(items),
                ..
            }) => items,
            _ => &[],
        }
    }
}

fn of_job(given: &Given) -> Setting {
    Setting {
        value: given.value.clone(),
        is_default: false,
        source: format!("job file, line {}", given.spot.line),
    }
}

/// Value of one key: factor, else job, else default.
fn find(job: &Job, point: &DesignPoint, k: &Key) -> Option<Setting> {
    if let Some(level) = point.levels.get(&k.path) {
        return Some(Setting {
            value: level.clone(),
            is_default: false,
            source: "factor of this job".into(),
        });
    }
    if let Some(given) = job.given.get(&k.path) {
        return Some(of_job(given));
    }
    let default = |value, source: String| {
        Some(Setting {
            value,
            is_default: true,
            source,
        })
    };
    match &k.default {
        Fallback::Value(v) => default(v.clone(), k.source.clone()),
        Fallback::Of(other) => default(find(job, point, key(other)?)?.value, k.source.clone()),
        Fallback::OfOr(other, own) => match find(job, point, key(other)?) {
            Some(common) => default(common.value, format!("as {other}")),
            None => default(Value::Number(*own), k.source.clone()),
        },
        Fallback::OfSite(other) => match find(job, point, key(other)?) {
            Some(common) => default(common.value, format!("as {other}")),
            None => {
                let layout = find(job, point, key("construct.layout")?)?.value;
                let site = site(layout.text()?, k.path.contains(".medial."));
                let level = PlateSpec::new(site).distal_hole_level_mm;
                default(Value::Number(level), k.source.clone())
            }
        },
        Fallback::Preset(by) => {
            let word = find(job, point, key(by)?)?.value;
            let (x, source) = presets::lookup(by, word.text()?, &k.path)?;
            default(Value::Number(x), format!("{word}: {source}"))
        }
        Fallback::Staggered(share) => {
            let mean = find(job, point, key("plates.end_level_mm")?)?
                .value
                .number()?;
            let stagger = find(job, point, key("plates.stagger_mm")?)?
                .value
                .number()?;
            default(Value::Number(mean + share * stagger), k.source.clone())
        }
        Fallback::AboveFossa => {
            let of_bone = |name| find(job, point, key(name)?)?.value.number();
            let level = FractureSpec::usual_level(
                of_bone("bone.trochlea_groove_diameter_mm")?,
                of_bone("bone.fossa_length_mm")?,
            );
            default(Value::Number(level), k.source.clone())
        }
        Fallback::Absent => None,
    }
}

/// Site of the medial or of the other plate in a layout. A plate that the layout does not have gets
/// the site it would have in a parallel one.
pub(crate) fn site(layout: &str, medial: bool) -> PlateSiteName {
    match layout {
        _ if medial => PlateSiteName::Medial,
        "orthogonal" | "posterolateral_only" => PlateSiteName::Posterolateral,
        _ => PlateSiteName::Lateral,
    }
}
