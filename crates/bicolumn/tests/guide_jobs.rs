//! Every job file, or part of one, that a guide or concept shows can be read.

#![allow(clippy::unwrap_used)]

use bicolumn_job::{Job, Plan};
use std::path::Path;

#[test]
fn jobs_shown_in_the_guides_are_valid() {
    let guides = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/guides"));
    let mut read = 0;
    for entry in std::fs::read_dir(guides).unwrap() {
        let page = entry.unwrap().path();
        let text = std::fs::read_to_string(&page).unwrap();
        for block in text.split("```").skip(1).step_by(2) {
            // Under a list item a block is indented.
            let block: Vec<&str> = block.lines().map(str::trim).collect();
            let job = block.join("\n");
            if !job.trim_start().starts_with('[') {
                continue;
            }
            let said = |e: &dyn std::fmt::Display| panic!("{}:\n{e}\n{job}", page.display());
            match Job::parse(Path::new("guide.toml"), &job) {
                Ok(job) => drop(Plan::of(&job).map_err(|e| said(&e))),
                Err(e) => said(&e),
            }
            read += 1;
        }
    }
    assert!(read >= 4, "only {read} jobs were found in the guides");
}
