//! The keys of the fracture.

use super::{OURS, add, is, mm, number, word};
use crate::keys::{Fallback, Key, Kind};
use bicolumn_geometry::{FractureSpec, SplitSpec};

pub(super) fn fracture(keys: &mut Vec<Key>) {
    let fracture = FractureSpec::default();
    add(
        keys,
        "fracture.pattern",
        Kind::Word(&["none", "supracondylar", "intercondylar"]),
        word("supracondylar"),
        "none: the bone is whole; supracondylar: a fracture across both columns, above the fossae (AO/OTA 13-A); intercondylar: a sagittal split of the articular block as well (13-C)",
        "AO/OTA classification of the distal humerus",
    );
    add(
        keys,
        "fracture.gap_mm",
        Kind::Number {
            unit: "mm",
            least: 1.0,
            most: 15.0,
            or_zero: Some("reduced: the faces touch"),
        },
        is(fracture.gap_mm),
        "Height of the supracondylar gap (comminuted zone)",
        "Atalar et al. 2016, Acta Orthop Traumatol Turc: 5 mm defect; published gaps 2 to 10 mm",
    );
    add(
        keys,
        "fracture.level_mm",
        mm(20.0, 60.0),
        Fallback::AboveFossa,
        "Level of the gap's middle above the articular axis, on the shaft axis; without it, 5.7 mm above the top of the olecranon fossa",
        "above the olecranon fossa: common practice, no source",
    );
    add(
        keys,
        "fracture.inclination_deg",
        number("deg", -45.0, 45.0),
        is(fracture.inclination_deg),
        "Inclination of the fracture in the coronal plane (0 transverse, else oblique); positive: the lateral side lies higher",
        OURS,
    );
    add(
        keys,
        "fracture.column_contact",
        Kind::Word(&["none", "medial", "lateral"]),
        word("none"),
        "The column whose faces touch although the gap is open in the other: the proximal fragment reaches down to the lower plane there, with a step at the shaft axis",
        OURS,
    );
    add(
        keys,
        "fracture.filling",
        Kind::Word(&["empty", "healing_tissue"]),
        word("empty"),
        "What is in the gap: nothing, or tissue with the modulus of materials.gap_tissue",
        OURS,
    );
    let split = SplitSpec::default();
    add(
        keys,
        "fracture.split_gap_mm",
        Kind::Number {
            unit: "mm",
            least: 1.0,
            most: 6.0,
            or_zero: Some("the faces touch"),
        },
        is(split.gap_mm),
        "Bone missing at the sagittal split; needs the pattern intercondylar",
        OURS,
    );
    add(
        keys,
        "fracture.split_offset_mm",
        mm(-6.0, 6.0),
        is(split.offset_mm),
        "Where the split crosses the flexion axis, from the trochlear groove; positive: lateral of it",
        OURS,
    );
    add(
        keys,
        "fracture.split_inclination_deg",
        number("deg", -30.0, 30.0),
        is(split.inclination_deg),
        "Inclination of the split in the coronal plane; positive: its upper end leans laterally",
        "15: from the groove through the middle of the olecranon fossa; judgement",
    );
}
