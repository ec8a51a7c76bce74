//! Why there is no report.

use bicolumn_formats::VtuError;
use bicolumn_store::StoreError;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// An error of the report.
#[derive(Debug, Error)]
pub enum ReportError {
    /// The study's records cannot be read, or the page cannot be written.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A point's surface is there but cannot be used.
    #[error("{path}: {reason}", path = path.display())]
    Surface {
        /// The file.
        path: PathBuf,
        /// Reason.
        reason: String,
    },
    /// The page's template failed: a fault of this crate.
    #[error("the report's template: {0}")]
    Template(#[from] minijinja::Error),
    /// The rows of a table could not be written.
    #[error("table: {0}")]
    Table(#[from] csv::Error),
    /// A picture could not be encoded.
    #[error("picture: {0}")]
    Picture(#[from] png::EncodingError),
}

impl ReportError {
    /// Message of an error with a file of the folder `root`, its path relative to it.
    pub(crate) fn within(&self, root: &Path) -> String {
        match self {
            ReportError::Store(e) => e.within(root),
            ReportError::Surface { path, reason } => {
                let inside = path.strip_prefix(root).unwrap_or(path);
                format!("{}: {reason}", inside.display())
            }
            other => other.to_string(),
        }
    }

    pub(crate) fn surface(path: PathBuf, error: VtuError) -> ReportError {
        ReportError::Surface {
            path,
            reason: error.to_string(),
        }
    }
}

/// Bytes of a finished table.
///
/// # Errors
/// [`ReportError::Table`], if its last rows cannot be written.
pub(crate) fn table_bytes(writer: csv::Writer<Vec<u8>>) -> Result<Vec<u8>, ReportError> {
    let bytes = writer.into_inner();
    Ok(bytes.map_err(|e| csv::Error::from(e.into_error()))?)
}
