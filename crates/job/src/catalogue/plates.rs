//! Keys of `[construct]` and `[plates]`.

use super::bone::BoneKeys;
use super::fracture::FractureKeys;
use crate::declare::{Declaration, Default, Each, OURS, TRADE, is, number, word};
use crate::handle::{Key, OneOf};
use crate::words::{Layout, PlateKind, StaggerFrom};
use bicolumn_geometry::spec::PlateSiteName;
use bicolumn_geometry::{
    BoneDimension, CLEARANCE_MM, ConstructSpec, Fit, FractureSpec, PlateQuantity, PlateSpec, Range,
    TakenUpBy,
};

/// Keys of `[construct]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct ConstructKeys {
    pub layout: Key<OneOf<Layout>>,
    pub clearance: Key<f64>,
    pub fit: Key<OneOf<Fit>>,
}

impl ConstructKeys {
    pub(crate) fn declare(d: &mut Declaration) -> ConstructKeys {
        ConstructKeys {
            layout: d.key(
                "construct.layout",
                word(),
                is(Layout::Parallel),
                "parallel: medial and lateral plate, facing each other; orthogonal: medial and posterolateral plate; or one plate alone; bare_bone: the intact bone, without fracture, plates and screws, whatever their keys say",
                "layouts of the trade; one plate alone is a baseline, the intact bone a specimen to read the others against",
            ),
            clearance: d.key(
                "construct.clearance_mm",
                number("mm", CLEARANCE_MM),
                is(ConstructSpec::intact().clearance_mm),
                "Least distance between two screws, and between a screw and what it should not graze",
                "least distance that the mesher takes well; choice of this program",
            ),
            fit: d.key(
                "construct.fit",
                word(),
                is(Fit::Exact),
                "What becomes of a point whose construct cannot be built as stated. exact: it is refused with the reason, and the point has failed; nearest: what is stated is moved by the least change that was found to do, told in the point's notes, in columns of results.csv and in the report, and a point with a moved factor counts in no comparison; skip: the point is left out with the reason. What is not stated follows from the rest in all three",
                OURS,
            ),
        }
    }
}

/// Dimensions that the sites share; the level of the distal hole differs between them.
pub(super) fn plate_default() -> PlateSpec {
    PlateSpec::new(PlateSiteName::Medial)
}

/// Keys of `[plates]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct PlateKeys {
    /// Level of the ends above the top of the olecranon fossa.
    pub end_above_fossa: Key<Option<f64>>,
    /// Level of the ends above the middle of the fracture.
    pub end_above_fracture: Key<Option<f64>>,
    /// Mean level of both ends.
    pub end_level: Key<f64>,
    pub stagger: Key<f64>,
    pub stagger_from: Key<OneOf<StaggerFrom>>,
    /// Level of each end: medial, other.
    ends: [Key<f64>; 2],
    pub width: Each<f64>,
    pub thickness: Each<f64>,
    pub hole_pitch: Each<f64>,
    pub distal_hole_pitch: Each<f64>,
    pub hole_diameter: Each<f64>,
    pub distal_hole_level: Each<f64, Option<f64>>,
    pub distal_width: Each<f64, Option<f64>>,
    pub slot: Each<f64>,
    pub taken_up_by: Each<OneOf<TakenUpBy>>,
    pub end_distance: Each<f64, Option<f64>>,
}

impl PlateKeys {
    /// The level of one plate's end.
    pub fn end(&self, which: PlateKind) -> Key<f64> {
        match which {
            PlateKind::Medial => self.ends[0],
            PlateKind::Other => self.ends[1],
        }
    }

