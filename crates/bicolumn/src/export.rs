//! `bicolumn export`: the audit bundle of one design point, for solving again with other code.

use crate::CANNOT_RUN;
use crate::args::ExportArgs;
use crate::console::Console;
use crate::point_of_job::{point_of_job, tell_written, told, write_file, write_grid};
use crate::run::threads;
use bicolumn_store::{can_write, create_folder};
use bicolumn_study::{Bundle, export_point};
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
        Ok(bundle) => write(&bundle, &args.out),
        Err(e) => Err(told(&e, &job, &point)),
    };
    tell_written(written, console)
}

fn write(bundle: &Bundle, dir: &Path) -> Result<Vec<PathBuf>, String> {
    create_folder(dir).map_err(|e| e.to_string())?;
    let [mesh, model, solution] =
        ["mesh.vtu", "model.json", "solution.vtu"].map(|name| dir.join(name));
    write_grid(&mesh, &bundle.mesh)?;
    let text = serde_json::to_string(&bundle.model).map_err(|e| e.to_string())?;
    write_file(&model, text.as_bytes())?;
    write_grid(&solution, &bundle.solution)?;
    let mut written = vec![mesh, model, solution];
    for (name, bytes) in &bundle.matrices {
        let path = dir.join(name);
        write_file(&path, bytes)?;
        written.push(path);
    }
    if let Some(contact) = &bundle.contact {
        let path = dir.join("contact.json");
        let text = serde_json::to_string(contact).map_err(|e| e.to_string())?;
        write_file(&path, text.as_bytes())?;
        written.push(path);
    }
    Ok(written)
}
