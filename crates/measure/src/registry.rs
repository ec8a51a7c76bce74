//! Names, units and definitions of every response.

use serde::{Deserialize, Serialize};

/// One response's entry in `columns.json`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Definition {
    /// Column name; ends in the unit, ratios excepted.
    pub name: String,
    /// Unit; `1` for a ratio.
    pub unit: String,
    /// What it is, exactly.
    pub definition: String,
}

/// All responses, in column order.
///
/// ```
/// let all = bicolumn_measure::definitions();
/// assert!(all.iter().any(|d| d.name == "plate_end_hotspot_medial_mpa" && d.unit == "MPa"));
/// ```
pub fn definitions() -> Vec<Definition> {
    let mut all: Vec<Definition> = Vec::new();
    let mut add = |rows: &[(&str, &str, &str)], plate: &str, plate_words: &str| {
        for (name, unit, definition) in rows {
            all.push(Definition {
                name: name.replace("PLATE", plate),
                unit: (*unit).to_string(),
                definition: definition.replace("PLATE", plate_words),
            });
        }
    };
    add(LOAD, "", "");
    add(MOTION, "", "");
    add(PLATE_END_MAX, "", "");
    for (plate, words) in PLATES {
        add(PLATE_END, plate, words);
    }
    add(SHAFT, "", "");
    for (plate, words) in PLATES {
        add(PLATE_DEMAND, plate, words);
    }
    add(SCREWS, "", "");
    add(SCREW_FORCES, "", "");
    for (plate, words) in PLATES {
        add(PLATE_FORCES, plate, words);
    }
    for (carrier, words) in CARRIERS {
        add(SHARES, carrier, words);
    }
    for (kind, words) in CONTACTS {
        add(CONTACT, kind, words);
    }
    add(PRELOAD, "", "");
    add(TRUST, "", "");
    all
}

const PLATES: [(&str, &str); 2] = [
    ("medial", "the medial plate"),
    (
        "other",
        "the lateral plate (parallel construct) or the posterolateral plate (orthogonal)",
    ),
];

const LOAD: &[(&str, &str, &str)] = &[
    (
        "stiffness_n_per_mm",
        "N/mm",
        "Construct stiffness, work-conjugate: |F| divided by load_displacement_mm. Not for a pure couple.",
    ),
    (
        "load_displacement_mm",
        "mm",
        "Displacement of the load: (sum of nodal force . displacement) / |F|, F the resultant force.",
    ),
    (
        "rotation_stiffness_nmm_per_deg",
        "N.mm/deg",
        "Moment divided by load_rotation_deg. The moment is the couple, or that of a transverse force about the middle of the fracture gap on the shaft axis (about the shaft axis at the potting when there is no fracture). Not for a force within 30 degrees of the shaft.",
    ),
    (
        "load_rotation_deg",
        "deg",
        "Rotation of the loaded joint surface about the axis of that moment: least-squares rigid rotation, area-weighted over all loaded facets.",
    ),
];

