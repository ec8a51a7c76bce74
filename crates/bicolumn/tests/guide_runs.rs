//! The guide to a published construct, run on a coarse mesh: from the job that it shows to a verdict.

#![allow(clippy::unwrap_used)]

use crate::support::call_on;
use std::collections::BTreeMap;
use std::path::Path;

/// Hardware thicker and a mesh coarser than anybody would use; they stand before the tables of the guide.
const COARSE: &str = "bone.septum_thickness_mm = 3.5\nbone.potting_level_mm = 100\nplates.thickness_mm = 3.5\n\
    plates.end_level_mm = 70\nscrews.shaft_count = 1\nscrews.distal_count = 1\nscrews.shaft_diameter_mm = 3.2\n\
    screws.distal_diameter_mm = 3.2\nloads.cases = [\"axial\"]\nmesh.finest_mm = 3\nmesh.growth = 2\nmesh.wall_ratio = 3\n\
    solve.tolerance = 1e-5\n";

#[test]
fn the_published_value_of_the_guide_comes_to_a_verdict() {
    let page = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../../docs/guides/reproduce-a-paper.md"
    );
    let text = std::fs::read_to_string(Path::new(page)).unwrap();
    let mut blocks = text.split("```").skip(1).step_by(2);
    let job = blocks
        .find(|b| b.contains("[published.axial_ratio]"))
        .unwrap();
    let temp = tempfile::tempdir().unwrap();
    let job = format!("{COARSE}{}", job.trim_start());
    let (status, _, told) = call_on(temp.path(), &job, &["run", "job.toml", "--out", "out"]);
    assert_eq!(status, 0, "{told}");
    let table = csv::Reader::from_path(temp.path().join("out/published.csv"));
    let rows: Vec<BTreeMap<String, String>> =
        table.unwrap().deserialize().map(|r| r.unwrap()).collect();
    let [row] = rows.as_slice() else {
        panic!("{rows:?}")
    };
    assert_eq!(
        (row["name"].as_str(), row["published"].as_str()),
        ("axial_ratio", "5.1")
    );
    let ratio: f64 = row["computed"].parse().unwrap();
    let error: f64 = row["error"].parse().unwrap();
    let (low, high) = (3.06, 7.14);
    let verdict = match (ratio - error, ratio + error) {
        (a, b) if a >= low && b <= high => "holds",
        (a, b) if b < low || a > high => "misses",
        _ => "undecided within the numerical error",
    };
    assert_eq!(row["verdict"], verdict, "{row:?}");
    assert!(ratio > 1.0 && error > 0.0, "{row:?}");
    let report = std::fs::read_to_string(temp.path().join("out/report.html")).unwrap();
    assert!(report.contains("Predicted beside published."));
}
