//! Keys of `[supports]`.

use crate::declare::{Declaration, OURS, TRADE, is, mm, number_or_zero, word};
use crate::handle::{Key, OneOf};
use crate::words::{DistalSupport, ProximalSupport};
use bicolumn_geometry::Range;

/// Keys of `[supports]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct SupportKeys {
    pub proximal: Key<OneOf<ProximalSupport>>,
    pub potted_length: Key<f64>,
    pub centre_level: Key<Option<f64>>,
    pub distal: Key<OneOf<DistalSupport>>,
    pub rig: Key<f64>,
    pub rig_turn: Key<f64>,
}

impl SupportKeys {
    pub(crate) fn declare(d: &mut Declaration) -> SupportKeys {
        SupportKeys {
            proximal: d.key(
                "supports.proximal",
                word(),
                is(ProximalSupport::Potted),
                "How the shaft's end is held; displacements are those seen from its block",
                TRADE,
            ),
            potted_length: d.key(
                "supports.potted_length_mm",
                number_or_zero("mm", Range::new(2.0, 80.0), "the cut face at the potting level alone is held"),
                is(0.0),
                "Length of bone inside the potting, above bone.potting_level_mm: its outer surface and the cut face at its end are held, so that the shaft's canal can deform under the potting's rim. The mesh has no edge at the rim: it is held from the first nodes above",
                OURS,
            ),
            centre_level: d.optional(
                "supports.proximal_centre_level_mm",
                mm(50.0, 500.0),
                "Level of the point of the shaft's axis that the block turns about, where it is free to turn; without it, the potting level",
                OURS,
            ),
            distal: d.key(
                "supports.distal",
                word(),
                is(DistalSupport::Free),
                "How the joint is held beside its loads: the mean displacement of capitellum and trochlea in their shares, at the bearing points. With a potted shaft not where interfaces press, slide or lift",
                TRADE,
            ),
            rig: d.key(
                "supports.rig_n_per_mm",
                number_or_zero("n_per_mm", Range::new(1.0, 1e7), "rigid"),
                is(0.0),
                "Stiffness of rig and load cell in series with every force: its travel adds to load_displacement_mm, and lowers stiffness_n_per_mm; nothing else changes",
                OURS,
            ),
            rig_turn: d.key(
                "supports.rig_nmm_per_deg",
                number_or_zero("nmm_per_deg", Range::new(1.0, 1e9), "rigid"),
                is(0.0),
                "Rotational stiffness of the rig in series with every moment: its turn adds to load_rotation_deg, and lowers rotation_stiffness_nmm_per_deg",
                OURS,
            ),
        }
    }
}
