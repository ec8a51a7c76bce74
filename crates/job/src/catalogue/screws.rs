//! Keys of `[screws]`.

use super::plates::{PlateKeys, plate_default};
use crate::declare::{Declaration, Each, OURS, TRADE, count, flag, is, number, word, word_of};
use crate::handle::{Key, OneOf};
use crate::words::{IndependentHold, PlateKind};
use bicolumn_geometry::{
    HeadSide, IndependentQuantity, IndependentScrewSpec, PlateQuantity, PlateSpec, Range,
    ScrewHold, ShaftPattern,
};

/// Screws independent of plates that a job can describe.
pub(crate) const INDEPENDENT: usize = 2;

const SECTION: &str = "screws";

/// Keys of `[screws]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct ScrewKeys {
    pub shaft_count: Each<usize>,
    pub distal_count: Each<usize>,
    pub shaft_diameter: Each<f64>,
    pub distal_diameter: Each<f64>,
    pub bicortical: Each<bool>,
    pub distal_length: Each<f64>,
    pub shaft_hold: Each<OneOf<ScrewHold>>,
    pub distal_hold: Each<OneOf<ScrewHold>>,
    pub shaft_tilt: Each<f64>,
    pub shaft_pattern: Each<OneOf<ShaftPattern>>,
    pub fracture_distance: Each<f64, Option<f64>>,
    /// Screws independent of plates.
    pub independent: [IndependentKeys; INDEPENDENT],
}

impl ScrewKeys {
    pub(crate) fn declare(d: &mut Declaration, plates: &PlateKeys) -> ScrewKeys {
        use PlateQuantity as Q;
        let plate = plate_default();
        let accepts = |q: Q| number(q.unit(), q.range());
        let whole = |q: Q| count(q.range().least as u32, q.range().most as u32);
        let shaft_count = d.each(
            SECTION,
            "shaft_count",
            whole(Q::ShaftScrews),
            is(plate.shaft_screws),
            "Screws of each plate in the proximal fragment",
            "three or more a plate: Sanchez-Sotelo et al. 2007, J Bone Joint Surg Am 89:961; from memory",
        );
        let distal_count = d.each(
            SECTION,
            "distal_count",
            whole(Q::DistalScrews),
            is(plate.distal_screws),
            "Screws of each plate in the distal fragment",
            TRADE,
        );
        let shaft_diameter = d.each(
            SECTION,
            "shaft_diameter_mm",
            accepts(Q::ShaftScrewDiameter),
            is(plate.shaft_screw_diameter_mm),
            "Core diameter of the shaft screws, modelled as smooth cylinders",
            "core 2.4 of a 3.5 mm cortical screw (textbook); a 3.5 mm locking screw has 2.9, from memory",
        );
        let distal_diameter = d.each(
            SECTION,
            "distal_diameter_mm",
            accepts(Q::DistalScrewDiameter),
            is(plate.distal_screw_diameter_mm),
            "Core diameter of the distal screws",
            "core of a 2.7 mm locking screw; from memory",
        );
        let bicortical = d.each(
            SECTION,
            "bicortical",
            flag(),
            is(plate.bicortical),
            "Do the shaft screws pass both cortices?",
            TRADE,
        );
        let distal_length = d.each(
            SECTION,
            "distal_length_mm",
            accepts(Q::DistalScrewLength),
            is(plate.distal_screw_length_mm),
            "Longest distal screw, from the underside of the plate",
            "as long as the block allows; common practice, no source",
        );
        d.end_of_group();
        let held = || word_of(&[ScrewHold::Locking, ScrewHold::NonLocking]);
        let shaft_hold = d.each(
            SECTION,
            "shaft_hold",
            held(),
            is(plate.shaft_hold),
            "locking: the head is one with the plate; non_locking: it rests in a seat of the plate, and the shank passes a wider bore",
            TRADE,
        );
        let distal_hold = d.each(
            SECTION,
            "distal_hold",
            held(),
            is(plate.distal_hold),
            "How the distal screws hold, as screws.shaft_hold",
            TRADE,
        );
        let shaft_tilt = d.each(
            SECTION,
            "shaft_tilt_deg",
            accepts(Q::ShaftScrewTilt),
            is(plate.shaft_screw_tilt_deg),
            "Angle of the shaft screws to their holes' axes, along the plate, where nothing is in the way; positive: the tip leans proximally",
            "variable-angle holes allow about 15; from memory",
        );
        let shaft_pattern = d.each(
            SECTION,
            "shaft_pattern",
            word(),
            is(plate.shaft_pattern),
            "Shaft holes that take screws. even: the two ends of the row, then evenly between; near_fracture: the holes nearest the fracture; both_ends: half of them at each end of the row, one more beside the fracture where their number is odd",
            TRADE,
        );
        let of_each = |key: &dyn Fn(PlateKind) -> Key<f64>| PlateKind::ALL.map(key);
        let cores = of_each(&|which| shaft_diameter.of(which));
        let holes = of_each(&|which| plates.hole_diameter.of(which));
        let taken_up_by = PlateKind::ALL.map(|which| plates.taken_up_by.of(which));
        let fracture_distance = d.each_by_plate(
            SECTION,
            Q::FractureDistance.name(),
            accepts(Q::FractureDistance),
            (
                "10 where it is kept, otherwise the least that leaves 0.8 mm of plate beside the fracture",
                move |s, which| {
                    let n = which as usize;
                    PlateSpec::usual_fracture_distance_mm(
                        s.get(taken_up_by[n]),
                        s.get(cores[n]),
                        s.get(holes[n]),
                    )
                },
            ),
            "Distance of the innermost shaft screw's hole from the fracture's upper face (in a whole bone from the uppermost distal hole), which it follows as level, gap and inclination move; at least this where plates.length_taken_up_by is working_length",
            TRADE,
        );
        d.end_of_group();
        ScrewKeys {
            shaft_count,
            distal_count,
            shaft_diameter,
            distal_diameter,
            bicortical,
            distal_length,
            shaft_hold,
            distal_hold,
            shaft_tilt,
            shaft_pattern,
            fracture_distance,
            independent: std::array::from_fn(|i| IndependentKeys::declare(d, i + 1)),
        }
    }
}

