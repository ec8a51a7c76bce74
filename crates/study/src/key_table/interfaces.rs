//! The keys of interfaces: what meets how, friction, preload.

use super::{OURS, TRADE, add, count, for_both_and_each, is, mm, number, word};
use crate::inputs::Side;
use crate::key_table::holds::INDEPENDENT;
use crate::keys::{Fallback, Key, Kind};
use bicolumn_base::{Part, PlateSite, ScrewNumber};

/// Friction of bone on metal and on bone, metal on metal.
const BONE_ON_METAL: f64 = 0.3;
const METAL_ON_METAL: f64 = 0.2;
const BONE_ON_BONE: f64 = 0.46;

/// Where a kind of interface has friction.
fn rubbing(kind: &str) -> &'static str {
    match kind {
        "screw_bone" => "frictional or threaded",
        _ => "frictional",
    }
}

/// How shanks can meet the bone.
const SHANK: &[&str] = &["bonded", "threaded", "frictional", "frictionless"];

pub(super) fn interfaces(keys: &mut Vec<Key>) {
    add(
        keys,
        "interfaces.plate_bone",
        Kind::Word(&["apart", "bonded", "frictional", "frictionless"]),
        word("apart"),
        "apart: the plate stands off the bone and only screws join them; bonded: the plate touches and is glued to the bone (an upper bound); frictional, frictionless: it touches, presses, slides and lifts",
        "the plate-end stress depends on it more than on most inputs; run them side by side",
    );
    add(
        keys,
        "interfaces.stand_off_mm",
        mm(0.3, 3.0),
        is(super::plate_default().stand_off_mm),
        "Gap between plate and bone where they are apart; without effect where they touch",
        "0 to 2 mm under locking plates; from memory",
    );
    add(
        keys,
        "interfaces.contact_gap_mm",
        mm(0.0, 1.0),
        is(0.0),
        "Gap that a frictional or frictionless plate must close before it presses on the bone; the mesh shows the plate touching",
        OURS,
    );
    for (name, words, doc) in [
        (
            "head_seat",
            &["bonded", "frictional", "frictionless"][..],
            "How non-locking heads meet their seats, and heads of screws independent of plates the bone under them. Unless bonded, a lag screw also glides freely in the fragment under its head",
        ),
        (
            "screw_bone",
            SHANK,
            "How screws meet the bone along their shanks. bonded: as one; threaded: the bone presses and lifts off, held along the screw's axis and by friction round it; frictional, frictionless: smooth rods, which slide along their axes too",
        ),
        (
            "fracture_faces",
            &["bonded", "frictional", "frictionless"],
            "How faces of a fracture or split meet that touch before loading",
        ),
    ] {
        add(
            keys,
            &format!("interfaces.{name}"),
            Kind::Word(words),
            word("bonded"),
            doc,
            OURS,
        );
    }
    let often = "values of plating studies, which vary; from memory";
    let common = "interfaces.friction";
    add(
        keys,
        common,
        number("", 0.01, 2.0),
        Fallback::Absent,
        "Coefficient of friction of all interfaces that have none of their own: one factor for a study of friction",
        OURS,
    );
    for (name, mu, what) in [
        ("plate_bone", BONE_ON_METAL, "plate and bone"),
        ("head_seat", METAL_ON_METAL, "heads and their seats"),
        ("screw_bone", BONE_ON_METAL, "screws and bone"),
        ("fracture_faces", BONE_ON_BONE, "fracture faces"),
    ] {
        add(
            keys,
            &format!("interfaces.{name}_friction"),
            number("", 0.01, 2.0),
            Fallback::OfOr(common, mu),
            &format!(
                "Coefficient of friction between {what}, where they are {}",
                rubbing(name)
            ),
            often,
        );
    }
    by_name(keys);
    add(
        keys,
        "interfaces.increments",
        Kind::Integer { least: 1, most: 20 },
        count(1),
        "Increments of each load case where anything can slip: more follow the path of friction more closely",
        OURS,
    );
    for column in ["medial", "lateral"] {
        add(
            keys,
            &format!("interfaces.clamp_{column}_n"),
            number("n", 0.0, 1_000.0),
            is(0.0),
            &format!(
                "Force of a reduction clamp that squeezes the {column} column across the closed fracture before the plates are locked to the shaft: until then they slide along it. The clamp is then taken off; stress includes what it leaves, motions and stiffness count from there. Needs fracture.gap_mm = 0 and fracture faces that press"
            ),
            TRADE,
        );
    }
    let force = || number("n", 0.0, 3_000.0);
    for_both_and_each(
        keys,
        "screws",
        &[
            (
                "screws.shaft_preload_n",
                force(),
                is(0.0),
                "Tension that the non-locking shaft screws are tightened to before any load; their length is then kept. Stress then includes that of tightening; motions and stiffness count from the tightened construct",
                TRADE,
            ),
            (
                "screws.distal_preload_n",
                force(),
                is(0.0),
                "Tension of the non-locking distal screws, as screws.shaft_preload_n",
                TRADE,
            ),
        ],
    );
    for n in 1..=INDEPENDENT {
        add(
            keys,
            &format!("screws.independent_{n}.preload_n"),
            force(),
            is(0.0),
            "Tension that it is tightened to before any load, if it is a lag screw",
            TRADE,
        );
    }
}

/// Sites of plates in the keys of interfaces by name.
pub(crate) const NAMED_PLATES: [PlateSite; 3] = [
    PlateSite::Medial,
    PlateSite::Lateral,
    PlateSite::Posterolateral,
];
/// Screws that a construct can have at most: eight shaft and six distal ones of either plate, and those
/// independent of plates.
pub(crate) const NAMED_SCREWS: u8 = 2 * (8 + 6) + INDEPENDENT as u8;

/// The parts whose interfaces a job can name, with the sides that each has.
pub(crate) fn named_parts() -> impl Iterator<Item = (Part, &'static [Side])> {
    let plates = NAMED_PLATES.map(|p| (Part::Plate(p), &[Side::Bone][..]));
    let screws = (1..=NAMED_SCREWS).map(|n| {
        let part = Part::Screw(ScrewNumber(n));
        (part, &[Side::Bone, Side::Seat][..])
    });
    plates.into_iter().chain(screws)
}

fn by_name(keys: &mut Vec<Key>) {
    for (part, sides) in named_parts() {
        for side in sides {
            let (words, what, common): (&'static [&'static str], _, _) = match (part, side) {
                (Part::Plate(_), _) => (
                    &["apart", "bonded", "frictional", "frictionless"],
                    "this plate alone meets the bone",
                    "plate_bone",
                ),
                (_, Side::Bone) => (
                    SHANK,
                    "this screw alone meets the bone along its shank",
                    "screw_bone",
                ),
                (_, Side::Seat) => (
                    &["bonded", "frictional", "frictionless"],
                    "the head of this screw alone meets its seat, or the bone under it",
                    "head_seat",
                ),
            };
            let path = format!("interfaces.{part}.{}", side.name());
            let as_common = format!("as interfaces.{common}");
            add(
                keys,
                &path,
                Kind::Word(words),
                Fallback::Absent,
                &format!("How {what}; parts are named as in the report and in screws.csv"),
                &as_common,
            );
            add(
                keys,
                &format!("{path}_friction"),
                number("", 0.01, 2.0),
                Fallback::Absent,
                &format!(
                    "Coefficient of friction where {what}, if that is {}",
                    rubbing(common)
                ),
                &format!("{as_common}_friction"),
            );
        }
    }
}
