//! Responses of the bone near a plate's proximal end and along the shaft.

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
    PlateEndMax {
        Hotspot: "plate_end_hotspot_max_mpa", Mpa,
            "Larger of the plates' plate_end_hotspot values.",
            words("plate-end bone stress (hot-spot)"), head("plate-end stress"), estimated_by(Hotspot);
        P99Mises: "plate_end_p99_mises_max_mpa", Mpa,
            "Larger of the plates' plate_end_p99_mises values.",
            words("plate-end bone stress (99th percentile)");
        RiserRatio: "plate_end_riser_ratio_max", One,
            "Larger of the plates' plate_end_riser_ratio values.",
            words("plate-end stress / intact, same place");
        BandRatio: "plate_end_band_ratio_max", One,
            "Larger of the plates' plate_end_band_ratio values.",
            words("plate-end peak / intact peak"), head("peak / intact");
    }
}

impl PlateEndMax {
    /// Response of one plate that this is the largest of.
    pub const fn of_one_plate(self) -> PlateEnd {
        match self {
            PlateEndMax::Hotspot => PlateEnd::Hotspot,
            PlateEndMax::P99Mises => PlateEnd::P99Mises,
            PlateEndMax::RiserRatio => PlateEnd::RiserRatio,
            PlateEndMax::BandRatio => PlateEnd::BandRatio,
        }
    }
}

family! {
    /// Bone stress near the proximal end of one plate.
    PlateEnd {
        Hotspot: "plate_end_hotspot_{}_mpa", Mpa,
            "Bone hot-spot at the proximal end of {}: largest mean von Mises stress over a ball of radius 0.7816 mm (its inner half on a flat surface holds 1 mm3), volume-weighted over the cortical bone of the proximal fragment inside the ball (cubic pattern of points 0.2 mm apart; balls with less than 0.25 mm3 not counted); centres: points spread over the outer cortex of the proximal fragment, one for each triangle of edges of 0.25 mm at most, from one shaft diameter above to half a diameter below the level of the plate's end (shaft diameter: circle of the same area as the outer section at that level), at most half of (plate width + 5 mm) across from the plate's centre line (straight on beyond the end), on the plate's side of the shaft axis; centres within 1.0 mm of a screw's cylinder, or of the outline or an empty hole's rim of a plate without stand-off, left out.",
            words("hot-spot at the {} plate's end"), head("{} plate's end"), estimated_by(Hotspot);
        HotspotCollar: "plate_end_hotspot_collar_{}_mpa", Mpa,
            "As plate_end_hotspot of {}, centres within 1.0 mm of screw holes and bonded plate edges included. Depends on the mesh where an edge is bonded.";
        P99Mises: "plate_end_p99_mises_{}_mpa", Mpa,
            "99th percentile by area of von Mises stress on the outer cortex of the proximal fragment in the band of plate_end_hotspot of {}, the 1.0 mm collars left out.";
        P99Principal: "plate_end_p99_principal_{}_mpa", Mpa,
            "As plate_end_p99_mises of {}, of the largest principal stress (tension positive).";
        P99MisesCollar: "plate_end_p99_mises_collar_{}_mpa", Mpa,
            "99th percentile by area of von Mises stress over the 1.0 mm collars of that band alone.";
        Intact: "plate_end_intact_{}_mpa", Mpa,
            "Mean von Mises stress of the hot-spot's ball at {} in the intact, plate-free bone under the same load.";
        RiserRatio: "plate_end_riser_ratio_{}", One,
            "Stress-riser ratio: plate_end_hotspot / plate_end_intact of {}, same place. Large where the intact bone is little stressed at that place: read with plate_end_band_ratio.";
        BandIntact: "plate_end_band_intact_{}_mpa", Mpa,
            "Largest ball mean of the intact bone over the same centres as plate_end_hotspot of {}.";
        BandRatio: "plate_end_band_ratio_{}", One,
            "Peak ratio: plate_end_hotspot / plate_end_band_intact of {}, same band, each at its own place.";
        Beam: "plate_end_beam_{}_mpa", Mpa,
            "Nominal beam stress of the intact section through the hot-spot at {}: largest on the outline of sqrt(s^2 + 3 t^2), s = F/A + M c/I (unsymmetric bending), t = T c/J, section properties integrated from the bone's outer and inner surface, J the polar second moment; transverse shear not counted. Only where the shaft is an empty tube.";
        BeamRatio: "plate_end_beam_ratio_{}", One,
            "plate_end_hotspot / plate_end_beam of {}.";
    }
}

of_each! {
    /// Bone stress near the proximal end of a given plate.
    PlateEndAt = PlateEnd of PlateColumn
}

family! {
    /// Bone stress along the shaft.
    Shaft {
        Peak: "shaft_peak_mpa", Mpa,
            "Largest value of the shaft stress profile: over all 1 mm bands of level above the fracture, the 99th percentile by area of von Mises stress on the outer cortex of the proximal fragment, the 1.0 mm collars left out. Its place is the middle of the band on the shaft axis.",
            words("shaft peak stress");
    }
}
