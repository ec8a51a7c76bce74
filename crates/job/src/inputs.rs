//! Inputs of one design point: all that decides its result.

use crate::catalogue::Side;
use crate::handle::KeyId;
use crate::moved_key::QuantityKey;
use crate::words::{DistalSupport, Meeting, ProximalSupport};
use bicolumn_base::{Part, PlateSite, ScrewNumber};
use bicolumn_geometry::{ConstructSpec, Subject};
use bicolumn_mesh::Sizing;
use bicolumn_model::{
    DensityLaw, GradedDensity, JointLoad, Material, Sensor, SeriesCompliance, TransverseIsotropy,
};
use bicolumn_solve::SolveOptions;
use bicolumn_store::FactorValue;
use std::collections::BTreeMap;

/// Everything that decides a design point's result.
#[derive(Debug, Clone, PartialEq)]
pub struct PointInputs {
    /// `p001`, ...
    pub id: String,
    /// Level of each factor, by key.
    pub factors: BTreeMap<String, FactorValue>,
    /// Every job key that the result depends on, after defaults and factors.
    pub inputs: BTreeMap<String, FactorValue>,
    /// Bone, fracture, plates, screws.
    pub construct: ConstructSpec,
    /// Mesh sizes.
    pub sizing: Sizing,
    /// Materials.
    pub materials: Materials,
    /// Load cases: those with names of the program, then those that the job defines.
    pub loads: Vec<JointLoad>,
    /// Supports.
    pub supports: SupportInputs,
    /// Sensors.
    pub sensors: Vec<Sensor>,
    /// How parts meet.
    pub interfaces: InterfaceInputs,
    /// Solver options; `threads` is set by whoever solves.
    pub solve: SolveOptions,
    /// Are the discretisation errors of the responses estimated?
    pub error_estimate: bool,
    /// Job keys of the construct's quantities.
    pub quantity_keys: BTreeMap<Subject, QuantityKey>,
    /// Digest of `inputs` and the engine's version: two points with the same digest have the same
    /// result, bit for bit.
    pub digest: String,
}

/// Materials by what they are used for.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Materials {
    pub cortical: Material,
    /// Cortical bone, where it is stiffest along the shaft's axis (Y) and alike across it.
    pub transverse: Option<TransverseIsotropy>,
    pub cancellous: Material,
    /// Cancellous bone whose modulus follows its density.
    pub density: Option<(DensityLaw, GradedDensity)>,
    pub plate: Material,
    pub screw: Material,
    /// In a filled fracture gap.
    pub gap_tissue: Material,
}

/// Supports of shaft and joint, and the rig.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SupportInputs {
    /// Support of the shaft's end.
    pub proximal: ProximalSupport,
    /// Level of the point that its block turns about, mm; `None`: the potting level as built.
    pub centre_level_mm: Option<f64>,
    /// Support of the joint.
    pub distal: DistalSupport,
    /// Share of the capitellum in what the joint's support holds.
    pub capitellum_share: f64,
    /// Compliance of the rig in series with the loads.
    pub rig: SeriesCompliance,
}

/// One kind of interface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InterfaceKind {
    /// Condition of its sides.
    pub meeting: Meeting,
    /// Coefficient of friction, where they are frictional or threaded.
    pub friction: f64,
}

/// Conditions that a job gives one part's interface by the part's name.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NamedInterface {
    /// A plate or a screw.
    pub part: Part,
    /// Its interface.
    pub side: Side,
    /// How its sides meet, if the job says so.
    pub meeting: Option<Meeting>,
    /// Coefficient of friction, if the job gives it.
    pub friction: Option<f64>,
    /// The key that names it: that of the meeting, or of friction where only a coefficient is given.
    pub key: KeyId,
}

/// How parts meet, and how screws are tightened.
#[derive(Debug, Clone, PartialEq)]
pub struct InterfaceInputs {
    /// Plates on bone.
    pub plate_bone: InterfaceKind,
    /// Non-locking heads in their seats, heads on bone.
    pub head_seat: InterfaceKind,
    /// Shanks in bone.
    pub screw_bone: InterfaceKind,
    /// Faces of fractures that touch.
    pub fracture_faces: InterfaceKind,
    /// Parts that meet otherwise than their kind.
    pub named: Vec<NamedInterface>,
    /// Gap that a plate must close before it presses on the bone, mm.
    pub contact_gap_mm: f64,
    /// Increments of each load case.
    pub increments: usize,
    /// Preload of shaft and distal screws of the medial and of the other plate, N.
    pub plate_preload_n: [[f64; 2]; 2],
    /// Preload of each screw independent of plates, in their order, N.
    pub independent_preload_n: Vec<f64>,
    /// Force of the reduction clamp on the medial and on the lateral column, N.
    pub clamp_n: [f64; 2],
}

impl InterfaceInputs {
    /// How a plate meets the bone.
    pub fn plate_on_bone(&self, site: PlateSite) -> InterfaceKind {
        self.of_part(Part::Plate(site), Side::Bone, self.plate_bone)
    }

    /// How a screw's shank meets the bone.
    pub fn shank_in_bone(&self, screw: ScrewNumber) -> InterfaceKind {
        self.of_part(Part::Screw(screw), Side::Bone, self.screw_bone)
    }

    /// How a screw's head meets its seat or the bone under it.
    pub fn head_in_seat(&self, screw: ScrewNumber) -> InterfaceKind {
        self.of_part(Part::Screw(screw), Side::Seat, self.head_seat)
    }

    fn of_part(&self, part: Part, side: Side, kind: InterfaceKind) -> InterfaceKind {
        let named = self.named.iter().find(|n| n.part == part && n.side == side);
        named.map_or(kind, |n| InterfaceKind {
            meeting: n.meeting.unwrap_or(kind.meeting),
            friction: n.friction.unwrap_or(kind.friction),
        })
    }
}
