//! Job files of a command: as typed, folders with all that is in them.

use crate::console::Console;
use crate::run::{default_folder, read_with};
use crate::set_key::SetKey;
use bicolumn_job::{Job, Plan};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// A job that was read.
pub(crate) struct ReadJob {
    /// Its file.
    pub(crate) file: PathBuf,
    /// Name of its file without ending: of its folder of results.
    pub(crate) name: String,
    pub(crate) job: Job,
    pub(crate) plan: Plan,
}

/// Jobs of a command: those that could be read, and how many could not.
pub(crate) struct JobList {
    pub(crate) jobs: Vec<ReadJob>,
    pub(crate) unread: usize,
}

impl JobList {
    /// Reads job files and the `.toml` files of folders, with keys set on the command line; tells what is wrong with each that cannot be read.
    pub(crate) fn read(typed: &[PathBuf], set: &[SetKey], console: &mut Console<'_>) -> JobList {
        let mut list = JobList {
            jobs: vec![],
            unread: 0,
        };
        let mut files_of: BTreeMap<String, PathBuf> = BTreeMap::new();
        for path in typed {
            let files = match path.is_dir() {
                true => job_files(path),
                false => Ok(vec![path.clone()]),
            };
            let files = files.unwrap_or_else(|e| {
                console.error(&e);
                list.unread += 1;
                vec![]
            });
            for file in files {
                let name = file.file_stem().unwrap_or(file.as_os_str());
                let name = name.to_string_lossy().into_owned();
                if let Some(other) = files_of.get(&name) {
                    console.error(&format!(
                        "{} and {} would have the same folder of results; accepted: job files with names of their own",
                        other.display(),
                        file.display()
                    ));
                    list.unread += 1;
                    continue;
                }
                files_of.insert(name.clone(), file.clone());
                match read_with(&file, set) {
                    Ok((job, plan)) => {
                        for idle in bicolumn_job::warnings(&job, &plan) {
                            console.warn(&idle);
                        }
                        list.jobs.push(ReadJob {
                            file,
                            name,
                            job,
                            plan,
                        });
                    }
                    Err(e) => {
                        console.error(&e);
                        list.unread += 1;
                    }
                }
            }
        }
        list
    }

    /// Was more than one job asked for?
    pub(crate) fn has_several(&self) -> bool {
        self.jobs.len() + self.unread > 1
    }

    /// Folder of results of a job: `results/NAME`, or below the folder typed, which is that of an only job itself.
    pub(crate) fn folder(&self, job: &ReadJob, out: Option<&Path>) -> PathBuf {
        match out {
            None => default_folder(&job.file),
            Some(out) if self.has_several() => out.join(&job.name),
            Some(out) => out.to_path_buf(),
        }
    }
}

/// The `.toml` files of a folder, by name.
fn job_files(folder: &Path) -> Result<Vec<PathBuf>, String> {
    let entries = std::fs::read_dir(folder)
        .map_err(|e| format!("{}: cannot be read: {e}", folder.display()))?;
    let mut files: Vec<PathBuf> = entries
        .flatten()
        .map(|e| e.path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    match files.is_empty() {
        true => Err(format!(
            "{} holds no job file; accepted: a folder with files that end in .toml",
            folder.display()
        )),
        false => Ok(files),
    }
}
