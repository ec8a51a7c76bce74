//! Faults of a bundle's files.

use std::path::PathBuf;
use thiserror::Error;

/// A bundle that cannot be read or posed: the file, the place in it, the value there and the accepted values.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("{}: {at} is {value}; accepted: {accepted}", file.display())]
pub struct BundleError {
    /// File at fault.
    pub file: PathBuf,
    /// Key, cell or node at fault: `fixed[0].dofs[1]`, `cell 7`.
    pub at: String,
    /// Value found there.
    pub value: String,
    /// Values accepted there.
    pub accepted: String,
}

impl BundleError {
    pub(crate) fn new(
        file: impl Into<PathBuf>,
        at: impl Into<String>,
        value: impl Into<String>,
        accepted: impl Into<String>,
    ) -> Self {
        BundleError {
            file: file.into(),
            at: at.into(),
            value: value.into(),
            accepted: accepted.into(),
        }
    }
}
