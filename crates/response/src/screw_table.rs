//! Columns of the table of screws: the forces at each cut, and the screw as built.

/// A column of `screws.csv`, behind the design point and its factors.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ScrewColumn {
    /// Name; it ends in the unit.
    pub name: &'static str,
    /// Symbol of the unit; empty for words and counts.
    pub unit: &'static str,
    /// Definition.
    pub definition: &'static str,
}

const fn column(name: &'static str, unit: &'static str, definition: &'static str) -> ScrewColumn {
    ScrewColumn {
        name,
        unit,
        definition,
    }
}

/// Columns of `screws.csv` behind the design point and its factors, in order: a row for each load case, screw and cut.
pub const SCREW_COLUMNS: [ScrewColumn; 26] = [
    column("case", "", "Load case."),
    column("screw", "", "Name of the screw."),
    column(
        "plate",
        "",
        "Site of its plate; empty: independent of plates.",
    ),
    column(
        "row",
        "",
        "Side of the fracture that it holds: shaft, distal; independent.",
    ),
    column(
        "cut",
        "",
        "Cut of the shank: plate_underside, bone_surface, fracture, split.",
    ),
    column("x_mm", "mm", "Point of the axis at the cut, anterior."),
    column("y_mm", "mm", "The same, proximal."),
    column("z_mm", "mm", "The same, lateral of a right bone."),
    column("axial_n", "N", "Axial force, tension positive."),
    column("shear_n", "N", "Size of the shear force."),
    column("bending_nmm", "N.mm", "Size of the bending moment."),
    column("torque_nmm", "N.mm", "Torque on the part beyond the cut."),
    column(
        "hole",
        "",
        "Hole of the plate that it sits in, counted from 1 at the plate's proximal end, distal holes after those over the shaft.",
    ),
    column(
        "from_end_mm",
        "mm",
        "Distance of that hole's centre from the plate's proximal end along the plate's centre line.",
    ),
    column(
        "tilt_deg",
        "deg",
        "Angle between the screw's axis and that of its hole, as built.",
    ),
    column(
        "longest_asked_mm",
        "mm",
        "Longest length asked for; empty for shaft screws, whose length follows from the bone.",
    ),
    column(
        "length_mm",
        "mm",
        "Length from the bone's surface to the tip, as built.",
    ),
    column(
        "cortices_asked",
        "",
        "Cortices that it was to hold in; empty for distal and independent screws, of which nothing is asked.",
    ),
    column(
        "cortices",
        "",
        "Walls of cortical bone that its axis passes, as built.",
    ),
    column("diameter_mm", "mm", "Diameter of its core."),
    column(
        "hold",
        "",
        "How it holds: locking, non_locking, lag, positional.",
    ),
    column("nearest_screw", "", "Nearest other screw."),
    column(
        "to_nearest_screw_mm",
        "mm",
        "Distance between both shanks' surfaces, each from its plate's outer face (or the bone's surface) to its tip, the ends taken as round.",
    ),
    column("nearest_plate", "", "Nearest plate that is not its own."),
    column(
        "to_nearest_plate_mm",
        "mm",
        "Distance of its shank's surface, with flat ends, from that plate without its holes; to 0.2 mm.",
    ),
    column(
        "given_up",
        "",
        "Departures of this screw from what was asked of it, with their reasons.",
    ),
];
