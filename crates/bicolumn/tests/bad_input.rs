//! Bad input of every kind: exit status 2, a message with file, line, key, value and what would be
//! accepted, and nothing written.

#![allow(clippy::unwrap_used)]

use assert_cmd::Command;
use std::path::PathBuf;
use tempfile::TempDir;

/// A folder with a job in it; results would go to `results/` in there.
struct Bench {
    dir: TempDir,
}

impl Bench {
    fn with_job(text: &str) -> Bench {
        let dir = tempfile::tempdir().unwrap();
        std::fs::write(dir.path().join("job.toml"), text).unwrap();
        Bench { dir }
    }

    /// Runs `bicolumn ARGS` in the folder: (exit status, standard output, standard error).
    fn call(&self, args: &[&str]) -> (i32, String, String) {
        let out = Command::cargo_bin("bicolumn")
            .unwrap()
            .args(args)
            .current_dir(self.dir.path())
            .output()
            .unwrap();
        let text = |b: Vec<u8>| String::from_utf8(b).unwrap();
        (
            out.status.code().unwrap(),
            text(out.stdout),
            text(out.stderr),
        )
    }

    /// Everything in the folder, sorted.
    fn files(&self) -> Vec<PathBuf> {
        let mut files: Vec<PathBuf> = std::fs::read_dir(self.dir.path())
            .unwrap()
            .map(|e| e.unwrap().path())
            .collect();
        files.sort();
        files
    }
}

/// `run` refuses the job with status 2, says all of `parts`, prints no data, writes nothing.
fn refused(job: &str, parts: &[&str]) {
    let bench = Bench::with_job(job);
    let before = bench.files();
    let (code, out, err) = bench.call(&["run", "job.toml"]);
    assert_eq!(code, 2, "{err}");
    for part in parts {
        assert!(err.contains(part), "{part:?} is not in:\n{err}");
    }
    assert_eq!(out, "");
    assert!(!err.contains("panicked"), "{err}");
    assert_eq!(bench.files(), before, "something was written");
}

#[test]
fn unknown_key() {
    refused(
        "[plates]\nwidht_mm = 10\n",
        &[
            "job.toml:2: plates.widht_mm = 10: no such key",
            "hint: did you mean plates.width_mm?",
        ],
    );
}

#[test]
fn wrong_unit_suffix() {
    refused(
        "[fracture]\ngap_cm = 0.5\n",
        &[
            "job.toml:2: fracture.gap_cm = 0.5:",
            "did you mean fracture.gap_mm (mm)?",
        ],
    );
}

#[test]
fn negative_thickness() {
    refused(
        "[plates]\n# a slip\nthickness_mm = -2.7\n",
        &["job.toml:3: plates.thickness_mm = -2.7: must lie between 1 and 5 mm"],
    );
}

#[test]
fn gap_outside_the_metaphysis() {
    refused(
        "fracture.level_mm = 95\n",
        &["job.toml:1: fracture.level_mm = 95: must lie between"],
    );
}

#[test]
fn gap_out_of_range() {
    refused(
        "fracture.gap_mm = -3\n",
        &[
            "job.toml:1: fracture.gap_mm = -3: must be 0 (reduced: the faces touch) or lie between 1 and 15 mm",
        ],
    );
}

#[test]
fn no_toml() {
    refused("[plates\nwidth_mm = 10\n", &["job.toml:1: not valid TOML"]);
}

#[test]
fn all_errors_at_once() {
    refused(
        "[plates]\nthickness_mm = \"thick\"\nstagger_mm = 900\n[construct]\nlayout = \"paralel\"\n",
        &[
            "job.toml:2: plates.thickness_mm = \"thick\": must lie between",
            "job.toml:3: plates.stagger_mm = 900: must lie between",
            "job.toml:5: construct.layout = \"paralel\": must be one of",
        ],
    );
}

#[test]
fn missing_file() {
    let bench = Bench::with_job("");
    let (code, out, err) = bench.call(&["run", "no-such-job.toml"]);
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(err.contains("no-such-job.toml: cannot be read"), "{err}");
    assert_eq!(bench.files().len(), 1);
}

#[test]
fn unknown_verb_and_no_verb() {
    let bench = Bench::with_job("");
    for args in [&["simulate"][..], &[][..]] {
        let (code, out, err) = bench.call(args);
        assert_eq!((code, out.as_str()), (2, ""));
        assert!(err.contains("Usage: bicolumn"), "{err}");
    }
}

#[test]
fn a_folder_of_something_else_is_left_alone() {
    let bench = Bench::with_job("");
    let foreign = bench.dir.path().join("mine");
    std::fs::create_dir(&foreign).unwrap();
    std::fs::write(foreign.join("notes.txt"), "mine").unwrap();
    let (code, _, err) = bench.call(&["run", "job.toml", "--out", "mine"]);
    assert_eq!(code, 2);
    assert!(
        err.contains("mine is not empty and holds no study"),
        "{err}"
    );
    assert!(err.contains("--out"), "{err}");
    assert_eq!(std::fs::read_dir(&foreign).unwrap().count(), 1);
}

#[test]
fn help_carries_the_caution() {
    let bench = Bench::with_job("");
    let (code, out, _) = bench.call(&["--help"]);
    assert_eq!(code, 0);
    assert!(
        out.contains("Research tool, not a medical device."),
        "{out}"
    );
}
