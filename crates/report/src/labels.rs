//! Words for names: responses, factors, load cases.

use crate::number::plain;
use bicolumn_base::Unit;
use bicolumn_store::FactorValue;
use bicolumn_store::results::unit_of_key;

/// The signed distance between the plates' ends; its levels are printed with their sign.
pub const STAGGER: &str = "plates.stagger_mm";

/// Name of a response in a sentence; names without an entry are spelt out.
pub fn response_words(name: &str) -> String {
    let known = match name {
        "plate_end_hotspot_max_mpa" => "plate-end bone stress (hot-spot)",
        "plate_end_hotspot_medial_mpa" => "hot-spot at the medial plate's end",
        "plate_end_hotspot_other_mpa" => "hot-spot at the other plate's end",
        "plate_end_p99_mises_max_mpa" => "plate-end bone stress (99th percentile)",
        "plate_end_band_ratio_max" => "plate-end peak / intact peak",
        "plate_end_riser_ratio_max" => "plate-end stress / intact, same place",
        "stiffness_n_per_mm" => "stiffness",
        "rotation_stiffness_nmm_per_deg" => "rotational stiffness",
        "motion_axial_medial_mm" => "axial motion, medial",
        "motion_axial_lateral_mm" => "axial motion, lateral",
        "motion_shear_medial_mm" => "shear motion, medial",
        "motion_shear_lateral_mm" => "shear motion, lateral",
        "implant_hotspot_plate_medial_mpa" => "medial plate stress (hot-spot)",
        "implant_hotspot_plate_other_mpa" => "other plate stress (hot-spot)",
        "implant_hotspot_screws_mpa" => "screw stress (hot-spot)",
        "shaft_peak_mpa" => "shaft peak stress",
        _ => return Unit::stem(name).replace('_', " "),
    };
    known.to_string()
}

/// The head of a response's column in a narrow table.
pub fn response_head(name: &str) -> String {
    let known = match name {
        "plate_end_hotspot_max_mpa" => "plate-end stress",
        "plate_end_hotspot_medial_mpa" => "medial plate's end",
        "plate_end_hotspot_other_mpa" => "other plate's end",
        "plate_end_band_ratio_max" => "peak / intact",
        "rotation_stiffness_nmm_per_deg" => "rotation",
        "motion_axial_medial_mm" => "axial, medial",
        "motion_axial_lateral_mm" => "axial, lateral",
        "motion_shear_medial_mm" => "shear, medial",
        "motion_shear_lateral_mm" => "shear, lateral",
        "implant_hotspot_plate_medial_mpa" => "medial plate",
        "implant_hotspot_plate_other_mpa" => "other plate",
        _ => return response_words(name),
    };
    known.to_string()
}

/// A key or name without its section and unit, in words: `plates.stagger_mm` is "stagger".
pub fn factor_words(key: &str) -> String {
    let last = key.rsplit('.').next().unwrap_or(key);
    Unit::stem(last).replace('_', " ")
}

/// A load case in words.
pub fn case_words(case: &str) -> String {
    case.replace('_', " ")
}

/// A factor's level with its unit: "−20 mm", "parallel".
pub fn level_words(key: &str, level: &FactorValue) -> String {
    match level {
        FactorValue::Number(n) => with_unit(&level_number(key, *n), unit_of_key(key)),
        FactorValue::Word(w) => w.replace('_', " "),
        FactorValue::Flag(true) => "yes".into(),
        FactorValue::Flag(false) => "no".into(),
    }
}

/// A factor's numerical level without its unit.
pub fn level_number(key: &str, level: f64) -> String {
    match key == STAGGER && level > 0.0 {
        true => format!("+{}", plain(level)),
        false => plain(level),
    }
}

/// A number and its unit with a space that does not break; ratios have none.
pub fn with_unit(number: &str, unit: &str) -> String {
    match unit {
        "" | "1" => number.to_string(),
        unit => format!("{number}\u{a0}{}", shown_unit(unit)),
    }
}

/// A unit's symbol as it is typeset; a text that is no symbol stays as it is.
pub fn shown_unit(unit: &str) -> String {
    match Unit::from_symbol(unit) {
        Some(known) => known.typeset().into(),
        None => unit.into(),
    }
}

/// The first letter in upper case.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_become_words() {
        assert_eq!(factor_words("plates.stagger_mm"), "stagger");
        assert_eq!(factor_words("construct.layout"), "layout");
        assert_eq!(response_words("load_displacement_mm"), "load displacement");
        assert_eq!(
            level_words("plates.stagger_mm", &FactorValue::Number(-20.0)),
            "−20\u{a0}mm"
        );
        assert_eq!(level_number(STAGGER, 20.0), "+20");
        assert_eq!(level_number("fracture.gap_mm", 20.0), "20");
        assert_eq!(with_unit("2.1", "1"), "2.1");
        assert_eq!(with_unit("2.1", "N.mm/deg"), "2.1\u{a0}N·mm/°");
        assert_eq!(capital("shaft"), "Shaft");
    }
}
