//! A place in a JSON file, which knows its file and key for messages.

use crate::BundleError;
use bicolumn_base::Vec3;
use serde_json::Value;
use std::path::Path;

/// Longest value shown in a message, characters.
const SHOWN: usize = 60;

/// A value with its place.
#[derive(Debug, Clone)]
pub(crate) struct At<'a> {
    file: &'a Path,
    path: String,
    value: &'a Value,
}

impl<'a> At<'a> {
    pub(crate) fn root(file: &'a Path, value: &'a Value) -> Self {
        At {
            file,
            path: String::new(),
            value,
        }
    }

    pub(crate) fn refuse(&self, accepted: impl Into<String>) -> BundleError {
        let mut shown = self.value.to_string();
        if shown.chars().count() > SHOWN {
            shown = shown.chars().take(SHOWN).chain("...".chars()).collect();
        }
        let path = if self.path.is_empty() {
            "the whole"
        } else {
            &self.path
        };
        BundleError::new(self.file, path, shown, accepted)
    }

    fn joined(&self, key: &str) -> String {
        match self.path.as_str() {
            "" => key.to_owned(),
            path => format!("{path}.{key}"),
        }
    }

    /// Value of a key that must be there; `accepted` says which values it takes.
    pub(crate) fn key(&self, key: &str, accepted: &str) -> Result<At<'a>, BundleError> {
        self.optional(key)
            .ok_or_else(|| BundleError::new(self.file, self.joined(key), "missing", accepted))
    }

    pub(crate) fn optional(&self, key: &str) -> Option<At<'a>> {
        self.value.get(key).map(|value| At {
            file: self.file,
            path: self.joined(key),
            value,
        })
    }

    /// Refuses keys other than these.
    pub(crate) fn only(&self, keys: &[&str]) -> Result<(), BundleError> {
        let Some(object) = self.value.as_object() else {
            return Err(self.refuse(format!("an object with the keys {}", keys.join(", "))));
        };
        match object.keys().find(|k| !keys.contains(&k.as_str())) {
            None => Ok(()),
            Some(key) => Err(BundleError::new(
                self.file,
                self.joined(key),
                "an unknown key",
                format!("the keys {}", keys.join(", ")),
            )),
        }
    }

    /// Keys and values of an object.
    pub(crate) fn entries(&self, accepted: &str) -> Result<Vec<(&'a str, At<'a>)>, BundleError> {
        let object = self
            .value
            .as_object()
            .ok_or_else(|| self.refuse(accepted))?;
        let entry = |(key, value): (&'a String, &'a Value)| {
            let at = At {
                file: self.file,
                path: self.joined(key),
                value,
            };
            (key.as_str(), at)
        };
        Ok(object.iter().map(entry).collect())
    }

    pub(crate) fn items(&self, accepted: &str) -> Result<Vec<At<'a>>, BundleError> {
        let items = self.value.as_array().ok_or_else(|| self.refuse(accepted))?;
        let item = |(k, value): (usize, &'a Value)| At {
            file: self.file,
            path: format!("{}[{k}]", self.path),
            value,
        };
        Ok(items.iter().enumerate().map(item).collect())
    }

    /// An array of so many items.
    pub(crate) fn row(&self, count: usize, accepted: &str) -> Result<Vec<At<'a>>, BundleError> {
        let items = self.items(accepted)?;
        match items.len() == count {
            true => Ok(items),
            false => Err(self.refuse(accepted)),
        }
    }

    pub(crate) fn number(&self) -> Result<f64, BundleError> {
        self.value
            .as_f64()
            .filter(|v| v.is_finite())
            .ok_or_else(|| self.refuse("a number"))
    }

    pub(crate) fn text(&self) -> Result<&'a str, BundleError> {
        self.value
            .as_str()
            .filter(|t| !t.is_empty())
            .ok_or_else(|| self.refuse("a text that is not empty"))
    }

    pub(crate) fn flag(&self) -> Result<bool, BundleError> {
        self.value
            .as_bool()
            .ok_or_else(|| self.refuse("true or false"))
    }

    /// An integer below `count`.
    pub(crate) fn index(&self, count: usize) -> Result<u32, BundleError> {
        let accepted = || match count {
            0 => "nothing: there is none".to_owned(),
            _ => format!("an integer from 0 to {}", count - 1),
        };
        let value = self.value.as_u64().filter(|v| *v < count as u64);
        let value = value.and_then(|v| u32::try_from(v).ok());
        value.ok_or_else(|| self.refuse(accepted()))
    }

    pub(crate) fn vector(&self) -> Result<Vec3, BundleError> {
        let row = self.row(3, "three numbers [x, y, z]")?;
        Ok(Vec3::new(
            row[0].number()?,
            row[1].number()?,
            row[2].number()?,
        ))
    }

    /// An array of node numbers.
    pub(crate) fn nodes(&self, count: usize) -> Result<Vec<u32>, BundleError> {
        let items = self.items("an array of node numbers")?;
        items.iter().map(|n| n.index(count)).collect()
    }
}
