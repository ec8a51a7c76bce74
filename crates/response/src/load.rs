//! Responses of the load's own displacement: stiffness and rotation.

use crate::row::ErrorEstimation::{Couple, Load as OwnLoad};
use crate::row::family;

family! {
    /// Displacement, rotation and stiffness at the load.
    Load {
        Stiffness: "stiffness_n_per_mm", NPerMm,
            "Construct stiffness, work-conjugate: |F| divided by load_displacement_mm. Not for a pure couple. In four-point bending |F| is the force of both noses. Of a whole test: a rig in series (supports.rig_n_per_mm) is in it.",
            words("stiffness"), estimated_by(OwnLoad);
        Displacement: "load_displacement_mm", Mm,
            "Travel of the load along its line: (sum of nodal force . displacement) / |F|, F the resultant of the applied forces, in four-point bending the force of both noses, whose mean travel seen from the supports it then is; plus |F| over supports.rig_n_per_mm where that is given. Travel times |F| is twice the strain energy of construct and rig.",
            estimated_by(OwnLoad);
        RotationStiffness: "rotation_stiffness_nmm_per_deg", NmmPerDeg,
            "Moment divided by load_rotation_deg. The moment is the couple, or that of a transverse force about the middle of the fracture gap on the shaft axis (about the shaft axis at the potting when there is no fracture). Not for a force within 30 degrees of the shaft.",
            words("rotational stiffness"), head("rotation"), estimated_by(Couple);
        Rotation: "load_rotation_deg", Deg,
            "Rotation of the loaded joint surface about the axis of that moment: least-squares rigid rotation, area-weighted over all loaded facets, seen from the block at the shaft's end; plus the moment over supports.rig_nmm_per_deg where that is given.",
            estimated_by(Couple);
        BendingRigidity: "bending_structural_stiffness_nmm2", Nmm2,
            "Four-point bending alone: flexural rigidity EI of the uniform slender beam that would be as stiff, from stiffness_n_per_mm and the rollers' levels; with spans h outside and a between the noses stiffness times h^2 (2h + 3a) / 12, the form of ASTM F382. Shear, dents under the rollers and a rig in series make it less than the shaft's own.",
            words("bending structural stiffness"), head("bending EI"), estimated_by(OwnLoad);
    }
}
