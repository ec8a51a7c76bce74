//! The crates lie on the floors that DEVELOPERS.md draws, and depend on lower floors only.

#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

/// Dependencies of a crate of this workspace on others of it, by kind.
struct Arrows {
    product: Vec<String>,
    /// Dependencies of tests, benchmarks and examples, which may look at any floor.
    tests: Vec<String>,
}

fn root() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../.."))
}

/// Name without the common prefix.
fn short(package: &str) -> &str {
    package.strip_prefix("bicolumn-").unwrap_or(package)
}

/// Floor of each crate, the ground being 0, from the drawing under "Layers".
fn drawn() -> BTreeMap<String, usize> {
    let page = std::fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    floors_of(&page)
}

fn floors_of(page: &str) -> BTreeMap<String, usize> {
    let section = page.split("\n## Layers").nth(1).unwrap();
    let drawing = section.split("```").nth(1).unwrap();
    let rows: Vec<&str> = drawing.lines().filter(|l| !l.trim().is_empty()).collect();
    let mut floors = BTreeMap::new();
    for (floor, row) in rows.iter().rev().enumerate() {
        for name in row.split_whitespace() {
            let before = floors.insert(name.to_owned(), floor);
            assert_eq!(before, None, "{name} is drawn twice");
        }
    }
    floors
}

/// Arrows between the crates of the workspace, as Cargo sees them.
fn arrows() -> BTreeMap<String, Arrows> {
    let out = Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--format-version",
            "1",
            "--no-deps",
            "--offline",
        ])
        .current_dir(root())
        .output()
        .unwrap();
    assert!(
        out.status.success(),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    let all: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    let packages = all["packages"].as_array().unwrap();
    let is_ours = |d: &&serde_json::Value| d["path"].is_string();
    let names = |p: &serde_json::Value, in_tests: bool| {
        let dependencies = p["dependencies"].as_array().unwrap();
        let of_kind = dependencies
            .iter()
            .filter(|d| (d["kind"].as_str() == Some("dev")) == in_tests);
        of_kind
            .filter(is_ours)
            .map(|d| short(d["name"].as_str().unwrap()).to_owned())
            .collect()
    };
    packages
        .iter()
        .map(|p| {
            let arrows = Arrows {
                product: names(p, false),
                tests: names(p, true),
            };
            (short(p["name"].as_str().unwrap()).to_owned(), arrows)
        })
        .collect()
}

/// Arrows that do not lead down, each as a sentence.
fn wrong(floors: &BTreeMap<String, usize>, arrows: &BTreeMap<String, Arrows>) -> Vec<String> {
    let mut found = vec![];
    for (from, to) in arrows {
        for name in &to.product {
            if floors[name] >= floors[from] {
                found.push(format!("{from} depends on {name}, which is not below it"));
            }
        }
    }
    found
}

#[test]
fn every_crate_is_drawn_and_every_name_drawn_is_a_crate() {
    let (floors, arrows) = (drawn(), arrows());
    let drawn: Vec<&String> = floors.keys().collect();
    let real: Vec<&String> = arrows.keys().collect();
    assert_eq!(drawn, real, "drawn in DEVELOPERS.md, and in the workspace");
}

#[test]
fn every_crate_depends_on_lower_floors_only() {
    let found = wrong(&drawn(), &arrows());
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn no_crate_needs_the_measuring_programs() {
    for (from, to) in arrows() {
        let bench = "bench".to_owned();
        let needed = to.product.contains(&bench) || to.tests.contains(&bench);
        assert!(!needed, "{from} depends on bench");
    }
}

#[test]
fn an_arrow_up_and_one_sideways_are_found() {
    let floors = floors_of("\n## Layers\n```\nroof\nleft right\nground\n```\n");
    let to = |names: &[&str]| Arrows {
        product: names.iter().map(|n| (*n).to_owned()).collect(),
        tests: vec![],
    };
    let arrows = BTreeMap::from([
        ("roof".to_owned(), to(&["left", "ground"])),
        ("left".to_owned(), to(&["right"])),
        ("right".to_owned(), to(&["ground"])),
        ("ground".to_owned(), to(&["roof"])),
    ]);
    assert_eq!(
        wrong(&floors, &arrows),
        [
            "ground depends on roof, which is not below it",
            "left depends on right, which is not below it"
        ]
    );
}
