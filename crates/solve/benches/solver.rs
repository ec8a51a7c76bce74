//! `cargo bench -p bicolumn-solve [-- CELLS THREADS [aggregation]]`: what a solve costs, and how near its sweeps come
//! to the memory's speed.
//!
//! A bar of 1 : 4 : 1 with a steel core in cancellous bone; four load cases, none a multiple of another.
//! CELLS across the bar: 15 gives about 0.34 million unknowns, 22 about 1.1 million. The linear level is
//! factored, or, if that is asked for, aggregated. Compare ratios
//! within one run; seconds depend on the machine and on what else it does.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

#[path = "../tests/support/mod.rs"]
mod support;

use bicolumn_base::Vec3;
use bicolumn_solve::assembly::assemble;
use bicolumn_solve::numbering::Numbering;
use bicolumn_solve::{Method, PartNodes, SolveOptions, StressField, solve};
use bicolumn_sparse::kernel::Real;
use bicolumn_sparse::{FullBlocks, NodeColumns, SymmetricBlocks, Team};
use std::time::Instant;
use support::{cored_bar, held_box, material};

fn seconds(mut work: impl FnMut()) -> f64 {
    let once = || {
        let start = Instant::now();
        work();
        start.elapsed().as_secs_f64()
    };
    std::iter::repeat_with(once)
        .take(5)
        .fold(f64::MAX, f64::min)
}

/// Bytes a second of reading a large array, all threads.
fn bandwidth(team: &Team) -> f64 {
    let pieces = vec![vec![1.0f64; 1 << 24]; team.threads()];
    let time = seconds(|| {
        let sums = team.collect(pieces.len(), |p| {
            let mut lanes = [0.0; 16];
            for chunk in pieces[p].as_chunks::<16>().0 {
                for (l, v) in lanes.iter_mut().zip(chunk) {
                    *l += v;
                }
            }
            lanes.iter().sum::<f64>()
        });
        std::hint::black_box(sums);
    });
    ((8 * pieces.len()) << 24) as f64 / time
}

fn product<const W: usize>(team: &Team, matrix: &SymmetricBlocks, peak: f64) {
    let x: Vec<NodeColumns<f64, W>> = vec![[[1.0; W]; 3]; matrix.rows()];
    let mut y = x.clone();
    let time = seconds(|| matrix.multiply(team, &x, &mut y));
    let bytes =
        matrix.bytes() as f64 + 4.0 * matrix.pattern.len() as f64 + (48 * W * matrix.rows()) as f64;
    println!(
        "double product, {W} right sides: {:.1} ms, {:.2} bytes/(block·side), {:.1} GB/s, {:.0} % of read bandwidth",
        1e3 * time,
        bytes / (matrix.pattern.len() * W) as f64,
        bytes / time / 1e9,
        100.0 * bytes / time / peak
    );
}

fn whole<T: Real, const W: usize>(team: &Team, matrix: &FullBlocks<T>, peak: f64) {
    let rows = matrix.pattern.rows();
    let x: Vec<NodeColumns<T, W>> = vec![[[T::from_f64(1.0); W]; 3]; rows];
    let mut y = x.clone();
    let time = seconds(|| matrix.multiply(team, &x, &mut y));
    let bytes = matrix.bytes() as f64
        + 4.0 * matrix.pattern.len() as f64
        + (6 * std::mem::size_of::<T>() * W * rows) as f64;
    let precision = 8 * std::mem::size_of::<T>();
    println!(
        "{precision}-bit product, both halves stored, {W} right sides: {:.1} ms, {:.1} GB/s, {:.0} % of read bandwidth",
        1e3 * time,
        bytes / time / 1e9,
        100.0 * bytes / time / peak
    );
}

fn peak_memory_gb() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM"))?;
    Some(line.split_whitespace().nth(1)?.parse::<f64>().ok()? / 1e6)
}

fn main() {
    let numbers: Vec<usize> = std::env::args().filter_map(|a| a.parse().ok()).collect();
    let cells = numbers.first().copied().unwrap_or(15);
    let threads = numbers.get(1).copied().unwrap_or(2);
    let method = if std::env::args().any(|a| a == "aggregation") {
        Method::Aggregation
    } else {
        Method::Multigrid
    };
    let team = Team::new(threads);
    let mesh = cored_bar(cells);
    let z = Vec3::zeros();
    let loads = [
        (Vec3::y() * -200.0, z),
        (Vec3::x() * 30.0, z),
        (Vec3::z() * 30.0, z),
        (z, Vec3::y() * 7500.0),
    ];
    let problem = held_box(
        mesh,
        vec![material(193_000.0, 0.3), material(600.0, 0.3)],
        &loads,
    );
    let peak = bandwidth(&team);
    println!(
        "{} tetrahedra, {threads} threads, read bandwidth {:.1} GB/s",
        problem.mesh.tets.len(),
        peak / 1e9
    );
    let before = peak_memory_gb();
    let start = Instant::now();
    let options = SolveOptions {
        method,
        tolerance: 1e-8,
        threads,
        ..SolveOptions::default()
    };
    let solution = solve(&problem, &options).unwrap();
    let r = &solution.report;
    println!(
        "{} unknowns, {} right sides: {} iterations to {:.1e}; {:.2} s in all: assembly {:.2}, set-up {:.2}, iteration {:.2}",
        r.unknowns,
        r.right_sides,
        r.iterations,
        r.residuals.iter().copied().fold(0.0, f64::max),
        start.elapsed().as_secs_f64(),
        r.assemble_s,
        r.setup_s,
        r.solve_s
    );
    println!(
        "memory: {:.2} GB estimated, {:.2} GB counted; process peak {:?} GB, before the solve {:?} GB",
        r.estimated_bytes as f64 / 1e9,
        r.used_bytes as f64 / 1e9,
        peak_memory_gb(),
        before
    );
    println!(
        "equilibrium error {:.1e}",
        r.equilibrium.iter().copied().fold(0.0, f64::max)
    );
    let start = Instant::now();
    let part_nodes = PartNodes::of(&problem.mesh);
    let field = StressField::recover(&problem, &part_nodes, &solution.displacement[0]);
    std::hint::black_box(field);
    println!("stress of one case: {:.2} s", start.elapsed().as_secs_f64());
    let numbering = Numbering::new(&problem);
    let fine = assemble(&team, &problem, &numbering).unwrap().fine;
    product::<1>(&team, &fine, peak);
    product::<4>(&team, &fine, peak);
    product::<6>(&team, &fine, peak);
    let both = FullBlocks::<f64>::rounded(&team, &fine);
    whole::<_, 4>(&team, &both, peak);
    whole::<_, 8>(&team, &both, peak);
    product::<8>(&team, &fine, peak);
    drop(both);
    let rounded = FullBlocks::<f32>::rounded(&team, &fine);
    whole::<_, 1>(&team, &rounded, peak);
    whole::<_, 4>(&team, &rounded, peak);
    whole::<_, 6>(&team, &rounded, peak);
    whole::<_, 8>(&team, &rounded, peak);
}
