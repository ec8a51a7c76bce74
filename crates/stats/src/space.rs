//! The space that a fitted model spans: ranges of numbers, levels of words.

/// A factor of a fitted model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Axis {
    /// Number between two ends, in the factor's unit.
    Number {
        /// Lower end.
        low: f64,
        /// Upper end, above the lower.
        high: f64,
    },
    /// Word, as the index of one of so many levels.
    Word {
        /// Number of levels, two or more.
        levels: usize,
    },
}

/// Factors of a model. A point of it has one coordinate a factor: a number in its unit, or the index of a level.
#[derive(Debug, Clone, PartialEq)]
pub struct Space {
    axes: Vec<Axis>,
}

impl Space {
    /// Space of these factors; `None` where there is none, where a range is empty or not finite, or a word has one level.
    pub fn new(axes: Vec<Axis>) -> Option<Space> {
        let is_wide = |a: &Axis| match *a {
            Axis::Number { low, high } => low.is_finite() && high.is_finite() && low < high,
            Axis::Word { levels } => levels > 1,
        };
        (!axes.is_empty() && axes.iter().all(is_wide)).then_some(Space { axes })
    }

    /// Factors, in order.
    pub fn axes(&self) -> &[Axis] {
        &self.axes
    }

    /// Does a point have a coordinate for each factor, in its range or one of its levels? Ends are inside, also where they
    /// were rounded in the last digits.
    pub fn contains(&self, point: &[f64]) -> bool {
        let is_inside = |(a, x): (&Axis, &f64)| match *a {
            Axis::Number { low, high } => {
                let slack = 1e-9 * (high - low);
                (low - slack..=high + slack).contains(x)
            }
            Axis::Word { levels } => *x >= 0.0 && *x < levels as f64 && x.fract() == 0.0,
        };
        point.len() == self.axes.len() && self.axes.iter().zip(point).all(is_inside)
    }

    /// Point with its numbers scaled to 0 at the lower end and 1 at the upper.
    pub(crate) fn scaled(&self, point: &[f64]) -> Vec<f64> {
        let scale = |(a, x): (&Axis, &f64)| match *a {
            Axis::Number { low, high } => (x - low) / (high - low),
            Axis::Word { .. } => *x,
        };
        self.axes.iter().zip(point).map(scale).collect()
    }

    /// Point of a row of the unit cube: numbers between their ends, levels each equally wide.
    pub fn from_unit(&self, row: &[f64]) -> Vec<f64> {
        let place = |(a, u): (&Axis, &f64)| match *a {
            Axis::Number { low, high } => low + u * (high - low),
            Axis::Word { levels } => (u * levels as f64).floor().min((levels - 1) as f64),
        };
        self.axes.iter().zip(row).map(place).collect()
    }
}

/// Prediction of a model at a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prediction {
    /// Expected response.
    pub mean: f64,
    /// Standard deviation of the response about it, by the model's own assumptions.
    pub sd: f64,
}

/// Model of a response over a [`Space`].
pub trait Predictor {
    /// Its factors.
    fn space(&self) -> &Space;
    /// Prediction at a point of the space; outside it is an extrapolation.
    fn predict(&self, point: &[f64]) -> Prediction;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_space_has_room_and_knows_its_points() {
        let number = Axis::Number {
            low: -20.0,
            high: 20.0,
        };
        let space = Space::new(vec![number, Axis::Word { levels: 3 }]).unwrap();
        assert!(space.contains(&[20.0, 2.0]) && space.contains(&[-20.0, 0.0]));
        for outside in [
            vec![20.1, 0.0],
            vec![0.0, 3.0],
            vec![0.0, 0.5],
            vec![0.0],
            vec![f64::NAN, 0.0],
        ] {
            assert!(!space.contains(&outside), "{outside:?}");
        }
        assert_eq!(space.scaled(&[10.0, 1.0]), [0.75, 1.0]);
        assert_eq!(space.from_unit(&[0.75, 0.999]), [10.0, 2.0]);
        assert_eq!(space.from_unit(&[0.0, 1.0]), [-20.0, 2.0]);
        assert!(Space::new(vec![]).is_none());
        assert!(Space::new(vec![Axis::Word { levels: 1 }]).is_none());
        assert!(
            Space::new(vec![Axis::Number {
                low: 1.0,
                high: 1.0
            }])
            .is_none()
        );
    }
}
