//! Records as JSON files that carry their own checksum.
//!
//! The last key of the file, `checksum`, is the digest of everything else in canonical form. A bit
//! flip, a hand edit or a half-copied file is recognised when the record is read.

use crate::atomic::write_atomic;
use crate::digest::{canonical_json, digest_text};
use crate::error::StoreError;
use crate::models::ModelsRecord;
use crate::record::{MeshNoise, PointRecord, SCHEMA, StudyRecord};
use bicolumn_base::shown::one_line;
use serde_json::Value;
use std::path::Path;

const CHECKSUM: &str = "checksum";
/// Longest record, bytes: that of a point has some hundred thousand.
const MOST_BYTES: u64 = 256 << 20;

/// Record with a file of its own. A trait whose functions are compiled here: as functions generic over serde's traits
/// they were compiled again in every crate that reads or writes records, which was half of its time.
pub trait Record: Sized {
    /// Readable JSON.
    ///
    /// # Errors
    /// When the record cannot be told in JSON.
    fn to_json(&self) -> Result<String, serde_json::Error>;

    /// Record from a JSON value.
    ///
    /// # Errors
    /// When the value is no such record.
    fn from_json(value: Value) -> Result<Self, serde_json::Error>;
}

macro_rules! records {
    ($($record:ty)*) => {$(
        impl Record for $record {
            #[inline(never)]
            fn to_json(&self) -> Result<String, serde_json::Error> {
                serde_json::to_string_pretty(self)
            }

            #[inline(never)]
            fn from_json(value: Value) -> Result<Self, serde_json::Error> {
                serde_json::from_value(value)
            }
        }
    )*};
}
records!(PointRecord StudyRecord MeshNoise ModelsRecord);

/// Writes a record atomically as readable JSON with its checksum.
///
/// # Errors
/// [`StoreError::NotStorable`] for a record that could not be read back (NaN or an infinite number);
/// otherwise as [`write_atomic`].
pub fn write_record<T: Record>(path: &Path, record: &T) -> Result<(), StoreError> {
    let not_storable = |reason: String| StoreError::NotStorable {
        path: path.to_path_buf(),
        reason,
    };
    let text = record.to_json().map_err(|e| not_storable(e.to_string()))?;
    let value = parse(text.as_bytes()).map_err(|e| not_storable(e.to_string()))?;
    let checksum = digest_text(canonical_json(&value));
    // JSON has no NaN: serde_json writes `null`, which shows only when the record is made of it again.
    T::from_json(value).map_err(|e| not_storable(format!("a number is not finite, or {e}")))?;
    let body = text
        .strip_suffix("\n}")
        .ok_or_else(|| not_storable("a record must be a structure with fields".into()))?;
    write_atomic(
        path,
        format!("{body},\n  \"{CHECKSUM}\": \"{checksum}\"\n}}\n").as_bytes(),
    )
}

/// Reads a record and proves its checksum.
///
/// # Errors
/// [`StoreError::Missing`], [`StoreError::Unreadable`], or [`StoreError::Damaged`] when the text is no
/// such record or does not match its checksum.
pub fn read_record<T: Record>(path: &Path) -> Result<T, StoreError> {
    T::from_json(checked_value(path)?).map_err(|e| damaged(path, e.to_string()))
}

fn damaged(path: &Path, reason: String) -> StoreError {
    StoreError::Damaged {
        path: path.to_path_buf(),
        reason,
    }
}

#[inline(never)]
fn parse(text: &[u8]) -> Result<Value, serde_json::Error> {
    serde_json::from_slice(text)
}

/// JSON value of a record's file without its checksum, which it matches.
fn checked_value(path: &Path) -> Result<Value, StoreError> {
    let found = std::fs::metadata(path).map_err(|source| StoreError::reading(path, source))?;
    // A pipe would be waited for, a device has no end.
    if !found.is_file() {
        return Err(damaged(path, "it is no file".into()));
    }
    if found.len() > MOST_BYTES {
        return Err(damaged(
            path,
            format!("it is longer than {} MB", MOST_BYTES >> 20),
        ));
    }
    let bytes = std::fs::read(path).map_err(|source| StoreError::reading(path, source))?;
    let mut value = parse(&bytes).map_err(|e| damaged(path, e.to_string()))?;
    let stated = value
        .as_object_mut()
        .and_then(|map| map.remove(CHECKSUM))
        .ok_or_else(|| damaged(path, "it has no checksum".into()))?;
    if stated.as_str() != Some(&digest_text(canonical_json(&value))) {
        return Err(damaged(
            path,
            "its content does not match its checksum".into(),
        ));
    }
    match value.get("schema") {
        Some(schema) if schema.as_u64() != Some(u64::from(SCHEMA)) => {
            let schema = one_line(&schema.to_string(), 40);
            let reason = format!("schema {schema}, this program reads {SCHEMA}");
            Err(damaged(path, reason))
        }
        _ => Ok(value),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::tests::sample_point;
    use crate::{PointRecord, StudyFolder, create_folder};

    #[test]
    fn a_record_survives_and_a_changed_digit_does_not() {
        let temp = tempfile::tempdir().unwrap();
        let folder = StudyFolder::new(temp.path());
        create_folder(&folder.point_folder("p001")).unwrap();
        let path = folder.record_file("p001");
        let mut record = sample_point("p001", -20.0);
        record.cases[0].residual = 0.1 + 0.2; // a number that needs all its digits
        write_record(&path, &record).unwrap();
        assert_eq!(read_record::<PointRecord>(&path).unwrap(), record);

        let text = std::fs::read_to_string(&path).unwrap();
        for (from, to) in [("-20.0", "-20.5"), ("\"axial\"", "\"axiaI\""), ("}", "")] {
            std::fs::write(&path, text.replacen(from, to, 1)).unwrap();
            let error = read_record::<PointRecord>(&path).unwrap_err();
            assert!(matches!(error, StoreError::Damaged { .. }), "{error}");
        }
        // Layout may change: only the content counts.
        std::fs::write(&path, text.replace("\n", " ")).unwrap();
        assert!(read_record::<PointRecord>(&path).is_ok());
    }

    #[test]
    fn a_number_that_is_none_is_refused_at_once() {
        let temp = tempfile::tempdir().unwrap();
        let path = temp.path().join("record.json");
        let mut record = sample_point("p001", 0.0);
        record.cases[0].residual = f64::NAN;
        let error = write_record(&path, &record).unwrap_err();
        assert!(error.to_string().contains("not finite"), "{error}");
        assert!(!path.exists());
    }

    #[test]
    fn a_missing_record_says_so() {
        let error = read_record::<PointRecord>(Path::new("/nowhere/record.json")).unwrap_err();
        assert!(matches!(error, StoreError::Missing { .. }));
    }
}
