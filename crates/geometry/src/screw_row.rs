//! Rows of screws.

/// Row of screws, by the side of the fracture that it holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ScrewRow {
    /// Through a plate, the proximal fragment.
    Shaft,
    /// Through a plate, the distal fragment.
    Distal,
    /// Without a plate.
    Independent,
}

bicolumn_base::words! { ScrewRow {
    Shaft = "shaft": "through a plate, the proximal fragment",
    Distal = "distal": "through a plate, the distal fragment",
    Independent = "independent": "without a plate",
} }
