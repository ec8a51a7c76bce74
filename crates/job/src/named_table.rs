//! Tables under names that a job gives: where they stand, their keys, their faults.

use crate::catalogue::keys;
use crate::given::{AllGiven, Given};
use crate::handle::{Key, KeyId, KeyType};
use crate::job_error::{Fault, Spot};
use crate::named_path::{split, under};
use std::collections::BTreeMap;

/// A fault of such a table or of one of its keys.
pub(crate) struct WrongTable {
    pub(crate) path: String,
    pub(crate) value: String,
    pub(crate) spot: Spot,
    pub(crate) fault: Fault,
}

/// Names of the tables of a kind, each with the place of its first mention. `tables` are those of the file: an empty one
/// is a table without anything.
pub(crate) fn names<'a>(
    kind: &'static str,
    given: &'a AllGiven,
    tables: &'a [(String, Spot)],
) -> BTreeMap<&'a str, Spot> {
    let mut spots = BTreeMap::new();
    for (table, spot) in tables {
        if let Some(name) = table.strip_prefix(kind) {
            spots.entry(name).or_insert(*spot);
        }
    }
    for (path, given) in given {
        if let Some((_, name, _)) = split(path).filter(|(of, ..)| *of == kind) {
            spots.entry(name).or_insert(given.spot);
        }
    }
    spots
}

/// One table of a job.
#[derive(Clone, Copy)]
pub(crate) struct NamedTable<'a> {
    /// Beginning of its keys, before the name.
    pub(crate) kind: &'static str,
    pub(crate) name: &'a str,
    pub(crate) given: &'a AllGiven,
}

impl NamedTable<'_> {
    /// Path of a key in it.
    pub(crate) fn path(&self, key: impl Into<KeyId>) -> String {
        under(keys().path(key), self.name)
    }

    /// Key as the job gives it.
    pub(crate) fn given(&self, key: impl Into<KeyId>) -> Option<&Given> {
        self.given.get(&self.path(key))
    }

    /// Value of a key; `None` where the job gives none.
    pub(crate) fn value<T: KeyType>(&self, key: Key<Option<T>>) -> Option<T::Out> {
        T::read(self.given(key).map(|g| &g.value))
    }

    /// Last part of a key's path: its name as the table writes it.
    pub(crate) fn leaf(&self, key: impl Into<KeyId>) -> &'static str {
        let path = keys().path(key);
        split(path).map_or(path, |(_, _, leaf)| leaf)
    }

    /// Fault of a key, or of the table as a whole, which stands at `spot`.
    pub(crate) fn wrong(&self, key: Option<KeyId>, spot: Spot, fault: Fault) -> WrongTable {
        let given = key.and_then(|k| self.given(k));
        WrongTable {
            path: key.map_or(format!("{}{}", self.kind, self.name), |k| self.path(k)),
            value: given.map(|g| g.value.to_string()).unwrap_or_default(),
            spot: given.map_or(spot, |g| g.spot),
            fault,
        }
    }
}
