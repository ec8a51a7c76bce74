//! Ranges that quantities of a construct are accepted in.

use std::fmt;

/// A closed range of accepted values, in the unit of its quantity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// Least value.
    pub least: f64,
    /// Greatest value.
    pub most: f64,
}

impl Range {
    /// The range from `least` to `most`; empty where `least` exceeds `most`.
    pub const fn new(least: f64, most: f64) -> Range {
        Range { least, most }
    }

    /// The range of the same width to both sides of zero.
    pub const fn about_zero(most: f64) -> Range {
        Range { least: -most, most }
    }

    /// Is a value a number within the range?
    pub fn contains(&self, value: f64) -> bool {
        value >= self.least && value <= self.most
    }

    /// Does the range hold no value?
    pub fn is_empty(&self) -> bool {
        self.least > self.most
    }

    /// The same range with another least value.
    pub fn from(self, least: f64) -> Range {
        Range { least, ..self }
    }

    /// The same range with another greatest value.
    pub fn up_to(self, most: f64) -> Range {
        Range { most, ..self }
    }

    /// The range with its ends rounded to tenths into it, or to hundredths where tenths leave nothing; none where those
    /// leave nothing either.
    pub fn inwards(self) -> Option<Range> {
        // A bound that lies on the grid but for the last bits stays where it is.
        const SLACK: f64 = 1e-6;
        [10.0, 100.0].into_iter().find_map(|grid| {
            // Adding zero takes the sign off a negative zero.
            let least = (self.least * grid - SLACK).ceil() / grid + 0.0;
            let most = (self.most * grid + SLACK).floor() / grid + 0.0;
            (least <= most).then_some(Range { least, most })
        })
    }
}

impl fmt::Display for Range {
    /// The ends rounded inwards, so that each can be taken literally.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let told = self.inwards().unwrap_or(*self);
        let is_tenth = |x: f64| (10.0 * x - (10.0 * x).round()).abs() < 1e-6;
        let digits = if [told.least, told.most].into_iter().all(is_tenth) {
            1
        } else {
            2
        };
        write!(f, "{:.digits$} to {:.digits$}", told.least, told.most)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_holds_its_ends_and_no_value_that_is_not_a_number() {
        let range = Range::new(1.0, 15.0);
        for (value, held) in [(1.0, true), (15.0, true), (0.99, false), (15.1, false)] {
            assert_eq!(range.contains(value), held, "{value}");
        }
        for odd in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(!range.contains(odd), "{odd}");
        }
        assert!(range.from(16.0).is_empty() && !range.contains(15.5));
        assert_eq!(Range::about_zero(45.0).to_string(), "-45.0 to 45.0");
    }

    #[test]
    fn printed_ends_lie_within_the_range() {
        assert_eq!(Range::new(42.57, 78.64).to_string(), "42.6 to 78.6");
        assert_eq!(Range::new(2.0, 11.2 - 7.0).to_string(), "2.0 to 4.2");
        assert_eq!(Range::new(1.52, 1.58).to_string(), "1.52 to 1.58");
        assert_eq!(Range::new(1.001, 1.009).inwards(), None);
    }
}
