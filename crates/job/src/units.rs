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
    for k in known.filter(|k| may_be_slip(name, k)) {
        let score = strsim::normalized_damerau_levenshtein(name, k);
        if score >= 0.7 && best.is_none_or(|(b, _)| score > b) {
            best = Some((score, k));
        }
    }
    best.map(|(_, k)| k)
}

/// Are two names so near in length that one can be a slip of the other? Of a name of a million characters no distance is
/// computed.
fn may_be_slip(name: &str, known: &str) -> bool {
    let (short, long) = (name.len().min(known.len()), name.len().max(known.len()));
    // A character has up to four bytes.
    short * 4 >= long && long <= 400
}

/// The `most` names of which the last part is nearest to that of a name, the nearest first.
pub(crate) fn nearest_few<'a>(
    name: &str,
    known: impl Iterator<Item = &'a str>,
    most: usize,
) -> Vec<&'a str> {
    let leaf = |path: &'a str| path.rsplit('.').next().unwrap_or(path);
    let wanted: String = name
        .rsplit('.')
        .next()
        .unwrap_or(name)
        .chars()
        .take(100)
        .collect();
    let mut scored: Vec<(f64, &str)> = Vec::new();
    for k in known {
        let score = strsim::normalized_damerau_levenshtein(&wanted, leaf(k));
        // Keys of each plate are called as that of both.
        if !scored.iter().any(|(_, other)| leaf(other) == leaf(k)) {
            scored.push((score, k));
        }
    }
    // A stable sort: of equals the first of the reference.
    scored.sort_by(|a, b| b.0.total_cmp(&a.0));
    scored.into_iter().take(most).map(|(_, k)| k).collect()
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
