//! What one design point needs to be solved, and how it may fail.

use bicolumn_base::{Part, PlateSite, ScrewNumber, UnitVec3};
use bicolumn_contact::Law;
use bicolumn_geometry::ConstructSpec;
use bicolumn_mesh::Sizing;
use bicolumn_model::{DensityLaw, GradedDensity, Material, TransverseIsotropy};
use bicolumn_solve::SolveOptions;
use bicolumn_store::FactorValue;
use std::collections::BTreeMap;
use std::fmt;
use thiserror::Error;

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
    /// Loads.
    pub loads: LoadInputs,
    /// How parts meet.
    pub interfaces: InterfaceInputs,
    /// Solver options; `threads` is set from [`crate::point::PointContext::threads`].
    pub solve: SolveOptions,
    /// Are the discretisation errors of the responses estimated?
    pub error_estimate: bool,
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

/// Which load cases, how large, and how they are shared between the joint surfaces.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadInputs {
    /// Names out of [`crate::key_table::LOAD_CASES`], in that order.
    pub cases: Vec<String>,
    /// Axial compression, N.
    pub axial_n: f64,
    /// Posterior and anterior bending, N.
    pub bending_n: f64,
    /// Varus and valgus, N.
    pub varus_valgus_n: f64,
    /// Torsion about the shaft axis, N·mm.
    pub torsion_nmm: f64,
    /// Axial compression of one column alone, N.
    pub column_n: f64,
    /// Share of every force on the capitellum; the trochlea takes the rest.
    pub capitellum_share: f64,
}

/// How the two sides of an interface meet, in the words of the job file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Meeting {
    /// They are one, or stand apart in the mesh: there is nothing to solve.
    Fixed,
    /// They press, slide against friction and lift.
    Frictional,
    /// They press, slide and lift.
    Frictionless,
    /// A shank with its thread: they press and lift, slide round the screw against friction and not along it.
    Threaded,
}

/// One kind of interface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InterfaceKind {
    /// How its sides meet.
    pub meeting: Meeting,
    /// Coefficient of friction, where they are frictional or threaded.
    pub friction: f64,
}

impl InterfaceKind {
    /// Its law in a contact problem; `None` where there is nothing to solve. `thread`: the axis of a shank. A job
    /// file can thread nothing else; without an axis friction is all there is.
    pub fn law(&self, thread: Option<UnitVec3>) -> Option<Law> {
        let mu = self.friction;
        match self.meeting {
            Meeting::Fixed => None,
            Meeting::Frictional => Some(Law::Frictional { mu }),
            Meeting::Frictionless => Some(Law::Frictionless),
            Meeting::Threaded => Some(match thread {
                Some(axis) => Law::Threaded { mu, axis },
                None => Law::Frictional { mu },
            }),
        }
    }
}

/// Which interface of a part a job names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Of a plate or a shank with the bone.
    Bone,
    /// Of a head with its seat, or with the bone under it.
    Seat,
}

impl Side {
    /// Its name in keys.
    pub fn name(self) -> &'static str {
        match self {
            Side::Bone => "bone",
            Side::Seat => "seat",
        }
    }
}

/// What a job says of one part's interface by the part's name.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NamedInterface {
    /// A plate or a screw.
    pub part: Part,
    /// Which of its interfaces.
    pub side: Side,
    /// How its sides meet, if the job says so.
    pub meeting: Option<Meeting>,
    /// Coefficient of friction, if the job gives it.
    pub friction: Option<f64>,
}

impl NamedInterface {
    /// The job key that names it: `interfaces.screw.03.seat`, or that with `_friction` where only a
    /// coefficient is given.
    pub fn key(&self) -> String {
        let only_friction = self.meeting.is_none();
        let ending = if only_friction { "_friction" } else { "" };
        format!("interfaces.{}.{}{ending}", self.part, self.side.name())
    }
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

/// Stages of a design point, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs)]
pub enum Stage {
    Geometry,
    Mesh,
    Solve,
    Measure,
    Estimate,
    Store,
}

impl Stage {
    /// Its name in records and on the screen.
    pub fn name(self) -> &'static str {
        match self {
            Stage::Geometry => "geometry",
            Stage::Mesh => "mesh",
            Stage::Solve => "solve",
            Stage::Measure => "measure",
            Stage::Estimate => "estimate",
            Stage::Store => "store",
        }
    }
}

impl fmt::Display for Stage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A design point that could not be finished.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("{stage}: {message}")]
pub struct PointError {
    /// The stage it stopped at.
    pub stage: Stage,
    /// Why, as shown to the user.
    pub message: String,
}
