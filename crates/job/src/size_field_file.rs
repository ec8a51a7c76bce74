//! The size field that a job names: read with the job, so that a wrong file is told with its line.

use crate::catalogue::keys;
use crate::given::AllGiven;
use crate::job_error::{Fault, Spot};
use crate::text_file::text_of;
use bicolumn_mesh::SizeField;
use std::path::Path;

/// Longest size field, bytes.
const MOST_BYTES: u64 = 512 << 20;

/// A fault of the file that a job names.
pub(crate) struct WrongFile {
    pub(crate) path: String,
    pub(crate) value: String,
    pub(crate) spot: Spot,
    pub(crate) fault: Fault,
}

/// The field of a job's `mesh.size_field`; `None` where the job names none. `folder`: that of the job file,
/// from which the path counts.
///
/// # Errors
/// The fault of the file.
pub(crate) fn read(given: &AllGiven, folder: &Path) -> Result<Option<SizeField>, WrongFile> {
    let path = keys().path(keys().mesh.size_field);
    let Some(given) = given.get(path) else {
        return Ok(None);
    };
    let name = given.value.text().unwrap_or_default();
    let field = read_file(&folder.join(name)).map_err(|fault| WrongFile {
        path: path.to_string(),
        value: format!("{name:?}"),
        spot: given.spot,
        fault,
    })?;
    Ok(Some(field))
}

fn read_file(file: &Path) -> Result<SizeField, Fault> {
    let wrong = |why: String, hint: &str| Fault::Conflict {
        why,
        hint: hint.into(),
    };
    let text = text_of(file, MOST_BYTES).map_err(|e| {
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
