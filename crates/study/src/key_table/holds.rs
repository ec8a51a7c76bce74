//! The keys of how screws hold, of slots, and of screws independent of plates.

use super::{OURS, TRADE, add, for_both_and_each, is, mm, number, word};
use crate::keys::{Key, Kind};
use bicolumn_geometry::IndependentScrewSpec;

/// How many screws independent of plates a job can describe.
pub(crate) const INDEPENDENT: usize = 2;

pub(super) fn holds(keys: &mut Vec<Key>) {
    for_both_and_each(
        keys,
        "plates",
        &[(
            "plates.slot_mm",
            mm(0.0, 5.0),
            is(0.0),
            "How far a shaft hole where no screw sits is drawn out along the plate; 0: round",
            TRADE,
        )],
    );
    let held = || Kind::Word(&["locking", "non_locking"]);
    for_both_and_each(
        keys,
        "screws",
        &[
            (
                "screws.shaft_hold",
                held(),
                word("locking"),
                "locking: the head is one with the plate; non_locking: it rests in a seat of the plate, and the shank passes a wider bore",
                TRADE,
            ),
            (
                "screws.distal_hold",
                held(),
                word("locking"),
                "How the distal screws hold, as screws.shaft_hold",
                TRADE,
            ),
            (
                "screws.shaft_tilt_deg",
                number("deg", -15.0, 15.0),
                is(0.0),
                "Angle of the shaft screws to their holes' axes, along the plate, where nothing is in the way; positive: the tip leans proximally",
                "variable-angle holes allow about 15; from memory",
            ),
        ],
    );
    for n in 1..=INDEPENDENT {
        independent(keys, n);
    }
}

fn independent(keys: &mut Vec<Key>, n: usize) {
    let screw = IndependentScrewSpec::default();
    let mut row = |name: &str, kind, default, doc: &str| {
        let path = format!("screws.independent_{n}.{name}");
        add(keys, &path, kind, default, doc, OURS);
    };
    row(
        "hold",
        Kind::Word(&["none", "lag", "positional"]),
        word("none"),
        "A screw independent of plates. none: there is none; lag: it glides in the fragment under its head and presses the faces together; positional: it holds both fragments where they are",
    );
    row(
        "from",
        Kind::Word(&["lateral", "medial"]),
        word("lateral"),
        "The side that its head lies on",
    );
    row(
        "level_mm",
        mm(-15.0, 60.0),
        is(screw.level_mm),
        "Level above the articular axis where its axis crosses the sagittal plane in the middle of the joint",
    );
    row(
        "anterior_mm",
        mm(-30.0, 15.0),
        is(screw.anterior_mm),
        "How far in front of the articular axis it crosses that plane",
    );
    row(
        "inclination_deg",
        number("deg", -70.0, 70.0),
        is(screw.inclination_deg),
        "Its inclination in the coronal plane; positive: the tip leans proximally",
    );
    row(
        "turn_deg",
        number("deg", -45.0, 45.0),
        is(screw.turn_deg),
        "Its turn in the transverse plane; positive: the tip leans anteriorly",
    );
    row(
        "diameter_mm",
        mm(1.5, 4.5),
        is(screw.diameter_mm),
        "Its core diameter",
    );
    row(
        "length_mm",
        mm(10.0, 80.0),
        is(screw.length_mm),
        "Its longest length; it ends where the inside of the bone does",
    );
}
