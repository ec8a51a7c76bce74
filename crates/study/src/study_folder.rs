//! The folder of a study: whose it is, and whether it may be written.

use crate::filing::{FailedBefore, Survey, folders_in};
use crate::share::Share;
use bicolumn_store::{
    Asked, Hold, Holder, StoreError, StudyFolder, StudyRecord, can_write, is_temporary,
    read_record, remove_temporary,
};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// A folder that must not or cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
#[allow(missing_docs)]
pub enum FolderError {
    /// It holds the results of another job, or of this one before its file was changed.
    #[error(
        "{} holds the results of another job: none of its {finished} finished points is a point of this one\n  hint: give another folder with --out, or move that one away",
        dir.display()
    )]
    OtherJob { dir: PathBuf, finished: usize },
    /// The job has changed, and a shard must not move what others may read.
    #[error(
        "{}: the job has changed, and finished points have other ids now\n  hint: first run it once without --shard, for example with --points 1",
        dir.display()
    )]
    NotFiled { dir: PathBuf },
    /// It holds something that is no study.
    #[error(
        "{} is not empty and holds no study\n  hint: give a new or an empty folder with --out",
        dir.display()
    )]
    NoStudy { dir: PathBuf },
    /// Another run is at work in it.
    #[error(
        "{} is in use by process {} of {}, for {} s\n  hint: wait for it, or give another folder with --out; where that process is no more, remove {}",
        dir.display(), holder.pid, holder.host, holder.seconds(), dir.join(&holder.file).display()
    )]
    InUse { dir: PathBuf, holder: Box<Holder> },
    /// Its description of the study is damaged, so that it cannot be told whose it is.
    #[error(
        "{reason}\n  hint: give another folder with --out, or move {} away",
        dir.display()
    )]
    Damaged { dir: PathBuf, reason: String },
    /// It cannot be read or written.
    #[error("{reason}\n  hint: give a folder that can be written with --out")]
    NotUsable { reason: String },
}

impl From<StoreError> for FolderError {
    fn from(e: StoreError) -> Self {
        FolderError::NotUsable {
            reason: e.to_string(),
        }
    }
}

/// Points of a folder that have ended, by digest.
#[derive(Debug, Default, PartialEq)]
pub(crate) struct Ended {
    pub(crate) finished: BTreeSet<String>,
    pub(crate) failed: BTreeMap<String, FailedBefore>,
    /// Points left out, since their constructs cannot be built, with the reason.
    pub(crate) skipped: BTreeMap<String, String>,
}

/// Looks whether a job may write into a folder, and which points have ended there; changes nothing. A job that
/// was changed may where one of its points is finished, or none is.
///
/// # Errors
/// [`FolderError`]: what is in the way.
pub(crate) fn look(
    dir: &Path,
    job_text: &str,
    planned: &BTreeSet<&str>,
) -> Result<Ended, FolderError> {
    if !dir.exists() {
        can_write(dir)?;
        return Ok(Ended::default());
    }
    if !dir.is_dir() {
        return Err(FolderError::NotUsable {
            reason: format!("{} is a file, not a folder", dir.display()),
        });
    }
    let folder = StudyFolder::new(dir);
    match read_record::<StudyRecord>(&folder.study_file()) {
        Ok(record) => {
            let survey = Survey::of(&folder);
            let finished = survey.digests();
            let mut ended = finished.iter().chain(survey.failed.keys());
            let is_of_it = ended.any(|d| planned.contains(d.as_str()));
            if record.job_text != job_text && !finished.is_empty() && !is_of_it {
                return Err(FolderError::OtherJob {
                    dir: dir.to_path_buf(),
                    finished: finished.len(),
                });
            }
            can_write(dir)?;
            return Ok(Ended {
                finished,
                failed: survey.failed,
                skipped: survey.skipped,
            });
        }
        Err(StoreError::Missing { .. }) => {}
        Err(e @ StoreError::Damaged { .. }) => {
            return Err(FolderError::Damaged {
                dir: dir.to_path_buf(),
                reason: e.to_string(),
            });
        }
        Err(e) => return Err(e.into()),
    }
    let entries = std::fs::read_dir(dir).map_err(|e| FolderError::NotUsable {
        reason: format!("{}: cannot be read: {e}", dir.display()),
    })?;
    // A run that was killed before it described its study left no more than these.
    let mut foreign = entries.filter(|entry| {
        let name = entry.as_ref().map(|e| e.file_name());
        !name.is_ok_and(|name| Hold::is_file_name(&name) || is_temporary(&name))
    });
    match foreign.next() {
        None => {
            can_write(dir)?;
            Ok(Ended::default())
        }
        Some(_) => Err(FolderError::NoStudy {
            dir: dir.to_path_buf(),
        }),
    }
}

/// Takes a folder for this run: the whole of it, or beside the other shards of the same count.
///
/// # Errors
/// [`FolderError::InUse`] with who has it.
pub(crate) fn hold(dir: &Path, share: &Share) -> Result<Hold, FolderError> {
    let shard = match share {
        Share::Shard(shard) => Some((shard.number(), shard.count())),
        Share::All | Share::Points(_) | Share::Failed => None,
    };
    match Hold::take(dir, shard)? {
        Asked::Taken(hold) => Ok(hold),
        Asked::HeldBy(holder) => Err(FolderError::InUse {
            dir: dir.to_path_buf(),
            holder: Box::new(holder),
        }),
    }
}

/// Removes what runs that were killed were writing, in a folder that this run has for itself.
pub(crate) fn clean(folder: &StudyFolder) {
    remove_temporary(folder.root());
    remove_temporary(&folder.intact_folder());
    remove_temporary(&folder.figures_folder());
    let parts = [folder.points_folder(), folder.earlier_folder()];
    for place in parts.iter().flat_map(|p| folders_in(p)) {
        remove_temporary(&place);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_new_an_empty_or_a_studys_folder_is_taken() {
        let temp = tempfile::tempdir().unwrap();
        let dir = temp.path().join("out");
        let look = |dir: &Path| look(dir, "a", &BTreeSet::new());
        let nothing = Ok(Ended::default());
        assert_eq!(look(&dir), nothing);
        std::fs::create_dir(&dir).unwrap();
        assert_eq!(look(&dir), nothing);

        // A run that was killed at its very start.
        std::fs::write(dir.join("held.json"), "{}").unwrap();
        std::fs::write(dir.join("held-1-of-2.json"), "{}").unwrap();
        std::fs::write(dir.join(".writing-abc"), "").unwrap();
        assert_eq!(look(&dir), nothing);

        let file = dir.join("notes.txt");
        std::fs::write(&file, "mine").unwrap();
        assert!(matches!(look(&dir), Err(FolderError::NoStudy { .. })));
        assert!(matches!(look(&file), Err(FolderError::NotUsable { .. })));

        // A study without a finished point is anybody's; with one, see the runner's tests.
        let job = bicolumn_job::Job::parse(Path::new("x.toml"), "run.title = \"t\"").unwrap();
        let plan = bicolumn_job::Plan::of(&job).unwrap();
        let record =
            crate::study_record::study_record(&job, &plan, (&[], &[]), &Default::default(), None);
        bicolumn_store::write_record(&StudyFolder::new(&dir).study_file(), &record).unwrap();
        assert_eq!(look(&dir), nothing);
    }
}
