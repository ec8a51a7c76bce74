//! Responses of the bone at a plate's last screw, beyond its proximal end, and along the shaft.

use crate::id::ResponseId;
use crate::row::ErrorEstimation::Hotspot;
use crate::row::{Member, family, of_each};
use bicolumn_base::PlateSite;

/// Column of the bone that a plate stands for in the tables: medial, or the other plate of the construct.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PlateColumn {
    /// The medial plate.
    Medial,
    /// The lateral plate (parallel construct) or the posterolateral plate (orthogonal).
    Other,
}

impl PlateColumn {
    /// Both, in column order.
    pub const ALL: [PlateColumn; 2] = [PlateColumn::Medial, PlateColumn::Other];

    pub(crate) const fn member(self) -> Member {
        match self {
            PlateColumn::Medial => Member {
                name: "medial",
                definition: "the medial plate",
                word: "medial",
            },
            PlateColumn::Other => Member {
                name: "other",
                definition: "the lateral plate (parallel construct) or the posterolateral plate (orthogonal)",
                word: "other",
            },
        }
    }
}

impl From<PlateSite> for PlateColumn {
    fn from(site: PlateSite) -> PlateColumn {
        match site {
            PlateSite::Medial => PlateColumn::Medial,
            PlateSite::Lateral | PlateSite::Posterolateral => PlateColumn::Other,
        }
    }
}

family! {
    /// Largest value over the plates of a construct.
    LargestOfPlates {
        LastScrew: "last_screw_max_mpa", Mpa,
            "Larger of the plates' last_screw values.",
            words("bone stress at the last screw"), head("last screw"), estimated_by(Hotspot);
        LastScrewFactor: "last_screw_factor_max", One,
            "Larger of the plates' last_screw_factor values.",
            words("concentration factor at the last screw"), head("factor, last screw");
        BeyondEnd: "beyond_end_max_mpa", Mpa,
            "Larger of the plates' beyond_end values.",
            words("bone stress beyond the plate's end"), head("beyond the end"), estimated_by(Hotspot);
        BeyondEndFactor: "beyond_end_factor_max", One,
            "Larger of the plates' beyond_end_factor values.",
            words("concentration factor beyond the plate's end"), head("factor, beyond");
        BeyondEndP99: "beyond_end_p99_max_mpa", Mpa,
            "Larger of the plates' beyond_end_p99 values.",
            words("bone stress beyond the plate's end (99th percentile)");
    }
}

impl LargestOfPlates {
    /// Response of one plate that this is the largest of.
    pub fn of_one_plate(self, plate: PlateColumn) -> ResponseId {
        match self {
            LargestOfPlates::LastScrew => LastScrew::Structural.of(plate).into(),
            LargestOfPlates::LastScrewFactor => LastScrew::Factor.of(plate).into(),
            LargestOfPlates::BeyondEnd => BeyondEnd::Hotspot.of(plate).into(),
            LargestOfPlates::BeyondEndFactor => BeyondEnd::Factor.of(plate).into(),
            LargestOfPlates::BeyondEndP99 => BeyondEnd::P99Mises.of(plate).into(),
        }
    }
}

family! {
    /// Bone stress at the most proximal shaft screw of one plate.
    LastScrew {
        Structural: "last_screw_{}_mpa", Mpa,
            "Structural hot-spot stress of the bone at the last screw (the shaft screw that enters the bone most proximally) of {}: von Mises stress extrapolated linearly to the wall of the screw's cylinder from 0.4 t and 1.0 t off it, 5/3 s(0.4 t) - 2/3 s(1.0 t) (rule of surface extrapolation of structural hot-spot stress, Hobbacher 2016, IIW Recommendations for Fatigue Design of Welded Joints, from memory), t the mean thickness of the cortical wall at the level of the screw's entry (of the lowest level at which the shaft is an empty tube, where the entry is lower); s: mean over a ball of radius 0.7816 mm centred on the bone's outer surface, volume-weighted over the cortical bone of the proximal fragment in it (cubic pattern of points 0.2 mm apart; balls with less than 0.25 mm3 not counted); the largest of 72 directions round the screw. Its place is on the wall. Near side only: where a screw leaves the far cortex it is not read.",
            words("bone stress at the last screw, {} plate"), head("{} last screw"), estimated_by(Hotspot);
        Factor: "last_screw_factor_{}", One,
            "Concentration factor at the last screw of {}: last_screw / nominal beam stress of the intact section at the level of its place (see last_screw_beam)."  ,
            words("concentration factor at the {} plate's last screw"), head("{} factor");
        Beam: "last_screw_beam_{}_mpa", Mpa,
            "Nominal beam stress of the intact section at the level of the place of last_screw of {}: largest on the outline of sqrt(s^2 + 3 t^2), s = F/A + M c/I (unsymmetric bending), t = T c/J, section properties integrated from the bone's outer and inner surface, J the polar second moment; transverse shear not counted. Only where the shaft is an empty tube.";
        Tension: "last_screw_tension_{}_mpa", Mpa,
            "Largest principal stress at the place of last_screw of {}, of the stress tensor extrapolated by the same rule; tension positive.";
        Compression: "last_screw_compression_{}_mpa", Mpa,
            "Least principal stress of the same tensor at {}; compression negative.";
        TensionStrain: "last_screw_tension_strain_{}_percent", Percent,
            "Largest principal strain of the same tensor at {}, by the elasticity of the bone there.";
        CompressionStrain: "last_screw_compression_strain_{}_percent", Percent,
            "Least principal strain of the same tensor at {}; shortening negative.";
        OfYield: "last_screw_of_yield_{}_percent", Percent,
            "Part of yield at the place of last_screw of {}: the larger of principal strain / 0.66 % in tension and / 1.0 % in compression (yield stress 115 and 182 MPa over 17.4 and 18.2 GPa along the bone, human femur, Reilly and Burstein 1975, J Biomech 8:393, from memory). A linear model's strain: above 100 % it says only that the bone would yield."  ,
            words("part of yield at the {} plate's last screw"), head("{} of yield");
    }
}

