//! Choices inside the definition of a stress response, and what each is changed to for its sensitivity.

use bicolumn_base::words;
use serde::{Deserialize, Serialize};

/// One choice of a definition changed, all others kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Choice {
    /// Read 0.5 mm off the screw's wall, without extrapolation.
    AtHalfMm,
    /// Read 1 mm off the screw's wall.
    AtOneMm,
    /// Read 2 mm off the screw's wall.
    AtTwoMm,
    /// Extrapolated quadratically from 0.4, 0.9 and 1.4 wall thicknesses.
    Quadratic,
    /// Balls of half the radius.
    HalfBall,
    /// Balls of double the radius.
    DoubleBall,
    /// Neighbourhoods of screws and bonded edges half as wide.
    HalfClearance,
    /// Neighbourhoods of screws and bonded edges twice as wide.
    DoubleClearance,
    /// A band across the plate of its width alone.
    NarrowBand,
    /// A band across the plate of its width and 10 mm.
    WideBand,
}

words! { Choice {
    AtHalfMm = "at_half_mm": "read 0.5 mm off the screw's wall, without extrapolation",
    AtOneMm = "at_one_mm": "read 1 mm off the screw's wall",
    AtTwoMm = "at_two_mm": "read 2 mm off the screw's wall",
    Quadratic = "quadratic": "extrapolated quadratically from 0.4, 0.9 and 1.4 wall thicknesses",
    HalfBall = "half_ball": "balls of half the radius",
    DoubleBall = "double_ball": "balls of double the radius",
    HalfClearance = "half_clearance": "neighbourhoods of screws and bonded edges half as wide",
    DoubleClearance = "double_clearance": "neighbourhoods of screws and bonded edges twice as wide",
    NarrowBand = "narrow_band": "a band across the plate of its width alone",
    WideBand = "wide_band": "a band across the plate of its width and 10 mm",
} }

impl Choice {
    /// The choice as the head of a column.
    pub fn head(self) -> &'static str {
        match self {
            Choice::AtHalfMm => "0.5 mm off",
            Choice::AtOneMm => "1 mm off",
            Choice::AtTwoMm => "2 mm off",
            Choice::Quadratic => "quadratic",
            Choice::HalfBall => "ball radius / 2",
            Choice::DoubleBall => "ball radius x 2",
            Choice::HalfClearance => "clearance / 2",
            Choice::DoubleClearance => "clearance x 2",
            Choice::NarrowBand => "band - 5 mm",
            Choice::WideBand => "band + 5 mm",
        }
    }

    /// The choice in a sentence, after "with".
    pub fn words(self) -> &'static str {
        match self {
            Choice::AtHalfMm => "the stress read 0.5 mm off the screw's wall",
            Choice::AtOneMm => "the stress read 1 mm off the screw's wall",
            Choice::AtTwoMm => "the stress read 2 mm off the screw's wall",
            Choice::Quadratic => "quadratic extrapolation",
            Choice::HalfBall => "half the ball's radius",
            Choice::DoubleBall => "double the ball's radius",
            Choice::HalfClearance => "half the clearance from screws",
            Choice::DoubleClearance => "double the clearance from screws",
            Choice::NarrowBand => "a band 5 mm narrower",
            Choice::WideBand => "a band 5 mm wider",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_base::Word;

    #[test]
    fn words_in_files_are_those_of_the_list() {
        for choice in Choice::ALL {
            assert_eq!(serde_json::to_value(choice).unwrap(), choice.word());
        }
    }
}
