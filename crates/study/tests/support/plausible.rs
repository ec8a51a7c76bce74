//! Plausible designs drawn at random, written as job files: bones within 1.5 standard deviations of the mean card,
//! plates and screws of the ranges in use.
//!
//! A design has two texts. The intent: bone, fracture, layout, plate ends, counts and sizes of screws, holds; all that
//! follows from those is left to the defaults. The details: hole pitches, hole diameter, slots, levels of the fracture
//! and of the first hole, drawn without regard to the intent or to each other. Only words that contradict each other
//! are matched: contact, tissue and lag screws need the faces or the gap that they are about.
//!
//! The ranges were written down before the first run, from the parameter card and from common practice, and do not
//! follow what is accepted together; a number is cut off at the range of its own key alone, as the key reference tells it.

use bicolumn_geometry::BoneDimension;
use std::fmt::Write;

/// Seed of the first design; fixed before the first run.
const SEED: u64 = 20_261_127;
/// Standard deviations of a dimension that the card gives none of: judgement.
const SPREADS: [(BoneDimension, f64); 5] = [
    (BoneDimension::AnteriorTilt, 5.0),
    (BoneDimension::ColumnDepth, 1.3),
    (BoneDimension::ColumnCortex, 0.3),
    (BoneDimension::ArticularCortex, 0.2),
    (BoneDimension::CanalFloor, 3.0),
];
/// Standard deviations to either side of the mean.
const REACH: f64 = 1.5;

/// A sequence of pseudo-random numbers (SplitMix64: Steele, Lea and Flood 2014, Proc OOPSLA, figure 16).
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number of [0, 1).
    fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn chance(&mut self, share: f64) -> bool {
        self.share() < share
    }

    /// A number between two, to a tenth.
    fn between(&mut self, least: f64, most: f64) -> f64 {
        tenths(least + (most - least) * self.share())
    }

    fn count(&mut self, least: u64, most: u64) -> u64 {
        least + self.next() % (most - least + 1)
    }

    fn one<'a>(&mut self, of: &[&'a str]) -> &'a str {
        of[(self.next() % of.len() as u64) as usize]
    }
}

fn tenths(x: f64) -> f64 {
    (10.0 * x).round() / 10.0
}

/// A design, in two texts.
pub(crate) struct Design {
    /// Job file of the intent alone.
    pub(crate) intent: String,
    /// Lines that state the details as well.
    pub(crate) details: String,
    /// Do the ends of two plates lie at one level?
    pub(crate) has_level_ends: bool,
}

impl Design {
    /// The design of a number, the same each time.
    pub(crate) fn numbered(n: u64) -> Design {
        let mut draw = Draw(SEED.wrapping_add(n.wrapping_mul(0x1000_0000_01b3)));
        let mut intent = String::new();
        bone(&mut draw, &mut intent);
        let open = fracture(&mut draw, &mut intent);
        let has_level_ends = hardware(&mut draw, &mut intent, open);
        let details = details(&mut draw);
        Design {
            intent,
            details,
            has_level_ends,
        }
    }

    /// Job file of the intent with all details stated.
    pub(crate) fn stated(&self) -> String {
        format!("{}{}", self.intent, self.details)
    }
}

fn put(text: &mut String, key: &str, value: impl std::fmt::Display) {
    let _ = writeln!(text, "{key} = {value}");
}

fn put_word(text: &mut String, key: &str, word: &str) {
    put(text, key, format_args!("\"{word}\""));
}

/// Dimensions scaled together, in part or each by itself.
fn bone(draw: &mut Draw, text: &mut String) {
    let together = [1.0, 0.6, 0.0][draw.count(0, 2) as usize];
    let common = REACH * (2.0 * draw.share() - 1.0);
    for d in BoneDimension::ALL {
        let row = d.row();
        let own = SPREADS.iter().find(|(of, _)| of == d).map(|(_, sd)| *sd);
        let Some(sd) = row.sd.or(own) else {
            continue;
        };
        let z = together * common + (1.0 - together) * REACH * (2.0 * draw.share() - 1.0);
        let range = d.range();
        let value = tenths((row.mean + z * sd).clamp(range.least, range.most));
        put(text, &format!("bone.{}", d.name()), value);
    }
    // From memory: 0 to about 4 mm.
    put(text, "bone.septum_thickness_mm", draw.between(0.0, 4.0));
    put(text, "bone.left", draw.chance(0.5));
}

/// Faces that lag screws could press together.
struct Faces {
    split_touches: bool,
    is_split: bool,
}

