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

/// The two blocks with these preloads and steps.
fn blocks_with(preloads: &str, steps: &str) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    let from = meshes("two_blocks_contact");
    let from = Path::new(&from);
    std::fs::copy(from.join("mesh.vtu"), dir.path().join("mesh.vtu")).unwrap();
    let text = std::fs::read_to_string(from.join("model.json")).unwrap();
    let mut model: serde_json::Value = serde_json::from_str(&text).unwrap();
    model["preloads"] = serde_json::from_str(preloads).unwrap();
    model["steps"] = serde_json::from_str(steps).unwrap();
    std::fs::write(dir.path().join("model.json"), model.to_string()).unwrap();
    dir
}

#[test]
fn preloads_and_steps_at_fault_are_refused_with_their_place() {
    let grid =
        bicolumn_formats::read_vtu(&Path::new(&meshes("two_blocks_contact")).join("mesh.vtu"));
    let node = grid.unwrap().connectivity[0];
    let cut = |force: f64, axis: &str, tets: &str, pulled: u64| {
        format!(
            r#"[{{"name": "a", "force_n": {force}, "axis": {axis}, "tets": {tets}, "pulled": [{pulled}]}}]"#
        )
    };
    let node = u64::from(node);
    let good = cut(5.0, "[0, 0, 1]", "[0]", node);
    for (preloads, steps, place) in [
        (
            cut(-5.0, "[0, 0, 1]", "[0]", node),
            "[]",
            "preloads[0].force_n is -5",
        ),
        (
            cut(5.0, "[0, 0, 0]", "[0]", node),
            "[]",
            "preloads[0].axis is [0,0,0]",
        ),
        (
            cut(5.0, "[0, 0, 1]", "[]", node),
            "[]",
            "preloads[0].tets is []",
        ),
        (
            cut(5.0, "[0, 0, 1]", "[99999]", node),
            "[]",
            "preloads[0].tets[0] is 99999",
        ),
        (
            cut(5.0, "[0, 0, 1]", "[0]", 999_999),
            "[]",
            "preloads[0].pulled[0] is 999999",
        ),
        (
            good.clone(),
            "[]",
            "accepted: steps in which every preload is tightened once",
        ),
        (
            good.clone(),
            r#"[{"name": "s", "tightened": [1]}]"#,
            "steps[0].tightened[0] is 1; accepted: an integer from 0 to 0",
        ),
        (
            good.clone(),
            r#"[{"name": "s", "tightened": [0]}, {"name": "t", "tightened": [0]}]"#,
            "accepted: a preload is tightened in one step",
        ),
        (
            good,
            r#"[{"name": "s", "tightened": [0], "increments": 0}]"#,
            "steps[0].increments is 0; accepted: an integer from 1 to",
        ),
    ] {
        let bundle = blocks_with(&preloads, steps);
        let (status, _, told) = run(&["solve", bundle.path().to_str().unwrap()]);
        assert_eq!(status, bicolumn::CANNOT_RUN, "{told}");
        assert!(told.contains(place), "{place}: {told}");
    }
}
