//! Subjects of an error: the quantity, or the members of a construct, that it is about.

use crate::{
    BoneDimension, CLEARANCE_MM, FractureQuantity, IndependentQuantity, PlateQuantity, Range,
    ScrewRow,
};
use bicolumn_base::{PlateSite, ScrewNumber};
use std::fmt;

/// A quantity of one part of a construct.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Subject {
    /// A dimension of the bone.
    Bone(BoneDimension),
    /// A quantity of the fracture.
    Fracture(FractureQuantity),
    /// A quantity of the plate at a site.
    Plate(PlateSite, PlateQuantity),
    /// A quantity of a screw independent of plates, counted from 1.
    Independent(usize, IndependentQuantity),
    /// The hold of a screw independent of plates, counted from 1.
    IndependentHold(usize),
    /// The clearance between screws.
    Clearance,
}

impl Subject {
    /// Unit of the quantity; empty where it has none.
    pub fn unit(self) -> &'static str {
        match self {
            Subject::Bone(q) => q.unit(),
            Subject::Fracture(q) => q.unit(),
            Subject::Plate(_, q) => q.unit(),
            Subject::Independent(_, q) => q.unit(),
            Subject::IndependentHold(_) => "",
            Subject::Clearance => "mm",
        }
    }

    /// Range of the quantity by itself; none for a hold.
    pub(crate) fn range(self) -> Option<Range> {
        Some(match self {
            Subject::Bone(q) => q.range(),
            Subject::Fracture(q) => q.range(),
            Subject::Plate(_, q) => q.range(),
            Subject::Independent(_, q) => q.range(),
            Subject::Clearance => CLEARANCE_MM,
            Subject::IndependentHold(_) => return None,
        })
    }
}

impl fmt::Display for Subject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Subject::Bone(q) => write!(f, "bone {}", q.name()),
            Subject::Fracture(q) => write!(f, "fracture {}", q.name()),
            Subject::Plate(site, q) => write!(f, "plate.{site} {}", q.name()),
            Subject::Independent(n, q) => write!(f, "independent screw {n} {}", q.name()),
            Subject::IndependentHold(n) => write!(f, "independent screw {n} hold"),
            Subject::Clearance => f.write_str("clearance_mm"),
        }
    }
}

/// A member of a construct.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Member {
    /// The fracture with its faces.
    Fracture,
    /// The plate at a site.
    Plate(PlateSite),
    /// A screw through a plate.
    PlateScrew {
        /// Number in the construct.
        number: ScrewNumber,
        /// Row of the plate's screws.
        row: ScrewRow,
        /// Site of the plate.
        plate: PlateSite,
    },
    /// A screw independent of plates.
    Independent {
        /// Number in the construct.
        number: ScrewNumber,
        /// Place among the independent screws, counted from 1.
        index: usize,
    },
}

impl Member {
    /// Number of the screw, if it is one.
    pub(crate) fn screw(self) -> Option<ScrewNumber> {
        match self {
            Member::Fracture | Member::Plate(_) => None,
            Member::PlateScrew { number, .. } | Member::Independent { number, .. } => Some(number),
        }
    }
}

impl fmt::Display for Member {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Member::Fracture => f.write_str("fracture"),
            Member::Plate(site) => write!(f, "plate.{site}"),
            Member::PlateScrew { number, .. } | Member::Independent { number, .. } => {
                write!(f, "{number}")
            }
        }
    }
}