const MOTION: &[(&str, &str, &str)] = &[
    (
        "motion_axial_medial_mm",
        "mm",
        "Interfragmentary axial motion at the medial column: relative displacement of the fracture faces along the fracture normal, closing negative, rigid motion (translation and rotation) of the proximal face removed; points of the distal face matched straight across the gap; area-weighted mean over the medial quarter of the matched face's width.",
    ),
    (
        "motion_axial_lateral_mm",
        "mm",
        "As motion_axial_medial_mm, over the lateral quarter.",
    ),
    (
        "motion_axial_anterior_mm",
        "mm",
        "As motion_axial_medial_mm, over the anterior quarter of the matched face's depth.",
    ),
    (
        "motion_axial_posterior_mm",
        "mm",
        "As motion_axial_medial_mm, over the posterior quarter of the matched face's depth.",
    ),
    (
        "motion_axial_mean_mm",
        "mm",
        "As motion_axial_medial_mm, over the whole matched face.",
    ),
    (
        "motion_axial_max_mm",
        "mm",
        "Axial motion of largest size over the matched face, with its sign.",
    ),
    (
        "motion_shear_medial_mm",
        "mm",
        "Interfragmentary shear at the medial column: size of the relative displacement in the fracture plane, matched and averaged as motion_axial_medial_mm.",
    ),
    (
        "motion_shear_lateral_mm",
        "mm",
        "As motion_shear_medial_mm, over the lateral quarter.",
    ),
    (
        "motion_shear_anterior_mm",
        "mm",
        "As motion_shear_medial_mm, over the anterior quarter.",
    ),
    (
        "motion_shear_posterior_mm",
        "mm",
        "As motion_shear_medial_mm, over the posterior quarter.",
    ),
    (
        "motion_shear_mean_mm",
        "mm",
        "As motion_shear_medial_mm, over the whole matched face.",
    ),
    (
        "motion_shear_max_mm",
        "mm",
        "Largest shear over the matched face.",
    ),
    (
        "motion_rotation_axial_deg",
        "deg",
        "Rotation of the distal fracture face against the proximal one (difference of the two best-fit rigid rotations) about the fracture normal, right-hand rule, normal pointing proximally.",
    ),
    (
        "motion_rotation_sagittal_deg",
        "deg",
        "The same about the lateral axis in the fracture plane (flexion and extension).",
    ),
    (
        "motion_rotation_coronal_deg",
        "deg",
        "The same about the anterior axis in the fracture plane (varus and valgus).",
    ),
    (
        "strain_axial_medial_percent",
        "%",
        "Interfragmentary strain: 100 * motion_axial_medial_mm / gap height; closing negative.",
    ),
    (
        "strain_axial_lateral_percent",
        "%",
        "100 * motion_axial_lateral_mm / gap height.",
    ),
    (
        "strain_axial_mean_percent",
        "%",
        "100 * motion_axial_mean_mm / gap height.",
    ),
];

const PLATE_END_MAX: &[(&str, &str, &str)] = &[
    (
        "plate_end_hotspot_max_mpa",
        "MPa",
        "Larger of the plates' plate_end_hotspot values.",
    ),
    (
        "plate_end_p99_mises_max_mpa",
        "MPa",
        "Larger of the plates' plate_end_p99_mises values.",
    ),
    (
        "plate_end_riser_ratio_max",
        "1",
        "Larger of the plates' plate_end_riser_ratio values.",
    ),
    (
        "plate_end_band_ratio_max",
        "1",
        "Larger of the plates' plate_end_band_ratio values.",
    ),
];

const PLATE_END: &[(&str, &str, &str)] = &[
    (
        "plate_end_hotspot_PLATE_mpa",
        "MPa",
        "Bone hot-spot at the proximal end of PLATE: largest mean von Mises stress over a ball of radius 0.7816 mm (its inner half on a flat surface holds 1 mm3), volume-weighted over the cortical bone of the proximal fragment inside the ball (cubic pattern of points 0.2 mm apart; balls with less than 0.25 mm3 not counted); centres: points spread over the outer cortex of the proximal fragment, one for each triangle of edges of 0.25 mm at most, from one shaft diameter above to half a diameter below the level of the plate's end (shaft diameter: circle of the same area as the outer section at that level), at most half of (plate width + 5 mm) across from the plate's centre line (straight on beyond the end), on the plate's side of the shaft axis; centres within 1.0 mm of a screw's cylinder, or of the outline or an empty hole's rim of a plate without stand-off, left out.",
    ),
    (
        "plate_end_hotspot_collar_PLATE_mpa",
        "MPa",
        "As plate_end_hotspot of PLATE, centres within 1.0 mm of screw holes and bonded plate edges included. Depends on the mesh where an edge is bonded.",
    ),
    (
        "plate_end_p99_mises_PLATE_mpa",
        "MPa",
        "99th percentile by area of von Mises stress on the outer cortex of the proximal fragment in the band of plate_end_hotspot of PLATE, the 1.0 mm collars left out.",
    ),
    (
        "plate_end_p99_principal_PLATE_mpa",
        "MPa",
        "As plate_end_p99_mises of PLATE, of the largest principal stress (tension positive).",
    ),
    (
        "plate_end_p99_mises_collar_PLATE_mpa",
        "MPa",
        "99th percentile by area of von Mises stress over the 1.0 mm collars of that band alone.",
    ),
    (
        "plate_end_intact_PLATE_mpa",
        "MPa",
        "Mean von Mises stress of the hot-spot's ball at PLATE in the intact, plate-free bone under the same load.",
    ),
    (
        "plate_end_riser_ratio_PLATE",
        "1",
        "Stress-riser ratio: plate_end_hotspot / plate_end_intact of PLATE, same place. Large where the intact bone is little stressed at that place: read with plate_end_band_ratio.",
    ),
    (
        "plate_end_band_intact_PLATE_mpa",
        "MPa",
        "Largest ball mean of the intact bone over the same centres as plate_end_hotspot of PLATE.",
    ),
    (
        "plate_end_band_ratio_PLATE",
        "1",
        "Peak ratio: plate_end_hotspot / plate_end_band_intact of PLATE, same band, each at its own place.",
    ),
    (
        "plate_end_beam_PLATE_mpa",
        "MPa",
        "Nominal beam stress of the intact section through the hot-spot at PLATE: largest on the outline of sqrt(s^2 + 3 t^2), s = F/A + M c/I (unsymmetric bending), t = T c/J, section properties integrated from the bone's outer and inner surface, J the polar second moment; transverse shear not counted. Only where the shaft is an empty tube.",
    ),
    (
        "plate_end_beam_ratio_PLATE",
        "1",
        "plate_end_hotspot / plate_end_beam of PLATE.",
    ),
];