of_each! {
    /// Bone stress at the last screw of a given plate.
    LastScrewAt = LastScrew of PlateColumn
}

family! {
    /// Bone stress beyond the proximal end of one plate.
    BeyondEnd {
        Hotspot: "beyond_end_{}_mpa", Mpa,
            "Bone hot-spot beyond the proximal end of {}: largest mean von Mises stress over the balls of last_screw; centres: points spread over the outer cortex of the proximal fragment, one for each triangle of edges of 0.25 mm at most, from the level of the plate's end to one shaft diameter above it (circle of the same area as the outer section at that level), at most half of (plate width + 5 mm) across from the plate's centre line, gone on straight, on the plate's side of the shaft axis; screws' neighbourhoods apart: nearer to the wall of any screw's cylinder than the thickness t of last_screw, or than 1.0 mm to the outline or an empty hole's rim of a plate without stand-off, no centre. A maximum on the edge of that region is no peak of its own: its edge column says which edge.",
            words("bone stress beyond the {} plate's end"), head("beyond {} end"), estimated_by(Hotspot);
        Factor: "beyond_end_factor_{}", One,
            "Concentration factor beyond the end of {}: beyond_end / nominal beam stress of the intact section at the level of its place.",
            words("concentration factor beyond the {} plate's end"), head("{} factor");
        Beam: "beyond_end_beam_{}_mpa", Mpa,
            "Nominal beam stress, as last_screw_beam, at the level of the place of beyond_end of {}.";
        P99Mises: "beyond_end_p99_{}_mpa", Mpa,
            "99th percentile by area of von Mises stress on the outer cortex of the proximal fragment in the region of beyond_end of {}."  ;
        Intact: "beyond_end_intact_{}_mpa", Mpa,
            "Largest ball mean of the intact, plate-free bone under the same load over the centres of beyond_end of {}.";
        IntactRatio: "beyond_end_intact_ratio_{}", One,
            "beyond_end / beyond_end_intact of {}: each the largest over the same centres, at its own place.",
            words("beyond the {} plate's end / intact"), head("{} / intact");
        Tension: "beyond_end_tension_{}_mpa", Mpa,
            "Largest principal stress of the mean stress tensor over the ball of beyond_end of {}; tension positive.";
        Compression: "beyond_end_compression_{}_mpa", Mpa,
            "Least principal stress of the same tensor at {}; compression negative.";
        TensionStrain: "beyond_end_tension_strain_{}_percent", Percent,
            "Largest principal strain of the same tensor at {}, by the elasticity of the bone there.";
        CompressionStrain: "beyond_end_compression_strain_{}_percent", Percent,
            "Least principal strain of the same tensor at {}; shortening negative.";
        OfYield: "beyond_end_of_yield_{}_percent", Percent,
            "Part of yield at the place of beyond_end of {}, as last_screw_of_yield."  ;
    }
}

of_each! {
    /// Bone stress beyond the proximal end of a given plate.
    BeyondEndAt = BeyondEnd of PlateColumn
}

family! {
    /// Bone stress along the shaft.
    Shaft {
        Peak: "shaft_peak_mpa", Mpa,
            "Largest value of the shaft stress profile: over all 1 mm bands of level above the fracture, the 99th percentile by area of von Mises stress on the outer cortex of the proximal fragment, the 1.0 mm collars of screws and bonded plate edges left out, and the bands within one shaft diameter of the clamped face too, whose restraint raises it. Its place is the middle of the band on the shaft axis.",
            words("shaft peak stress");
        Factor: "shaft_factor_max", One,
            "Largest ratio of a band's 99th percentile (see shaft_peak) to the nominal beam stress of the intact section at its level, over the same bands where the shaft is an empty tube.",
            words("largest stress along the shaft / nominal"), head("shaft / nominal");
    }
}
