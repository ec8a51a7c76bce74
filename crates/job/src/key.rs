//! Rows of the key list: name, accepted values, default, meaning, source of every key.

use crate::handle::KeyId;
use crate::named_path::is_named;
use crate::settings::Settings;
use crate::units::{quoted, spoken_unit};
use crate::value::Value;
use bicolumn_geometry::Range;
use std::fmt;

/// One row of the key list.
pub struct KeyRow {
    /// Full name, `section.name`; the name ends in its unit.
    pub path: String,
    /// Accepted values.
    pub kind: Kind,
    /// Accepted words with their meanings; empty for other values.
    pub words: Vec<(&'static str, &'static str)>,
    /// Value where the job does not give it.
    pub default: Fallback,
    /// Meaning, in a line.
    pub doc: String,
    /// Source of the default.
    pub source: String,
    /// Conditions under which the key acts, all of them; always where there is none.
    pub acts: Vec<Acts>,
}

/// Condition under which a key acts.
pub struct Acts {
    /// The condition in words, to follow "acts only".
    pub told: &'static str,
    /// Does it follow from the kind of the key, so that the key reference tells it once for all?
    pub is_general: bool,
    pub(crate) when: Box<dyn Fn(&Settings) -> bool + Send + Sync>,
}

impl KeyRow {
    /// May a factor drive this key? Single values that describe the construct, its loads or its mesh:
    /// not the texts of the study, not how it is run, no key of a table under a name of the job.
    pub fn may_be_factor(&self) -> bool {
        self.decides_result()
            && !is_named(&self.path)
            && !matches!(self.kind, Kind::Text | Kind::Place | Kind::Cases(_))
    }

    /// Accepted values, to follow "must": `lie between 0 and 15 mm`.
    pub fn accepted(&self) -> String {
        match self.takes_no_empty_text() {
            true => format!("{}, not empty", self.kind.accepted()),
            false => self.kind.accepted(),
        }
    }

    /// Is a value of the right type, within the range, and not an empty text where the key names something?
    pub fn accepts(&self, value: &Value) -> bool {
        let is_empty = matches!(value, Value::Text(text) if text.trim().is_empty());
        self.kind.accepts(value) && !(is_empty && self.takes_no_empty_text())
    }

    /// Texts without a default name a file, a factor, a source.
    fn takes_no_empty_text(&self) -> bool {
        self.kind == Kind::Text && matches!(self.default, Fallback::Absent)
    }

    /// Does a point's result depend on this key? Titles, threads, design, hypothesis and published values do not enter.
    pub fn decides_result(&self) -> bool {
        let aside = ["run.", "design.", "hypothesis.", "published."];
        !aside.iter().any(|section| self.path.starts_with(section))
    }
}

impl fmt::Debug for KeyRow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.path)
    }
}

impl fmt::Display for KeyRow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.path)
    }
}

/// Longest text of a job, in characters.
const MOST_TEXT: usize = 10_000;
/// Largest coordinate of a file, in its unit: a bone in micrometres, a scanner's length away.
const MOST_COORDINATE: f64 = 1e7;
/// Most names in a list.
const MOST_NAMES: usize = 1_000;

