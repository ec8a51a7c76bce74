//! The page of third-party code names every direct dependency that Cargo resolves, with its licence.
//!
//! `BICOLUMN_WRITE=1 cargo test --release -p bicolumn --test bicolumn third_party` writes its table again.

#![allow(clippy::unwrap_used)]

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;

const HEAD: &str = "| crate | version | licence |\n| --- | --- | --- |\n";

fn root() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../.."))
}

/// Triple of this machine: packages of other platforms need not be on it.
fn host() -> String {
    let out = Command::new("rustc").arg("-vV").output().unwrap();
    let text = String::from_utf8(out.stdout).unwrap();
    let line = text.lines().find_map(|l| l.strip_prefix("host: "));
    line.unwrap().to_owned()
}

/// Rows of the table, by Cargo's resolution.
fn rows() -> BTreeSet<String> {
    let out = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--locked", "--offline"])
        .args(["--filter-platform", &host()])
        .current_dir(root())
        .output()
        .unwrap();
    assert!(
        out.status.success(),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    let all: Value = serde_json::from_slice(&out.stdout).unwrap();
    let packages: BTreeMap<&str, &Value> = all["packages"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| (p["id"].as_str().unwrap(), p))
        .collect();
    let is_ours = |id: &str| packages[id]["source"].is_null();
    let nodes = all["resolve"]["nodes"].as_array().unwrap();
    let ours = nodes.iter().filter(|n| is_ours(n["id"].as_str().unwrap()));
    let direct = ours.flat_map(|n| n["deps"].as_array().unwrap());
    direct
        .map(|d| d["pkg"].as_str().unwrap())
        .filter(|id| !is_ours(id))
        .map(|id| {
            let text = |key: &str| packages[id][key].as_str().unwrap_or("see its files");
            format!(
                "| {} | {} | {} |",
                text("name"),
                text("version"),
                text("license")
            )
        })
        .collect()
}

#[test]
fn the_page_names_the_direct_dependencies_and_no_others() {
    let file = root().join("docs/third-party.md");
    let page = std::fs::read_to_string(&file).unwrap();
    let (before, rest) = page.split_once(HEAD).unwrap();
    let (table, after) = rest.split_once("\n\n").unwrap();
    let told: BTreeSet<String> = table.lines().map(str::to_owned).collect();
    let real = rows();
    if std::env::var_os("BICOLUMN_WRITE").is_some() {
        let lines: Vec<&str> = real.iter().map(String::as_str).collect();
        let page = format!("{before}{HEAD}{}\n\n{after}", lines.join("\n"));
        std::fs::write(&file, page).unwrap();
        return;
    }
    let odd: Vec<&String> = told.symmetric_difference(&real).collect();
    assert!(odd.is_empty(), "told or real, not both: {odd:#?}");
}
