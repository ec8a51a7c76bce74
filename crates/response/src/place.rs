//! Place of a response that is a largest value over a region, and whether it lies on the region's edge.

use bicolumn_base::{Vec3, words};
use serde::{Deserialize, Serialize};

/// Edge of the region over which a largest value was sought. A maximum on an edge is set by where the region ends, and
/// is no property of the construct.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Edge {
    /// The level of the plate's end.
    PlateEnd,
    /// The region's proximal limit.
    Proximal,
    /// The region's distal limit.
    Distal,
    /// Half the width of the band across the plate's centre line, or the far side of the shaft.
    Across,
    /// The neighbourhood of a screw.
    Screw,
    /// The neighbourhood of a bonded plate's edge.
    BondedEdge,
    /// A direction round a screw beside one that could not be read.
    Ring,
}

words! { Edge {
    PlateEnd = "plate_end": "the level of the plate's end",
    Proximal = "proximal": "the region's proximal limit",
    Distal = "distal": "the region's distal limit",
    Across = "across": "half the width of the band across the plate's centre line, or the far side of the shaft",
    Screw = "screw": "the neighbourhood of a screw",
    BondedEdge = "bonded_edge": "the neighbourhood of a bonded plate's edge",
    Ring = "ring": "a direction round a screw beside one that could not be read",
} }

/// Side of the bone that a place lies on, seen from the shaft's axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Aspect {
    Anterior,
    Posterior,
    Medial,
    Lateral,
}

words! { Aspect {
    Anterior = "anterior": "in front",
    Posterior = "posterior": "behind",
    Medial = "medial": "towards the midline",
    Lateral = "lateral": "away from the midline",
} }

impl Aspect {
    /// Outward direction of the side in the frame of a right bone.
    pub fn outward(self) -> Vec3 {
        match self {
            Aspect::Anterior => Vec3::x(),
            Aspect::Posterior => -Vec3::x(),
            Aspect::Lateral => Vec3::z(),
            Aspect::Medial => -Vec3::z(),
        }
    }

    /// Aspect of a direction off the shaft's axis, in the frame of a right bone: the larger of its components
    /// across the shaft.
    pub fn of(off_axis: Vec3) -> Aspect {
        match (off_axis.x.abs() >= off_axis.z.abs(), off_axis.x >= 0.0) {
            (true, true) => Aspect::Anterior,
            (true, false) => Aspect::Posterior,
            (false, _) if off_axis.z >= 0.0 => Aspect::Lateral,
            (false, _) => Aspect::Medial,
        }
    }
}

/// Where a largest value was found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Place {
    /// Level above the flexion axis, mm.
    pub level_mm: f64,
    /// Level above the proximal end of the plate that the response is of, mm; `None` for responses of no plate.
    pub from_end_mm: Option<f64>,
    /// Distance to the nearest wall of a screw's cylinder, mm; `None` without screws.
    pub from_wall_mm: Option<f64>,
    /// Side of the bone.
    pub aspect: Aspect,
    /// Edge of the region that it lies on; `None`: inside, a peak of its own.
    pub edge: Option<Edge>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_base::Word;

    #[test]
    fn words_in_files_are_those_of_the_list() {
        for edge in Edge::ALL {
            assert_eq!(serde_json::to_value(edge).unwrap(), edge.word());
        }
        for aspect in Aspect::ALL {
            assert_eq!(serde_json::to_value(aspect).unwrap(), aspect.word());
        }
    }

    #[test]
    fn the_larger_component_names_the_aspect() {
        assert_eq!(Aspect::of(Vec3::new(2.0, 9.0, 1.0)), Aspect::Anterior);
        assert_eq!(Aspect::of(Vec3::new(-2.0, 0.0, 1.0)), Aspect::Posterior);
        assert_eq!(Aspect::of(Vec3::new(1.0, 0.0, 2.0)), Aspect::Lateral);
        assert_eq!(Aspect::of(Vec3::new(1.0, 0.0, -2.0)), Aspect::Medial);
    }
}
