//! A study with contact, end to end: a plate that lies on the bone with friction, pulled onto it by a
//! non-locking screw.
//!
//! Screws, plate and septum are thicker and the mesh is coarser than anybody would use.

#![allow(clippy::unwrap_used)]

use crate::support::call_on;
use bicolumn_response::{
    Carrier, Contact, InterfaceKind, Preload, ResponseId, ResponseName, Share,
};
use bicolumn_store::{CaseRecord, PointRecord, Status, StudyFolder, read_record};
use std::collections::BTreeMap;
use std::path::Path;

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
screws.shaft_hold = "non_locking"
interfaces.plate_bone = "frictional"
interfaces.screw.01.seat = "frictional"
interfaces.screw.01.seat_friction = 0.15
loads.cases = ["axial"]
mesh.finest_mm = 3
mesh.growth = 1.5
mesh.wall_ratio = 3
solve.tolerance = 1e-5
"#;
const PRELOAD_N: f64 = 250.0;

/// Runs a job in a folder: (exit status, standard error).
fn run(folder: &Path, job: &str) -> (i32, String) {
    let (status, _, told) = call_on(folder, job, &["run", "job.toml", "--out", "out"]);
    (status, told)
}

fn rows(file: &Path) -> Vec<BTreeMap<String, String>> {
    let mut reader = csv::Reader::from_path(file).unwrap();
    reader.deserialize().map(|r| r.unwrap()).collect()
}

fn value(case: &CaseRecord, response: impl Into<ResponseId>) -> Option<f64> {
    let name = ResponseName::from(response);
    case.response(&name).unwrap().value
}

#[test]
fn a_tightened_plate_is_solved_and_a_point_that_cannot_converge_does_not_stop_the_batch() {
    let temp = tempfile::tempdir().unwrap();
    // The first point is given up after one iteration, while its screw is tightened; the second is not.
    let job = format!(
        "{JOB}screws.shaft_preload_n = {PRELOAD_N}\n[factors]\nsolve.max_iterations = [1, 200]\n"
    );
    let (status, told) = run(temp.path(), &job);
    assert_eq!(status, 1, "one point of two failed:\n{told}");
    let folder = StudyFolder::new(temp.path().join("out"));
    let record = |id: &str| -> PointRecord { read_record(&folder.record_file(id)).unwrap() };

    let Status::Failed { stage, reason } = record("p001").status else {
        panic!("{:?}", record("p001").status)
    };
    assert_eq!(stage, "solve");
    assert!(reason.contains("step preload did not converge"), "{reason}");

    let point = record("p002");
    assert_eq!(point.status, Status::Done);
    assert_eq!(point.preparation.len(), 1);
    assert!(point.preparation[0].converged);
    let case = &point.cases[0];
    let contact = case.contact.as_ref().unwrap();
    assert!(contact.converged && contact.reason.is_none());
    let residual = contact.report.residual;
    assert!(residual > 0.0 && residual <= 1e-5, "{residual}");
    let sets = &contact.report.sets;
    let names: Vec<&str> = sets.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["plate.medial-bone", "screw.01-seat"]);
    for set in sets {
        let all = set.open_share + set.stuck_share + set.slipping_share;
        assert!((all - 1.0).abs() < 1e-12, "{all}");
        assert!(set.open_share < 1.0, "it presses somewhere");
    }

    // What the screw was pulled to is mostly left, and two ways of finding it agree: the solver's section
    // force, and the forces of the bone on the shank.
    let tension = contact.report.section_forces_n[0];
    let left = value(case, Preload::TensionLeftLeast).unwrap();
    assert!((left - tension / PRELOAD_N).abs() < 1e-12);
    assert!((0.5..1.5).contains(&left), "{left}");
    let screw = case.screws.iter().find(|s| s.screw == "screw.01").unwrap();
    assert_eq!(screw.cut, "bone_surface");
    let off = (screw.axial_n - tension).abs() / tension;
    assert!(off < 1e-5, "{off:.1e}");
    // The seat presses about as hard as the shank pulls.
    let pressed = value(case, Contact::Force.of(InterfaceKind::Head)).unwrap();
    assert!(
        (0.8..2.0).contains(&(pressed / tension)),
        "{pressed} {tension}"
    );
    assert!(value(case, Contact::Force.of(InterfaceKind::Plate)).unwrap() > 0.5 * PRELOAD_N);
    assert_eq!(
        value(case, Contact::Force.of(InterfaceKind::Screw)),
        None,
        "bonded"
    );
    let shares = [Carrier::Bone, Carrier::PlateMedial, Carrier::Screws]
        .map(|c| value(case, Share::AxialGap.of(c)).unwrap());
    assert!(
        (shares.iter().sum::<f64>() - 1.0).abs() < 1e-4,
        "{shares:?}"
    );
    assert!(
        (shares[1] - 1.0).abs() < 1e-4,
        "the plate alone bridges the gap"
    );

    let table = rows(&folder.results_csv());
    let told: Vec<(&str, &str)> = table
        .iter()
        .map(|r| (r["point"].as_str(), r["status"].as_str()))
        .collect();
    assert_eq!(told, [("p001", "failed"), ("p002", "done")]);
    assert_eq!(rows(&folder.screws_csv()).len(), 2);
    assert!(folder.report_html().is_file());
}

#[test]
fn a_load_case_that_does_not_converge_has_no_values_and_says_so() {
    let temp = tempfile::tempdir().unwrap();
    let (status, told) = run(temp.path(), &format!("{JOB}solve.max_iterations = 1\n"));
    assert_eq!(status, 0, "{told}");
    let folder = StudyFolder::new(temp.path().join("out"));
    let point: PointRecord = read_record(&folder.record_file("p001")).unwrap();
    let case = &point.cases[0];
    assert!(!case.contact.as_ref().unwrap().converged);
    assert!(case.responses.iter().all(|r| r.value.is_none()));
    assert!(case.screws.is_empty() && case.sharing.is_none());
    let warned = point
        .warnings
        .iter()
        .any(|w| w.contains("axial did not converge"));
    assert!(warned, "{:?}", point.warnings);
    let table = rows(&folder.results_csv());
    assert_eq!(table[0]["status"], "not_converged");
    assert!(!table[0]["reason"].is_empty());
    assert_eq!(table[0]["stiffness_n_per_mm"], "");
}
