//! Finished records filed under the points of a plan: a job that has grown keeps what is done.
//!
//! A record belongs to a point by its digest, whatever its id was: a new factor level gives the points other numbers. A
//! record that no point asks for is moved to `earlier/`, where a later run finds it again. Every move is one rename, and a
//! run that is killed between two of them leaves folders that the next one files.

use bicolumn_job::PointInputs;
use bicolumn_store::{
    PointRecord, Status, StoreError, StudyFolder, create_folder, is_temporary, read_record,
    write_record,
};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// A finished record and its folder.
#[derive(Debug)]
struct Stored {
    folder: PathBuf,
    record: PointRecord,
}

/// Outcome of a filing.
#[derive(Debug, Default, PartialEq, Eq)]
pub(crate) struct Filed {
    /// Points whose record lay elsewhere: id now, id before.
    pub(crate) moved: Vec<(String, String)>,
    /// Finished records that no point asks for, now in `earlier/`: their ids before.
    pub(crate) set_aside: Vec<String>,
}

/// Digests of all finished records of a study's folder.
pub(crate) fn finished_digests(folder: &StudyFolder) -> BTreeSet<String> {
    let stored = finished(&folder.points_folder());
    let earlier = finished(&folder.earlier_folder());
    let all = stored.into_iter().chain(earlier);
    all.map(|s| s.record.digest).collect()
}

/// Are all finished records in the folders of the points that they belong to?
pub(crate) fn is_filed(folder: &StudyFolder, planned: &[PointInputs]) -> bool {
    let by_id: BTreeMap<&str, &PointInputs> = planned.iter().map(|p| (p.id.as_str(), p)).collect();
    let stored = finished(&folder.points_folder());
    stored.iter().all(|s| {
        let point = name_of(&s.folder).and_then(|id| by_id.get(id.as_str()).copied());
        point.is_some_and(|p| is_of(&s.record, p))
    })
}

/// Moves every finished record to the folder of its point, or to `earlier/` where no point asks for it; a record that two
/// points ask for is copied.
///
/// # Errors
/// [`StoreError`]: a folder that cannot be moved, a record that cannot be written.
pub(crate) fn file(folder: &StudyFolder, planned: &[PointInputs]) -> Result<Filed, StoreError> {
    let mut filed = Filed::default();
    let by_id: BTreeMap<&str, &PointInputs> = planned.iter().map(|p| (p.id.as_str(), p)).collect();
    let earlier = folder.earlier_folder();
    // First everything out of the way that is another point's, then each to its place: no move meets another.
    let mut before = BTreeMap::new();
    for stored in finished(&folder.points_folder()) {
        let id = name_of(&stored.folder).unwrap_or_default();
        let point = by_id.get(id.as_str());
        if point.is_some_and(|p| p.digest == stored.record.digest) {
            continue;
        }
        create_folder(&earlier)?;
        let to = earlier.join(short(&stored.record.digest));
        before.insert(stored.record.digest.clone(), id);
        // The same inputs and engine gave the same results: one of the two is enough.
        match is_finished(&to, &stored.record.digest) {
            true => remove(&stored.folder)?,
            false => {
                if to.exists() {
                    remove(&to)?;
                }
                rename(&stored.folder, &to)?;
            }
        }
    }
    let mut used = BTreeSet::new();
    for point in planned {
        let own = folder.point_folder(&point.id);
        if let Ok(record) = read_record::<PointRecord>(&folder.record_file(&point.id))
            && record.status == Status::Done
            && record.digest == point.digest
        {
            // Another number or another name of its factors, the same results.
            if !is_of(&record, point) {
                restate(&own, record, point)?;
            }
            continue;
        }
        let from = earlier.join(short(&point.digest));
        let Ok(record) = read_record::<PointRecord>(&from.join("record.json")) else {
            continue;
        };
        if record.digest != point.digest || record.status != Status::Done {
            continue;
        }
        let was = before.get(&point.digest).unwrap_or(&record.id).clone();
        take(&from, folder, record, point)?;
        used.insert(point.digest.clone());
        filed.moved.push((point.id.clone(), was));
    }
    for digest in &used {
        remove(&earlier.join(short(digest)))?;
    }
    let aside = before
        .into_iter()
        .filter(|(digest, _)| !used.contains(digest));
    filed.set_aside = aside.map(|(_, id)| id).collect();
    // Nothing is left behind where everything found its place.
    let _ = std::fs::remove_dir(&earlier);
    Ok(filed)
}

/// Copies the results of one point, of this study or another, to a point with the same digest.
///
/// # Errors
/// [`StoreError`]: a file that cannot be read or written.
pub(crate) fn copy_point(
    from: &Path,
    to: &StudyFolder,
    point: &PointInputs,
) -> Result<(), StoreError> {
    let record = read_record::<PointRecord>(&from.join("record.json"))?;
    take(from, to, record, point)
}

/// Copies a point's files, the record last: it is the proof that they are whole.
fn take(
    from: &Path,
    to: &StudyFolder,
    record: PointRecord,
    point: &PointInputs,
) -> Result<(), StoreError> {
    let own = to.point_folder(&point.id);
    create_folder(&own)?;
    let files = std::fs::read_dir(from).map_err(|e| StoreError::writing(from, e))?;
    for entry in files {
        let entry = entry.map_err(|e| StoreError::writing(from, e))?;
        let name = entry.file_name();
        if name != "record.json" && !is_temporary(&name) {
            let to = own.join(&name);
            std::fs::copy(entry.path(), &to).map_err(|e| StoreError::writing(&to, e))?;
        }
    }
    restate(&own, record, point)
}

/// Writes a record under the id and the factors of a point.
fn restate(own: &Path, record: PointRecord, point: &PointInputs) -> Result<(), StoreError> {
    let record = PointRecord {
        id: point.id.clone(),
        factors: point.factors.clone(),
        ..record
    };
    write_record(&own.join("record.json"), &record)
}

/// Does a folder hold a finished record with this digest?
fn is_finished(folder: &Path, digest: &str) -> bool {
    let record = read_record::<PointRecord>(&folder.join("record.json"));
    record.is_ok_and(|r| r.status == Status::Done && r.digest == digest)
}

fn is_of(record: &PointRecord, point: &PointInputs) -> bool {
    record.digest == point.digest && record.id == point.id && record.factors == point.factors
}

/// Finished records in the folders of a folder, in the order of their names.
fn finished(folder: &Path) -> Vec<Stored> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return vec![];
    };
    let mut folders: Vec<PathBuf> = entries.flatten().map(|e| e.path()).collect();
    folders.sort();
    let stored = |folder: PathBuf| {
        let record = read_record::<PointRecord>(&folder.join("record.json")).ok()?;
        (record.status == Status::Done).then_some(Stored { folder, record })
    };
    folders.into_iter().filter_map(stored).collect()
}

fn name_of(folder: &Path) -> Option<String> {
    folder.file_name().map(|n| n.to_string_lossy().into_owned())
}

/// Name of a folder in `earlier/`.
fn short(digest: &str) -> &str {
    digest.get(..16).unwrap_or(digest)
}

fn rename(from: &Path, to: &Path) -> Result<(), StoreError> {
    std::fs::rename(from, to).map_err(|e| StoreError::writing(to, e))
}

fn remove(folder: &Path) -> Result<(), StoreError> {
    std::fs::remove_dir_all(folder).map_err(|e| StoreError::writing(folder, e))
}
