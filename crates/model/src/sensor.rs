//! Sensors on the bone, as data: pairs of markers and strain gauges.

use bicolumn_base::{Unit, Word, words};
use bicolumn_response::Aspect;

/// A sensor: its name, and the quantity it reads.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensor {
    /// Name.
    pub name: String,
    /// Quantity.
    pub reads: Reading,
}

/// Quantity that a sensor reads.
#[derive(Debug, Clone, PartialEq)]
pub enum Reading {
    /// Motion of one marker relative to another, mm.
    Markers {
        /// The marker that the other is seen from.
        from: Site,
        /// The other.
        to: Site,
        /// Measure of the motion.
        along: MarkerMotion,
    },
    /// Mean normal strain of a rectangle of the surface along a direction, 10⁻⁶.
    Gauge {
        /// Middle.
        site: Site,
        /// Extent along the direction, mm.
        length_mm: f64,
        /// Extent across it, mm.
        width_mm: f64,
        /// Angle of the direction from the shaft's, about the outward normal of a right bone, degree.
        angle_deg: f64,
    },
}

/// A place on the outer surface of the bone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Site {
    /// Level above the flexion axis, mm.
    pub level_mm: f64,
    /// Place at that level.
    pub place: SitePlace,
}

/// Place on the outer surface at a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SitePlace {
    /// The outermost point towards a side.
    Outermost(Aspect),
    /// The point of the surface nearest to a place beside the shaft's axis.
    Beside {
        /// In front of the axis, mm.
        anterior_mm: f64,
        /// Lateral of the axis, mm.
        lateral_mm: f64,
    },
}

/// Measure of the motion of one marker relative to another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MarkerMotion {
    /// Change of their distance.
    Distance,
    /// Component along the shaft, proximally.
    Proximal,
    /// Component forwards.
    Anterior,
    /// Component laterally.
    Lateral,
    /// Size.
    Size,
}

words! { MarkerMotion {
    Distance = "distance": "change of the distance between the markers, as an extensometer reads it; negative: they come nearer",
    Proximal = "proximal": "motion of `to` seen from `from` along the shaft, proximally",
    Anterior = "anterior": "the same forwards",
    Lateral = "lateral": "the same laterally",
    Size = "size": "size of the relative motion",
} }

impl Sensor {
    /// Unit of the value.
    pub fn unit(&self) -> Unit {
        match self.reads {
            Reading::Markers { .. } => Unit::Mm,
            Reading::Gauge { .. } => Unit::Microstrain,
        }
    }

    /// Column in `results.csv`.
    pub fn column(&self) -> String {
        format!("sensor_{}_{}", self.name, self.unit().suffix())
    }

    /// Definition of the column.
    pub fn definition(&self) -> String {
        match &self.reads {
            Reading::Markers { from, to, along } => format!(
                "Markers on the bone's surface, {} and {}: {}. Displacement by the load, at the points themselves. Error not \
                 estimated.",
                from.told(),
                to.told(),
                along.doc().replace('`', "")
            ),
            Reading::Gauge {
                site,
                length_mm,
                width_mm,
                angle_deg,
            } => format!(
                "Strain gauge on the bone's surface, {}: mean normal strain by the load of a rectangle {length_mm} mm long and \
                 {width_mm} mm wide, along its length, {angle_deg} degrees from the shaft's direction. Error not estimated.",
                site.told()
            ),
        }
    }
}

impl Site {
    /// The site in words.
    pub fn told(&self) -> String {
        let level = self.level_mm;
        match self.place {
            SitePlace::Outermost(side) => {
                format!("at the most {} point at level {level} mm", side.word())
            }
            SitePlace::Beside {
                anterior_mm,
                lateral_mm,
            } => format!(
                "at level {level} mm, {anterior_mm} mm in front and {lateral_mm} mm lateral of the shaft's axis"
            ),
        }
    }
}
