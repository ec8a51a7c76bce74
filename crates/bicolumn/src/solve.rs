//! `bicolumn solve`: the displacements and stresses of an audit bundle, ours or anybody's.

use crate::CANNOT_RUN;
use crate::args::SolveArgs;
use crate::console::Console;
use crate::point_of_job::{tell_written, write_file, write_grid};
use bicolumn_bundle::{ReadBundle, SolvedBundle, read_bundle, solve_bundle};
use bicolumn_solve::SolveOptions;
use bicolumn_store::{can_write, create_folder};
use serde_json::json;
use std::path::{Path, PathBuf};

pub(crate) fn solve(args: &SolveArgs, console: &mut Console<'_>) -> u8 {
    let bundle = match read_bundle(&args.bundle) {
        Ok(bundle) => bundle,
        Err(e) => {
            console.error(&e);
            return CANNOT_RUN;
        }
    };
    let out = args.out.clone().unwrap_or_else(|| {
        let name = args.bundle.file_name();
        PathBuf::from("results").join(name.unwrap_or_else(|| "bundle".as_ref()))
    });
    // A folder that cannot be written should be told before the solving, not after.
    if let Err(e) = can_write(&out) {
        console.error(&e);
        return CANNOT_RUN;
    }
    let mesh = bundle.problem.mesh();
    console.say(&format!(
        "{}: nodes {}, tetrahedra {}, supported nodes {}, load cases {}, interfaces {}, tightened {}",
        args.bundle.display(),
        mesh.nodes.len(),
        mesh.tets.len(),
        bundle.problem.constraints().len(),
        bundle.problem.cases().len(),
        bundle
            .contact
            .as_ref()
            .map_or(0, |c| c.interfaces.sets().len()),
        bundle.contact.as_ref().map_or(0, |c| c.preloads.len()),
    ));
    tell_written(solved(&bundle, args, &out), console)
}

fn solved(bundle: &ReadBundle, args: &SolveArgs, out: &Path) -> Result<Vec<PathBuf>, String> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let options = SolveOptions {
        tolerance: args.tolerance,
        threads: args.threads.map_or(cores, usize::from),
        ..SolveOptions::default()
    };
    let SolvedBundle {
        grid, mut record, ..
    } = solve_bundle(bundle, &options).map_err(|e| format!("{}: {e}", args.bundle.display()))?;
    record["tolerance"] = json!(args.tolerance);
    record["caution"] = json!(bicolumn_report::CAUTION);
    create_folder(out).map_err(|e| e.to_string())?;
    let [solution, text] = ["solution.vtu", "solution.json"].map(|name| out.join(name));
    write_grid(&solution, &grid)?;
    let bytes = serde_json::to_vec_pretty(&record).map_err(|e| e.to_string())?;
    write_file(&text, &bytes)?;
    Ok(vec![solution, text])
}
