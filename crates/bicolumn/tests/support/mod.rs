//! Calling the program as a user does.

use assert_cmd::Command;
use bicolumn_store::StudyFolder;
use std::path::Path;

/// Runs `bicolumn ARGS` in a folder: (exit status, standard output, standard error).
pub(crate) fn call(folder: &Path, args: &[&str]) -> (i32, String, String) {
    let out = Command::cargo_bin("bicolumn")
        .unwrap()
        .args(args)
        .current_dir(folder)
        .output()
        .unwrap();
    let text = |b: Vec<u8>| String::from_utf8(b).unwrap();
    (
        out.status.code().unwrap(),
        text(out.stdout),
        text(out.stderr),
    )
}

/// The same with a job in the folder, `job.toml`.
#[allow(dead_code)]
pub(crate) fn call_on(folder: &Path, job: &str, args: &[&str]) -> (i32, String, String) {
    std::fs::write(folder.join("job.toml"), job).unwrap();
    call(folder, args)
}

/// A study of two points: a bone without hardware under two loads, on the coarsest cells.
pub(crate) const TWO_POINTS: &str = "construct.layout = \"bare_bone\"\nloads.cases = [\"axial\"]\nmesh.finest_mm = 3\nmesh.growth = 1.5\n\
    mesh.wall_ratio = 3\nbone.septum_thickness_mm = 3.5\nbone.potting_level_mm = 90\nsolve.error_estimate = false\n\
    [factors]\nloads.axial_n = [100, 200]\n";

/// Rows of `results.csv` without the time that a point took.
pub(crate) fn rows(folder: &StudyFolder) -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(folder.results_csv()).unwrap();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let head = reader.headers().unwrap().clone();
    let time = head.iter().position(|h| h == "seconds").unwrap();
    let row = |r: csv::StringRecord| {
        let cells = r.iter().enumerate().filter(|(n, _)| *n != time);
        cells.map(|(_, cell)| cell.to_string()).collect()
    };
    reader.records().map(|r| row(r.unwrap())).collect()
}
