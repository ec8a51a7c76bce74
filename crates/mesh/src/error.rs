//! What can go wrong in the mesher.

use thiserror::Error;

/// A mesh that did not pass a gate.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum MeshError {
    /// A gate failed on every try.
    #[error("no valid mesh: {gate}: {detail}")]
    Gate {
        /// Which gate.
        gate: &'static str,
        /// What was found, with a place in mm.
        detail: String,
    },
    /// More surfaces than the provenance word can hold.
    #[error("the construct has {found} surfaces, the mesher takes {limit}")]
    TooManySurfaces {
        /// How many there are.
        found: usize,
        /// How many fit.
        limit: usize,
    },
}
