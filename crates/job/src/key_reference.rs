//! The reference of all job keys, written from the key list.

use crate::catalogue::{SECTIONS, keys};
use crate::handle::KeyId;
use crate::key::{Fallback, KeyRow, Kind, PresetRow};
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
         `design`, `mesh.regions`, `loads.case`, `sensors` and `published`, may be a factor: `[factors]` with `\"plates.stagger_mm\" = [0, 20]`.\n\n\
         A key that is given and cannot act is told by `check` and `run` as a warning, and as a factor refused. \"Acts only\" says \
         where a key does; beyond that, keys of plates, screws, interfaces and fracture do nothing with `construct.layout = \"bare_bone\"`, \
         those of one plate nothing where the layout lacks it, those of both nothing where each has its own, and a preset \
         nothing where all that it gives is given by itself.\n",
    );
    for section in SECTIONS {
        let prefix = format!("{section}.");
        let own: Vec<&KeyRow> = keys()
            .rows()
            .filter(|(id, k)| k.path.starts_with(&prefix) && !is_a_later_screw(*id))
            .map(|(_, k)| k)
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
                meaning(k),
                source(k),
            ];
            let cells = cells.map(|c| c.replace('|', "\\|"));
            let _ = writeln!(page, "| {} |", cells.join(" | "));
        }
    }
    page
}

/// The keys of all screws are alike: those of the first stand for them.
fn is_a_later_screw(key: KeyId) -> bool {
    let later = |part: Part| matches!(part, Part::Screw(n) if n.0 > 1);
    let mut named = keys().interfaces.named().filter(|n| later(n.part));
    named.any(|n| n.meeting.id() == key || n.friction.id() == key)
}

/// Meaning of a key, then of each of its words, then where it acts.
fn meaning(k: &KeyRow) -> String {
    let words = k.words.iter().map(|(word, doc)| format!("`{word}`: {doc}"));
    let mut text = match k.words.is_empty() {
        true => k.doc.clone(),
        false => format!("{}. {}", k.doc, words.collect::<Vec<_>>().join("; ")),
    };
    for condition in k.acts.iter().filter(|a| !a.is_general) {
        text.push_str(&format!(". Acts only {}", condition.told));
    }
    text
}

fn accepts(kind: &Kind) -> String {
    let words = |all: &[&str]| -> String {
        let all: Vec<String> = all.iter().map(|w| format!("`{w}`")).collect();
        all.join(", ")
    };
    match kind {
        Kind::Number {
            unit,
            range,
            or_zero,
        } => {
            let range = Kind::range_in_words(range, unit, "to");
            match or_zero {
                Some(meaning) => format!("{range}, or 0 ({meaning})"),
                None => range,
            }
        }
        Kind::Integer { least, most } => format!("whole, {least} to {most}"),
        Kind::Word(all) => words(all),
        Kind::Flag => "`true`, `false`".into(),
        Kind::Text => "text".into(),
        Kind::Place => "`[x, y, z]`".into(),
        Kind::Cases(all) => format!(
            "a list of names of `[loads.case.NAME]` or of some of {}",
            words(all)
        ),
    }
}

/// Entries of a key in the presets that give it.
fn presets_of(k: &KeyRow) -> &[PresetRow] {
    match &k.default {
        Fallback::Preset(preset) => &preset.rows,
        _ => &[],
    }
}

/// Source of the default: with presets, each source once, with the presets that have it.
fn source(k: &KeyRow) -> String {
    let mut sources: Vec<(&str, Vec<&str>)> = Vec::new();
    for entry in presets_of(k) {
        match sources.iter_mut().find(|s| s.0 == entry.source) {
            Some((_, words)) => words.push(entry.word),
            None => sources.push((&entry.source, vec![entry.word])),
        }
    }
    match &sources[..] {
        [] => k.source.clone(),
        [(source, _)] => (*source).to_string(),
        several => {
            let told = several
                .iter()
                .map(|(s, words)| format!("{}: {s}", words.join(", ")));
            told.collect::<Vec<_>>().join("; ")
        }
    }
}

fn default(k: &KeyRow) -> String {
    match &k.default {
        Fallback::Value(v) if v.to_string().is_empty() => "empty".into(),
        Fallback::Value(v) => v.to_string(),
        Fallback::Of(key) => format!("as `{}`", keys().path(*key)),
        Fallback::OfOr(key, own) => format!("as `{}`, else {own}", keys().path(*key)),
        Fallback::OfPlate(key, of_plate) => {
            format!("as `{}`, else {}", keys().path(*key), of_plate.told)
        }
        Fallback::Preset(preset) => {
            let values = preset
                .rows
                .iter()
                .map(|r| format!("{} {}", r.word, r.value));
            let values: Vec<String> = values.collect();
            format!("by `{}`: {}", keys().path(preset.by), values.join(", "))
        }
        Fallback::Rule(derived) => derived.told.into(),
        Fallback::Absent => "none".into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_has_its_row_and_screws_have_one_for_all() {
        let page = markdown();
        let first = keys().rows().filter(|(id, _)| !is_a_later_screw(*id));
        for (_, k) in first {
            let name = k.path.replace("screw.01", "screw.NN");
            assert_eq!(page.matches(&format!("\n| `{name}` |")).count(), 1, "{k}");
        }
        assert!(!page.contains("screw.02"));
        assert!(page.contains("by `materials.bone`: normal 17000, osteoporotic 11390"));
        assert!(!page.contains("|  |"), "a cell is empty");
        assert!(page.contains("`medial_only`: the medial plate alone; "));
        assert!(page.contains("`axial`: force proximally along the shaft: closes the gap; "));
        assert!(
            page.contains("| `fracture.gap_mm` | 1 to 15 mm, or 0 (reduced: the faces touch) |")
        );
        let columns = |l: &&str| l.replace("\\|", "").matches('|').count();
        let rows = page.lines().filter(|l| l.starts_with('|'));
        assert!(rows.map(|l| columns(&l)).all(|n| n == 6));
    }
}
