//! The job file as written: a flat list of keys with their values and places, nothing judged yet.

use crate::job_error::{Fault, JobError, JobErrors, Spot};
use std::io::Read;
use std::path::{Path, PathBuf};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A value as written.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum RawValue {
    /// `3`
    Integer(i64),
    /// `3.0`
    Float(f64),
    /// `"three"`
    Text(String),
    /// `true`
    Flag(bool),
    /// `[1, 2]`, each with its place.
    List(Vec<(RawValue, Spot)>),
    /// Something no key takes: its TOML name.
    Other(&'static str),
}

impl RawValue {
    /// As the user would write it, on one line.
    pub(crate) fn shown(&self) -> String {
        match self {
            RawValue::Integer(i) => i.to_string(),
            RawValue::Float(x) => format!("{x:?}"),
            RawValue::Text(s) => format!("{s:?}"),
            RawValue::Flag(b) => b.to_string(),
            RawValue::List(items) => {
                let items: Vec<String> = items.iter().map(|(v, _)| v.shown()).collect();
                format!("[{}]", items.join(", "))
            }
            RawValue::Other(what) => format!("({what})"),
        }
    }
}

/// One `key = value` of the file, with the full path of its key.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawEntry {
    /// Full path: table names and key joined by dots.
    pub path: String,
    /// Value.
    pub value: RawValue,
    /// Where the key stands.
    pub key_spot: Spot,
    /// Where the value stands.
    pub value_spot: Spot,
}

/// The file as written.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawJob {
    /// As the user named it.
    pub file: PathBuf,
    /// Verbatim.
    pub text: String,
    /// Entries in the order of the file.
    pub entries: Vec<RawEntry>,
    /// Tables, also empty ones, with their places.
    pub tables: Vec<(String, Spot)>,
}

impl RawJob {
    /// Reads a file.
    ///
    /// # Errors
    /// The file cannot be read, is too large, or is no TOML in UTF-8.
    pub(crate) fn read(file: &Path) -> Result<RawJob, JobErrors> {
        let refuse = |spot: Option<Spot>, why: String, hint: &'static str| {
            let fault = Fault::Unreadable { why, hint };
            JobErrors(vec![fault_at(file, spot, fault)])
        };
        let path_hint = "give the path of a job file, for example jobs/first-look.toml";
        let mut bytes = Vec::new();
        // A device has no end.
        let limited = std::fs::File::open(file).map(|f| f.take(MOST_BYTES + 1));
        limited
            .and_then(|mut f| f.read_to_end(&mut bytes))
            .map_err(|e| refuse(None, e.to_string(), path_hint))?;
        if bytes.len() as u64 > MOST_BYTES {
            let why = format!("it is longer than {} MB", MOST_BYTES >> 20);
            return Err(refuse(None, why, path_hint));
        }
        let text = String::from_utf8(bytes).map_err(|e| {
            let good = &e.as_bytes()[..e.utf8_error().valid_up_to()];
            let text = String::from_utf8_lossy(good);
            let spot = Lines::of(&text).spot(&text, text.len());
            let byte = e.as_bytes().get(good.len()).copied().unwrap_or_default();
            let why = format!("byte {byte:#04x} in column {} is not UTF-8", spot.column);
            refuse(Some(spot), why, "save the file as UTF-8")
        })?;
        RawJob::parse(file, text)
    }

    /// Takes a text as if it were the content of a file.
    ///
    /// # Errors
    /// The text is no TOML; all places where it is not.
    pub(crate) fn parse(file: &Path, text: String) -> Result<RawJob, JobErrors> {
        let lines = Lines::of(&text);
        let (root, errors) = DeTable::parse_recoverable(&text);
        if !errors.is_empty() {
            let errors = errors
                .iter()
                .map(|e| {
                    let at = e.span().map(|s| lines.spot(&text, s.start));
                    let message = match e.message() {
                        "recursion limit" => {
                            "a key of too many parts, or too many brackets in one another".into()
                        }
                        other => other.replace('\n', "; "),
                    };
                    fault_at(file, at.or_else(|| deepest(&text)), Fault::Syntax(message))
                })
                .collect();
            return Err(JobErrors(errors));
        }
        let mut walk = Walk {
            text: &text,
            lines: &lines,
            entries: Vec::new(),
            tables: Vec::new(),
        };
        walk.table("", root.get_ref());
        let (mut entries, mut tables) = (walk.entries, walk.tables);
        entries.sort_by_key(|e| e.key_spot);
        tables.sort_by_key(|t| t.1);
        for (what, count, spot) in [
            (
                "keys",
                entries.len(),
                entries.get(MOST_ENTRIES).map(|e| e.key_spot),
            ),
            (
                "tables",
                tables.len(),
                tables.get(MOST_ENTRIES).map(|t| t.1),
            ),
        ] {
            if spot.is_some() {
                let why = format!("{count} {what}; at most {MOST_ENTRIES} are accepted");
                let fault = Fault::Unreadable { why, hint: "" };
                return Err(JobErrors(vec![fault_at(file, spot, fault)]));
            }
        }
        Ok(RawJob {
            file: file.to_path_buf(),
            text,
            entries,
            tables,
        })
    }
}

