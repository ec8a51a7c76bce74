//! Units: suffix of a name, symbol in a file, sign in print, word in a message. One table for all of them.
//!
//! ```
//! use bicolumn_base::Unit;
//! assert_eq!(Unit::of_name("plates.stagger_mm"), Some(Unit::Mm));
//! assert_eq!(Unit::NmmPerDeg.suffix(), "nmm_per_deg");
//! assert_eq!(Unit::NmmPerDeg.symbol(), "N.mm/deg");
//! assert_eq!(Unit::NmmPerDeg.typeset(), "N·mm/°");
//! assert_eq!(Unit::stem("plates.stagger_mm"), "plates.stagger");
//! ```

use std::fmt;

/// A unit that quantities of this program are given in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs)]
pub enum Unit {
    /// A ratio: no unit.
    One,
    Mm,
    Mm2,
    N,
    Nmm,
    Nmm2,
    NPerMm,
    NmmPerDeg,
    Mpa,
    Deg,
    Percent,
    Microstrain,
    GPerCm3,
    Second,
}

/// Unit, suffix of names, symbol in `columns.json`, typeset sign, word in messages.
const TABLE: [(Unit, &str, &str, &str, &str); 14] = [
    (Unit::One, "", "1", "", ""),
    (Unit::Mm, "mm", "mm", "mm", "mm"),
    (Unit::Mm2, "mm2", "mm2", "mm²", "mm²"),
    (Unit::N, "n", "N", "N", "N"),
    (Unit::Nmm, "nmm", "N.mm", "N·mm", "N·mm"),
    (Unit::Nmm2, "nmm2", "N.mm2", "N·mm²", "N·mm²"),
    (Unit::NPerMm, "n_per_mm", "N/mm", "N/mm", "N/mm"),
    (
        Unit::NmmPerDeg,
        "nmm_per_deg",
        "N.mm/deg",
        "N·mm/°",
        "N·mm/degree",
    ),
    (Unit::Mpa, "mpa", "MPa", "MPa", "MPa"),
    (Unit::Deg, "deg", "deg", "°", "degrees"),
    (Unit::Percent, "percent", "%", "%", "%"),
    (Unit::Microstrain, "microstrain", "um/m", "µm/m", "µm/m"),
    (Unit::GPerCm3, "g_per_cm3", "g/cm3", "g/cm³", "g/cm³"),
    (Unit::Second, "s", "s", "s", "s"),
];

/// Suffixes of units that this program does not take and that people write all the same.
const FOREIGN: [&str; 11] = [
    "gpa", "kpa", "rad", "inch", "kn", "nm", "cm", "um", "pa", "in", "m",
];

impl Unit {
    /// All units.
    pub fn all() -> impl Iterator<Item = Unit> {
        TABLE.iter().map(|row| row.0)
    }

    /// Ending of a quantity's name, after `_`: `n_per_mm`; empty for a ratio.
    pub fn suffix(self) -> &'static str {
        self.row().1
    }

    /// Symbol in result files, ASCII: `N.mm`; `1` for a ratio.
    pub fn symbol(self) -> &'static str {
        self.row().2
    }

    /// Typeset sign: `N·mm`, `°`; empty for a ratio.
    pub fn typeset(self) -> &'static str {
        self.row().3
    }

    /// Word in a message: `N·mm`, `degrees`; empty for a ratio.
    pub fn spoken(self) -> &'static str {
        self.row().4
    }

    /// Unit with this suffix, without its leading `_`.
    pub fn from_suffix(suffix: &str) -> Option<Unit> {
        TABLE.iter().find(|row| row.1 == suffix).map(|row| row.0)
    }

    /// Unit with this symbol in result files.
    pub fn from_symbol(symbol: &str) -> Option<Unit> {
        TABLE.iter().find(|row| row.2 == symbol).map(|row| row.0)
    }

    /// Unit that a quantity's name ends in, the longest suffix that fits; `None` where it ends in none.
    pub fn of_name(name: &str) -> Option<Unit> {
        let fits = |row: &&(Unit, &str, &str, &str, &str)| without(name, row.1).is_some();
        let longest = TABLE.iter().filter(fits).max_by_key(|row| row.1.len());
        longest.map(|row| row.0)
    }

    /// Name of a quantity without its unit.
    pub fn stem(name: &str) -> &str {
        let suffix = Unit::of_name(name).map_or("", Unit::suffix);
        without(name, suffix).unwrap_or(name)
    }

    fn row(self) -> &'static (Unit, &'static str, &'static str, &'static str, &'static str) {
        &TABLE[self as usize]
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

/// Name and suffix of a quantity, units that this program does not take included: (`fracture.gap`, `cm`) of
/// `fracture.gap_cm`; the suffix is empty where the name ends in none.
pub fn split_unit(name: &str) -> (&str, &'static str) {
    let own = Unit::of_name(name).map(Unit::suffix);
    let foreign = FOREIGN
        .iter()
        .copied()
        .filter(|s| without(name, s).is_some());
    let longest = own.into_iter().chain(foreign).max_by_key(|s| s.len());
    match longest.and_then(|suffix| Some((without(name, suffix)?, suffix))) {
        Some(split) => split,
        None => (name, ""),
    }
}

/// The name before `_suffix`; `None` where it ends otherwise, or where nothing is left.
fn without<'a>(name: &'a str, suffix: &str) -> Option<&'a str> {
    let stem = name.strip_suffix(suffix)?.strip_suffix('_')?;
    (!suffix.is_empty() && !stem.is_empty()).then_some(stem)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_unit_stands_in_its_own_row_and_is_found_again() {
        for (place, unit) in Unit::all().enumerate() {
            assert_eq!(unit as usize, place);
            assert_eq!(Unit::from_suffix(unit.suffix()), Some(unit));
            assert_eq!(Unit::from_symbol(unit.symbol()), Some(unit));
            if unit != Unit::One {
                let name = format!("section.some_thing_{}", unit.suffix());
                assert_eq!(Unit::of_name(&name), Some(unit));
                assert_eq!(Unit::stem(&name), "section.some_thing");
                assert_eq!(split_unit(&name), ("section.some_thing", unit.suffix()));
            }
        }
    }

    #[test]
    fn the_longest_suffix_counts() {
        assert_eq!(Unit::of_name("loads.torsion_nmm"), Some(Unit::Nmm));
        assert_eq!(Unit::of_name("loads.axial_n"), Some(Unit::N));
        assert_eq!(Unit::of_name("x_n_per_mm"), Some(Unit::NPerMm));
        assert_eq!(Unit::of_name("x_nmm_per_deg"), Some(Unit::NmmPerDeg));
        assert_eq!(Unit::of_name("construct.layout"), None);
        assert_eq!(Unit::of_name("_mm"), None);
        assert_eq!(Unit::stem("construct.layout"), "construct.layout");
    }

    #[test]
    fn foreign_units_are_split_off_too() {
        assert_eq!(split_unit("fracture.gap_cm"), ("fracture.gap", "cm"));
        assert_eq!(split_unit("cortical.young_gpa"), ("cortical.young", "gpa"));
        assert_eq!(split_unit("fracture.gap"), ("fracture.gap", ""));
    }

    #[test]
    fn foreign_suffixes_are_not_ours() {
        assert!(FOREIGN.iter().all(|s| Unit::from_suffix(s).is_none()));
    }
}
