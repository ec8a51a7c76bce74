//! Responses, load cases, factors and levels that a table of a job names and that stand elsewhere.

use crate::handle::KeyId;
use crate::job::{Factor, Job};
use bicolumn_base::Word;
use bicolumn_model::{NamedLoad, Sensor};
use bicolumn_response::{ResponseId, ResponseName};

/// A fault of a table: the key, or none for the table as a whole; why; remedy.
pub(crate) type Wrong = (Option<KeyId>, String, String);

pub(crate) fn wrong(key: impl Into<Option<KeyId>>, why: impl Into<String>, hint: &str) -> Wrong {
    (key.into(), why.into(), hint.into())
}

/// Response of the program, or of a sensor of the job.
pub(crate) fn response(job: &Job, key: KeyId, name: &str) -> Result<ResponseName, Wrong> {
    let mut sensors = job.sensors().iter().map(Sensor::column);
    if ResponseId::from_name(name).is_none() && !sensors.any(|s| s == name) {
        let hint = "name a column of columns.json, or of a sensor of this job";
        return Err(wrong(key, "no such response", hint));
    }
    Ok(name.into())
}

/// Load case of the program, or of the job.
pub(crate) fn load_case(job: &Job, key: KeyId, name: String) -> Result<String, Wrong> {
    let mut own = job.load_cases.iter();
    if NamedLoad::from_word(&name).is_none() && !own.any(|c| c.name() == name) {
        let hint = "name a load case of the program or of [loads.case.NAME]";
        return Err(wrong(key, "no such load case", hint));
    }
    Ok(name)
}

/// Factor of the job by its key.
pub(crate) fn factor<'a>(
    job: &'a Job,
    key: KeyId,
    path: &str,
    hint: &str,
) -> Result<&'a Factor, Wrong> {
    let found = job.factors.iter().find(|f| f.path() == path);
    found.ok_or_else(|| wrong(key, format!("{path} is no factor of this job"), hint))
}

/// Levels of factors that single out design points, from "construct.layout = orthogonal; ...".
pub(crate) fn levels<'a>(
    job: &'a Job,
    key: KeyId,
    text: &str,
) -> Result<Vec<(&'a Factor, String)>, Wrong> {
    const HINT: &str =
        "write \"construct.layout = orthogonal\", a factor of this job and one of its levels";
    let part = |part: &str| {
        let (path, level) = part
            .split_once('=')
            .ok_or_else(|| wrong(key, "is no list of factors and levels", HINT))?;
        let (path, level) = (path.trim(), level.trim());
        let factor = factor(job, key, path, HINT)?;
        if !factor.levels.iter().any(|l| l.to_string() == level) {
            let why = format!("{level} is no level of {path}");
            return Err(wrong(key, why, HINT));
        }
        Ok((factor, level.to_string()))
    };
    text.split(';').map(part).collect()
}

/// The same by the factors' keys, as records have them.
pub(crate) fn by_path(levels: Vec<(&Factor, String)>) -> Vec<(String, String)> {
    let levels = levels.into_iter();
    levels
        .map(|(factor, level)| (factor.path().to_string(), level))
        .collect()
}
