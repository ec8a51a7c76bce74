//! `bicolumn export`: the audit bundle of one design point, for solving again with other code.

use crate::CANNOT_RUN;
use crate::args::ExportArgs;
use crate::console::Console;
use crate::point_of_job::{point_of_job, tell_written, told, write_file, write_grid};
use crate::run::threads;
use bicolumn_store::{can_write, create_folder};
use bicolumn_study::{Bundle, Content, export_point};
use std::path::{Path, PathBuf};

pub(crate) fn export(args: &ExportArgs, console: &mut Console<'_>) -> u8 {
    let Some((job, point)) = point_of_job(&args.job, &args.point, console) else {
        return CANNOT_RUN;
    };
    // A folder that cannot be written should be told before the solving, not after.
    if let Err(e) = can_write(&args.out) {
        console.error(&e);
        return CANNOT_RUN;
    }
    let result = export_point(
        &job,
        &point,
        threads(&job, None),
        args.matrix,
        &mut |stage| {
            console.say(&format!("{}: {stage}", point.id));
        },
    );
    let written = match result {
        Ok(bundle) => {
            if let Some(reason) = &bundle.without_intact {
                console.error(&format!("{}: no intact bone: {reason}", point.id));
            }
            write(&bundle, &args.out)
        }
        Err(e) => Err(told(&e, &job, &point)),
    };
    tell_written(written, console)
}

fn write(bundle: &Bundle, dir: &Path) -> Result<Vec<PathBuf>, String> {
    let mut written = vec![];
    for (name, content) in &bundle.files {
        let path = dir.join(name);
        if let Some(folder) = path.parent() {
            create_folder(folder).map_err(|e| e.to_string())?;
        }
        match content {
            Content::Grid(grid) => write_grid(&path, grid)?,
            Content::Json(value) => write_file(&path, format!("{value}\n").as_bytes())?,
            Content::Text(bytes) => write_file(&path, bytes)?,
        }
        written.push(path);
    }
    Ok(written)
}
