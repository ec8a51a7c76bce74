//! Responses of interfaces that open, press and slide, and of preload.

use crate::row::{Member, family, of_each};

/// Kind of interface, by its two sides.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum InterfaceKind {
    /// Plates and bone.
    Plate,
    /// Heads and their seats, or the bone under them.
    Head,
    /// Shanks and bone.
    Screw,
    /// Faces of the fracture and of the split.
    Fracture,
}

impl InterfaceKind {
    /// All kinds, in column order.
    pub const ALL: [InterfaceKind; 4] = [
        InterfaceKind::Plate,
        InterfaceKind::Head,
        InterfaceKind::Screw,
        InterfaceKind::Fracture,
    ];

    pub(crate) const fn member(self) -> Member {
        let (name, definition) = match self {
            InterfaceKind::Plate => ("plate", "plates and bone"),
            InterfaceKind::Head => ("head", "heads and their seats, or the bone under them"),
            InterfaceKind::Screw => ("screw", "shanks and bone"),
            InterfaceKind::Fracture => ("fracture", "faces of the fracture and of the split"),
        };
        Member {
            name,
            definition,
            word: name,
        }
    }
}

family! {
    /// State of the interfaces of one kind at the end of a load case.
    Contact {
        PressureMax: "contact_{}_pressure_max_mpa", Mpa,
            "Largest contact pressure between {}, at a corner of the interface's facets, spread by its linear hat. Swings with the pattern of the facets: compare areas and forces first. Only where that interface can open.";
        Area: "contact_{}_area_mm2", Mm2,
            "Area under pressure between {}, of all such interfaces together.";
        Force: "contact_{}_force_n", N,
            "Integral of the contact pressure between {}, of all such interfaces together.";
        SlipMax: "contact_{}_slip_max_mm", Mm,
            "Largest slip under pressure between {} since the load case began.";
        OpeningMax: "contact_{}_opening_max_mm", Mm,
            "Largest gap between {} at the end of the load case.";
    }
}

of_each! {
    /// State of the interfaces of a given kind.
    ContactAt = Contact of InterfaceKind
}

/// Half of the fracture that a clamp's compression is summed over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FractureColumn {
    /// Medial half.
    Medial,
    /// Lateral half.
    Lateral,
}

impl FractureColumn {
    /// Both, in column order.
    pub const ALL: [FractureColumn; 2] = [FractureColumn::Medial, FractureColumn::Lateral];
}

family! {
    /// Preload left in screws and fracture.
    Preload {
        TensionLeftLeast: "preload_left_least", One,
            "Tension left in a tightened screw over the tension it was tightened to, the least of all such screws: mean section force of the slab of tetrahedra across the free shank.";
        TensionLeftMean: "preload_left_mean", One,
            "The same, mean over all tightened screws.";
        CompressionMedial: "compression_left_medial_n", N,
            "Integral of the pressure over the medial half of the supracondylar fracture before any load, once its clamp is off.";
        CompressionLateral: "compression_left_lateral_n", N,
            "The same over the lateral half.";
    }
}

impl Preload {
    /// Compression that a clamp left across a column of the fracture.
    pub const fn compression(column: FractureColumn) -> Preload {
        match column {
            FractureColumn::Medial => Preload::CompressionMedial,
            FractureColumn::Lateral => Preload::CompressionLateral,
        }
    }
}
