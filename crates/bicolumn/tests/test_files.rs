//! One program holds the tests of a folder: a file that it does not name would never run.
#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::Path;

/// Test files of a folder that its `main.rs` does not name.
fn left_out(folder: &Path) -> Vec<String> {
    let Ok(program) = fs::read_to_string(folder.join("main.rs")) else {
        return vec![];
    };
    let mut out = vec![];
    for entry in fs::read_dir(folder).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let Some(module) = name.strip_suffix(".rs") else {
            continue;
        };
        let line = format!("mod {module};");
        if module != "main" && !program.lines().any(|l| l == line) {
            out.push(format!("{}/{name}", folder.display()));
        }
    }
    out
}

#[test]
fn every_test_file_is_in_its_program() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let crates = fs::read_dir(root.join("crates")).unwrap();
    let mut folders: Vec<_> = crates.map(|c| c.unwrap().path().join("tests")).collect();
    folders.push(root.join("tests/published"));
    let programs = folders.iter().filter(|f| f.join("main.rs").is_file());
    assert!(programs.count() > 5, "the tests are not where they were");
    let found: Vec<String> = folders.iter().flat_map(|f| left_out(f)).collect();
    assert!(found.is_empty(), "{found:?}");
}

#[test]
fn a_file_that_is_not_named_is_found() {
    let temp = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| fs::write(temp.path().join(name), text).unwrap();
    write("main.rs", "mod named;\n");
    write("named.rs", "");
    assert!(left_out(temp.path()).is_empty());
    write("new.rs", "");
    assert_eq!(left_out(temp.path()).len(), 1);
}
