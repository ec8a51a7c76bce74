//! Place of a largest value in the terms of the construct.

use crate::collar::from_wall_mm;
use bicolumn_base::Vec3;
use bicolumn_geometry::{Construct, Plate};
use bicolumn_response::{Aspect, Edge, Place};

/// Place of a point of the bone, told from a plate's end.
pub(crate) fn place(
    at: Vec3,
    construct: &Construct,
    plate: Option<&Plate>,
    edge: Option<Edge>,
) -> Place {
    let bone = &construct.bone;
    let off_axis = bone.side().vector(at - bone.shaft_axis(at.y));
    let walls = construct.screws.iter().map(|s| from_wall_mm(at, s));
    Place {
        level_mm: at.y,
        from_end_mm: plate.map(|p| at.y - p.end_level_mm),
        from_wall_mm: walls.reduce(f64::min),
        aspect: Aspect::of(off_axis),
        edge,
    }
}
