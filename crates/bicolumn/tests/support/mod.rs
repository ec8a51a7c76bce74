//! Calling the program as a user does.

use assert_cmd::Command;
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
