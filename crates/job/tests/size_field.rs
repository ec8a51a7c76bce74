//! The size field that a job names, from its file to the digest.

#![allow(clippy::unwrap_used)]

use bicolumn_base::{Aabb, Vec3};
use bicolumn_job::{Job, Plan, resolve};
use bicolumn_mesh::SizeField;
use std::path::Path;

const JOB: &str = "[mesh]\nsize_field = \"sizes.json\"\n";

fn job_beside(text: Option<&str>) -> Result<Job, String> {
    let folder = tempfile::tempdir().unwrap();
    if let Some(text) = text {
        std::fs::write(folder.path().join("sizes.json"), text).unwrap();
    }
    Job::parse(&folder.path().join("x.toml"), JOB).map_err(|e| e.to_string())
}

fn written(size: f64) -> String {
    let room = Aabb::around(&[Vec3::repeat(-200.0), Vec3::repeat(200.0)]);
    let field = SizeField::over(room, 100.0, |_| size).unwrap();
    serde_json::to_string(&field).unwrap()
}

#[test]
fn what_is_written_is_read_and_its_content_is_in_the_digest() {
    let points = [1.0, 1.5].map(|size| {
        let job = job_beside(Some(&written(size))).unwrap();
        resolve(&job, &Plan::of(&job).unwrap().points[0])
    });
    let field = points[0].sizing.size_field.as_ref().unwrap();
    assert_eq!(field.at(Vec3::zeros()), 1.0);
    assert_eq!(points[0].inputs, points[1].inputs);
    assert_ne!(points[0].digest, points[1].digest);
}

#[test]
fn a_file_that_is_missing_broken_or_out_of_range_is_told_with_its_line() {
    let spoiled = written(1.0).replace("1.0,", "0.01,");
    for (text, want) in [
        (None, "cannot be read"),
        (Some("{"), "is no size field"),
        (Some("{\"spacing_mm\": 1}"), "missing field"),
        (Some(spoiled.as_str()), "must be 0.1 mm or more"),
    ] {
        let told = job_beside(text).unwrap_err();
        assert!(
            told.contains("x.toml:2: mesh.size_field = \"sizes.json\": "),
            "{told}"
        );
        assert!(told.contains(want), "{told}");
    }
    assert!(Job::parse(Path::new("x.toml"), "").is_ok());
}