/// Accepted values of a key.
#[derive(Debug, Clone, PartialEq)]
pub enum Kind {
    /// A number within a range, or exactly zero where `or_zero` says what zero means.
    Number {
        /// Unit, as in the key's name; empty for a pure number.
        unit: &'static str,
        /// Range.
        range: Range,
        /// Meaning of zero, where zero is accepted beside the range.
        or_zero: Option<&'static str>,
    },
    /// A whole number within `least..=most`.
    Integer {
        /// Least value.
        least: i64,
        /// Greatest value.
        most: i64,
    },
    /// One of these words.
    Word(Vec<&'static str>),
    /// true or false.
    Flag,
    /// Free text.
    Text,
    /// Three coordinates in the unit and the frame of a file.
    Place,
    /// One or more load cases, each once: these words, or names of `[loads.case.NAME]`.
    Cases(Vec<&'static str>),
}

impl Kind {
    /// Unit of the values; empty where there is none.
    pub fn unit(&self) -> &'static str {
        match self {
            Kind::Number { unit, .. } => unit,
            Kind::Integer { .. }
            | Kind::Word(_)
            | Kind::Flag
            | Kind::Text
            | Kind::Place
            | Kind::Cases(_) => "",
        }
    }

    /// Range of a number in words: `0 to 15 mm`, its ends joined by `joint`.
    pub(crate) fn range_in_words(range: &Range, unit: &str, joint: &str) -> String {
        let unit = spoken_unit(unit);
        let text = format!("{} {joint} {} {unit}", range.least, range.most);
        text.trim_end().to_string()
    }

    /// Accepted values, to follow "must": `lie between 0 and 15 mm`.
    pub fn accepted(&self) -> String {
        match self {
            Kind::Number {
                unit,
                range,
                or_zero,
            } => {
                let range = Kind::range_in_words(range, unit, "and");
                match or_zero {
                    Some(meaning) => format!("be 0 ({meaning}) or lie between {range}"),
                    None => format!("lie between {range}"),
                }
            }
            Kind::Integer { least, most } => {
                format!("be a whole number between {least} and {most}")
            }
            Kind::Word(words) => format!("be one of {}", quoted(words)),
            Kind::Flag => "be true or false".into(),
            Kind::Text => format!(
                "be text in quotes, of at most {MOST_TEXT} characters, without control characters"
            ),
            Kind::Place => format!(
                "be a list of three numbers, [x, y, z], each between -{MOST_COORDINATE} and {MOST_COORDINATE}"
            ),
            Kind::Cases(words) => format!(
                "be a list of names of [loads.case.NAME] or of some of {}, each once",
                quoted(words)
            ),
        }
    }

    /// Is a value of the right type and within the range?
    pub fn accepts(&self, value: &Value) -> bool {
        match (self, value) {
            (Kind::Number { range, or_zero, .. }, Value::Number(x)) => {
                range.contains(*x) || (or_zero.is_some() && *x == 0.0)
            }
            (Kind::Integer { least, most }, Value::Integer(i)) => (least..=most).contains(&i),
            (Kind::Word(words), Value::Word(w)) => words.contains(&w.as_str()),
            (Kind::Flag, Value::Flag(_)) => true,
            (Kind::Place, Value::Place(place)) => {
                let mut all = place.iter();
                all.all(|x| (-MOST_COORDINATE..=MOST_COORDINATE).contains(x))
            }
            (Kind::Text, Value::Text(text)) => {
                let is_wrong = |c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t');
                text.chars().nth(MOST_TEXT).is_none() && !text.chars().any(is_wrong)
            }
            // Names that no table has are told when all tables are read.
            (Kind::Cases(_), Value::List(items)) => are_distinct(items),
            _ => false,
        }
    }
}

/// Is there at least one item, and none twice?
fn are_distinct(items: &[String]) -> bool {
    !items.is_empty()
        && items.len() <= MOST_NAMES
        && (1..items.len()).all(|n| !items[..n].contains(&items[n]))
}

/// A value that follows from the settings of keys declared before.
pub(crate) type Rule = Box<dyn Fn(&Settings) -> Option<Value> + Send + Sync>;

/// Value of a key in one preset.
#[derive(Debug, Clone, PartialEq)]
pub struct PresetRow {
    /// The preset's word.
    pub word: &'static str,
    /// Value.
    pub value: f64,
    /// Source of the value.
    pub source: String,
}

/// Value of a key that the job does not give.
pub enum Fallback {
    /// This value.
    Value(Value),
    /// The value of another key at the same point.
    Of(KeyId),
    /// The value of another key if it has one, else this number.
    OfOr(KeyId, f64),
    /// The value of another key if it has one, else a rule for the plate.
    OfPlate(KeyId, ByPlate),
    /// The entry of the preset that another key names.
    Preset(Preset),
    /// A rule from other keys.
    Rule(Derived),
    /// Nothing.
    Absent,
}

/// Value that follows from the plate's site or from other keys of the plate.
pub struct ByPlate {
    /// Rule in words.
    pub told: &'static str,
    pub(crate) rule: Rule,
}

/// Entries of presets.
pub struct Preset {
    /// The key that names the preset.
    pub by: KeyId,
    /// Entries, in the order of the presets.
    pub rows: Vec<PresetRow>,
    pub(crate) chosen: Box<dyn Fn(&Settings) -> PresetRow + Send + Sync>,
}

/// A value derived from other keys.
pub struct Derived {
    /// Rule in words.
    pub told: &'static str,
    /// Keys that a user would change instead, the likeliest first.
    pub causes: Vec<KeyId>,
    pub(crate) rule: Rule,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_hold_at_their_ends() {
        let gap = Kind::Number {
            unit: "mm",
            range: Range::new(1.0, 15.0),
            or_zero: Some("no fracture"),
        };
        for (x, good) in [
            (0.0, true),
            (0.5, false),
            (1.0, true),
            (15.0, true),
            (15.1, false),
            (-3.0, false),
            (f64::NAN, false),
        ] {
            assert_eq!(gap.accepts(&Value::Number(x)), good, "{x}");
        }
        assert_eq!(
            gap.accepted(),
            "be 0 (no fracture) or lie between 1 and 15 mm"
        );
    }
}