/// Longest job file, bytes.
const MOST_BYTES: u64 = 16 << 20;
/// Most keys, and most tables, of a job file: several times what the list of keys holds.
const MOST_ENTRIES: usize = 5_000;
/// Brackets in one another, and parts of a key, from which on a fault without a place is looked for.
const DEEP: usize = 60;

fn fault_at(file: &Path, spot: Option<Spot>, fault: Fault) -> JobError {
    JobError {
        file: file.to_path_buf(),
        spot,
        key: String::new(),
        value: String::new(),
        fault,
    }
}

/// First line in which the brackets open and the dots of the line are too many: the parser gives no place for these.
fn deepest(text: &str) -> Option<Spot> {
    let mut open = 0_usize;
    for (n, line) in text.lines().enumerate() {
        let dots = line.matches('.').count();
        for c in line.chars() {
            match c {
                '[' | '{' => open += 1,
                ']' | '}' => open = open.saturating_sub(1),
                _ => {}
            }
            if open + dots > DEEP {
                return Some(Spot {
                    line: n + 1,
                    column: 1,
                });
            }
        }
    }
    None
}

/// Byte offsets of the line starts.
struct Lines(Vec<usize>);

impl Lines {
    fn of(text: &str) -> Lines {
        let mut starts = vec![0];
        starts.extend(text.match_indices('\n').map(|(i, _)| i + 1));
        Lines(starts)
    }

    fn spot(&self, text: &str, offset: usize) -> Spot {
        let line = self.0.partition_point(|s| *s <= offset).max(1);
        let start = self.0[line - 1];
        let column = text
            .get(start..offset)
            .map_or(offset - start, |s| s.chars().count());
        Spot {
            line,
            column: column + 1,
        }
    }
}

struct Walk<'a> {
    text: &'a str,
    lines: &'a Lines,
    entries: Vec<RawEntry>,
    tables: Vec<(String, Spot)>,
}

