//! The reference of all job keys, written from the key list.

use crate::key_table::{SECTIONS, key, keys, named_parts};
use crate::keys::{Fallback, Key, Kind, spoken_unit};
use crate::presets;
use bicolumn_base::Part;
use std::fmt::Write;

/// A Markdown page: a table for each section with what every key accepts, its default, meaning and source.
pub fn markdown() -> String {
    let mut page = String::from(
        "# Job keys\n\n\
         Written by `bicolumn keys > docs/reference/job-keys.md` from the list that reads the jobs: do not edit.\n\n\
         A key is given in its section's table or in full: `thickness_mm = 3` under `[plates]`, or \
         `plates.thickness_mm = 3`. Numbers are in the unit that the key ends in. `NN` stands for a screw's \
         number in two digits, as in `screws.csv`. Any key that is a number, a word or a flag, but those of `run`, \
         `design` and `mesh.regions`, may be a factor: `[factors]` with `\"plates.stagger_mm\" = [0, 20]`.\n",
    );
    for section in SECTIONS {
        let prefix = format!("{section}.");
        let own: Vec<&Key> = keys()
            .iter()
            .filter(|k| k.path.starts_with(&prefix) && !is_a_later_screw(&k.path))
            .collect();
        if own.is_empty() {
            continue;
        }
        let heads = "| key | accepts | default | what it is | source of the default |";
        let _ = write!(
            page,
            "\n## {section}\n\n{heads}\n| --- | --- | --- | --- | --- |\n"
        );
        for k in own {
            let cells = [
                format!("`{}`", k.path.replace("screw.01", "screw.NN")),
                accepts(&k.kind),
                default(k),
                k.doc.clone(),
                source(k),
            ];
            let cells = cells.map(|c| c.replace('|', "\\|"));
            let _ = writeln!(page, "| {} |", cells.join(" | "));
        }
    }
    page
}

/// The keys of all screws are alike: those of the first stand for them.
fn is_a_later_screw(path: &str) -> bool {
    let later = |part: Part| matches!(part, Part::Screw(n) if n.0 > 1);
    named_parts().any(|(part, _)| later(part) && path.starts_with(&format!("interfaces.{part}.")))
}

fn accepts(kind: &Kind) -> String {
    let words = |all: &[&str]| -> String {
        let all: Vec<String> = all.iter().map(|w| format!("`{w}`")).collect();
        all.join(", ")
    };
    match kind {
        Kind::Number {
            unit,
            least,
            most,
            or_zero,
        } => {
            let range = format!("{least} to {most} {}", spoken_unit(unit));
            match or_zero {
                Some(meaning) => format!("{}, or 0 ({meaning})", range.trim_end()),
                None => range.trim_end().to_string(),
            }
        }
        Kind::Integer { least, most } => format!("whole, {least} to {most}"),
        Kind::Word(all) => words(all),
        Kind::Flag => "`true`, `false`".into(),
        Kind::Text => "text".into(),
        Kind::List(all) => format!("a list of some of {}", words(all)),
    }
}

/// Value and source of a key in each of the presets that give it, by the preset's name.
fn presets_of(k: &Key) -> Vec<(&'static str, f64, String)> {
    let Fallback::Preset(by) = k.default else {
        return Vec::new();
    };
    let words: &[&'static str] = match key(by).map(|k| &k.kind) {
        Some(Kind::Word(words)) => words,
        _ => &[],
    };
    let found = words.iter().filter_map(|w| {
        let (value, source) = presets::lookup(by, w, &k.path)?;
        Some((*w, value, source))
    });
    found.collect()
}

/// Where the default comes from: with presets, each source once, with the presets that have it.
fn source(k: &Key) -> String {
    let mut sources: Vec<(String, Vec<&str>)> = Vec::new();
    for (word, _, source) in presets_of(k) {
        match sources.iter_mut().find(|s| s.0 == source) {
            Some((_, words)) => words.push(word),
            None => sources.push((source, vec![word])),
        }
    }
    match &sources[..] {
        [] => k.source.clone(),
        [(source, _)] => source.clone(),
        several => {
            let told = several
                .iter()
                .map(|(s, words)| format!("{}: {s}", words.join(", ")));
            told.collect::<Vec<_>>().join("; ")
        }
    }
}

fn default(k: &Key) -> String {
    match &k.default {
        Fallback::Value(v) if v.to_string().is_empty() => "empty".into(),
        Fallback::Value(v) => v.to_string(),
        Fallback::Of(key) => format!("as `{key}`"),
        Fallback::OfOr(key, own) => format!("as `{key}`, else {own}"),
        Fallback::OfSite(key) => format!("as `{key}`, else by the plate's site"),
        Fallback::Preset(by) => {
            let values = presets_of(k);
            let values = values.iter().map(|(w, v, _)| format!("{w} {v}"));
            format!("by `{by}`: {}", values.collect::<Vec<_>>().join(", "))
        }
        Fallback::AboveFossa => "by the bone's fossa".into(),
        Fallback::Staggered(_) => "from `plates.end_level_mm` and `plates.stagger_mm`".into(),
        Fallback::Absent => "none".into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_has_its_row_and_screws_have_one_for_all() {
        let page = markdown();
        for k in keys().iter().filter(|k| !is_a_later_screw(&k.path)) {
            let name = k.path.replace("screw.01", "screw.NN");
            assert_eq!(page.matches(&format!("\n| `{name}` |")).count(), 1, "{k}");
        }
        assert!(!page.contains("screw.02"));
        assert!(page.contains("by `materials.bone`: normal 17000, osteoporotic 11390"));
        assert!(!page.contains("|  |"), "a cell is empty");
        assert!(
            page.contains("| `fracture.gap_mm` | 1 to 15 mm, or 0 (reduced: the faces touch) |")
        );
        let columns = |l: &&str| l.replace("\\|", "").matches('|').count();
        let rows = page.lines().filter(|l| l.starts_with('|'));
        assert!(rows.map(|l| columns(&l)).all(|n| n == 6));
    }
}
