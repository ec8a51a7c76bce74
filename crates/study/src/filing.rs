//! Finished records filed under the points of a plan: a job that has grown keeps what is done.
//!
//! A record belongs to a point by its digest, whatever its id was: a new factor level gives the points other numbers. A
//! record that no point asks for is moved to `earlier/`, where a later run finds it again. Every move is one rename, and a
//! run that is killed between two of them leaves folders that the next one files.

use crate::stage::Stage;
use bicolumn_job::PointInputs;
use bicolumn_store::{
    FactorValue, MovedRecord, PointRecord, Status, StopRecord, StoreError, StudyFolder,
    create_folder, is_temporary, read_record, write_record,
};
use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsStr;
use std::path::{Path, PathBuf};

/// A finished record, by all that filing asks of it.
#[derive(Debug)]
struct Stored {
    folder: PathBuf,
    id: String,
    digest: String,
    factors: BTreeMap<String, FactorValue>,
    moved: Vec<MovedRecord>,
}

impl Stored {
    fn is_of(&self, point: &PointInputs) -> bool {
        self.digest == point.digest && self.id == point.id && self.factors == point.factors
    }

    /// Name of its folder: the id of the point that it lies at.
    fn place(&self) -> String {
        name_of(&self.folder)
    }
}

/// A point that failed.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FailedBefore {
    /// Name of its folder: the id of the point that it lies at.
    pub(crate) place: String,
    pub(crate) stage: Stage,
    pub(crate) reason: String,
    pub(crate) stopped_by: Option<StopRecord>,
}

/// Records of a study's folder, each read once.
#[derive(Debug, Default)]
pub(crate) struct Survey {
    /// Points that failed, by digest.
    pub(crate) failed: BTreeMap<String, FailedBefore>,
    /// Reason why a point was left out, by digest.
    pub(crate) skipped: BTreeMap<String, String>,
    points: Vec<Stored>,
    earlier: Vec<Stored>,
    /// Reason why a record cannot be read, by the id of its point.
    damaged: BTreeMap<String, String>,
}

impl Survey {
    /// Reads all records of a study's folder.
    pub(crate) fn of(folder: &StudyFolder) -> Survey {
        let mut survey = Survey::default();
        for place in folders_in(&folder.points_folder()) {
            match read_record::<PointRecord>(&place.join("record.json")) {
                Ok(record) => {
                    survey.failed.extend(failed(&place, &record));
                    if let Status::Skipped { reason } = &record.status {
                        survey.skipped.insert(record.digest.clone(), reason.clone());
                    }
                    survey.points.extend(stored(place, record));
                }
                Err(StoreError::Missing { .. }) => {}
                Err(e) => {
                    let reason = e.within(folder.root());
                    survey.damaged.insert(name_of(&place), reason);
                }
            }
        }
        for place in folders_in(&folder.earlier_folder()) {
            let record = read_record::<PointRecord>(&place.join("record.json"));
            survey
                .earlier
                .extend(record.ok().and_then(|r| stored(place, r)));
        }
        survey
    }

    /// Digests of all finished records.
    pub(crate) fn digests(&self) -> BTreeSet<String> {
        let all = self.points.iter().chain(&self.earlier);
        all.map(|s| s.digest.clone()).collect()
    }
}

/// Finished records of a study's folder by the points of a plan, and the moves of a filing.
#[derive(Debug, Default)]
pub(crate) struct Filed {
    /// Keys whose values were moved, by the id of each finished point.
    pub(crate) finished: BTreeMap<String, Vec<MovedRecord>>,
    /// Reason why a record cannot be read, by the id of its point.
    pub(crate) damaged: BTreeMap<String, String>,
    /// Points whose record lay elsewhere: id now, id before.
    pub(crate) moved: Vec<(String, String)>,
    /// Finished records that no point asks for, now in `earlier/`: their ids before.
    pub(crate) set_aside: Vec<String>,
}

/// Finished points of a folder in which nothing is to be moved; `None` where something is.
pub(crate) fn as_filed(folder: &StudyFolder, planned: &[PointInputs]) -> Option<Filed> {
    let survey = Survey::of(folder);
    let by_id = by_id(planned);
    let finished = survey.points.into_iter().map(|stored| {
        let point = by_id.get(stored.place().as_str())?;
        stored.is_of(point).then_some((stored.id, stored.moved))
    });
    Some(Filed {
        finished: finished.collect::<Option<_>>()?,
        damaged: survey.damaged,
        ..Filed::default()
    })
}

