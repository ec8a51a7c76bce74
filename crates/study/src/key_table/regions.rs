//! Keys of `[mesh.regions.NAME]`, NAME standing for whatever the job calls a region.

use super::{OURS, add, mm};
use crate::keys::{Fallback, Key, Kind};
use bicolumn_mesh::size_field::LEAST_EDGE_MM;

pub(super) fn regions(keys: &mut Vec<Key>) {
    let level = || mm(-100.0, 300.0);
    let across = || mm(-100.0, 100.0);
    for (name, kind, doc) in [
        (
            "edge_mm",
            mm(LEAST_EDGE_MM, 20.0),
            "Wanted edge in a region that the job names: finer or coarser than elsewhere; walls, screws, plates and filled gaps still get the cells that a valid mesh needs. The region is a ball, a slice or lies round a feature",
        ),
        (
            "around",
            Kind::Text,
            "Region round a feature: plate.SITE, plate.SITE.end (its proximal end), screw.NN, fracture or split (their faces)",
        ),
        (
            "within_mm",
            mm(0.0, 100.0),
            "How far round the feature the region reaches; without it, the feature alone",
        ),
        (
            "level_mm",
            level(),
            "Region that is a ball: level of its centre (Y)",
        ),
        (
            "anterior_mm",
            across(),
            "Region that is a ball: its centre's place, forwards (X)",
        ),
        (
            "lateral_mm",
            across(),
            "Region that is a ball: its centre's place, laterally (Z)",
        ),
        (
            "radius_mm",
            mm(0.1, 200.0),
            "Region that is a ball: its radius",
        ),
        (
            "from_mm",
            level(),
            "Region that is a slice: its lower level (Y)",
        ),
        ("to_mm", level(), "Region that is a slice: its upper level"),
    ] {
        let path = format!("mesh.regions.NAME.{name}");
        add(keys, &path, kind, Fallback::Absent, doc, OURS);
    }
}
