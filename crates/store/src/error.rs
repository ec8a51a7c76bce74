//! Why something could not be stored or read back.

use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// An error of the store; each names the file.
#[derive(Debug, Error)]
pub enum StoreError {
    /// No room left.
    #[error("{path}: the disk is full", path = path.display())]
    DiskFull {
        /// The file that was being written.
        path: PathBuf,
    },
    /// The folder or file does not take writing.
    #[error("{path}: cannot be written: {source}", path = path.display())]
    Unwritable {
        /// The file that was being written.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// There is no such file.
    #[error("{path}: no such file", path = path.display())]
    Missing {
        /// The file.
        path: PathBuf,
    },
    /// The file is there but cannot be read.
    #[error("{path}: cannot be read: {source}", path = path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// The content is not what was written.
    #[error("{path}: damaged record: {reason}", path = path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// Contradiction found.
        reason: String,
    },
    /// A value that JSON cannot hold, or a table row that CSV refuses.
    #[error("{path}: cannot be stored: {reason}", path = path.display())]
    NotStorable {
        /// The file.
        path: PathBuf,
        /// Reason of the refusal.
        reason: String,
    },
}

impl StoreError {
    /// Message of an error with a file of the folder `root`, its path relative to it: messages that are stored and
    /// shown to others must not tell where on a machine the folder lies.
    pub fn within(&self, root: &Path) -> String {
        let told = self.to_string();
        let path = self.path();
        match path.strip_prefix(root) {
            Ok(inside) => told.replacen(
                &path.display().to_string(),
                &inside.display().to_string(),
                1,
            ),
            Err(_) => told,
        }
    }

    /// The file or folder at fault.
    pub fn path(&self) -> &Path {
        match self {
            StoreError::DiskFull { path }
            | StoreError::Unwritable { path, .. }
            | StoreError::Missing { path }
            | StoreError::Unreadable { path, .. }
            | StoreError::Damaged { path, .. }
            | StoreError::NotStorable { path, .. } => path,
        }
    }

    /// The error of a failed write to `path`.
    pub fn writing(path: &Path, source: std::io::Error) -> StoreError {
        let path = path.to_path_buf();
        match source.kind() {
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded => StoreError::DiskFull { path },
            _ => StoreError::Unwritable { path, source },
        }
    }

    /// The error of a failed read of `path`.
    pub(crate) fn reading(path: &Path, source: std::io::Error) -> StoreError {
        let path = path.to_path_buf();
        match source.kind() {
            ErrorKind::NotFound => StoreError::Missing { path },
            _ => StoreError::Unreadable { path, source },
        }
    }
}
