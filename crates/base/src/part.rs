//! The parts of a construct and their names.

use std::fmt;

/// Fragment: piece of the broken bone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Fragment {
    /// Bone above the fracture, or the whole bone when there is none.
    Proximal,
    /// Bone below the supracondylar fracture, in one piece.
    Distal,
    /// Its medial part, where a sagittal split divides it.
    DistalMedial,
    /// Its lateral part, where a sagittal split divides it.
    DistalLateral,
}

impl Fragment {
    /// Does it lie below the supracondylar fracture?
    pub fn is_distal(self) -> bool {
        self != Fragment::Proximal
    }

    /// The fragment's name in files: `proximal`, `distal`, `distal_medial`, `distal_lateral`.
    pub fn name(self) -> &'static str {
        match self {
            Fragment::Proximal => "proximal",
            Fragment::Distal => "distal",
            Fragment::DistalMedial => "distal_medial",
            Fragment::DistalLateral => "distal_lateral",
        }
    }
}

/// Bone tissue.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Tissue {
    /// The dense shell.
    Cortical,
    /// The spongy filling of the metaphysis and the articular block.
    Cancellous,
}

/// Where a plate lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PlateSite {
    /// Along the medial supracondylar ridge.
    Medial,
    /// Along the lateral supracondylar ridge (parallel construct).
    Lateral,
    /// Along the back of the lateral column (orthogonal construct).
    Posterolateral,
}

impl PlateSite {
    /// The site's name in files: `medial`, `lateral`, `posterolateral`.
    pub fn name(self) -> &'static str {
        match self {
            PlateSite::Medial => "medial",
            PlateSite::Lateral => "lateral",
            PlateSite::Posterolateral => "posterolateral",
        }
    }
}

impl fmt::Display for PlateSite {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A screw's number in its construct, counted from 1 as in the report.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ScrewNumber(pub u8);

impl fmt::Display for ScrewNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "screw.{:02}", self.0)
    }
}

/// One part of a construct: what a tetrahedron belongs to.
///
/// ```
/// use bicolumn_base::{Fragment, Part, PlateSite, ScrewNumber, Tissue};
/// assert_eq!(Part::Bone(Fragment::Distal, Tissue::Cancellous).to_string(), "bone.distal.cancellous");
/// assert_eq!(Part::Plate(PlateSite::Medial).to_string(), "plate.medial");
/// assert_eq!(Part::Screw(ScrewNumber(3)).to_string(), "screw.03");
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Part {
    /// A bone fragment's cortical or cancellous volume.
    Bone(Fragment, Tissue),
    /// Tissue that fills the gaps of a fracture.
    GapTissue,
    /// A plate.
    Plate(PlateSite),
    /// A screw, head and shaft.
    Screw(ScrewNumber),
    /// A part of a mesh that is no construct, by its material number.
    Numbered(u16),
}

impl Part {
    /// Is it bone (cortical or cancellous)?
    pub fn is_bone(self) -> bool {
        matches!(self, Part::Bone(..))
    }

    /// Is it cortical bone?
    pub fn is_cortical(self) -> bool {
        matches!(self, Part::Bone(_, Tissue::Cortical))
    }

    /// Is it a plate or a screw?
    pub fn is_implant(self) -> bool {
        matches!(self, Part::Plate(_) | Part::Screw(_))
    }
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Part::Bone(fragment, tissue) => write!(
                f,
                "bone.{}.{}",
                fragment.name(),
                match tissue {
                    Tissue::Cortical => "cortical",
                    Tissue::Cancellous => "cancellous",
                }
            ),
            Part::GapTissue => f.write_str("gap_tissue"),
            Part::Plate(site) => write!(f, "plate.{site}"),
            Part::Screw(n) => write!(f, "{n}"),
            Part::Numbered(n) => write!(f, "part.{n}"),
        }
    }
}
