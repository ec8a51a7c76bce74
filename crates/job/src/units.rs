//! Units in the names of keys, and guesses at the key that a wrong name was meant to be.

use bicolumn_base::Unit;
pub(crate) use bicolumn_base::unit::split_unit;

/// A unit's suffix as people write it: `nmm` is `N·mm`.
pub fn spoken_unit(suffix: &str) -> &str {
    match Unit::from_suffix(suffix) {
        Some(known) => known.spoken(),
        None => suffix,
    }
}

/// Words in quotes, separated by commas.
pub(crate) fn quoted(words: &[&str]) -> String {
    let words: Vec<String> = words.iter().map(|w| format!("\"{w}\"")).collect();
    words.join(", ")
}

/// A guess at what an unknown key was meant to be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Guess {
    /// The same quantity, the name ending in another unit or in none.
    OtherUnit(String),
    /// A similar name.
    Similar(String),
    /// Nothing near.
    None,
}

/// Guesses what an unknown key was meant to be among the known ones.
pub(crate) fn guess<'a>(path: &str, known: impl Iterator<Item = &'a str>) -> Guess {
    let known: Vec<&str> = known.collect();
    let (stem, _) = split_unit(path);
    for k in &known {
        let (known_stem, unit) = split_unit(k);
        if !unit.is_empty() && (known_stem == stem || known_stem == path) {
            return Guess::OtherUnit((*k).to_string());
        }
    }
    match nearest(path, known.iter().copied()) {
        Some(k) => Guess::Similar(k.to_string()),
        None => {
            // The right name in another section.
            let leaf = |p: &str| p.rsplit('.').next().unwrap_or(p).to_string();
            let wanted = leaf(path);
            match known.iter().find(|k| leaf(k) == wanted) {
                Some(k) => Guess::Similar((*k).to_string()),
                None => Guess::None,
            }
        }
    }
}

/// The most similar of some names, if any is similar enough to be a slip of the pen.
pub(crate) fn nearest<'a>(name: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let mut best: Option<(f64, &str)> = None;
    for k in known {
        let score = strsim::normalized_damerau_levenshtein(name, k);
        if score >= 0.7 && best.is_none_or(|(b, _)| score > b) {
            best = Some((score, k));
        }
    }
    best.map(|(_, k)| k)
}

#[cfg(test)]
mod tests {
    use super::*;

    const KNOWN: [&str; 4] = [
        "fracture.gap_mm",
        "fracture.level_mm",
        "plates.stagger_mm",
        "loads.torsion_nmm",
    ];

    #[test]
    fn a_wrong_unit_is_told_from_a_wrong_name() {
        let g = |p| guess(p, KNOWN.into_iter());
        assert_eq!(
            g("fracture.gap_cm"),
            Guess::OtherUnit("fracture.gap_mm".into())
        );
        assert_eq!(
            g("fracture.gap"),
            Guess::OtherUnit("fracture.gap_mm".into())
        );
        assert_eq!(
            g("fracture.gpa_mm"),
            Guess::Similar("fracture.gap_mm".into())
        );
        assert_eq!(
            g("construct.stagger_mm"),
            Guess::Similar("plates.stagger_mm".into())
        );
        assert_eq!(g("colour.of_the_sky"), Guess::None);
    }
}
