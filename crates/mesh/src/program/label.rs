//! Labels of a construct while it is cut. Every label below [`PLATE`] that is not bone is dropped.

use crate::Label;

pub(crate) const CORTICAL: Label = Label(1);
pub(crate) const INSIDE: Label = Label(2);
pub(crate) const CANAL: Label = Label(3);
/// Fracture gap: empty, or filled with healing tissue.
pub(crate) const GAP: Label = Label(4);
/// Below the upper fracture plane, not yet told from the gap.
pub(crate) const BELOW_CORTICAL: Label = Label(5);
pub(crate) const BELOW_INSIDE: Label = Label(6);
pub(crate) const DISTAL_CORTICAL: Label = Label(7);
pub(crate) const DISTAL_INSIDE: Label = Label(8);
/// Void between a plate and the bone.
pub(crate) const UNDER: Label = Label(9);
/// Layer of a plate's thickness, before its outline is cut.
pub(crate) const SLAB: Label = Label(10);
/// Between the planes of a gap that one column bridges, not yet told from that column.
pub(crate) const BETWEEN_CORTICAL: Label = Label(11);
pub(crate) const BETWEEN_INSIDE: Label = Label(12);
/// The lateral part of a split distal fragment; the medial one keeps the label of the whole.
pub(crate) const LATERAL_CORTICAL: Label = Label(13);
pub(crate) const LATERAL_INSIDE: Label = Label(14);
/// Free ring round a non-locking screw in its plate.
pub(crate) const RING: Label = Label(15);
pub(crate) const PLATE: u8 = 20;
pub(crate) const SCREW: u8 = 24;
/// Added to a label inside a screw's cylinder before its tip is cut.
pub(crate) const IN_CYLINDER: u8 = 0x80;
pub(crate) const MOST_SCREWS: usize = (IN_CYLINDER - SCREW) as usize;

/// Void as far as cutting is concerned: nothing, or the slit under a plate.
pub(crate) fn is_void(l: Label) -> bool {
    l == Label::VOID || l == UNDER
}

/// Bone as far as screws are concerned: uncut by the fracture, the canal with it.
pub(crate) fn is_bone(l: Label) -> bool {
    matches!(l, CORTICAL | INSIDE | CANAL)
}

pub(crate) fn is_plate(l: Label) -> bool {
    (PLATE..SCREW).contains(&l.0)
}
