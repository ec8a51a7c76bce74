//! `bicolumn hardware`: bench tests of a design point's plates and screws alone.

use crate::args::HardwareArgs;
use crate::console::Console;
use crate::point_of_job::point_of_job;
use crate::run::threads;
use crate::{ALL_WELL, CANNOT_RUN};
use bicolumn_job::resolve;
use bicolumn_report::CAUTION;
use bicolumn_study::hardware::{Bench, Row, Specimen, Thread, bench_hardware};

/// Head of the table.
const HEAD: [&str; 8] = [
    "specimen",
    "quantity",
    "unit",
    "finite_elements",
    "coarser_mesh",
    "theory",
    "difference_percent",
    "definition",
];

pub(crate) fn hardware(args: &HardwareArgs, console: &mut Console<'_>) -> u8 {
    let Some((job, point)) = point_of_job(&args.job, &args.point, console) else {
        return CANNOT_RUN;
    };
    let inputs = resolve(&job, &point);
    let Some(plate) = inputs.construct.plates.first() else {
        console.error(&format!(
            "{}: {} has no hardware\n  hint: name a point with plates by --point",
            args.job.display(),
            point.id
        ));
        return CANNOT_RUN;
    };
    let pitch = plate.hole_pitch_mm;
    let bench = Bench {
        loading_span_mm: args.loading_span_mm.unwrap_or(1.5 * pitch),
        centre_span_mm: args.centre_span_mm.unwrap_or(2.0 * pitch),
        holes: usize::from(args.holes),
        yield_mpa: args.yield_mpa,
        screw_length_mm: args.screw_length_mm,
        thread: Thread {
            major_mm: args.thread_major_mm,
            pitch_mm: args.thread_pitch_mm,
            length_mm: args.thread_length_mm,
            host_shear_mpa: args.host_shear_mpa,
        },
    };
    let found = bench_hardware(&inputs, &bench, threads(&job, args.threads));
    let specimens = match found {
        Ok(specimens) => specimens,
        Err(e) => {
            console.error(&format!("{}: {e}", args.job.display()));
            return CANNOT_RUN;
        }
    };
    match table(&specimens) {
        Ok(table) => console.data(table.trim_end()),
        Err(e) => {
            console.error(&e.to_string());
            return CANNOT_RUN;
        }
    }
    console.say(&format!(
        "plates bend over spans of {}, {} and {} mm; finite elements on the specimen's own mesh, beside them a mesh 1.4 times as \
         coarse; linear: first yield is no 0.2 % offset",
        bench.loading_span_mm, bench.centre_span_mm, bench.loading_span_mm
    ));
    console.say(CAUTION);
    ALL_WELL
}

/// A row for each quantity of each specimen.
fn table(specimens: &[Specimen]) -> Result<String, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(HEAD)?;
    for specimen in specimens {
        for row in &specimen.rows {
            writer.write_record(cells(&specimen.name, row))?;
        }
    }
    let bytes = writer.into_inner().map_err(|e| e.into_error())?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

fn cells(specimen: &str, row: &Row) -> [String; 8] {
    let number = |n: Option<f64>| n.map_or(String::new(), |n| format!("{n:.6}"));
    let both = row.computed.zip(row.theory);
    let off = both.map(|(computed, theory)| 100.0 * (computed / theory - 1.0));
    [
        specimen.into(),
        row.quantity.into(),
        row.unit.into(),
        number(row.computed),
        number(row.coarser),
        number(row.theory),
        off.map_or(String::new(), |off| format!("{off:.2}")),
        row.by.into(),
    ]
}
