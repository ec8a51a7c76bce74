//! The size field that a job names: read with the job, so that a wrong file is told with its line.

use crate::job::Job;
use crate::job_error::{Fault, JobError};
use bicolumn_mesh::SizeField;
use std::path::Path;

/// The key that names the file.
pub(crate) const KEY: &str = "mesh.size_field";

/// The field of a job's `mesh.size_field`; `None` where the job names none, or what is wrong is told.
pub(crate) fn read(job: &Job, errors: &mut Vec<JobError>) -> Option<SizeField> {
    let given = job.given.get(KEY)?;
    let name = given.value.text().unwrap_or_default();
    let file = job.file.parent().unwrap_or(Path::new("")).join(name);
    match read_file(&file) {
        Ok(field) => Some(field),
        Err(fault) => {
            errors.push(job.error(Some(given.spot), KEY, format!("{name:?}"), fault));
            None
        }
    }
}

fn read_file(file: &Path) -> Result<SizeField, Fault> {
    let wrong = |why: String, hint: &str| Fault::Conflict {
        why,
        hint: hint.into(),
    };
    let text = std::fs::read_to_string(file).map_err(|e| {
        wrong(
            format!("{} cannot be read: {e}", file.display()),
            "the path counts from the folder of the job file",
        )
    })?;
    serde_json::from_str(&text).map_err(|e| {
        wrong(
            format!("{} is no size field: {e}", file.display()),
            "a size field is a JSON object of origin_mm [x, y, z], spacing_mm, counts [nx, ny, nz] and \
             sizes_mm, x running fastest",
        )
    })
}

#[cfg(test)]
mod tests {
    use crate::job::Job;
    use crate::plan::Plan;
    use crate::resolve::resolve;
    use bicolumn_base::{Aabb, Vec3};
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
}
