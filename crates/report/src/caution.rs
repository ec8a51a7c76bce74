//! Caution of every page, and the effects that the model leaves out.

/// The caution at the top and the bottom of the page.
pub const CAUTION: &str = "Research tool, not a medical device. Results compare constructs under \
    idealised bone, interfaces and loads; they do not predict an outcome in a patient. Licensed \
    clinical judgement, local regulations and physical testing decide.";

/// Effects that the engine's model leaves out, in sentences.
pub(crate) const NOT_MODELLED: [&str; 9] = [
    "Bone is linear elastic: no yield, no damage, no density map of a person. It is \
     uniform within each tissue unless the inputs say otherwise; the inputs tell whether the cortex is transversely \
     isotropic, stiffest along the shaft, or isotropic. Cancellous bone is isotropic.",
    "Bone is an idealised shape: the parametric one, or an imported outside surface with an idealised \
     inside.",
    "Screws are smooth cylinders, no loosening; a thread is at most a hold along the axis. Unless the inputs \
     say otherwise they are bonded to bone and plate. Stress at a bonded edge grows with a finer mesh; the measures keep \
     away from such edges by a stated distance.",
    "Only interfaces that the inputs make frictional, frictionless or threaded slip and open, by small sliding: \
     who faces whom is not updated. Where plate and bone are apart, they may pass through each other \
     without noticing.",
    "Plates and screws are linear elastic: no plastic bending, no fatigue.",
    "The fracture's faces are planes: no comminution. An open gap is empty, or filled with a uniform \
     elastic tissue; faces that touch are one body unless the inputs say otherwise.",
    "Loads are static and idealised, spread over the joint surface: no muscle, no ligament, no \
     motion of the joint, no cycles.",
    "The shaft is held rigidly at its potting; stress near that plane belongs to the support.",
    "Displacements are small: geometry is not updated as the construct deforms.",
];
