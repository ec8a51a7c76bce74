//! Keys of `[interfaces]`: how parts meet, friction, the reduction clamp.

use super::plates::plate_default;
use super::screws::INDEPENDENT;
use crate::declare::{Declaration, OURS, TRADE, count, is, mm, number, of_or, word_of};
use crate::handle::{Key, KeyId, OneOf};
use crate::words::Meeting;
use bicolumn_base::{Part, PlateSite, ScrewNumber, words};
use bicolumn_geometry::{PlateQuantity, Range};

/// Friction of bone on metal and on bone, metal on metal.
const BONE_ON_METAL: f64 = 0.3;
const METAL_ON_METAL: f64 = 0.2;
const BONE_ON_BONE: f64 = 0.46;

/// Accepted coefficients of friction.
const FRICTION: Range = Range::new(0.01, 2.0);

/// Most screws that a construct can have: shaft and distal ones of either plate, and those independent of
/// plates.
pub(crate) const NAMED_SCREWS: u8 = {
    let (shaft, distal) = (PlateQuantity::ShaftScrews, PlateQuantity::DistalScrews);
    2 * (shaft.range().most as u8 + distal.range().most as u8) + INDEPENDENT as u8
};

/// Interface of a part that a job names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Interface of a plate or a shank with the bone.
    Bone,
    /// Interface of a head with its seat, or with the bone under it.
    Seat,
}

words! { Side {
    Bone = "bone": "a plate or a shank with the bone",
    Seat = "seat": "a head with its seat, or with the bone under it",
} }

/// Keys of one kind of interface.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct KindKeys {
    pub meeting: Key<OneOf<Meeting>>,
    pub friction: Key<f64>,
}

/// Keys of one part's interface, by the part's name.
#[derive(Debug)]
pub struct NamedKeys {
    /// A plate or a screw.
    pub part: Part,
    /// Its interface.
    pub side: Side,
    /// How the sides meet, if the job says so.
    pub meeting: Key<Option<OneOf<Meeting>>>,
    /// Coefficient of friction, if the job gives it.
    pub friction: Key<Option<f64>>,
}

/// Keys of `[interfaces]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct InterfaceKeys {
    pub plate_bone: KindKeys,
    pub stand_off: Key<f64>,
    pub contact_gap: Key<f64>,
    pub head_seat: KindKeys,
    pub screw_bone: KindKeys,
    pub fracture_faces: KindKeys,
    pub friction: Key<Option<f64>>,
    medial: NamedKeys,
    lateral: NamedKeys,
    posterolateral: NamedKeys,
    /// Keys of screws by number; for each, the shank and the head.
    screws: Vec<[NamedKeys; 2]>,
    pub increments: Key<usize>,
    pub clamp_medial: Key<f64>,
    pub clamp_lateral: Key<f64>,
}

/// Interfaces of a kind: names in keys and in words, and the places where friction acts.
struct Sort {
    name: &'static str,
    meetings: &'static [Meeting],
    rubbing: &'static str,
}

const PLATE_BONE: Sort = Sort {
    name: "plate_bone",
    meetings: Meeting::OF_PLATE,
    rubbing: "frictional",
};
const HEAD_SEAT: Sort = Sort {
    name: "head_seat",
    meetings: Meeting::OF_FACES,
    rubbing: "frictional",
};
const SCREW_BONE: Sort = Sort {
    name: "screw_bone",
    meetings: Meeting::OF_SHANK,
    rubbing: "frictional or threaded",
};
const FRACTURE_FACES: Sort = Sort {
    name: "fracture_faces",
    meetings: Meeting::OF_FACES,
    rubbing: "frictional",
};

impl InterfaceKeys {
    /// The keys of a plate's interface by its name.
    pub fn of_plate(&self, site: PlateSite) -> &NamedKeys {
        match site {
            PlateSite::Medial => &self.medial,
            PlateSite::Lateral => &self.lateral,
            PlateSite::Posterolateral => &self.posterolateral,
        }
    }

    /// The keys of all interfaces by name: plates, then screws by number.
    pub fn named(&self) -> impl Iterator<Item = &NamedKeys> {
        let plates = [&self.medial, &self.lateral, &self.posterolateral];
        plates.into_iter().chain(self.screws.iter().flatten())
    }

    /// Is a key that of an interface by name?
    pub fn is_named(&self, key: KeyId) -> bool {
        let mut named = self.named();
        named.any(|n| n.meeting.id() == key || n.friction.id() == key)
    }

