//! Every key's value at one design point.

use crate::catalogue::keys;
use crate::handle::{Key, KeyId, KeyType};
use crate::key::Fallback;
use crate::value::Value;
use std::collections::BTreeMap;

/// One key's value and its origin.
#[derive(Debug, Clone, PartialEq)]
pub struct Setting {
    /// The value.
    pub value: Value,
    /// Did neither the job nor a factor give it?
    pub is_default: bool,
    /// Source in words.
    pub source: String,
}

/// Values of all keys, in the order of their declaration; those of tables under names of the job by their paths.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Settings {
    of_keys: Vec<Option<Setting>>,
    of_named: BTreeMap<String, Setting>,
}

impl Settings {
    /// Appends the setting of the key declared next.
    pub(crate) fn push(&mut self, setting: Option<Setting>) {
        self.of_keys.push(setting);
    }

    /// Adds the setting of a key in a table under a name of the job.
    pub(crate) fn push_named(&mut self, path: String, setting: Setting) {
        self.of_named.insert(path, setting);
    }

    /// The value of a key.
    ///
    /// A handle reads the row that its own declaration made, and a row's value is one that its kind accepts
    /// or its typed default: the value is there and has the type.
    pub fn get<T: KeyType>(&self, key: Key<T>) -> T::Out {
        match T::read(self.setting(key).map(|s| &s.value)) {
            Some(value) => value,
            None => unreachable!("{key:?} holds a value of its own type"),
        }
    }

    /// The setting of a key, if it has one.
    pub fn setting(&self, key: impl Into<KeyId>) -> Option<&Setting> {
        self.of_keys.get(key.into().0)?.as_ref()
    }

    /// Does the job or a factor give the value, by this key or by the common one that it falls back to?
    pub fn is_stated(&self, key: impl Into<KeyId>) -> bool {
        let key = key.into();
        if self.setting(key).is_some_and(|s| !s.is_default) {
            return true;
        }
        match &keys().row(key).default {
            Fallback::Of(common) | Fallback::OfOr(common, _) | Fallback::OfPlate(common, _) => {
                self.is_stated(*common)
            }
            // By a key that stands in for it.
            Fallback::Rule(rule) => rule.causes.iter().any(|cause| {
                let stands_in = matches!(keys().row(*cause).default, Fallback::Absent);
                stands_in && self.setting(*cause).is_some()
            }),
            Fallback::Value(_) | Fallback::Preset(_) | Fallback::Absent => false,
        }
    }

    /// Source of a key's value in words; empty where it has none.
    pub fn source(&self, key: impl Into<KeyId>) -> String {
        let setting = self.setting(key);
        setting.map(|s| s.source.clone()).unwrap_or_default()
    }

    /// Names of a table's subtables that the job gives, in their order.
    pub(crate) fn named_under(&self, table: &str) -> Vec<String> {
        let paths = self.of_named.keys();
        let names = paths.filter_map(|p| p.strip_prefix(table)?.split('.').next());
        let mut names: Vec<String> = names.map(str::to_string).collect();
        names.dedup();
        names
    }

    /// Settings in tables under names of the job, by path.
    pub(crate) fn named(&self) -> &BTreeMap<String, Setting> {
        &self.of_named
    }
}