    pub(crate) fn declare(
        d: &mut Declaration,
        construct: &ConstructKeys,
        bone: &BoneKeys,
        fracture: &FractureKeys,
    ) -> PlateKeys {
        use PlateQuantity as Q;
        const SECTION: &str = "plates";
        let plate = plate_default();
        let accepts = |q: Q| number(q.unit(), q.range());
        let end_above_fossa = d.optional(
            "plates.end_above_fossa_mm",
            number("mm", Range::new(15.0, 220.0)),
            "Level of the proximal plate ends above the top of the olecranon fossa, in place of plates.end_level_mm",
            OURS,
        );
        let end_above_fracture = d.optional(
            "plates.end_above_fracture_mm",
            number("mm", Range::new(15.0, 220.0)),
            "The same above fracture.level_mm, as stated or by default: above the middle of the gap",
            OURS,
        );
        let (groove, fossa, fracture_level) = (
            bone.of(BoneDimension::TrochleaGrooveDiameter),
            bone.of(BoneDimension::FossaLength),
            fracture.level,
        );
        let usual_end = plate.end_level_mm;
        let end_level = d.key(
            "plates.end_level_mm",
            accepts(Q::EndLevel),
            Default::rule(
                "90 mm, or from `plates.end_above_fossa_mm` or `plates.end_above_fracture_mm`",
                vec![end_above_fossa.id(), end_above_fracture.id()],
                move |s| match (s.get(end_above_fossa), s.get(end_above_fracture)) {
                    (Some(above), _) => FractureSpec::fossa_top(s.get(groove), s.get(fossa)) + above,
                    (None, Some(above)) => s.get(fracture_level) + above,
                    (None, None) => usual_end,
                },
            ),
            "Level of the proximal plate ends above the articular axis: of both without stagger, with it of their mean or of the end that `plates.stagger_from` names",
            TRADE,
        );
        let stagger = d.key(
            "plates.stagger_mm",
            number("mm", Range::about_zero(80.0)),
            is(0.0),
            "Level of the medial plate's end minus that of the other (also where one plate stands alone); `plates.stagger_from` tells which end moves",
            "sign as in Zarifian et al. 2022, J Hand Surg Am 47:690: the sign matters",
        );
        let stagger_from = d.key(
            "plates.stagger_from",
            word(),
            is(StaggerFrom::Mean),
            "Level that stays at plates.end_level_mm when the ends are staggered: their mean (each end moves by half the stagger), the upper end (the other ends lower) or the lower end (the other ends higher)",
            OURS,
        );
        let ends = PlateKind::ALL.map(|which| {
            d.key(
                format!("plates.{}.end_level_mm", which.word()),
                accepts(Q::EndLevel),
                Default::rule(
                    "from `plates.end_level_mm`, `plates.stagger_mm` and `plates.stagger_from`",
                    vec![stagger.id(), end_level.id()],
                    move |s| s.get(end_level) + s.get(stagger_from).shift_mm(which, s.get(stagger)),
                ),
                "Level of this plate's proximal end, given directly instead of by a common level and stagger",
                "from plates.end_level_mm, plates.stagger_mm and plates.stagger_from",
            )
        });
        let layout = construct.layout;
        let width = d.each(
            SECTION,
            Q::Width.name(),
            accepts(Q::Width),
            is(plate.width_mm),
            "Width of the plate's shaft part",
            "reconstruction plates of the 3.5 mm class, 10 wide; from memory",
        );
        let widths = PlateKind::ALL.map(|which| width.of(which));
        let distal_width = d.each_by_plate(
            SECTION,
            Q::DistalWidth.name(),
            accepts(Q::DistalWidth),
            ("the width of its shaft part", move |s, which| {
                s.get(widths[which as usize])
            }),
            "Width of the plate round its distal screws; above the last one it goes over, within a width, into that of the shaft part",
            "distal ends of plates, as wide as the shaft part or narrower; common practice, no source",
        );
        let thickness = d.each(
            SECTION,
            Q::Thickness.name(),
            accepts(Q::Thickness),
            is(plate.thickness_mm),
            "Thickness of the plate",
            "reconstruction plates of the 3.5 mm class, 2.7 to 2.8 thick; from memory",
        );
        let hole_pitch = d.each(
            SECTION,
            Q::HolePitch.name(),
            accepts(Q::HolePitch),
            is(plate.hole_pitch_mm),
            "Distance between hole centres over the shaft",
            "reconstruction plates of the 3.5 mm class, 12; from memory",
        );
        let distal_hole_pitch = d.each(
            SECTION,
            Q::DistalHolePitch.name(),
            accepts(Q::DistalHolePitch),
            is(plate.distal_hole_pitch_mm),
            "Distance between hole centres at the distal end",
            "distal ends of plates, 6 to 9; from memory",
        );
        let hole_diameter = d.each(
            SECTION,
            Q::HoleDiameter.name(),
            accepts(Q::HoleDiameter),
            is(plate.hole_diameter_mm),
            "Diameter of a hole where no screw sits",
            TRADE,
        );
        let distal_hole_level = d.each_by_plate(
            SECTION,
            Q::DistalHoleLevel.name(),
            accepts(Q::DistalHoleLevel),
            ("by the plate's site", move |s, which| {
                PlateSpec::new(s.get(layout).site(which)).distal_hole_level_mm
            }),
            "Level of the most distal screw hole above the articular axis; without it, by site",
            "chosen so that the distal end stays on the bone",
        );
        d.end_of_group();
        let slot = d.each(
            SECTION,
            Q::Slot.name(),
            accepts(Q::Slot),
            is(plate.slot_mm),
            "How far a shaft hole where no screw sits is drawn out along the plate; 0: round",
            TRADE,
        );
        let taken_up_by = d.each(
            SECTION,
            "length_taken_up_by",
            word(),
            is(plate.taken_up_by),
            "Length that gives way as the plate's end moves; the other two are kept. working_length: holes are counted down from the end, and the innermost screw moves by up to a pitch; hole_pitch: it is drawn out or in between the two; end_distance: holes are counted up from the innermost one, and the end stands out beyond the uppermost",
            OURS,
        );
        let end_distance = d.each_by_plate(
            SECTION,
            Q::EndDistance.name(),
            accepts(Q::EndDistance),
            ("half the plate's width and 1 mm", move |s, which| {
                PlateSpec::usual_end_distance_mm(s.get(widths[which as usize]))
            }),
            "Distance of the uppermost shaft hole's centre from the plate's proximal end; at least this where the end distance gives way",
            TRADE,
        );
        d.end_of_group();
        PlateKeys {
            end_above_fossa,
            end_above_fracture,
            end_level,
            stagger,
            stagger_from,
            ends,
            width,
            thickness,
            hole_pitch,
            distal_hole_pitch,
            hole_diameter,
            distal_hole_level,
            distal_width,
            slot,
            taken_up_by,
            end_distance,
        }
    }
}
