//! The jobs of the repository: read, planned, and their constructs built.

#![allow(clippy::unwrap_used)]

use bicolumn_job::{Job, Plan, resolve};
use bicolumn_study::BoneCache;
use std::path::{Path, PathBuf};

/// Constructs built of each job, spread over its plan.
const BUILT_OF_EACH: usize = 3;

#[test]
fn every_ready_job_is_valid_and_its_constructs_can_be_built() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../jobs");
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    assert!(files.len() >= 2, "{files:?}");
    let bones = BoneCache::default();
    std::thread::scope(|scope| {
        for file in &files {
            scope.spawn(|| is_valid_and_can_be_built(file, &bones));
        }
    });
}

fn is_valid_and_can_be_built(file: &Path, bones: &BoneCache) {
    let job = Job::read(file).unwrap_or_else(|e| panic!("{e}"));
    let plan = Plan::of(&job).unwrap_or_else(|e| panic!("{e}"));
    let step = plan.points.len().div_ceil(BUILT_OF_EACH);
    let some = plan.points.iter().step_by(step);
    let built = some
        .filter(|p| bones.construct(&resolve(&job, p).construct).is_ok())
        .count();
    let asked = plan.points.len().div_ceil(step);
    // Screws of a rare combination may cross; a job that loses more than that is no ready one.
    assert!(
        built == asked || (built + 1 == asked && plan.points.len() > BUILT_OF_EACH),
        "{}: {built} of {asked}",
        file.display()
    );
}
