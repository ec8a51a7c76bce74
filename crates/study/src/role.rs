//! Roles of interfaces in a construct.

/// Role of an interface: the kinds of its two sides.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Role {
    /// A plate on bone.
    Plate,
    /// A head in its seat in a plate.
    Seat,
    /// A head on the bone under it.
    UnderHead,
    /// A lag screw in the hole that it glides in.
    Glide,
    /// A shank in bone.
    Shank,
    /// The fragments above and below the fracture.
    Fracture,
    /// The two distal fragments.
    Split,
}
