//! `bicolumn converge`: one design point on finer and coarser meshes, and on the same mesh posed anew.

use crate::CANNOT_RUN;
use crate::args::ConvergeArgs;
use crate::console::Console;
use crate::point_of_job::{point_of_job, tell_written, told, writable_folder, write_file};
use crate::run::{default_folder, threads};
use bicolumn_job::resolve;
use bicolumn_response::{LargestOfPlates, Load, Motion, ResponseId, ResponseName};
use bicolumn_store::{MeshNoise, StudyFolder, create_folder, write_record};
use bicolumn_study::{
    ConvergedResponse, Convergence, MeshSeries, converge as run_series, noise_uncertainty,
};
use std::path::{Path, PathBuf};

/// Responses that are printed; the files hold all.
const PRINTED: [ResponseId; 6] = [
    ResponseId::LargestOfPlates(LargestOfPlates::LastScrew),
    ResponseId::LargestOfPlates(LargestOfPlates::BeyondEnd),
    ResponseId::Load(Load::Stiffness),
    ResponseId::Load(Load::RotationStiffness),
    ResponseId::Motion(Motion::AxialMean),
    ResponseId::Motion(Motion::ShearMean),
];

pub(crate) fn converge(args: &ConvergeArgs, console: &mut Console<'_>) -> u8 {
    let Some((job, design_point)) = point_of_job(&args.job, &args.point, console) else {
        return CANNOT_RUN;
    };
    let inputs = resolve(&job, &design_point);
    let point = inputs.id.clone();
    let study = default_folder(&args.job);
    let Some(dir) = writable_folder(args.out.as_ref(), &args.job, "converge", &point, console)
    else {
        return CANNOT_RUN;
    };
    let series = MeshSeries {
        poses: usize::from(args.poses),
        ratio: args.ratio,
        own: if args.coarser { 2 } else { 1 },
    };
    let result = run_series(&inputs, &series, threads(&job, args.threads), &mut |name| {
        console.say(&format!("{point}: mesh \"{name}\""))
    });
    let outcome = match result {
        Ok(outcome) => outcome,
        Err(e) => {
            console.error(&told(&e, &job, &design_point));
            return CANNOT_RUN;
        }
    };
    let lines = table(&outcome).into_iter().chain(largest(&outcome));
    for line in lines.chain([noise_line(outcome.poses)]) {
        console.data(&line);
    }
    let written = write(&outcome, &inputs.id, &dir, &StudyFolder::new(&study));
    tell_written(written, console)
}

fn percent(value: Option<f64>) -> String {
    value.map_or_else(|| "-".into(), |v| format!("{:.2} %", 100.0 * v))
}

/// Printed table: the meshes, then the key responses.
fn table(outcome: &Convergence) -> Vec<String> {
    let mut lines = vec![format!(
        "{:<10}{:>15}{:>15}{:>12}{:>12}{:>10}",
        "mesh", "asked for, mm", "mean size, mm", "tets", "unknowns", "seconds"
    )];
    lines.extend(outcome.replicates.iter().map(|r| {
        format!(
            "{:<10}{:>15.3}{:>15.3}{:>12}{:>12}{:>10.1}",
            r.name, r.finest_mm, r.size_mm, r.tets, r.unknowns, r.seconds
        )
    }));
    lines.push(format!(
        "{:<18}{:<32}{:>12}{:>12}{:>13}{:>8}{:>12}{:>10}",
        "load case", "response", "finest", "to finer", "behaviour", "order", "uncertainty", "noise"
    ));
    let printed = |r: &&ConvergedResponse| PRINTED.contains(&r.response);
    for r in outcome.responses.iter().filter(printed) {
        let Some(finest) = r.values.get(2).copied().flatten() else {
            continue;
        };
        let behaviour = r.series.map_or("", |s| s.behaviour.word());
        let order = r.series.and_then(|s| s.order);
        lines.push(format!(
            "{:<18}{:<32}{:>12.5}{:>12}{:>13}{:>8}{:>12}{:>10}",
            r.case,
            r.response,
            finest,
            percent(r.to_finer),
            behaviour,
            order.map_or_else(|| "-".into(), |p| format!("{p:.2}")),
            percent(r.series.map(|s| s.uncertainty)),
            percent(r.noise),
        ));
    }
    lines
}

