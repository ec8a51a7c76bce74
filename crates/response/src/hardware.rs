//! Responses of plates and screws: their stress, their section forces, their share of the load.

use crate::bone_stress::PlateColumn;
use crate::row::{Member, family, of_each};
use serde::{Deserialize, Serialize};

family! {
    /// Stress in a plate.
    PlateStress {
        Hotspot: "implant_hotspot_plate_{}_mpa", Mpa,
            "Largest mean von Mises stress of {} over a ball of radius 0.7816 mm, over the plate's material inside the ball; centres: middles of all facets of the plate.",
            words("{} plate stress (hot-spot)"), head("{} plate");
    }
}

of_each! {
    /// Stress in a given plate.
    PlateStressAt = PlateStress of PlateColumn
}

family! {
    /// Stress in the screws.
    Hardware {
        ScrewHotspot: "implant_hotspot_screws_mpa", Mpa,
            "The same over all screws, each screw's own material only.",
            words("screw stress (hot-spot)");
    }
}

family! {
    /// Largest section force or moment in a screw's shank.
    ScrewForce {
        Axial: "screw_axial_max_n", N,
            "Axial force in a screw's shank, of largest size over all screws and cuts, tension positive: resultant of the nodal forces on the part of the screw beyond the cut, along its axis. Cuts: the underside of a plate that stands off, the bone's surface under head or plate, the middle planes of fracture and split where the screw crosses them. Tightening included. Each screw's own values are in screws.csv.";
        Shear: "screw_shear_max_n", N,
            "Largest shear force in a shank, over the screws and cuts of screw_axial_max_n: size of the resultant across the axis.";
        Bending: "screw_bending_max_nmm", Nmm,
            "Largest bending moment in a shank, over the same: size of the moment of those nodal forces about the point of the axis at the cut, across the axis.";
        Torque: "screw_torque_max_nmm", Nmm,
            "Torque in a shank of largest size, over the same: that moment along the axis, on the part beyond; right-hand rule towards the tip on a right bone, its mirror image on a left one.";
    }
}

family! {
    /// Largest section force or moment in a plate.
    PlateForce {
        Axial: "plate_axial_max_{}_n", N,
            "Axial force of largest size through sections of {} square to its length, 1 mm apart, tension positive: resultant of the nodal forces of screws and bone on its part distal of the section. Tightening included.";
        Bending: "plate_bending_max_{}_nmm", Nmm,
            "Largest bending moment through those sections: size of the moment across the plate's length, about the middle of its thickness on its centre line.";
        Torque: "plate_torque_max_{}_nmm", Nmm,
            "Torque of largest size through those sections, about the same, on the distal part; right-hand rule towards proximal on a right bone, its mirror image on a left one.";
    }
}

of_each! {
    /// Largest section force or moment in a given plate.
    PlateForceAt = PlateForce of PlateColumn
}

/// Carrier of a share of the load.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Carrier {
    /// All fragments, and tissue in the gap.
    Bone,
    /// The medial plate.
    PlateMedial,
    /// The lateral or posterolateral plate.
    PlateOther,
    /// All screws.
    Screws,
}

impl Carrier {
    /// All carriers, in column order.
    pub const ALL: [Carrier; 4] = [
        Carrier::Bone,
        Carrier::PlateMedial,
        Carrier::PlateOther,
        Carrier::Screws,
    ];

    pub(crate) const fn member(self) -> Member {
        let (name, definition) = match self {
            Carrier::Bone => ("bone", "all bone and tissue in the gap"),
            Carrier::PlateMedial => ("medial", "the medial plate"),
            Carrier::PlateOther => ("other", "the lateral or posterolateral plate"),
            Carrier::Screws => ("screws", "all screws"),
        };
        Member {
            name,
            definition,
            word: name,
        }
    }
}

family! {
    /// Share of the load in a horizontal section.
    Share {
        AxialGap: "share_axial_gap_{}", One,
            "Share of {} in the axial force through the horizontal section at the middle of the fracture, from the nodal forces on its part below the section. The shares of bone, plates and screws add up to 1; one may be negative or above 1. Only where the load below acts within 30 degrees of the shaft.";
        MomentGap: "share_moment_gap_{}", One,
            "Share of {} in the moment through that section about the shaft's axis, along the direction of the total moment; axial forces of plates off the axis count by their lever arm. Only where the load below is a couple or acts more than 30 degrees from the shaft.";
        AxialShaft: "share_axial_shaft_{}", One,
            "As share_axial_gap of {}, half-way from the middle of the fracture to the lower of the plates' proximal ends.";
        MomentShaft: "share_moment_shaft_{}", One,
            "As share_moment_gap of {}, at that level.";
    }
}

of_each! {
    /// Share of a given carrier.
    ShareAt = Share of Carrier
}
