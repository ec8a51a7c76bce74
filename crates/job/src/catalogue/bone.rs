//! Keys of `[bone]`.

use crate::declare::{Declaration, OURS, flag, is, number, place, preset, text, word};
use crate::handle::{Key, OneOf};
use crate::presets;
use bicolumn_geometry::{BoneDimension, BonePreset, SurfaceUnit};

/// Keys of `[bone]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct BoneKeys {
    pub preset: Key<OneOf<BonePreset>>,
    /// By [`BoneDimension`].
    dimensions: Vec<Key<f64>>,
    pub surface_file: Key<Option<String>>,
    pub surface_unit: Key<Option<OneOf<SurfaceUnit>>>,
    /// Lower and upper point of the shaft's axis, medial and lateral epicondyle.
    pub landmarks: [Key<Option<[f64; 3]>>; 4],
    pub left: Key<bool>,
}

impl BoneKeys {
    /// The key of a dimension.
    pub fn of(&self, dimension: BoneDimension) -> Key<f64> {
        self.dimensions[dimension as usize]
    }

    pub(crate) fn declare(d: &mut Declaration) -> BoneKeys {
        let preset_key = d.key(
            "bone.preset",
            word(),
            is(BonePreset::MeanAdult),
            "The card that gives every bone dimension not given here; small and large: about one standard deviation from the mean",
            "small and large: judgement; the mean: see each dimension",
        );
        let dimension = |q: &BoneDimension| {
            let q = *q;
            d.key(
                format!("bone.{}", q.name()),
                number(q.unit(), q.range()),
                preset(preset_key, move |p| presets::bone(p, q)),
                capitalised(q.row().definition),
                q.row().source,
            )
        };
        BoneKeys {
            preset: preset_key,
            dimensions: BoneDimension::ALL.iter().map(dimension).collect(),
            surface_file: d.optional(
                "bone.surface_file",
                text(),
                "An STL file, its path counted from the job file: a closed surface in the bone frame (origin in the middle of the flexion axis, Y proximal, X anterior, Z lateral, mm) in place of the parametric outer surface; the dimensions of bone still say where joint, columns and fossae lie and how thick the cortex is",
                OURS,
            ),
            surface_unit: d.optional(
                "bone.surface_unit",
                word(),
                "Unit of the numbers in that file; without it, mm",
                OURS,
            ),
            landmarks: [
                (
                    "shaft_distal",
                    "Frame of a surface that lies in other axes, such as a scanner's: a lower point of the shaft's axis (the middle of its section), in the coordinates and the unit of the file. With the next three the surface is moved so that its shaft's axis is that of the bone frame, and its epicondylar line has the level and the direction of that of the card's bone",
                ),
                ("shaft_proximal", "A higher point of the shaft's axis, likewise"),
                ("medial_epicondyle", "Tip of the medial epicondyle, likewise"),
                ("lateral_epicondyle", "Tip of the lateral epicondyle, likewise"),
            ]
            .map(|(name, doc)| d.optional(format!("bone.surface_{name}"), place(), doc, OURS)),
            left: d.key(
                "bone.left",
                flag(),
                is(false),
                "Mirror to a left humerus",
                OURS,
            ),
        }
    }
}

fn capitalised(text: &str) -> String {
    let mut chars = text.chars();
    match chars.next() {
        Some(first) => first.to_uppercase().chain(chars).collect(),
        None => String::new(),
    }
}