fn fracture(draw: &mut Draw, text: &mut String) -> Faces {
    let pattern = draw.one(&[
        "none",
        "supracondylar",
        "intercondylar",
        "supracondylar",
        "intercondylar",
    ]);
    put_word(text, "fracture.pattern", pattern);
    let gap = if draw.chance(0.3) {
        0.0
    } else {
        draw.between(1.0, 12.0)
    };
    put(text, "fracture.gap_mm", gap);
    let inclination = if draw.chance(0.3) {
        0.0
    } else {
        draw.between(-25.0, 25.0)
    };
    put(text, "fracture.inclination_deg", inclination);
    if gap > 0.0 {
        put_word(
            text,
            "fracture.column_contact",
            draw.one(&["none", "none", "none", "medial", "lateral"]),
        );
        put_word(
            text,
            "fracture.filling",
            draw.one(&["empty", "empty", "healing_tissue"]),
        );
    }
    let is_split = pattern == "intercondylar";
    let split_gap = if draw.chance(0.6) {
        0.0
    } else {
        draw.between(1.0, 4.0)
    };
    if is_split {
        put(text, "fracture.split_gap_mm", split_gap);
        put(text, "fracture.split_offset_mm", draw.between(-3.0, 3.0));
        put(
            text,
            "fracture.split_inclination_deg",
            draw.between(5.0, 20.0),
        );
    }
    Faces {
        split_touches: is_split && split_gap == 0.0,
        is_split,
    }
}

/// Layout, plates and screws; are the ends of two plates level?
fn hardware(draw: &mut Draw, text: &mut String, faces: Faces) -> bool {
    let layout = draw.one(&[
        "parallel",
        "orthogonal",
        "medial_only",
        "lateral_only",
        "posterolateral_only",
    ]);
    put_word(text, "construct.layout", layout);
    put(text, "plates.end_level_mm", draw.between(70.0, 140.0));
    let is_level = draw.chance(0.4);
    let stagger = if is_level {
        0.0
    } else {
        draw.between(-40.0, 40.0)
    };
    put(text, "plates.stagger_mm", stagger);
    put(text, "plates.width_mm", draw.between(7.0, 12.0));
    put(text, "plates.thickness_mm", draw.between(1.5, 4.0));
    put_word(
        text,
        "plates.length_taken_up_by",
        draw.one(&[
            "working_length",
            "working_length",
            "hole_pitch",
            "end_distance",
        ]),
    );
    put(
        text,
        "interfaces.stand_off_mm",
        draw.between(0.2, 2.0).max(0.3),
    );
    put(text, "screws.shaft_count", draw.count(2, 5));
    put(text, "screws.distal_count", draw.count(1, 4));
    put(text, "screws.shaft_diameter_mm", draw.between(2.0, 3.5));
    put(text, "screws.distal_diameter_mm", draw.between(2.0, 3.5));
    put_word(
        text,
        "screws.shaft_hold",
        draw.one(&["locking", "non_locking"]),
    );
    put_word(
        text,
        "screws.distal_hold",
        draw.one(&["locking", "locking", "non_locking"]),
    );
    put(text, "screws.bicortical", draw.chance(0.75));
    let tilt = if draw.chance(0.6) {
        0.0
    } else {
        draw.between(-10.0, 10.0)
    };
    put(text, "screws.shaft_tilt_deg", tilt);
    put_word(
        text,
        "screws.shaft_pattern",
        draw.one(&["even", "even", "near_fracture", "both_ends"]),
    );
    if faces.is_split && draw.chance(0.4) {
        let hold = if faces.split_touches {
            draw.one(&["lag", "positional"])
        } else {
            "positional"
        };
        put_word(text, "screws.independent_1.hold", hold);
        put_word(
            text,
            "screws.independent_1.from",
            draw.one(&["lateral", "medial"]),
        );
        put(
            text,
            "screws.independent_1.diameter_mm",
            draw.between(2.0, 3.5),
        );
    }
    is_level && ["parallel", "orthogonal"].contains(&layout)
}

/// Lengths that a surgeon would take from the plate at hand: without regard to what they go with.
fn details(draw: &mut Draw) -> String {
    let mut text = String::new();
    put(&mut text, "fracture.level_mm", draw.between(30.0, 50.0));
    put(
        &mut text,
        "plates.distal_hole_level_mm",
        draw.between(6.0, 16.0),
    );
    put(&mut text, "plates.hole_pitch_mm", draw.between(7.5, 18.0));
    put(
        &mut text,
        "plates.distal_hole_pitch_mm",
        draw.between(5.0, 10.0),
    );
    put(&mut text, "plates.hole_diameter_mm", draw.between(3.0, 5.5));
    let slot = if draw.chance(0.5) {
        0.0
    } else {
        draw.between(0.5, 4.0)
    };
    put(&mut text, "plates.slot_mm", slot);
    text
}
