//! Estimates of the discretisation error, end to end: in a study, and as what drives a mesh.
//!
//! Screws, plate and septum are thicker and the mesh is coarser than anybody would use.

#![allow(clippy::unwrap_used)]

use crate::support::call_on;
use bicolumn_response::{Check, LargestOfPlates, Load, Motion, ResponseId};
use bicolumn_store::{PointRecord, StudyFolder, read_record};

const JOB: &str = r#"
construct.layout = "medial_only"
bone.septum_thickness_mm = 3.5
bone.potting_level_mm = 95
plates.thickness_mm = 3.5
plates.end_level_mm = 65
screws.shaft_count = 1
screws.distal_count = 1
screws.shaft_diameter_mm = 3.2
screws.distal_diameter_mm = 4.0
interfaces.plate_bone = "apart"
loads.cases = ["axial", "internal_torsion"]
mesh.finest_mm = 3
mesh.growth = 1.5
mesh.wall_ratio = 3
"#;

/// A bone without hardware has the fewest cells.
const BARE: &str = "construct.layout = \"bare_bone\"\nbone.septum_thickness_mm = 3.5\nbone.potting_level_mm = 84\n\
    loads.cases = [\"axial\", \"internal_torsion\"]\nmesh.finest_mm = 3\nmesh.growth = 2\nmesh.wall_ratio = 16\nmesh.far_ratio = 16\n";

#[test]
fn a_study_carries_estimates_where_they_are_asked_for() {
    let temp = tempfile::tempdir().unwrap();
    let job = format!("{JOB}[factors]\n\"solve.error_estimate\" = [true, false]\n");
    let (status, _, told) = call_on(temp.path(), &job, &["run", "job.toml", "--out", "out"]);
    assert_eq!(status, 0, "{told}");
    let folder = StudyFolder::new(temp.path().join("out"));
    let record = |id: &str| -> PointRecord { read_record(&folder.record_file(id)).unwrap() };
    let (with, without) = (record("p001"), record("p002"));
    for (a, b) in with.cases.iter().zip(&without.cases) {
        let relative = a.energy_error.unwrap();
        assert!(relative > 0.01 && relative < 0.5, "{relative}");
        assert_eq!(b.energy_error, None);
        for (a, b) in a.responses.iter().zip(&b.responses) {
            assert_eq!((&a.name, a.value), (&b.name, b.value));
            assert_eq!(b.error_estimate, None);
            assert!(a.error_estimate.is_none_or(|e| e >= 0.0 && e.is_finite()));
        }
        let estimate = |id: ResponseId| {
            let found = a.response(&id.into()).unwrap();
            found.value.map(|v| found.error_estimate.unwrap() / v.abs())
        };
        // What moves the load and what stores energy err alike, and that is the energy's error squared.
        let energy = estimate(Check::EnergyTotal.into()).unwrap();
        let expected = relative * relative / (1.0 - relative * relative);
        assert!(
            (energy / expected - 1.0).abs() < 1e-6,
            "{energy} {expected}"
        );
        if let Some(stiffness) = estimate(Load::Stiffness.into()) {
            assert!((stiffness / energy - 1.0).abs() < 1e-9);
        }
        for name in [
            Motion::AxialMean.into(),
            Motion::ShearMean.into(),
            LargestOfPlates::LastScrew.into(),
        ] {
            assert!(estimate(name).unwrap() > 0.0, "{name}");
        }
    }
    let head = std::fs::read_to_string(folder.results_csv()).unwrap();
    assert!(
        head.lines()
            .next()
            .unwrap()
            .contains("stiffness_n_per_mm__error")
    );
}

#[test]
fn a_mesh_is_refined_until_its_elements_are_used_up_and_the_job_takes_its_sizes() {
    let temp = tempfile::tempdir().unwrap();
    let wanted = [
        "--point",
        "1",
        "--response",
        "stiffness_n_per_mm",
        "--out",
        "fine",
    ];
    let ask = |more: &[&str]| {
        let args = [&["refine", "job.toml"], &wanted[..], more].concat();
        call_on(temp.path(), BARE, &args)
    };
    let (status, out, told) = ask(&["--tolerance", "50"]);
    assert_eq!(status, 0, "{told}");
    assert!(out.contains("every response meets 50 %"), "{out}");
    assert!(!temp.path().join("fine/size_field.json").exists());

    let (status, out, told) = ask(&["--tolerance", "0.05", "--elements", "25000", "--steps", "2"]);
    assert_eq!(status, 1, "{told}");
    assert!(out.contains("not met"), "{out}");
    let text = std::fs::read_to_string(temp.path().join("fine/refinement.json")).unwrap();
    let outcome: serde_json::Value = serde_json::from_str(&text).unwrap();
    let error = |k: usize| {
        let rows = outcome["meshes"][k]["responses"].as_array().unwrap();
        let of =
            |r: &serde_json::Value| r["error"].as_f64().unwrap() / r["value"].as_f64().unwrap();
        rows.iter().map(of).fold(0.0, f64::max)
    };
    assert!(error(1) < 0.8 * error(0), "{} {}", error(1), error(0));
    let tets = |k: usize| outcome["meshes"][k]["tets"].as_u64().unwrap();
    assert!(
        tets(1) > tets(0) && tets(1) < 40_000,
        "{} {}",
        tets(0),
        tets(1)
    );

    let job = format!("{BARE}mesh.size_field = \"fine/size_field.json\"\n");
    let (status, out, told) = call_on(temp.path(), &job, &["check", "job.toml", "--json"]);
    assert_eq!(status, 0, "{told} {out}");
}

#[test]
fn what_cannot_be_refined_is_refused_with_the_reason() {
    let temp = tempfile::tempdir().unwrap();
    let refine = |job: &str, more: &[&str]| {
        let args = [&["refine", "job.toml", "--point", "1"], more].concat();
        let (status, out, told) = call_on(temp.path(), job, &args);
        assert_eq!(status, 2, "{told}");
        assert!(!out.contains("met"), "{out}");
        told
    };
    let told = refine(JOB, &["--response", "screw_axial_max_n"]);
    assert!(
        told.contains("no estimate of the error of screw_axial_max_n"),
        "{told}"
    );
    let told = refine(JOB, &["--tolerance", "0"]);
    assert!(told.contains("a number from 0.01 to 50"), "{told}");
    let contact = JOB.replace("\"apart\"", "\"frictional\"");
    let told = refine(&contact, &[]);
    assert!(told.contains("interfaces that open or slide"), "{told}");
}
