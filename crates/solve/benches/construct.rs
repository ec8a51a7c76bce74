//! `cargo bench -p bicolumn-solve --bench construct -- [FOLDER [THREADS [TOLERANCE [SOFTER [METHOD]]]]]`:
//! what the solve of a real construct costs; with `SOFTER`, every material but the stiffest has its modulus
//! divided by that; METHOD: multigrid, aggregation or direct.
//!
//! FOLDER holds an audit bundle without tightened screws, `bicolumn export --point 5 --out FOLDER jobs/first-look.toml`;
//! without it, `meshes/coarse_construct`.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use bicolumn_bundle::read_bundle;
use bicolumn_model::Material;
use bicolumn_solve::{Method, Prepared, SolveOptions};
use std::path::{Path, PathBuf};

fn main() {
    let arguments: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| a != "--bench")
        .collect();
    let own = || Path::new(env!("CARGO_MANIFEST_DIR")).join("../../meshes/coarse_construct");
    let folder = arguments.first().map_or_else(own, PathBuf::from);
    let threads = arguments.get(1).map_or(2, |a| a.parse().unwrap());
    let tolerance = arguments.get(2).map_or(1e-8, |a| a.parse().unwrap());
    let softer = arguments.get(3).map_or(1.0, |a| a.parse::<f64>().unwrap());
    let problem = read_bundle(&folder).unwrap().problem;
    let young = |m: &Material| m.young_mpa;
    let stiffest = problem.materials().iter().map(young).fold(0.0, f64::max);
    let mut materials = problem.materials().to_vec();
    for m in materials.iter_mut().filter(|m| m.young_mpa < stiffest) {
        m.young_mpa /= softer;
    }
    let problem = problem.with_materials(materials).unwrap();
    let method = match arguments.get(4).map(String::as_str) {
        Some("aggregation") => Method::AggregatedCoarse,
        Some("direct") => Method::Direct,
        Some("multigrid") => Method::FactoredCoarse,
        _ => Method::Auto,
    };
    let options = SolveOptions {
        method,
        tolerance,
        threads,
        ..SolveOptions::default()
    };
    let ready = Prepared::new(&problem, &options).unwrap();
    let r = ready.solve_cases().unwrap().report;
    let worst = |v: &[f64]| v.iter().copied().fold(0.0, f64::max);
    println!(
        "{:?}, {} unknowns, {} right sides, {threads} threads: assembly {:.2} s, set-up {:.2} s, {} iterations {:.2} s",
        r.method, r.unknowns, r.right_sides, r.assemble_s, r.setup_s, r.iterations, r.solve_s
    );
    println!(
        "residual {:.1e}, rounding floor {:.1e}, stopped there: {}; equilibrium error {:.1e}",
        worst(&r.residuals),
        worst(&r.rounding_floors),
        r.stopped_at_floor.iter().any(|&s| s),
        worst(&r.equilibrium)
    );
    println!(
        "memory: {:.2} GB estimated, {:.2} GB counted",
        r.estimated_bytes as f64 / 1e9,
        r.used_bytes as f64 / 1e9
    );
    let history: Vec<String> = r.history.iter().map(|h| format!("{h:.0e}")).collect();
    println!("residual by iteration: {}", history.join(" "));
}
