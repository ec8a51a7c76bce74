//! `bicolumn hardware`: bench tests of a design point's plates and screws alone.

use crate::args::HardwareArgs;
use crate::console::Console;
use crate::point_of_job::point_of_job;
use crate::{ALL_WELL, CANNOT_RUN};
use bicolumn_job::resolve;
use bicolumn_report::CAUTION;
use bicolumn_study::hardware::{Bench, Row, Thread, bench_hardware};

/// Head of the table.
const HEAD: &str =
    "specimen,quantity,unit,finite_elements,coarser_mesh,theory,difference_percent,definition";

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
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let threads = args
        .threads
        .map(usize::from)
        .or(job.threads())
        .unwrap_or(cores);
    let said = std::sync::Mutex::new(Vec::new());
    let found = bench_hardware(&inputs, &bench, threads, &|name| {
        if let Ok(mut said) = said.lock() {
            said.push(name.to_string());
        }
    });
    let specimens = match found {
        Ok(specimens) => specimens,
        Err(e) => {
            let name = said.into_inner().ok().and_then(|mut s| s.pop());
            let name = name.unwrap_or_default();
            console.error(&format!("{}: {name}: {e}", args.job.display()));
            return CANNOT_RUN;
        }
    };
    console.data(HEAD);
    for specimen in &specimens {
        for row in &specimen.rows {
            console.data(&line(&specimen.name, row));
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

fn line(specimen: &str, row: &Row) -> String {
    let number = |n: Option<f64>| n.map_or(String::new(), |n| format!("{n:.6}"));
    let both = row.computed.zip(row.theory);
    let off = both.map(|(computed, theory)| 100.0 * (computed / theory - 1.0));
    format!(
        "\"{specimen}\",{},{},{},{},{},{},\"{}\"",
        row.quantity,
        row.unit,
        number(row.computed),
        number(row.coarser),
        number(row.theory),
        off.map_or(String::new(), |off| format!("{off:.2}")),
        row.by
    )
}
