//! The reference of the job keys in the documentation is what the program prints.

#![allow(clippy::unwrap_used)]

use assert_cmd::Command;
use std::path::Path;

#[test]
fn the_page_of_job_keys_is_current() {
    let out = Command::cargo_bin("bicolumn")
        .unwrap()
        .arg("keys")
        .output()
        .unwrap();
    assert!(out.status.success());
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/reference/job-keys.md");
    let kept = std::fs::read_to_string(page).unwrap();
    assert!(
        kept == String::from_utf8(out.stdout).unwrap(),
        "docs/reference/job-keys.md is not what the program prints: bicolumn keys > docs/reference/job-keys.md"
    );
}
