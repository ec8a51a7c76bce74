//! Keys of `[fracture]`.

use super::bone::BoneKeys;
use crate::declare::{Declaration, Default, OURS, is, number, number_or_zero, word};
use crate::handle::{Key, OneOf};
use crate::words::{Filling, FracturePattern};
use bicolumn_geometry::{
    BoneDimension, ColumnContact, FractureQuantity, FractureSpec, Range, SplitSpec,
};

/// Keys of `[fracture]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct FractureKeys {
    pub pattern: Key<OneOf<FracturePattern>>,
    pub gap: Key<f64>,
    pub above_fossa: Key<Option<f64>>,
    pub level: Key<f64>,
    pub inclination: Key<f64>,
    pub column_contact: Key<OneOf<ColumnContact>>,
    pub filling: Key<OneOf<Filling>>,
    pub split_gap: Key<f64>,
    pub split_offset: Key<f64>,
    pub split_inclination: Key<f64>,
}

impl FractureKeys {
    /// The key of a quantity.
    pub fn of(&self, quantity: FractureQuantity) -> Key<f64> {
        match quantity {
            FractureQuantity::Level => self.level,
            FractureQuantity::Gap => self.gap,
            FractureQuantity::Inclination => self.inclination,
            FractureQuantity::SplitGap => self.split_gap,
            FractureQuantity::SplitOffset => self.split_offset,
            FractureQuantity::SplitInclination => self.split_inclination,
        }
    }

    pub(crate) fn declare(d: &mut Declaration, bone: &BoneKeys) -> FractureKeys {
        use FractureQuantity as Q;
        let path = |q: Q| format!("fracture.{}", q.name());
        let accepts = |q: Q| number(q.unit(), q.range());
        let fracture = FractureSpec::default();
        let split = SplitSpec::default();
        let groove = bone.of(BoneDimension::TrochleaGrooveDiameter);
        let fossa = bone.of(BoneDimension::FossaLength);
        let above_fossa = d.optional(
            "fracture.above_fossa_mm",
            number("mm", Range::new(-20.0, 25.0)),
            "Level of the gap's middle above the top of the olecranon fossa, in place of fracture.level_mm: on a larger bone the fracture lies as far from its fossa",
            OURS,
        );
        FractureKeys {
            above_fossa,
            pattern: d.key(
                "fracture.pattern",
                word(),
                is(FracturePattern::Supracondylar),
                "none: the bone is whole; supracondylar: a fracture across both columns, above the fossae or, at a low fracture.level_mm, through them (AO/OTA 13-A); intercondylar: a sagittal split of the articular block as well (13-C)",
                "AO/OTA classification of the distal humerus",
            ),
            gap: d.key(
                path(Q::Gap),
                number_or_zero("mm", Q::Gap.range(), "reduced: the faces touch"),
                is(fracture.gap_mm),
                "Height of the supracondylar gap (comminuted zone)",
                "Atalar et al. 2016, Acta Orthop Traumatol Turc: 5 mm defect; published gaps 2 to 10 mm",
            ),
            level: d.key(
                path(Q::Level),
                accepts(Q::Level),
                Default::rule(
                    "by the bone's fossa",
                    vec![above_fossa.id(), fossa.id(), groove.id()],
                    move |s| match s.get(above_fossa) {
                        Some(above) => FractureSpec::fossa_top(s.get(groove), s.get(fossa)) + above,
                        None => FractureSpec::usual_level(s.get(groove), s.get(fossa)),
                    },
                ),
                "Level of the gap's middle above the articular axis, on the shaft axis; without it, fracture.above_fossa_mm or 5.7 mm above the top of the olecranon fossa",
                "above the olecranon fossa: common practice, no source",
            ),
            inclination: d.key(
                path(Q::Inclination),
                accepts(Q::Inclination),
                is(fracture.inclination_deg),
                "Inclination of the fracture in the coronal plane (0 transverse, else oblique); positive: the lateral side lies higher",
                OURS,
            ),
            column_contact: d.key(
                "fracture.column_contact",
                word(),
                is(fracture.column_contact),
                "The column whose faces touch although the gap is open in the other: the proximal fragment reaches down to the lower plane there, with a step at the shaft axis",
                OURS,
            ),
            filling: d.key(
                "fracture.filling",
                word(),
                is(Filling::Empty),
                "What is in the gap: nothing, or tissue with the modulus of materials.gap_tissue",
                OURS,
            ),
            split_gap: d.key(
                path(Q::SplitGap),
                number_or_zero("mm", Q::SplitGap.range(), "the faces touch"),
                is(split.gap_mm),
                "Bone missing at the sagittal split; needs the pattern intercondylar",
                OURS,
            ),
            split_offset: d.key(
                path(Q::SplitOffset),
                accepts(Q::SplitOffset),
                is(split.offset_mm),
                "Where the split crosses the flexion axis, from the trochlear groove; positive: lateral of it",
                OURS,
            ),
            split_inclination: d.key(
                path(Q::SplitInclination),
                accepts(Q::SplitInclination),
                is(split.inclination_deg),
                "Inclination of the split in the coronal plane; positive: its upper end leans laterally",
                "15: from the groove through the middle of the olecranon fossa; judgement",
            ),
        }
    }
}
