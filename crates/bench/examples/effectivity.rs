//! How good the estimates of the discretisation error are: one design point on meshes of several sizes,
//! each with its estimates, against the finest of them.
//!
//! `cargo run --release -p bicolumn-bench --example effectivity -- JOB POINT THREADS SIZE SIZE ...`, each size the finest cell
//! in mm or the file of a size field, the last and finest as the reference. By response and load case: the
//! reference, and of each other mesh reference − value, estimate with its sign and size without cancellation,
//! all % of the reference.

#![allow(clippy::print_stdout, clippy::unwrap_used)]

use bicolumn_job::{Job, Plan, resolve};
use bicolumn_measure::{RecoveredStress, measure_recovered};
use bicolumn_study::BoneCache;
use bicolumn_study::build_model;
use bicolumn_study::estimates;
use std::collections::BTreeMap;
use std::path::Path;
use std::time::Instant;

/// Value, and estimate with its sign and without, by response and load case.
type Table = BTreeMap<(String, String), (f64, Option<[f64; 2]>)>;

fn main() {
    let mut args = std::env::args().skip(1);
    let file = args.next().unwrap();
    let text = std::fs::read_to_string(&file).unwrap();
    let job = Job::parse(Path::new(&file), &text).unwrap();
    let plan = Plan::of(&job).unwrap();
    let point = plan.point(&args.next().unwrap()).unwrap();
    let threads: usize = args.next().unwrap().parse().unwrap();
    let sizes: Vec<String> = args.collect();
    let mut tables: Vec<Table> = vec![];
    for (k, size) in sizes.iter().enumerate() {
        let mut inputs = resolve(&job, point);
        match size.parse::<f64>() {
            Ok(size) => {
                let factor = size / inputs.sizing.finest_mm;
                inputs.sizing = inputs.sizing.scaled(factor);
            }
            Err(_) => {
                let text = std::fs::read_to_string(size).unwrap();
                inputs.sizing.size_field = Some(serde_json::from_str(&text).unwrap());
            }
        }
        let bones = BoneCache::default();
        let start = Instant::now();
        let model = build_model(&inputs, &bones).unwrap();
        let meshed = start.elapsed().as_secs_f64();
        let (solution, ready) = model.solve_linear(&inputs, threads, &|_| {}).unwrap();
        let solved = start.elapsed().as_secs_f64() - meshed;
        let stress = RecoveredStress::of(&model.problem, solution.total());
        let measures = measure_recovered((&model.solved(&solution), &stress), None);
        let measured = start.elapsed().as_secs_f64() - meshed - solved;
        let mut table = BTreeMap::new();
        for case in &measures {
            for r in &case.responses {
                if let Some(v) = r.value {
                    table.insert((r.id.name(), case.case.clone()), (v, None));
                }
            }
        }
        let is_reference = k + 1 == sizes.len() && k > 0;
        if !is_reference {
            let found = estimates(
                &model,
                (&solution, ready),
                (&stress, &measures),
                threads,
                &|_, _| false,
            )
            .unwrap();
            for e in found.responses {
                let key = (e.response.name(), measures[e.case].case.clone());
                if let Some(row) = table.get_mut(&key) {
                    row.1 = Some([e.error, e.bound]);
                }
            }
            println!("relative energy error by load case: {:.4?}", found.energy);
        }
        let estimated = start.elapsed().as_secs_f64() - meshed - solved - measured;
        println!(
            "{size}: {} tets, {} unknowns; mesh {meshed:.1} s, solve {solved:.1} s, measure {measured:.1} s, estimate {estimated:.1} s",
            model.problem.mesh().tets.len(),
            solution.by_load.report.unknowns
        );
        tables.push(table);
    }
    let Some(reference) = tables.last() else {
        return;
    };
    for (key, (exact, _)) in reference {
        let mut line = format!("{:<34}{:<20}{exact:>12.5}", key.0, key.1);
        let mut any = false;
        for table in &tables[..tables.len() - 1] {
            let Some((value, estimate)) = table.get(key) else {
                continue;
            };
            let percent = |x: f64| 100.0 * x / exact.abs();
            if let Some([e, bound]) = estimate {
                any = true;
                line += &format!(
                    " |{:>7.2} {:>7.2} {:>7.2}",
                    percent(exact - value),
                    percent(*e),
                    percent(*bound)
                );
            }
        }
        if any {
            println!("{line}");
        }
    }
}