const SHAFT: &[(&str, &str, &str)] = &[(
    "shaft_peak_mpa",
    "MPa",
    "Largest value of the shaft stress profile: over all 1 mm bands of level above the fracture, the 99th percentile by area of von Mises stress on the outer cortex of the proximal fragment, the 1.0 mm collars left out. Its place is the middle of the band on the shaft axis.",
)];

const PLATE_DEMAND: &[(&str, &str, &str)] = &[(
    "implant_hotspot_plate_PLATE_mpa",
    "MPa",
    "Largest mean von Mises stress of PLATE over a ball of radius 0.7816 mm, over the plate's material inside the ball; centres: middles of all facets of the plate.",
)];

const SCREWS: &[(&str, &str, &str)] = &[(
    "implant_hotspot_screws_mpa",
    "MPa",
    "The same over all screws, each screw's own material only.",
)];

const SCREW_FORCES: &[(&str, &str, &str)] = &[
    (
        "screw_axial_max_n",
        "N",
        "Axial force in a screw's shank, of largest size over all screws and cuts, tension positive: resultant of the nodal forces on the part of the screw beyond the cut, along its axis. Cuts: the underside of a plate that stands off, the bone's surface under head or plate, the middle planes of fracture and split where the screw crosses them. Tightening included. Each screw's own values are in screws.csv.",
    ),
    (
        "screw_shear_max_n",
        "N",
        "Largest shear force in a shank, over the screws and cuts of screw_axial_max_n: size of the resultant across the axis.",
    ),
    (
        "screw_bending_max_nmm",
        "N.mm",
        "Largest bending moment in a shank, over the same: size of the moment of those nodal forces about the point of the axis at the cut, across the axis.",
    ),
    (
        "screw_torque_max_nmm",
        "N.mm",
        "Torque in a shank of largest size, over the same: that moment along the axis, on the part beyond, right-hand rule towards the tip.",
    ),
];

const PLATE_FORCES: &[(&str, &str, &str)] = &[
    (
        "plate_axial_max_PLATE_n",
        "N",
        "Axial force of largest size through sections of PLATE square to its length, 1 mm apart, tension positive: resultant of the nodal forces of screws and bone on its part distal of the section. Tightening included.",
    ),
    (
        "plate_bending_max_PLATE_nmm",
        "N.mm",
        "Largest bending moment through those sections: size of the moment across the plate's length, about the middle of its thickness on its centre line.",
    ),
    (
        "plate_torque_max_PLATE_nmm",
        "N.mm",
        "Torque of largest size through those sections, about the same, on the distal part, right-hand rule towards proximal.",
    ),
];

/// Who shares the load, in place of PLATE.
const CARRIERS: [(&str, &str); 4] = [
    ("bone", "all bone and tissue in the gap"),
    ("medial", "the medial plate"),
    ("other", "the lateral or posterolateral plate"),
    ("screws", "all screws"),
];

