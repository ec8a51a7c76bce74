//! Job keys: what a key is, how it is found, how its value is checked.
//!
//! The list itself is [`crate::key_table`]; every message, default, printed input and accepted factor
//! comes from it.

use crate::value::Value;
use bicolumn_base::Unit;
pub use bicolumn_base::unit::split_unit;
use std::fmt;

/// One key of the job file.
#[derive(Debug, Clone)]
pub struct Key {
    /// Full name, `section.name`; the name ends in its unit.
    pub path: String,
    /// What it accepts.
    pub kind: Kind,
    /// What holds when the job does not give it.
    pub default: Fallback,
    /// What it is, in a line.
    pub doc: String,
    /// Where the default comes from.
    pub source: String,
}

/// What a key accepts.
#[derive(Debug, Clone, PartialEq)]
pub enum Kind {
    /// A number within `least..=most`, or exactly zero where `or_zero` says what zero means.
    Number {
        /// Unit, as in the key's name; empty for a pure number.
        unit: &'static str,
        /// Least value.
        least: f64,
        /// Greatest value.
        most: f64,
        /// What zero means, where zero is accepted beside the range.
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
    Word(&'static [&'static str]),
    /// true or false.
    Flag,
    /// Free text.
    Text,
    /// One or more of these words, each once.
    List(&'static [&'static str]),
}

/// What holds for a key that the job does not give.
#[derive(Debug, Clone, PartialEq)]
pub enum Fallback {
    /// This value.
    Value(Value),
    /// The value of another key at the same point.
    Of(&'static str),
    /// The value of another key if it is given, else what suits the plate's site.
    OfSite(&'static str),
    /// The value of another key if it is given, else this number.
    OfOr(&'static str, f64),
    /// The entry of the preset that this key names.
    Preset(&'static str),
    /// The usual level of a gap above the olecranon fossa of the point's bone.
    AboveFossa,
    /// `plates.end_level_mm` plus this share of `plates.stagger_mm`.
    Staggered(f64),
    /// Nothing.
    Absent,
}

impl Kind {
    /// Unit of the values; empty where there is none.
    pub fn unit(&self) -> &'static str {
        match self {
            Kind::Number { unit, .. } => unit,
            _ => "",
        }
    }

    /// What is accepted, to follow "must": `lie between 0 and 15 mm`.
    pub fn accepted(&self) -> String {
        match self {
            Kind::Number {
                unit,
                least,
                most,
                or_zero,
            } => {
                let unit = if unit.is_empty() {
                    String::new()
                } else {
                    format!(" {}", spoken_unit(unit))
                };
                match or_zero {
                    Some(meaning) => {
                        format!("be 0 ({meaning}) or lie between {least} and {most}{unit}")
                    }
                    None => format!("lie between {least} and {most}{unit}"),
                }
            }
            Kind::Integer { least, most } => {
                format!("be a whole number between {least} and {most}")
            }
            Kind::Word(words) => format!("be one of {}", quoted(words)),
            Kind::Flag => "be true or false".into(),
            Kind::Text => "be text in quotes".into(),
            Kind::List(words) => format!("be a list of some of {}", quoted(words)),
        }
    }

    /// Is a value of the right type also within what is accepted?
    pub fn accepts(&self, value: &Value) -> bool {
        match (self, value) {
            (
                Kind::Number {
                    least,
                    most,
                    or_zero,
                    ..
                },
                Value::Number(x),
            ) => (least..=most).contains(&x) || (or_zero.is_some() && *x == 0.0),
            (Kind::Integer { least, most }, Value::Integer(i)) => (least..=most).contains(&i),
            (Kind::Word(words), Value::Word(w)) => words.contains(&w.as_str()),
            (Kind::Flag, Value::Flag(_)) | (Kind::Text, Value::Text(_)) => true,
            (Kind::List(words), Value::List(items)) => {
                !items.is_empty()
                    && items.iter().all(|i| words.contains(&i.as_str()))
                    && (1..items.len()).all(|n| !items[..n].contains(&items[n]))
            }
            _ => false,
        }
    }
}

impl Key {
    /// May a factor drive this key? Single values that describe the construct, its loads or its mesh:
    /// not the texts of the study, not how it is run, no region of the mesh.
    pub fn may_be_factor(&self) -> bool {
        !self.path.starts_with("run.")
            && !self.path.starts_with("design.")
            && !self.path.starts_with(crate::regions::PREFIX)
            && !matches!(self.kind, Kind::Text | Kind::List(_))
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.path)
    }
}

/// A unit's suffix as people write it: `nmm` is `N·mm`.
pub fn spoken_unit(suffix: &str) -> &str {
    match Unit::from_suffix(suffix) {
        Some(known) => known.spoken(),
        None => suffix,
    }
}

/// Words in quotes, separated by commas.
pub fn quoted(words: &[&str]) -> String {
    let words: Vec<String> = words.iter().map(|w| format!("\"{w}\"")).collect();
    words.join(", ")
}

/// A guess at what an unknown key was meant to be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Guess {
    /// The same quantity, the name ending in another unit or in none.
    OtherUnit(String),
    /// A similar name.
    Similar(String),
    /// Nothing near.
    None,
}

/// Guesses what an unknown key was meant to be among the known ones.
pub fn guess<'a>(path: &str, known: impl Iterator<Item = &'a str>) -> Guess {
    let known: Vec<&str> = known.collect();
    let (stem, _) = split_unit(path);
    for k in &known {
        let (known_stem, unit) = split_unit(k);
        if !unit.is_empty() && (known_stem == stem || known_stem == path) {
            return Guess::OtherUnit((*k).to_string());
        }
    }
    match nearest(path, known.iter().copied()) {
        Some(k) => Guess::Similar(k.to_string()),
        None => {
            // The right name in another section.
            let leaf = |p: &str| p.rsplit('.').next().unwrap_or(p).to_string();
            let wanted = leaf(path);
            match known.iter().find(|k| leaf(k) == wanted) {
                Some(k) => Guess::Similar((*k).to_string()),
                None => Guess::None,
            }
        }
    }
}

/// The most similar of some names, if any is similar enough to be a slip of the pen.
pub fn nearest<'a>(name: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let mut best: Option<(f64, &str)> = None;
    for k in known {
        let score = strsim::normalized_damerau_levenshtein(name, k);
        if score >= 0.7 && best.is_none_or(|(b, _)| score > b) {
            best = Some((score, k));
        }
    }
    best.map(|(_, k)| k)
}

#[cfg(test)]
mod tests {
    use super::*;

    const KNOWN: [&str; 4] = [
        "fracture.gap_mm",
        "fracture.level_mm",
        "plates.stagger_mm",
        "loads.torsion_nmm",
    ];

    #[test]
    fn a_wrong_unit_is_told_from_a_wrong_name() {
        let g = |p| guess(p, KNOWN.into_iter());
        assert_eq!(
            g("fracture.gap_cm"),
            Guess::OtherUnit("fracture.gap_mm".into())
        );
        assert_eq!(
            g("fracture.gap"),
            Guess::OtherUnit("fracture.gap_mm".into())
        );
        assert_eq!(
            g("fracture.gpa_mm"),
            Guess::Similar("fracture.gap_mm".into())
        );
        assert_eq!(
            g("construct.stagger_mm"),
            Guess::Similar("plates.stagger_mm".into())
        );
        assert_eq!(g("colour.of_the_sky"), Guess::None);
    }

    #[test]
    fn ranges_hold_at_their_ends() {
        let gap = Kind::Number {
            unit: "mm",
            least: 1.0,
            most: 15.0,
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