impl Walk<'_> {
    fn table(&mut self, prefix: &str, table: &DeTable<'_>) {
        for (key, value) in table.iter() {
            let path = if prefix.is_empty() {
                key.get_ref().to_string()
            } else {
                format!("{prefix}.{}", key.get_ref())
            };
            let key_spot = self.spot(key.span().start);
            if let DeValue::Table(inner) = value.get_ref() {
                self.tables.push((path.clone(), key_spot));
                self.table(&path, inner);
            } else {
                let (value, value_spot) = self.value(value);
                self.entries.push(RawEntry {
                    path,
                    value,
                    key_spot,
                    value_spot,
                });
            }
        }
    }

    fn value(&self, value: &Spanned<DeValue<'_>>) -> (RawValue, Spot) {
        let raw = match value.get_ref() {
            DeValue::String(s) => RawValue::Text(s.to_string()),
            DeValue::Boolean(b) => RawValue::Flag(*b),
            DeValue::Integer(i) => match i64::from_str_radix(i.as_str(), i.radix()) {
                Ok(i) => RawValue::Integer(i),
                Err(_) => RawValue::Other("an integer too large"),
            },
            DeValue::Float(x) => match x.as_str().parse() {
                Ok(x) => RawValue::Float(x),
                Err(_) => RawValue::Other("a number that cannot be read"),
            },
            DeValue::Array(items) => RawValue::List(items.iter().map(|v| self.value(v)).collect()),
            DeValue::Datetime(_) => RawValue::Other("a date"),
            DeValue::Table(_) => RawValue::Other("a table"),
        };
        (raw, self.spot(value.span().start))
    }

    fn spot(&self, offset: usize) -> Spot {
        self.lines.spot(self.text, offset)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(text: &str) -> Result<RawJob, JobErrors> {
        RawJob::parse(Path::new("a.toml"), text.into())
    }

    #[test]
    fn dotted_quoted_and_nested_keys_give_one_path_with_its_line() {
        let raw = parse(
            "plates.stagger_mm = 3\n[factors]\n\"fracture.gap_mm\" = [2, 5.5]\n\n[materials.cortical]\nyoung_mpa = 1.7e4\n",
        )
        .unwrap();
        let seen: Vec<(&str, usize)> = raw
            .entries
            .iter()
            .map(|e| (e.path.as_str(), e.key_spot.line))
            .collect();
        assert_eq!(
            seen,
            [
                ("plates.stagger_mm", 1),
                ("factors.fracture.gap_mm", 3),
                ("materials.cortical.young_mpa", 6)
            ]
        );
        let RawValue::List(levels) = &raw.entries[1].value else {
            panic!("a list")
        };
        assert_eq!(
            levels[1],
            (
                RawValue::Float(5.5),
                Spot {
                    line: 3,
                    column: 25
                }
            )
        );
        assert_eq!(raw.entries[2].value, RawValue::Float(17000.0));
    }

    #[test]
    fn a_file_that_is_no_text_or_too_deep_names_its_line() {
        let folder = tempfile::tempdir().unwrap();
        let told = |bytes: &[u8]| {
            let file = folder.path().join("a.toml");
            std::fs::write(&file, bytes).unwrap();
            let errors = RawJob::read(&file).unwrap_err().to_string();
            errors.split_once("a.toml").unwrap().1.to_string()
        };
        assert_eq!(
            told(b"# mean\nrun.title = \"gr\xfc\xdfe\"\n"),
            ":2: cannot be read: byte 0xfc in column 16 is not UTF-8\n  hint: save the file as UTF-8"
        );
        assert!(told(b"\xff\xfe[\0b\0").starts_with(":1: cannot be read: byte 0xff in column 1"));
        let deep = format!("\n\n{}b = 1\n", "a.".repeat(100));
        assert!(told(deep.as_bytes()).starts_with(":3: not valid TOML: a key of too many parts"));
        let nested = format!("\na = {}", "[".repeat(100_000));
        assert!(told(nested.as_bytes()).starts_with(":2: not valid TOML"));
        let long = "#".repeat(17 << 20);
        assert!(told(long.as_bytes()).starts_with(": cannot be read: it is longer than 16 MB"));
        let many: String = (0..100_000).map(|n| format!("key{n} = 1\n")).collect();
        assert!(told(many.as_bytes()).starts_with(":5001: cannot be read: 100000 keys"));
        assert!(RawJob::read(Path::new("/dev/zero")).is_err());
    }

    #[test]
    fn broken_toml_names_its_line() {
        let errors = parse("[bone]\nshaft_diameter_mm = = 3\n").unwrap_err();
        assert!(
            errors.to_string().starts_with("a.toml:2: not valid TOML"),
            "{errors}"
        );
    }
}
