//! `bicolumn solve` on the models of `meshes/`, and `export --matrix` read back.

#![allow(clippy::unwrap_used)]

use std::path::Path;

fn run(args: &[&str]) -> (u8, String, String) {
    let (mut out, mut err) = (vec![], vec![]);
    let all = std::iter::once("bicolumn").chain(args.iter().copied());
    let status = bicolumn::main_with(all, &mut out, &mut err, false);
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (status, text(out), text(err))
}

fn meshes(name: &str) -> String {
    format!("{}/../../meshes/{name}", env!("CARGO_MANIFEST_DIR"))
}

#[test]
fn a_bundle_is_solved_and_its_solution_written_with_a_record() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().to_str().unwrap();
    let (status, said, told) = run(&["solve", &meshes("beam_two_materials"), "--out", out]);
    assert_eq!(status, bicolumn::ALL_WELL, "{told}");
    assert!(said.contains("solution.vtu") && said.contains("solution.json"));
    assert!(told.contains("not a medical device"), "{told}");
    let grid = bicolumn_formats::read_vtu(&dir.path().join("solution.vtu")).unwrap();
    let u = grid
        .point_field("displacement_pull")
        .unwrap()
        .values
        .to_f64();
    // 3 MPa through 8 mm of 17,000 MPa and 8 mm of 600 MPa.
    let tip = u.iter().skip(1).step_by(3).fold(0.0f64, |m, v| m.max(*v));
    let exact = 3.0 * (8.0 / 17_000.0 + 8.0 / 600.0);
    assert!((tip / exact - 1.0).abs() < 1e-7, "{tip} {exact}");
    assert!(grid.cell_field("stress_pull").is_some());
    let record = std::fs::read_to_string(dir.path().join("solution.json")).unwrap();
    let record: serde_json::Value = serde_json::from_str(&record).unwrap();
    let reaction = record["loads"][0]["reaction_n"][1].as_f64().unwrap();
    assert!((reaction + 48.0).abs() < 1e-5, "{reaction}");
    assert_eq!(record["caution"], bicolumn_report::CAUTION);
}

#[test]
fn a_broken_bundle_is_refused_with_file_and_place() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("out");
    let (status, said, told) = run(&[
        "solve",
        &meshes("broken/component"),
        "--out",
        out.to_str().unwrap(),
    ]);
    assert_eq!(status, bicolumn::CANNOT_RUN);
    assert!(said.is_empty() && !out.exists());
    assert!(
        told.contains("model.json: fixed[0].dofs[2] is 3; accepted: an integer from 0 to 2"),
        "{told}"
    );
    let (status, _, told) = run(&["solve", "no/such/folder"]);
    assert_eq!(status, bicolumn::CANNOT_RUN);
    assert!(
        told.contains(
            &Path::new("no/such/folder")
                .join("model.json")
                .display()
                .to_string()
        )
    );
}
