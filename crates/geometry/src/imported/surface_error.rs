//! Errors of an imported surface.

use bicolumn_base::Vec3;
use thiserror::Error;

/// Crossing pairs of triangles that are counted.
pub(crate) const MOST_CROSSINGS: usize = 1_000;

/// A surface that cannot stand for a bone, with the place at fault.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum SurfaceError {
    /// Not a file that can be read.
    #[error("the surface cannot be read: {why}")]
    Unreadable {
        /// Why, with the place in the file.
        why: String,
    },
    /// An edge with one triangle, or more than two.
    #[error(
        "the surface is not closed: {count} edges do not join two triangles, the first at ({:.2}, {:.2}, {:.2}) mm, where {triangles} meet",
        at.x, at.y, at.z
    )]
    Open {
        /// How many edges.
        count: usize,
        /// Triangles at the first.
        triangles: usize,
        /// Middle of the first.
        at: Vec3,
    },
    /// A surface without an inside.
    #[error(
        "the surface has no inside: its triangles cannot all be turned the same way, see the edge at ({:.2}, {:.2}, {:.2}) mm",
        at.x, at.y, at.z
    )]
    OneSided {
        /// Middle of an edge at which two triangles disagree.
        at: Vec3,
    },
    /// More than one closed surface.
    #[error(
        "the surface falls into {count} pieces; accepted: one outer surface, without the canal's wall. The smallest has {triangles} triangles, near ({:.2}, {:.2}, {:.2}) mm",
        at.x, at.y, at.z
    )]
    Pieces {
        /// How many.
        count: usize,
        /// Triangles of the smallest.
        triangles: usize,
        /// A corner of it.
        at: Vec3,
    },
    /// Triangles that pass through each other.
    #[error(
        "the surface cuts itself: {} pairs of triangles pass through each other, the first near ({:.2}, {:.2}, {:.2}) mm",
        if *.count < MOST_CROSSINGS { count.to_string() } else { format!("{MOST_CROSSINGS} or more") }, at.x, at.y, at.z
    )]
    CutsItself {
        /// How many pairs, counted up to a thousand.
        count: usize,
        /// Near the first.
        at: Vec3,
    },
    /// A surface of no humerus's size in the unit that its file is said to have.
    #[error("the surface is not of the size of a humerus: its bounding box is {bounds}; {hint}")]
    Size {
        /// Bounding box in words.
        bounds: String,
        /// Hint: a remedy.
        hint: String,
    },
    /// Triangles too many in one place to be looked at.
    #[error("the surface cannot be checked: too many of its triangles lie in one place")]
    Crowded,
    /// A surface that does not lie in the bone frame, or not on this card.
    #[error("the surface does not fit the bone frame: {why}; {hint}")]
    Misplaced {
        /// Landmark or property looked for, and the finding.
        why: String,
        /// Hint: a remedy.
        hint: String,
    },
}