/// A line for each printed response: its largest noise and change over the load cases.
fn largest(outcome: &Convergence) -> Vec<String> {
    let of_case = |response: ResponseId, value: fn(&ConvergedResponse) -> Option<f64>| {
        let rows = outcome.responses.iter().filter(|r| r.response == response);
        let sized = rows.filter_map(|r| Some((value(r)?.abs(), r.case.as_str())));
        sized.max_by(|a, b| a.0.total_cmp(&b.0))
    };
    let told = |found: Option<(f64, &str)>| match found {
        Some((value, case)) => format!("{:.2} % ({case})", 100.0 * value),
        None => "-".into(),
    };
    PRINTED
        .iter()
        .map(|&response| {
            format!(
                "{response}: noise at most {}, change to the next finer mesh at most {}",
                told(of_case(response, |r| r.noise)),
                told(of_case(response, |r| r.to_finer)),
            )
        })
        .collect()
}

/// Poses from which on a noise figure is known to a quarter of itself or so.
const ENOUGH_POSES: usize = 8;

/// How well the noise is known.
fn noise_line(poses: usize) -> String {
    if poses < 2 {
        return "one pose tells no noise".into();
    }
    let known = format!(
        "noise: coefficient of variation over {poses} poses, itself known to about {:.0} % (standard error of a \
         standard deviation, normal scatter: 1/sqrt(2 (n - 1)))",
        100.0 * noise_uncertainty(poses)
    );
    match poses < ENOUGH_POSES {
        true => format!(
            "{known}; that is too few to call a difference resolved: {ENOUGH_POSES} poses give {:.0} %",
            100.0 * noise_uncertainty(ENOUGH_POSES)
        ),
        false => known,
    }
}

/// The files: all responses as JSON and CSV, and the noise floor beside the study's own results if it
/// has any, where the report finds it.
fn write(
    outcome: &Convergence,
    point: &str,
    dir: &Path,
    study: &StudyFolder,
) -> Result<Vec<PathBuf>, String> {
    create_folder(dir).map_err(|e| e.to_string())?;
    let json = dir.join("convergence.json");
    let text = serde_json::to_vec_pretty(outcome).map_err(|e| e.to_string())?;
    write_file(&json, &text)?;
    let csv = dir.join("convergence.csv");
    write_file(&csv, &rows(outcome).map_err(|e| e.to_string())?)?;
    let mut paths = vec![json, csv];
    if study.study_file().is_file() {
        let noise = MeshNoise {
            point: point.to_string(),
            poses: outcome.poses,
            by_response: noise_floor(outcome),
        };
        if !noise.by_response.is_empty() {
            write_record(&study.mesh_noise_file(), &noise).map_err(|e| e.to_string())?;
            paths.push(study.mesh_noise_file());
        }
    }
    Ok(paths)
}

/// The largest variation of each response over the load cases.
fn noise_floor(outcome: &Convergence) -> std::collections::BTreeMap<ResponseName, f64> {
    let mut floor = std::collections::BTreeMap::new();
    for r in &outcome.responses {
        if let Some(noise) = r.noise {
            let most: &mut f64 = floor.entry(r.response.into()).or_insert(0.0);
            *most = most.max(noise);
        }
    }
    floor
}

fn rows(outcome: &Convergence) -> Result<Vec<u8>, csv::Error> {
    let mut out = csv::Writer::from_writer(Vec::new());
    let mut head: Vec<String> = [
        "case",
        "response",
        "behaviour",
        "order",
        "extrapolated",
        "uncertainty_relative",
        "to_finer_relative",
        "noise_relative",
    ]
    .map(String::from)
    .to_vec();
    head.extend(
        outcome
            .replicates
            .iter()
            .map(|r| format!("value, {}", r.name)),
    );
    out.write_record(&head)?;
    let number = |v: Option<f64>| v.map_or_else(String::new, |v| v.to_string());
    for r in &outcome.responses {
        let s = r.series;
        let mut row = vec![
            r.case.clone(),
            r.response.name(),
            s.map_or(String::new(), |s| s.behaviour.word().to_string()),
            number(s.and_then(|s| s.order)),
            number(s.and_then(|s| s.extrapolated)),
            number(s.map(|s| s.uncertainty)),
            number(r.to_finer),
            number(r.noise),
        ];
        row.extend(r.values.iter().map(|v| number(*v)));
        out.write_record(&row)?;
    }
    out.into_inner().map_err(|e| e.into_error().into())
}