/// Moves every finished record to the folder of its point, or to `earlier/` where no point asks for it; a record that two
/// points ask for is copied.
///
/// # Errors
/// [`StoreError`]: a folder that cannot be moved, a record that cannot be written.
pub(crate) fn file(folder: &StudyFolder, planned: &[PointInputs]) -> Result<Filed, StoreError> {
    let survey = Survey::of(folder);
    let mut filed = Filed {
        damaged: survey.damaged,
        ..Filed::default()
    };
    let by_id = by_id(planned);
    let earlier = folder.earlier_folder();
    // First everything out of the way that is another point's, then each to its place: no move meets another.
    let mut in_place = BTreeMap::new();
    let mut before = BTreeMap::new();
    for stored in survey.points {
        let place = stored.place();
        let point = by_id.get(place.as_str());
        if point.is_some_and(|p| p.digest == stored.digest) {
            in_place.insert(place, stored);
            continue;
        }
        create_folder(&earlier)?;
        let to = earlier.join(short(&stored.digest));
        // The same inputs and engine gave the same results: one of the two is enough.
        match finished(&to, &stored.digest) {
            Some(_) => remove(&stored.folder)?,
            None => {
                if to.exists() {
                    remove(&to)?;
                }
                std::fs::rename(&stored.folder, &to).map_err(|e| StoreError::writing(&to, e))?;
            }
        }
        before.insert(stored.digest, place);
    }
    let mut used = BTreeSet::new();
    for point in planned {
        if let Some(stored) = in_place.remove(&point.id) {
            // Another number or another name of its factors, the same results.
            if !stored.is_of(point) {
                let record = read_record(&folder.record_file(&point.id))?;
                restate(&stored.folder, record, point)?;
            }
            filed.finished.insert(point.id.clone(), stored.moved);
            continue;
        }
        let from = earlier.join(short(&point.digest));
        let Some(record) = finished(&from, &point.digest) else {
            continue;
        };
        let was = before.get(&point.digest).unwrap_or(&record.id).clone();
        filed.moved.push((point.id.clone(), was));
        let moved = record.moved.clone();
        take(&from, folder, record, point)?;
        used.insert(point.digest.clone());
        filed.finished.insert(point.id.clone(), moved);
        filed.damaged.remove(&point.id);
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
    copy_named(from, &own, &|name| name != RECORD)?;
    restate(&own, record, point)
}

/// Name of a point's record.
const RECORD: &str = "record.json";

/// Copies a point's files as they are, the record last.
pub(crate) fn copy_files(from: &Path, to: &Path) -> Result<(), StoreError> {
    copy_named(from, to, &|name| name != RECORD)?;
    copy_named(from, to, &|name| name == RECORD)
}

fn copy_named(
    from: &Path,
    to: &Path,
    is_wanted: &dyn Fn(&OsStr) -> bool,
) -> Result<(), StoreError> {
    create_folder(to)?;
    let files = std::fs::read_dir(from).map_err(|e| StoreError::writing(from, e))?;
    for entry in files {
        let entry = entry.map_err(|e| StoreError::writing(from, e))?;
        let name = entry.file_name();
        if is_wanted(&name) && !is_temporary(&name) {
            let to = to.join(&name);
            std::fs::copy(entry.path(), &to).map_err(|e| StoreError::writing(&to, e))?;
        }
    }
    Ok(())
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

/// Finished record of a digest in a folder.
pub(crate) fn finished(folder: &Path, digest: &str) -> Option<PointRecord> {
    let record = read_record::<PointRecord>(&folder.join("record.json")).ok()?;
    (record.status == Status::Done && record.digest == digest).then_some(record)
}

fn stored(folder: PathBuf, record: PointRecord) -> Option<Stored> {
    (record.status == Status::Done).then_some(Stored {
        folder,
        id: record.id,
        digest: record.digest,
        factors: record.factors,
        moved: record.moved,
    })
}

/// Failure that a record tells, with the digest of its point.
fn failed(place: &Path, record: &PointRecord) -> Option<(String, FailedBefore)> {
    let Status::Failed { stage, reason } = &record.status else {
        return None;
    };
    let before = FailedBefore {
        place: name_of(place),
        stage: Stage::named(stage)?,
        reason: reason.clone(),
        stopped_by: record.stopped_by,
    };
    Some((record.digest.clone(), before))
}

fn by_id(planned: &[PointInputs]) -> BTreeMap<&str, &PointInputs> {
    planned.iter().map(|p| (p.id.as_str(), p)).collect()
}

/// Folders in a folder, in the order of their names.
pub(crate) fn folders_in(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return vec![];
    };
    let mut folders: Vec<PathBuf> = entries.flatten().map(|e| e.path()).collect();
    folders.sort();
    folders
}

fn name_of(folder: &Path) -> String {
    let name = folder.file_name().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

/// Name of a folder in `earlier/`.
fn short(digest: &str) -> &str {
    digest.get(..16).unwrap_or(digest)
}

fn remove(folder: &Path) -> Result<(), StoreError> {
    std::fs::remove_dir_all(folder).map_err(|e| StoreError::writing(folder, e))
}
