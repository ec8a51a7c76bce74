//! `run` and `report` killed outright while they work: no finished record is lost, the table is whole at every
//! moment, and the next run completes it. `tests/kill/sweep.py` does so hundreds of times.

#![cfg(unix)]

use crate::support::{TWO_POINTS, call, call_on, rows};
use bicolumn_store::{PointRecord, Status, StudyFolder, read_record};
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Starts the program and kills it after a time, unless it has ended by itself.
fn killed(folder: &Path, args: &[&str], after: Duration) {
    let mut child = Command::new(assert_cmd::cargo::cargo_bin("bicolumn"))
        .args(args)
        .current_dir(folder)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let begin = Instant::now();
    while begin.elapsed() < after && child.try_wait().unwrap().is_none() {
        std::thread::sleep(Duration::from_millis(5));
    }
    // An error says that it has ended.
    let _ = child.kill();
    let _ = child.wait().unwrap();
}

fn is_done(folder: &StudyFolder, id: &str) -> bool {
    let record: Result<PointRecord, _> = read_record(&folder.record_file(id));
    record.is_ok_and(|r| r.status == Status::Done)
}

fn temporary(folder: &Path) -> Vec<String> {
    let mut found = vec![];
    for entry in fs::read_dir(folder).unwrap().flatten() {
        if entry.path().is_dir() {
            found.extend(temporary(&entry.path()));
        }
        let name = entry.file_name().into_string().unwrap();
        if [".writing-", "at-work", "held"]
            .iter()
            .any(|t| name.starts_with(t))
        {
            found.push(name);
        }
    }
    found
}

#[test]
fn killed_runs_and_reports_lose_nothing_and_the_next_run_completes() {
    let temp = tempfile::tempdir().unwrap();
    let run = ["run", "job.toml", "--out", "out", "--cache", "cache"];
    let (status, _, told) = call_on(temp.path(), TWO_POINTS, &run);
    assert_eq!(status, 0, "{told}");
    let root = temp.path().join("out");
    let folder = StudyFolder::new(&root);
    let whole = rows(&folder);
    assert_eq!(whole.len(), 2);

    // With its points in the cache a run is filing, copying and tables, and takes this long.
    fs::remove_dir_all(folder.point_folder("p001")).unwrap();
    let begin = Instant::now();
    let (status, _, told) = call(temp.path(), &run);
    assert_eq!(status, 0, "{told}");
    let quick = begin.elapsed();
    for n in 0..6 {
        let [lost, kept] = [["p001", "p002"], ["p002", "p001"]][n % 2];
        let _ = fs::remove_dir_all(folder.point_folder(lost));
        let before = is_done(&folder, kept);
        killed(temp.path(), &run, quick.mul_f64((n as f64 + 0.5) / 6.0));
        assert!(!before || is_done(&folder, kept), "kill {n}");
    }
    let (status, _, told) = call(temp.path(), &run);
    assert_eq!(status, 0, "{told}");
    assert_eq!(rows(&folder), whole);

    let begin = Instant::now();
    let (status, _, told) = call(temp.path(), &["report", "out"]);
    assert_eq!(status, 0, "{told}");
    let quick = begin.elapsed();
    for n in 0..4 {
        let moment = quick.mul_f64((f64::from(n) + 0.5) / 4.0);
        killed(temp.path(), &["report", "out"], moment);
        assert!(
            is_done(&folder, "p001") && is_done(&folder, "p002"),
            "kill {n}"
        );
        assert_eq!(rows(&folder), whole, "kill {n}");
    }
    let (status, _, told) = call(temp.path(), &["report", "out"]);
    assert_eq!(status, 0, "{told}");
    assert_eq!(rows(&folder), whole);
    assert_eq!(temporary(&root), Vec::<String>::new());
}
