//! The rule on doc comments: each opens with a noun of the field, not with a pronoun that stands for one.
#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::{Path, PathBuf};

/// Words that may not open a doc comment.
const OPENINGS: [&str; 8] = [
    "What", "Which", "Those", "That", "Of", "Who", "Whose", "Whom",
];

/// Source files below a folder, by path.
fn sources(folder: &Path, out: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> = fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            if path.file_name().is_some_and(|n| n != "target") {
                sources(&path, out);
            }
        } else if path.extension().is_some_and(|e| e == "rs") {
            out.push(path);
        }
    }
}

/// Text of a doc comment's line; `None` for other lines.
fn doc(line: &str) -> Option<&str> {
    let line = line.trim_start();
    line.strip_prefix("///")
        .or_else(|| line.strip_prefix("//!"))
        .map(str::trim)
}

/// Lines that open a doc comment, or a paragraph of one, with one of [`OPENINGS`]: (line number, text).
fn offences(text: &str) -> Vec<(usize, &str)> {
    let mut before = None;
    let mut out = vec![];
    for (number, line) in (1..).zip(text.lines()) {
        let here = doc(line);
        let opens = here.is_some() && before.is_none_or(str::is_empty);
        let first = here.and_then(|t| t.split_whitespace().next());
        if opens && first.is_some_and(|w| OPENINGS.contains(&w)) {
            out.push((number, line.trim()));
        }
        before = here;
    }
    out
}

#[test]
fn doc_comments_open_with_a_noun() {
    let crates = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut files = vec![];
    sources(&crates, &mut files);
    assert!(files.len() > 100, "the crates are not where they were");
    let mut found = vec![];
    for file in &files {
        let text = fs::read_to_string(file).unwrap();
        for (number, line) in offences(&text) {
            found.push(format!("{}:{number}: {line}", file.display()));
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn the_rule_sees_openings_and_not_later_lines() {
    let text = "/// What it is.\n/// A sum\n/// of forces.\nfn f() {}\n//! Of nodes.\n//!\n//! Which one?\n";
    let numbers: Vec<usize> = offences(text).iter().map(|o| o.0).collect();
    assert_eq!(numbers, [1, 5, 7]);
    assert!(offences("/// Sum\n/// Of forces.\n// What now?\n").is_empty());
}
