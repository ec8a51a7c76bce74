//! The name of a response in a file: one of ours, or one that another version of the program wrote.

use crate::id::{ResponseId, spelt_out};
use bicolumn_base::Unit;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::cmp::Ordering;
use std::fmt;

/// Name of a response as it stands in a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ResponseName {
    /// A response of this program.
    Known(ResponseId),
    /// A name that only another version of the program knows.
    Other(String),
}

impl ResponseName {
    /// Response of this program with the name.
    pub fn id(&self) -> Option<ResponseId> {
        match self {
            ResponseName::Known(id) => Some(*id),
            ResponseName::Other(_) => None,
        }
    }

    /// Words for a sentence; the spelt-out name of an unknown response.
    pub fn words(&self) -> String {
        match self {
            ResponseName::Known(id) => id.words(),
            ResponseName::Other(name) => spelt_out(name),
        }
    }

    /// Head of a column in a narrow table.
    pub fn head(&self) -> String {
        match self {
            ResponseName::Known(id) => id.head(),
            ResponseName::Other(_) => self.words(),
        }
    }

    /// Unit that the table or the name says; `None` where neither does.
    pub fn unit(&self) -> Option<Unit> {
        match self {
            ResponseName::Known(id) => Some(id.unit()),
            ResponseName::Other(name) => Unit::of_name(name),
        }
    }
}

impl<T: Into<ResponseId>> From<T> for ResponseName {
    fn from(id: T) -> ResponseName {
        ResponseName::Known(id.into())
    }
}

impl From<&str> for ResponseName {
    fn from(name: &str) -> ResponseName {
        match ResponseId::from_name(name) {
            Some(id) => ResponseName::Known(id),
            None => ResponseName::Other(name.to_string()),
        }
    }
}

impl PartialEq<ResponseId> for ResponseName {
    fn eq(&self, other: &ResponseId) -> bool {
        self.id() == Some(*other)
    }
}

impl fmt::Display for ResponseName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ResponseName::Known(id) => id.fmt(f),
            ResponseName::Other(name) => f.pad(name),
        }
    }
}

/// Order by name, so that a file's order does not depend on the table.
impl Ord for ResponseName {
    fn cmp(&self, other: &Self) -> Ordering {
        self.to_string().cmp(&other.to_string())
    }
}

impl PartialOrd for ResponseName {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Serialize for ResponseName {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for ResponseName {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let name = String::deserialize(deserializer)?;
        Ok(ResponseName::from(name.as_str()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Load;

    #[test]
    fn a_name_reads_as_it_was_written_known_or_not() {
        let text = r#"["stiffness_n_per_mm","some_older_thing_mpa"]"#;
        let names: Vec<ResponseName> = serde_json::from_str(text).unwrap();
        assert_eq!(names[0], ResponseId::from(Load::Stiffness));
        assert_eq!(names[1], ResponseName::Other("some_older_thing_mpa".into()));
        assert_eq!(names[1].words(), "some older thing");
        assert_eq!(names[1].unit(), Some(Unit::Mpa));
        assert_eq!(serde_json::to_string(&names).unwrap(), text);
    }
}