/// Keys of a screw independent of plates.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct IndependentKeys {
    pub hold: Key<OneOf<IndependentHold>>,
    pub from: Key<OneOf<HeadSide>>,
    pub level: Key<f64>,
    pub anterior: Key<f64>,
    pub inclination: Key<f64>,
    pub turn: Key<f64>,
    pub diameter: Key<f64>,
    pub length: Key<f64>,
}

impl IndependentKeys {
    /// The key of a quantity.
    pub fn of(&self, quantity: IndependentQuantity) -> Key<f64> {
        match quantity {
            IndependentQuantity::Level => self.level,
            IndependentQuantity::Anterior => self.anterior,
            IndependentQuantity::Inclination => self.inclination,
            IndependentQuantity::Turn => self.turn,
            IndependentQuantity::Diameter => self.diameter,
            IndependentQuantity::Length => self.length,
        }
    }

    fn declare(d: &mut Declaration, n: usize) -> IndependentKeys {
        use IndependentQuantity as Q;
        let screw = IndependentScrewSpec::default();
        let path = |name: &str| format!("screws.independent_{n}.{name}");
        let hold = d.key(
            path("hold"),
            word(),
            is(IndependentHold::None),
            "A screw independent of plates. none: there is none; lag: it glides in the fragment under its head and presses the faces together; positional: it holds both fragments where they are",
            OURS,
        );
        let from = d.key(
            path("from"),
            word(),
            is(screw.from),
            "The side that its head lies on",
            OURS,
        );
        let mut number = |q: Q, default: f64, doc: &str| {
            d.key(
                path(q.name()),
                number(q.unit(), q.range()),
                is(default),
                doc,
                OURS,
            )
        };
        IndependentKeys {
            hold,
            from,
            level: number(
                Q::Level,
                screw.level_mm,
                "Level above the articular axis where its axis crosses the sagittal plane in the middle of the joint",
            ),
            anterior: number(
                Q::Anterior,
                screw.anterior_mm,
                "How far in front of the articular axis it crosses that plane",
            ),
            inclination: number(
                Q::Inclination,
                screw.inclination_deg,
                "Its inclination in the coronal plane; positive: the tip leans proximally",
            ),
            turn: number(
                Q::Turn,
                screw.turn_deg,
                "Its turn in the transverse plane; positive: the tip leans anteriorly",
            ),
            diameter: number(Q::Diameter, screw.diameter_mm, "Its core diameter"),
            length: number(
                Q::Length,
                screw.length_mm,
                "Its longest length; it ends where the inside of the bone does",
            ),
        }
    }
}

/// Preloads of screws.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct PreloadKeys {
    pub shaft: Each<f64>,
    pub distal: Each<f64>,
    /// Preload of each screw independent of plates.
    pub independent: [Key<f64>; INDEPENDENT],
}

impl PreloadKeys {
    pub(crate) fn declare(d: &mut Declaration) -> PreloadKeys {
        let force = || number("n", Range::new(0.0, 3_000.0));
        let shaft = d.each(
            SECTION,
            "shaft_preload_n",
            force(),
            is(0.0),
            "Tension that the non-locking shaft screws are tightened to before any load; their length is then kept. Stress then includes that of tightening; motions and stiffness count from the tightened construct",
            TRADE,
        );
        let distal = d.each(
            SECTION,
            "distal_preload_n",
            force(),
            is(0.0),
            "Tension of the non-locking distal screws, as screws.shaft_preload_n",
            TRADE,
        );
        d.end_of_group();
        PreloadKeys {
            shaft,
            distal,
            independent: std::array::from_fn(|i| {
                d.key(
                    format!("screws.independent_{}.preload_n", i + 1),
                    force(),
                    is(0.0),
                    "Tension that it is tightened to before any load, if it is a lag screw",
                    TRADE,
                )
            }),
        }
    }
}
