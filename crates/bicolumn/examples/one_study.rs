//! Fifth example, after `one_construct`: a study of two points from a job file, read back from its tables.
//!
//! Run: `cargo run --release -p bicolumn --example one_study`
//!
//! The job varies the load: 100 and 200 N. The model is linear, so by theory displacement doubles and stiffness
//! stays; the tables must say so. The same steps by hand: `bicolumn run JOB.toml`, then any program that reads CSV
//! (`docs/guides/read-results-in-python-and-R.md`).
#![allow(clippy::print_stdout)]

use std::error::Error;
use std::path::Path;

/// Two levels of one load, on coarse cells with stout screws: for the program, not for results.
const JOB: &str = concat!(
    r#"
[run]
title = "Twice the load"
question = "Does twice the load move the joint twice as far?"
headline = "load_displacement_mm"

[factors]
"loads.axial_n" = [100, 200]

"#,
    include_str!("coarse.toml")
);

/// Displacement of the load, mm, and stiffness, N/mm, at 100 and at 200 N.
pub(crate) struct Table {
    pub(crate) displacement_mm: [f64; 2],
    pub(crate) stiffness_n_per_mm: [f64; 2],
}

/// Runs the job in a folder and reads `results.csv`.
pub(crate) fn table(folder: &Path) -> Result<Table, Box<dyn Error>> {
    let (job, out) = (folder.join("twice.toml"), folder.join("results"));
    std::fs::write(&job, JOB)?;
    let words = ["bicolumn".into(), "run".into(), job.into_os_string()];
    let words = words
        .into_iter()
        .chain(["--out".into(), out.clone().into_os_string()]);
    let (mut said, mut told) = (vec![], vec![]);
    let status = bicolumn::main_with(words, &mut said, &mut told, false);
    if status != bicolumn::ALL_WELL {
        return Err(String::from_utf8_lossy(&told).into_owned().into());
    }

    let mut reader = csv::Reader::from_path(out.join("results.csv"))?;
    let head = reader.headers()?.clone();
    let rows: Vec<csv::StringRecord> = reader.records().collect::<Result<_, _>>()?;
    let column = |name: &str| -> Result<[f64; 2], Box<dyn Error>> {
        let at = head
            .iter()
            .position(|h| h == name)
            .ok_or_else(|| format!("no column {name}"))?;
        Ok([rows[0][at].parse()?, rows[1][at].parse()?])
    };
    Ok(Table {
        displacement_mm: column("load_displacement_mm")?,
        stiffness_n_per_mm: column("stiffness_n_per_mm")?,
    })
}

fn main() -> Result<(), Box<dyn Error>> {
    let folder = tempfile::tempdir()?;
    let found = table(folder.path())?;
    let [once, twice] = found.displacement_mm;
    println!(
        "displacement {once:.6} and {twice:.6} mm: ratio {:.9}, exact 2",
        twice / once
    );
    let [one, other] = found.stiffness_n_per_mm;
    println!(
        "stiffness {one:.3} and {other:.3} N/mm: ratio {:.9}, exact 1",
        other / one
    );
    println!("A research tool, not a medical device.");
    Ok(())
}
