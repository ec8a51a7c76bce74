//! Quantities that may be moved so that a construct can be built, and those that were.

use crate::{BoneDimension, FractureQuantity, IndependentQuantity, PlateQuantity, Subject};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::fmt;

/// Treatment of a specification that cannot be built as it stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Fit {
    /// Stated quantities stay; derived ones follow them.
    #[default]
    Exact,
    /// Stated quantities are moved as little as is found to do.
    Nearest,
    /// As exact; a point that cannot be built is left out.
    Skip,
}

bicolumn_base::words! { Fit {
    Exact = "exact": "what is stated stays, or the point is refused with the reason; what is not stated follows from the rest",
    Nearest = "nearest": "what is stated is moved by the least change that was found to make the construct possible; each point tells what was moved",
    Skip = "skip": "as exact, but a point that is refused is left out of the study with its reason, and is no failure",
} }

/// Freedom to move quantities.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Freedom {
    /// Treatment of what is stated.
    pub fit: Fit,
    /// Quantities that nobody stated: their values are where the search begins.
    pub derived: BTreeSet<Subject>,
}

/// A quantity that was moved.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moved {
    /// The quantity.
    pub subject: Subject,
    /// Value stated, or taken by default.
    pub asked: f64,
    /// Value built.
    pub built: f64,
    /// Was the value not stated, but derived?
    pub is_derived: bool,
}

impl fmt::Display for Moved {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (subject, unit) = (self.subject, self.subject.unit());
        // To a thousandth: values that were added up carry rounding.
        let rounded = |x: f64| (1000.0 * x).round() / 1000.0;
        let (asked, built) = (rounded(self.asked), rounded(self.built));
        let why = match self.is_derived {
            true => "it is not stated and follows from the rest",
            false => "the nearest that was found to make the construct possible",
        };
        write!(f, "{subject} is {built} {unit} instead of {asked}: {why}")
    }
}

/// A change of a derived quantity counts for this share of one of a stated quantity (judgement).
const DERIVED: f64 = 0.05;

impl Freedom {
    /// Cost of a change; none where the quantity must stay.
    pub(crate) fn cost(&self, subject: Subject, asked: f64, built: f64) -> Option<f64> {
        let change = (built - asked).abs() / scale(subject, asked)?;
        if self.derived.contains(&subject) {
            return Some(DERIVED * change);
        }
        (self.fit == Fit::Nearest).then_some(change)
    }
}

/// Change of a quantity that counts as much as one screw more or less (judgement); none for one that never moves.
pub(crate) fn scale(subject: Subject, asked: f64) -> Option<f64> {
    use FractureQuantity as F;
    use IndependentQuantity as I;
    use PlateQuantity as P;
    Some(match subject {
        Subject::Bone(BoneDimension::PottingLevel) => 20.0,
        Subject::Bone(BoneDimension::SeptumThickness) => 1.0,
        // Eight parts in a hundred: about a standard deviation of most dimensions.
        Subject::Bone(_) => 0.08 * asked.abs().max(1.0),
        Subject::Fracture(q) => match q {
            F::Level => 5.0,
            F::Gap => 3.0,
            F::Inclination => 8.0,
            F::SplitGap => 1.5,
            F::SplitOffset => 2.0,
            F::SplitInclination => 6.0,
        },
        Subject::Plate(_, q) => match q {
            P::Width | P::DistalWidth => 1.5,
            P::Thickness => 0.7,
            P::HolePitch => 3.0,
            P::DistalHolePitch => 1.5,
            P::HoleDiameter => 1.0,
            P::StandOff => 0.5,
            P::EndLevel => 6.0,
            P::DistalHoleLevel => 4.0,
            P::ShaftScrews | P::DistalScrews => 0.8,
            P::ShaftScrewDiameter | P::DistalScrewDiameter => 0.5,
            P::DistalScrewLength => 10.0,
            P::Slot => 2.0,
            P::EndDistance | P::FractureDistance => 4.0,
            P::ShaftScrewTilt => 8.0,
        },
        Subject::Independent(_, q) => match q {
            I::Level | I::Anterior => 4.0,
            I::Inclination | I::Turn => 10.0,
            I::Diameter => 0.5,
            I::Length => 10.0,
        },
        Subject::IndependentHold(_) | Subject::Clearance => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_base::PlateSite;

    #[test]
    fn derived_quantities_move_before_stated_ones_and_those_only_where_asked() {
        let level = Subject::Fracture(FractureQuantity::Level);
        let width = Subject::Plate(PlateSite::Medial, PlateQuantity::Width);
        let mut freedom = Freedom {
            fit: Fit::Exact,
            derived: [level].into(),
        };
        assert_eq!(freedom.cost(width, 10.0, 9.0), None);
        let derived = freedom.cost(level, 34.0, 39.0).unwrap();
        freedom.fit = Fit::Nearest;
        assert!(freedom.cost(width, 10.0, 9.0).unwrap() > derived);
        assert_eq!(freedom.cost(Subject::Clearance, 1.0, 0.9), None);
    }
}
