//! Points solved before, by any job: a folder that several jobs and machines share.

use crate::filing;
use crate::record::lock_digest;
use bicolumn_job::{ENGINE_VERSION, PointInputs};
use bicolumn_store::{StoreError, StudyFolder, create_folder};
use std::path::{Path, PathBuf};

/// A folder of solved points and intact bones, of this program and these libraries.
pub(crate) struct Cache {
    root: PathBuf,
}

impl Cache {
    /// The part of a folder that is of this program.
    pub(crate) fn in_folder(folder: &Path) -> Cache {
        let libraries = lock_digest().get(..16).unwrap_or_default();
        Cache {
            root: folder.join(format!("{ENGINE_VERSION}-{libraries}")),
        }
    }

    /// Folder of solved intact bones.
    pub(crate) fn intact_folder(&self) -> PathBuf {
        self.root.join("intact")
    }

    fn place(&self, digest: &str) -> PathBuf {
        self.root.join("points").join(digest)
    }

    /// Is there a whole record of a digest?
    pub(crate) fn has(&self, digest: &str) -> bool {
        filing::finished(&self.place(digest), digest).is_some()
    }

    /// Copies a point's results into a study.
    ///
    /// # Errors
    /// [`StoreError`]: none there, or a file that cannot be read or written.
    pub(crate) fn take(&self, to: &StudyFolder, point: &PointInputs) -> Result<(), StoreError> {
        filing::copy_point(&self.place(&point.digest), to, point)
    }

    /// Adds a point's results; those of a digest that is there already are the same.
    ///
    /// # Errors
    /// [`StoreError`]: a file that cannot be read or written.
    pub(crate) fn add(&self, from: &StudyFolder, point: &PointInputs) -> Result<(), StoreError> {
        let place = self.place(&point.digest);
        if self.has(&point.digest) {
            return Ok(());
        }
        let folder = self.root.join("points");
        create_folder(&folder)?;
        let process = std::process::id();
        let short = point.digest.get(..16).unwrap_or_default();
        let own = folder.join(format!(".writing-{process}-{short}"));
        filing::copy_files(&from.point_folder(&point.id), &own)?;
        if place.exists() {
            // Damaged: it would have been found.
            let _ = std::fs::remove_dir_all(&place);
        }
        let moved = std::fs::rename(&own, &place);
        let _ = std::fs::remove_dir_all(&own);
        match moved {
            Err(_) if self.has(&point.digest) => Ok(()),
            other => other.map_err(|e| StoreError::writing(&place, e)),
        }
    }
}
