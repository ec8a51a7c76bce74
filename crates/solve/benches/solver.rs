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
use bicolumn_solve::assembly::fine_matrix;
use bicolumn_solve::elements::Elements;
use bicolumn_solve::numbering::Numbering;
use bicolumn_solve::{Method, PartNodes, SolveOptions, StressField, solve};
use bicolumn_sparse::lanes::{InLanes, Laned, Lanes};
use bicolumn_sparse::{NodeBlocks, NodeColumns, NodeMatrix, Product, Team};
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

/// Additions and multiplications of one element and right side (`crates/solve/src/forces.rs`).
const OPERATIONS: f64 = 889.0;

/// Multiply-adds a second of vectors in registers, all threads, counted as two operations each.
fn arithmetic<T: Laned>(team: &Team) -> f64 {
    struct Busy<'a>(&'a mut usize);
    impl<T: Laned> InLanes<T> for Busy<'_> {
        #[inline(always)]
        fn run<L: Lanes<T>>(self, l: L) {
            let factor = l.splat(T::from_f64(0.999_999));
            let mut sums = [l.splat(T::from_f64(1e-3)); 12];
            for _ in 0..ROUNDS {
                for s in &mut sums {
                    *s = l.mul_add(*s, factor, factor);
                }
            }
            std::hint::black_box(sums.map(|s| l.get(s, 0)));
            *self.0 = L::N;
        }
    }
    const ROUNDS: usize = 4_000_000;
    let busy = |_| {
        let mut lanes = 0;
        T::in_lanes::<8>(Busy(&mut lanes));
        lanes
    };
    let lanes = busy(0);
    let time = seconds(|| {
        team.collect(team.threads(), busy);
    });
    (2 * 12 * ROUNDS * lanes * team.threads()) as f64 / time
}

/// Element by element, against the memory's speed, the arithmetic's, and the stored matrix.
fn product<T: Laned, const W: usize>(
    team: &Team,
    elements: &Elements,
    stored: &impl Product<T>,
    stored_bytes: u64,
    peak: f64,
) where
    Elements: Product<T>,
{
    let rows = stored.rows();
    let x: Vec<NodeColumns<T, W>> = vec![[[T::from_f64(1.0); W]; 3]; rows];
    let mut y = x.clone();
    let mut scratch = vec![];
    let size = std::mem::size_of::<T>();
    let vectors = (6 * size * W * rows) as f64;
    let time = seconds(|| elements.multiply(team, &x, &mut scratch, &mut y));
    let bytes = elements.bytes_read(size) as f64 + vectors + (6 * size * W * scratch.len()) as f64;
    let work = OPERATIONS * (W * elements.count()) as f64;
    let of_stored = seconds(|| stored.multiply(team, &x, &mut scratch, &mut y));
    let stored_bytes = stored_bytes as f64 + vectors;
    println!(
        "{}-bit product, {W} right sides: by elements {:.1} ms, {:.1} GB/s, {:.0} GFLOP/s, {:.0} % of the arithmetic; \
         stored {:.1} ms, {:.0} % of read bandwidth; at all of it {:.1} ms",
        8 * size,
        1e3 * time,
        bytes / time / 1e9,
        work / time / 1e9,
        100.0 * work / time / arithmetic::<T>(team),
        1e3 * of_stored,
        100.0 * stored_bytes / of_stored / peak,
        1e3 * stored_bytes / peak,
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
        Method::AggregatedCoarse
    } else {
        Method::FactoredCoarse
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
        problem.mesh().tets.len(),
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
    let part_nodes = PartNodes::of(problem.mesh());
    let field = StressField::recover(&problem, &part_nodes, &solution.displacement[0]);
    std::hint::black_box(field);
    println!("stress of one case: {:.2} s", start.elapsed().as_secs_f64());
    let numbering = Numbering::new(&problem);
    let elements = Elements::new(&team, &problem, &numbering).unwrap();
    let fine = fine_matrix(&team, &problem, &numbering, &elements);
    let index = 4 * fine.pattern.len() as u64;
    let (half, whole) = (fine.bytes() + index, 36 * fine.pattern.len() as u64 + index);
    product::<f64, 1>(&team, &elements, &fine, half, peak);
    product::<f64, 2>(&team, &elements, &fine, half, peak);
    product::<f64, 4>(&team, &elements, &fine, half, peak);
    product::<f64, 8>(&team, &elements, &fine, half, peak);
    let rounded = NodeBlocks::rounded(&team, &NodeMatrix::of(&team, &fine));
    drop(fine);
    product::<f32, 1>(&team, &elements, &rounded, whole, peak);
    product::<f32, 2>(&team, &elements, &rounded, whole, peak);
    product::<f32, 4>(&team, &elements, &rounded, whole, peak);
    product::<f32, 8>(&team, &elements, &rounded, whole, peak);
}
