//! A fault of a specification with the changes of single quantities that may mend it.

use crate::{GeometryError, Subject};

/// Change that may mend a fault: quantities with the values that they take together.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Cure(pub(crate) Vec<(Subject, f64)>);

/// Stage of building that a fault stops at, in their order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Stage {
    Numbers,
    Bone,
    Fracture,
    Line,
    DistalHoles,
    ShaftHoles,
    Independent,
    ShaftScrews,
    DistalScrews,
    Clash,
}

/// Fault as the user is told it, with what may mend it, the likeliest first.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Fault {
    pub(crate) error: Box<GeometryError>,
    pub(crate) cures: Vec<Cure>,
    pub(crate) stage: Stage,
    /// Plate that the stage stops at, counted from 0.
    pub(crate) plate: usize,
}

impl Fault {
    /// The same at a stage.
    pub(crate) fn at(self, stage: Stage) -> Fault {
        Fault { stage, ..self }
    }

    /// The fault with more cures.
    pub(crate) fn or_by(mut self, cures: impl IntoIterator<Item = (Subject, f64)>) -> Fault {
        let more = cures.into_iter().filter(|(_, value)| value.is_finite());
        self.cures.extend(more.map(|change| Cure(vec![change])));
        self
    }

    /// The fault with cures of several quantities together, before those of one.
    pub(crate) fn by_together(mut self, cures: Vec<Vec<(Subject, f64)>>) -> Fault {
        self.cures.splice(0..0, cures.into_iter().map(Cure));
        self
    }
}

impl From<GeometryError> for Fault {
    /// A dimension out of its range is mended by the nearest value of the range.
    fn from(error: GeometryError) -> Fault {
        let clamped = match &error {
            GeometryError::Dimension {
                subject,
                value,
                bounds: Some(bounds),
                ..
            } if value.is_finite() => {
                let nearest = value.clamp(bounds.least, bounds.most);
                Some(Cure(vec![(*subject, nearest)]))
            }
            _ => None,
        };
        Fault {
            error: Box::new(error),
            cures: clamped.into_iter().collect(),
            stage: Stage::Numbers,
            plate: 0,
        }
    }
}