const SHARES: &[(&str, &str, &str)] = &[
    (
        "share_axial_gap_PLATE",
        "1",
        "Share of PLATE in the axial force through the horizontal section at the middle of the fracture, from the nodal forces on its part below the section. The shares of bone, plates and screws add up to 1; one may be negative or above 1. Only where the load below acts within 30 degrees of the shaft.",
    ),
    (
        "share_moment_gap_PLATE",
        "1",
        "Share of PLATE in the moment through that section about the shaft's axis, along the direction of the total moment; axial forces of plates off the axis count by their lever arm. Only where the load below is a couple or acts more than 30 degrees from the shaft.",
    ),
    (
        "share_axial_shaft_PLATE",
        "1",
        "As share_axial_gap of PLATE, half-way from the middle of the fracture to the lower of the plates' proximal ends.",
    ),
    (
        "share_moment_shaft_PLATE",
        "1",
        "As share_moment_gap of PLATE, at that level.",
    ),
];

/// Kinds of interfaces, in place of PLATE.
const CONTACTS: [(&str, &str); 4] = [
    ("plate", "plates and bone"),
    ("head", "heads and their seats, or the bone under them"),
    ("screw", "shanks and bone"),
    ("fracture", "faces of the fracture and of the split"),
];

const CONTACT: &[(&str, &str, &str)] = &[
    (
        "contact_PLATE_pressure_max_mpa",
        "MPa",
        "Largest contact pressure between PLATE, at a corner of the interface's facets, spread by its linear hat. Swings with the pattern of the facets: compare areas and forces first. Only where that interface can open.",
    ),
    (
        "contact_PLATE_area_mm2",
        "mm2",
        "Area under pressure between PLATE, of all such interfaces together.",
    ),
    (
        "contact_PLATE_force_n",
        "N",
        "Integral of the contact pressure between PLATE, of all such interfaces together.",
    ),
    (
        "contact_PLATE_slip_max_mm",
        "mm",
        "Largest slip under pressure between PLATE since the load case began.",
    ),
    (
        "contact_PLATE_opening_max_mm",
        "mm",
        "Largest gap between PLATE at the end of the load case.",
    ),
];

const PRELOAD: &[(&str, &str, &str)] = &[
    (
        "preload_left_least",
        "1",
        "Tension left in a tightened screw over the tension it was tightened to, the least of all such screws: mean section force of the slab of tetrahedra across the free shank.",
    ),
    (
        "preload_left_mean",
        "1",
        "The same, mean over all tightened screws.",
    ),
    (
        "compression_left_medial_n",
        "N",
        "Integral of the pressure over the medial half of the supracondylar fracture before any load, once its clamp is off.",
    ),
    (
        "compression_left_lateral_n",
        "N",
        "The same over the lateral half.",
    ),
];

const TRUST: &[(&str, &str, &str)] = &[
    (
        "reaction_force_n",
        "N",
        "Size of the summed reactions at the potting.",
    ),
    (
        "equilibrium_relative",
        "1",
        "Larger of |sum of reactions + loads| / |loads| for force and for moment about the origin (moment relative to the larger of load moment and force * 100 mm).",
    ),
    (
        "residual_relative",
        "1",
        "Relative residual of the linear system at the end, |b - K u| / |b|.",
    ),
    (
        "energy_total_nmm",
        "N.mm",
        "Strain energy from the work of the loads: half the sum of nodal force . displacement.",
    ),
    (
        "energy_bone_nmm",
        "N.mm",
        "Strain energy in both fragments, element by element with the stiffness of the solution; the parts sum to energy_total_nmm.",
    ),
    (
        "energy_plate_medial_nmm",
        "N.mm",
        "The same in the medial plate.",
    ),
    (
        "energy_plate_other_nmm",
        "N.mm",
        "The same in the other plate.",
    ),
    ("energy_screws_nmm", "N.mm", "The same in all screws."),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_unique_end_in_their_unit_and_are_filled_in() {
        let all = definitions();
        let suffix = |unit: &str| match unit {
            "MPa" => "_mpa",
            "mm" => "_mm",
            "N/mm" => "_n_per_mm",
            "N.mm/deg" => "_nmm_per_deg",
            "deg" => "_deg",
            "%" => "_percent",
            "N" => "_n",
            "mm2" => "_mm2",
            "N.mm" => "_nmm",
            _ => "",
        };
        for (i, d) in all.iter().enumerate() {
            assert!(d.name.ends_with(suffix(&d.unit)), "{}", d.name);
            assert!(d.unit == "1" || !suffix(&d.unit).is_empty(), "{}", d.unit);
            assert!(!d.name.contains("PLATE") && !d.definition.contains("PLATE"));
            assert!(all[..i].iter().all(|e| e.name != d.name), "{}", d.name);
        }
    }
}
