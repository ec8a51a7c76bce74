//! Words for names: responses, factors, load cases.

use crate::number::plain;
use bicolumn_base::Unit;
use bicolumn_store::FactorValue;
use bicolumn_store::results::unit_of_key;

/// The signed distance between the plates' ends; its levels are printed with their sign.
pub(crate) const STAGGER: &str = "plates.stagger_mm";

/// A key or name without its section and unit, in words: `plates.stagger_mm` is "stagger"; of a part or material with
/// its name: `materials.cortical.young_mpa` is "cortical Young's modulus".
pub(crate) fn factor_words(key: &str) -> String {
    let parts: Vec<&str> = key.split('.').collect();
    let (last, of) = match parts.as_slice() {
        [.., of, last] if parts.len() > 2 => (*last, Some(*of)),
        _ => (parts.last().copied().unwrap_or(key), None),
    };
    let words = match Unit::stem(last) {
        "young" => "Young's modulus".to_owned(),
        "poisson" => "Poisson's ratio".to_owned(),
        stem => stem.replace('_', " "),
    };
    of.map_or(words.clone(), |of| format!("{of} {words}"))
}

/// A load case in words.
pub(crate) fn case_words(case: &str) -> String {
    case.replace('_', " ")
}

/// A factor's level with its unit: "−20 mm", "parallel".
pub(crate) fn level_words(key: &str, level: &FactorValue) -> String {
    match level {
        FactorValue::Number(n) => with_unit(&level_number(key, *n), unit_of_key(key)),
        FactorValue::Word(w) => w.replace('_', " "),
        FactorValue::Flag(true) => "yes".into(),
        FactorValue::Flag(false) => "no".into(),
    }
}

/// A factor's numerical level without its unit.
pub(crate) fn level_number(key: &str, level: f64) -> String {
    match key == STAGGER && level > 0.0 {
        true => format!("+{}", plain(level)),
        false => plain(level),
    }
}

/// A number and its unit with a space that does not break; ratios have none.
pub(crate) fn with_unit(number: &str, unit: &str) -> String {
    match unit {
        "" | "1" => number.to_string(),
        unit => format!("{number}\u{a0}{}", shown_unit(unit)),
    }
}

/// A unit's symbol as it is typeset; a text that is no symbol stays as it is.
pub(crate) fn shown_unit(unit: &str) -> String {
    match Unit::from_symbol(unit) {
        Some(known) => known.typeset().into(),
        None => unit.into(),
    }
}

/// The first letter in upper case.
pub(crate) fn capital(text: &str) -> String {
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
