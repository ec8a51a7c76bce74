//! Concessions of screws: departures from what was asked of each, with their reason.

use bicolumn_base::{PlateSite, ScrewNumber};
use std::fmt;

/// Departure of a screw from what was asked of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Concession {
    /// It ends inside the far cortex, under a plate that it would reach.
    InFarCortex(PlateSite),
    /// It ends before the far cortex, which is too thin to end in under a plate.
    BeforeFarCortex(PlateSite),
    /// It ends before the far cortex, in the way of a screw of the other plate.
    BeforeScrew,
    /// It ends before the far cortex, beyond which its way leads through a fossa.
    BeforeFossa,
    /// It lies in bone without a canal between two cortices.
    InOneWall,
    /// It is shorter than the longest asked for, since the bone that holds it ends.
    ShorterInBone,
    /// It is shorter than the longest asked for, so as to keep clear of a fracture face.
    ShorterAtFracture,
    /// It is shorter than the longest asked for, so as to keep clear of a screw.
    ShorterForScrew(ScrewNumber),
    /// It is shorter than the longest asked for in the layout of screws that was chosen.
    ShorterInLayout,
    /// It sits in another hole than that of its pattern, which is counted from 1 at the plate's proximal end.
    OtherHole(usize),
    /// Its row of holes lies lower than asked, mm.
    RowLower(f64),
    /// It is turned from the direction wanted, degrees.
    Turned(f64),
}

impl Concession {
    /// Does it leave a screw in one cortex that was to hold in two?
    pub(crate) fn lacks_a_cortex(self) -> bool {
        use Concession as C;
        matches!(
            self,
            C::BeforeFarCortex(_) | C::BeforeScrew | C::BeforeFossa | C::InOneWall
        )
    }

    /// Sentence for the user, where the concession is one that a surgeon would want to hear of by itself.
    pub(crate) fn note(self, screw: ScrewNumber) -> Option<String> {
        use Concession as C;
        let is_told = matches!(self, C::InFarCortex(_)) || self.lacks_a_cortex();
        is_told.then(|| format!("{screw} {self}"))
    }

    /// Its kind, a word for files.
    pub fn kind(self) -> &'static str {
        use Concession as C;
        match self {
            C::InFarCortex(_) => "in_far_cortex",
            C::BeforeFarCortex(_) => "before_far_cortex",
            C::BeforeScrew => "before_screw",
            C::BeforeFossa => "before_fossa",
            C::InOneWall => "in_one_wall",
            C::ShorterInBone => "shorter_in_bone",
            C::ShorterAtFracture => "shorter_at_fracture",
            C::ShorterForScrew(_) => "shorter_for_screw",
            C::ShorterInLayout => "shorter_in_layout",
            C::OtherHole(_) => "other_hole",
            C::RowLower(_) => "row_lower",
            C::Turned(_) => "turned",
        }
    }
}

impl fmt::Display for Concession {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use Concession as C;
        const SHORTER: &str = "is shorter than the longest asked for";
        match self {
            C::InFarCortex(plate) => {
                write!(
                    f,
                    "ends inside the far cortex: it would reach plate.{plate}"
                )
            }
            C::BeforeFarCortex(plate) => write!(
                f,
                "ends before the far cortex, which is too thin to end in: it would reach plate.{plate}"
            ),
            C::BeforeScrew => {
                f.write_str("ends before the far cortex: it would meet a screw of the other plate")
            }
            C::BeforeFossa => {
                f.write_str("ends before the far cortex: its way on would lead through a fossa")
            }
            C::InOneWall => f.write_str(
                "passes one wall of bone: there is no canal between two cortices in its hole's direction",
            ),
            C::ShorterInBone => write!(f, "{SHORTER}: the bone that holds it ends"),
            C::ShorterAtFracture => write!(f, "{SHORTER}: it keeps clear of a fracture face"),
            C::ShorterForScrew(other) => write!(f, "{SHORTER}: it keeps clear of {other}"),
            C::ShorterInLayout => write!(f, "{SHORTER}, in the layout of screws that was chosen"),
            C::OtherHole(hole) => write!(f, "is not in its pattern's hole, number {hole}"),
            C::RowLower(mm) => write!(f, "lies {mm:.0} mm lower with its row"),
            C::Turned(deg) => write!(f, "is turned by {deg:.1} degrees from the direction wanted"),
        }
    }
}