    pub(crate) fn declare(d: &mut Declaration) -> InterfaceKeys {
        let meeting = |d: &mut Declaration, sort: &Sort, usual, doc, source| {
            let path = format!("interfaces.{}", sort.name);
            d.key(path, word_of(sort.meetings), is(usual), doc, source)
        };
        let plate_bone = meeting(
            d,
            &PLATE_BONE,
            Meeting::Apart,
            "apart: the plate stands off the bone and only screws join them; bonded: the plate touches and is glued to the bone (an upper bound); frictional, frictionless: it touches, presses, slides and lifts",
            "the plate-end stress depends on it more than on most inputs; run them side by side",
        );
        let stand_off = d.key(
            "interfaces.stand_off_mm",
            number("mm", PlateQuantity::StandOff.range()),
            is(plate_default().stand_off_mm),
            "Gap between plate and bone where they are apart; without effect where they touch",
            "0 to 2 mm under locking plates; from memory",
        );
        let contact_gap = d.key(
            "interfaces.contact_gap_mm",
            mm(0.0, 1.0),
            is(0.0),
            "Gap that a frictional or frictionless plate must close before it presses on the bone; the mesh shows the plate touching",
            OURS,
        );
        let head_seat = meeting(
            d,
            &HEAD_SEAT,
            Meeting::Bonded,
            "How non-locking heads meet their seats, and heads of screws independent of plates the bone under them. Unless bonded, a lag screw also glides freely in the fragment under its head",
            OURS,
        );
        let screw_bone = meeting(
            d,
            &SCREW_BONE,
            Meeting::Bonded,
            "How screws meet the bone along their shanks. bonded: as one; threaded: the bone presses and lifts off, held along the screw's axis and by friction round it; frictional, frictionless: smooth rods, which slide along their axes too",
            OURS,
        );
        let fracture_faces = meeting(
            d,
            &FRACTURE_FACES,
            Meeting::Bonded,
            "How faces of a fracture or split meet that touch before loading",
            OURS,
        );
        let common = d.optional(
            "interfaces.friction",
            number("", FRICTION),
            "Coefficient of friction of all interfaces that have none of their own: one factor for a study of friction",
            OURS,
        );
        let mut kind = |meeting, sort: &Sort, mu, between: &str| KindKeys {
            meeting,
            friction: d.key(
                format!("interfaces.{}_friction", sort.name),
                number("", FRICTION),
                of_or(common, mu),
                format!(
                    "Coefficient of friction between {between}, where they are {}",
                    sort.rubbing
                ),
                "values of plating studies, which vary; from memory",
            ),
        };
        InterfaceKeys {
            plate_bone: kind(plate_bone, &PLATE_BONE, BONE_ON_METAL, "plate and bone"),
            stand_off,
            contact_gap,
            head_seat: kind(head_seat, &HEAD_SEAT, METAL_ON_METAL, "heads and their seats"),
            screw_bone: kind(screw_bone, &SCREW_BONE, BONE_ON_METAL, "screws and bone"),
            fracture_faces: kind(fracture_faces, &FRACTURE_FACES, BONE_ON_BONE, "fracture faces"),
            friction: common,
            medial: NamedKeys::of_plate(d, PlateSite::Medial),
            lateral: NamedKeys::of_plate(d, PlateSite::Lateral),
            posterolateral: NamedKeys::of_plate(d, PlateSite::Posterolateral),
            screws: (1..=NAMED_SCREWS)
                .map(|n| NamedKeys::of_screw(d, ScrewNumber(n)))
                .collect(),
            increments: d.key(
                "interfaces.increments",
                count(1, 20),
                is(1),
                "Increments of each load case where anything can slip: more follow the path of friction more closely",
                OURS,
            ),
            clamp_medial: clamp(d, "medial"),
            clamp_lateral: clamp(d, "lateral"),
        }
    }
}

fn clamp(d: &mut Declaration, column: &str) -> Key<f64> {
    d.key(
        format!("interfaces.clamp_{column}_n"),
        number("n", Range::new(0.0, 1_000.0)),
        is(0.0),
        format!(
            "Force of a reduction clamp that squeezes the {column} column across the closed fracture before the plates are locked to the shaft: until then they slide along it. The clamp is then taken off; stress includes what it leaves, motions and stiffness count from there. Needs fracture.gap_mm = 0 and fracture faces that press"
        ),
        TRADE,
    )
}

impl NamedKeys {
    fn of_plate(d: &mut Declaration, site: PlateSite) -> NamedKeys {
        let what = "this plate alone meets the bone";
        NamedKeys::declare(d, Part::Plate(site), Side::Bone, &PLATE_BONE, what)
    }

    fn of_screw(d: &mut Declaration, number: ScrewNumber) -> [NamedKeys; 2] {
        let part = Part::Screw(number);
        let shank = "this screw alone meets the bone along its shank";
        let head = "the head of this screw alone meets its seat, or the bone under it";
        [
            NamedKeys::declare(d, part, Side::Bone, &SCREW_BONE, shank),
            NamedKeys::declare(d, part, Side::Seat, &HEAD_SEAT, head),
        ]
    }

    fn declare(d: &mut Declaration, part: Part, side: Side, sort: &Sort, what: &str) -> NamedKeys {
        let path = format!("interfaces.{part}.{}", bicolumn_base::Word::word(side));
        let as_common = format!("as interfaces.{}", sort.name);
        NamedKeys {
            part,
            side,
            meeting: d.optional(
                &path,
                word_of(sort.meetings),
                format!("How {what}; parts are named as in the report and in screws.csv"),
                &as_common,
            ),
            friction: d.optional(
                format!("{path}_friction"),
                number("", FRICTION),
                format!(
                    "Coefficient of friction where {what}, if that is {}",
                    sort.rubbing
                ),
                format!("{as_common}_friction"),
            ),
        }
    }
}
