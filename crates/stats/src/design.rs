//! Designs: levels of the factors at each point.

use thiserror::Error;

/// The points of a designed experiment by the levels of its factors.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Design {
    levels: Vec<usize>,
    points: Vec<Vec<usize>>,
}

/// Error of a table that is no design, or whose factors cannot be told apart.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum DesignError {
    /// A point without a level of each factor.
    #[error("point {point} has {given} levels for {wanted} factors")]
    Width {
        /// Index of the point.
        point: usize,
        /// Levels given.
        given: usize,
        /// Factors.
        wanted: usize,
    },
    /// A level that its factor has not got.
    #[error("point {point} has level {level} of factor {factor}, which has {levels}")]
    Level {
        /// Index of the point.
        point: usize,
        /// Index of the factor.
        factor: usize,
        /// The level given.
        level: usize,
        /// Levels of the factor.
        levels: usize,
    },
    /// Not as many values as points.
    #[error("{values} values for {points} points")]
    Values {
        /// Values given.
        values: usize,
        /// Points of the design.
        points: usize,
    },
    /// Points that do not tell the factors apart.
    #[error("{points} points do not tell the effects of {factors} factors apart")]
    Confounded {
        /// Points of the design.
        points: usize,
        /// Factors that vary.
        factors: usize,
    },
}

impl Design {
    /// A design of factors with so many levels each; for each point the index of its level of each factor.
    ///
    /// # Errors
    /// [`DesignError::Width`], [`DesignError::Level`].
    pub fn new(levels: Vec<usize>, points: Vec<Vec<usize>>) -> Result<Self, DesignError> {
        for (point, of_point) in points.iter().enumerate() {
            if of_point.len() != levels.len() {
                return Err(DesignError::Width {
                    point,
                    given: of_point.len(),
                    wanted: levels.len(),
                });
            }
            for (factor, (&level, &count)) in of_point.iter().zip(&levels).enumerate() {
                if level >= count {
                    return Err(DesignError::Level {
                        point,
                        factor,
                        level,
                        levels: count,
                    });
                }
            }
        }
        Ok(Design { levels, points })
    }

    /// Levels of each factor.
    pub fn levels(&self) -> &[usize] {
        &self.levels
    }

    /// Index of the level of each factor, by point.
    pub fn points(&self) -> &[Vec<usize>] {
        &self.points
    }

    /// Factors that have two levels or more.
    pub(crate) fn varied(&self) -> Vec<usize> {
        (0..self.levels.len())
            .filter(|f| self.levels[*f] > 1)
            .collect()
    }
}
