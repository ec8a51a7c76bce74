//! `cargo bench -p bicolumn-solve --bench methods`: the factor of the whole matrix against multigrid, by size and
//! number of right sides, on one thread, beside what the solver forecasts.
//!
//! A bar of 1 : 4 : 1 with a steel core in cancellous bone; the constants of `src/forecast.rs` are fitted to
//! these rows and to a construct (`--bench construct`).
#![allow(clippy::unwrap_used, clippy::print_stdout)]

#[path = "../tests/support/mod.rs"]
mod support;

use bicolumn_base::Vec3;
use bicolumn_solve::{Forecast, Method, Prepared, SolveOptions};
use std::cell::Cell;
use support::{cored_bar, held_box, material};

fn main() {
    println!(
        "cells  sides  method       unknowns  iterations  set-up, s  solve, s  forecast, s  chosen"
    );
    for cells in [2, 3, 4, 5, 6, 8] {
        for sides in [1, 4, 8] {
            let mesh = cored_bar(cells);
            let loads: Vec<(Vec3, Vec3)> = (0..sides)
                .map(|k| {
                    let angle = 0.4 * f64::from(k);
                    (Vec3::new(angle.cos(), -2.0, angle.sin()), Vec3::zeros())
                })
                .collect();
            let materials = vec![material(193_000.0, 0.3), material(600.0, 0.3)];
            let problem = held_box(mesh, materials, &loads);
            for method in [Method::Direct, Method::FactoredCoarse, Method::Auto] {
                let options = SolveOptions {
                    method,
                    tolerance: 1e-8,
                    threads: 1,
                    ..SolveOptions::default()
                };
                let told: Cell<Option<Forecast>> = Cell::new(None);
                let ready =
                    Prepared::with_forecast(&problem, &options, &|f| told.set(Some(*f))).unwrap();
                let forecast = told.get().unwrap();
                if method == Method::Auto {
                    println!("{cells:5}  {sides:5}  auto takes {:?}", forecast.method);
                    continue;
                }
                let report = ready.solve_cases().unwrap().report;
                println!(
                    "{cells:5}  {sides:5}  {:11}  {:8}  {:10}  {:9.3}  {:8.3}  {:11.3}",
                    format!("{:?}", report.method),
                    report.unknowns,
                    report.iterations,
                    report.setup_s,
                    report.solve_s,
                    forecast.seconds
                );
            }
        }
    }
}
