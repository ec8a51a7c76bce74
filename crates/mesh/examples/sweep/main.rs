//! Meshes random feasible designs on real bones and holds every figure of each mesh against its limit.
//!
//! `cargo run --release -p bicolumn-mesh --example sweep -- --seeds 1..1000`
//!
//! - `--finest 1.25`: finest cell, mm; `--screw-ratio 1.2`: cell at a screw over its radius;
//! - `--unlinted`: spoil the screws of each design beyond what the geometry accepts; then only invalid
//!   meshes count, a refusal by the mesher is right;
//! - `--plain`: without splits, reduced fractures, slots, non-locking heads, screws without a plate;
//! - `--neighbours`: also mesh two designs next to each one, and print the elements in common;
//! - `--check DIGESTS`: a file of an earlier run's output: every seed must give the same bits again.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

#[path = "../../tests/support/designs.rs"]
mod designs;
#[path = "../../tests/support/figures.rs"]
mod figures;
#[path = "../../tests/support/random.rs"]
mod random;

use bicolumn_mesh::{PairKind, Sizing, mesh_construct};
use designs::{Designs, spoil};
use figures::{Figures, PairFigures, common_share};
use std::error::Error;

struct Options {
    seeds: std::ops::RangeInclusive<u64>,
    sizing: Sizing,
    unlinted: bool,
    plain: bool,
    neighbours: bool,
    earlier: String,
}

fn options() -> Result<Options, Box<dyn Error>> {
    let mut o = Options {
        seeds: 1..=20,
        sizing: Sizing::default(),
        unlinted: false,
        plain: false,
        neighbours: false,
        earlier: String::new(),
    };
    let mut args = std::env::args().skip(1);
    while let Some(a) = args.next() {
        let mut value = || args.next().ok_or(format!("{a} needs a value"));
        match a.as_str() {
            "--seeds" => {
                let text = value()?;
                let (from, to) = text.split_once("..").ok_or("--seeds FROM..TO")?;
                o.seeds = from.parse()?..=to.parse()?;
            }
            "--finest" => o.sizing.finest_mm = value()?.parse()?,
            "--screw-ratio" => o.sizing.screw_ratio = value()?.parse()?,
            "--unlinted" => o.unlinted = true,
            "--plain" => o.plain = true,
            "--neighbours" => o.neighbours = true,
            "--check" => o.earlier = std::fs::read_to_string(value()?)?,
            other => return Err(format!("unknown option {other}").into()),
        }
    }
    Ok(o)
}

/// Figures of all meshes of a run.
#[derive(Default)]
struct Tally {
    designs: usize,
    infeasible: usize,
    failed: usize,
    fallbacks: usize,
    least_deg: Vec<f64>,
    misses: Vec<String>,
    tets: usize,
    seconds: f64,
    differing: usize,
}

fn main() -> Result<(), Box<dyn Error>> {
    let o = options()?;
    let mut designs = Designs::default();
    let mut tally = Tally::default();
    for seed in o.seeds.clone() {
        one(seed, &o, &mut designs, &mut tally);
    }
    tally.print();
    Ok(())
}

/// Processor time of this thread so far, s: what others do on the machine does not count. From Linux's
/// `/proc`; 0 elsewhere.
fn processor_seconds() -> f64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let nanoseconds = text.split(' ').next().and_then(|n| n.parse::<f64>().ok());
    nanoseconds.unwrap_or(0.0) * 1e-9
}

fn one(seed: u64, o: &Options, designs: &mut Designs, tally: &mut Tally) {
    let drawn = if o.plain {
        designs.of_seed(seed)
    } else {
        designs.with_features(seed)
    };
    let Some(mut design) = drawn else {
        tally.infeasible += 1;
        println!("seed {seed}: no feasible draw");
        return;
    };
    if o.unlinted {
        spoil(&mut design.construct, seed);
    }
    tally.designs += 1;
    let sizing = Sizing {
        pose: design.pose,
        ..o.sizing.clone()
    };
    let start = processor_seconds();
    let meshed = mesh_construct(&design.construct, &sizing);
    let seconds = processor_seconds() - start;
    let mesh = match meshed {
        Ok(mesh) => mesh,
        Err(e) => {
            tally.failed += 1;
            println!("seed {seed}: {} | FAILED {e}", design.text);
            return;
        }
    };
    tally.seconds += seconds;
    let f = Figures::of(&design.construct, &mesh);
    let (q, s) = (&mesh.quality, &mesh.stages);
    tally.tets += q.tets;
    tally.fallbacks += usize::from(q.fallback > 0);
    tally.least_deg.push(f.least_deg);
    let mut misses = f.misses();
    let pairs = PairKind::ALL.map(|kind| (kind, PairFigures::of(&mesh, kind)));
    misses.extend(pairs.iter().filter_map(|(kind, p)| p.miss(*kind)));
    let pairs = pairs.map(|(_, p)| p.pairs.to_string()).join("/");
    let mut common = String::new();
    if o.neighbours {
        for ((neighbour, least), what) in design
            .neighbours()
            .into_iter()
            .zip([0.90, 0.65])
            .zip(["thinner screw", "plates moved"])
        {
            match neighbour.map(|n| mesh_construct(&n, &sizing)) {
                Some(Ok(other)) => {
                    let share = common_share(&mesh, &other);
                    common += &format!(", {what} {share:.3}");
                    if share < least {
                        misses.push(format!("A8 common {what} {share:.3}"));
                    }
                }
                Some(Err(e)) => misses.push(format!("A8 failed {what}: {e}")),
                None => common += &format!(", {what} refused"),
            }
        }
    }
    if o.unlinted {
        misses.retain(|m| m.starts_with("A1 invalid"));
    }
    let line = format!("digest {:016x}", f.digest);
    let earlier = o
        .earlier
        .lines()
        .find(|l| l.starts_with(&format!("seed {seed}:")));
    if earlier.is_some_and(|l| !l.contains(&line)) {
        tally.differing += 1;
        misses.push("A7 other bits".into());
    }
    println!(
        "seed {seed}: {}, refused {} | {} tets, angles {:.1} to {:.1}, ratio {:.3}, off {:.0e} near {:.3} ({}) far {:.3} ({}) mm, circle {:.4}, screw volume {:.4}, straightened {:.4}, det {:.2}, pairs {pairs}{common}, fallback {}, lattice {:.2} cut {:.2} improve {:.2} promote {:.2} all {seconds:.2} s, worst at {:.1?}, {line} | {}",
        design.text,
        design.refused,
        q.tets,
        f.least_deg,
        f.largest_deg,
        f.radius_ratio,
        f.vertex_off_mm,
        f.near_off_mm,
        f.worst_off[0],
        f.far_off_mm,
        f.worst_off[1],
        f.circle_error,
        f.screw_volume_error,
        f.straightened,
        f.det_share,
        q.fallback,
        s.lattice_s,
        s.cut_s,
        s.improve_s,
        s.promote_s,
        q.worst_at,
        if misses.is_empty() {
            "pass".into()
        } else {
            format!("MISS {}", misses.join(", "))
        },
    );
    tally.misses.extend(misses);
}

impl Tally {
    fn print(&mut self) {
        println!(
            "designs {}, infeasible {}, refused by the mesher {}, fallback used {}, other bits than before {}",
            self.designs, self.infeasible, self.failed, self.fallbacks, self.differing
        );
        self.least_deg.sort_by(f64::total_cmp);
        let n = self.least_deg.len();
        if n == 0 {
            return;
        }
        let share = |limit: f64| {
            100.0 * self.least_deg.iter().filter(|a| **a >= limit).count() as f64 / n as f64
        };
        println!(
            "least dihedral angle of a mesh: worst {:.1}, median {:.1}; at least 10 in {:.1} %, 18 in {:.1} %, 20 in {:.1} % of meshes",
            self.least_deg[0],
            self.least_deg[n / 2],
            share(10.0),
            share(18.0),
            share(20.0)
        );
        println!(
            "{:.0} tetrahedra on average, {:.0} a second",
            self.tets as f64 / n as f64,
            self.tets as f64 / self.seconds
        );
        // "A3 least angle 9.1" counts as "A3 least".
        let mut kinds: Vec<String> = self
            .misses
            .iter()
            .map(|m| m.split(' ').take(2).collect::<Vec<_>>().join(" "))
            .collect();
        kinds.sort();
        for same in kinds.chunk_by(|a, b| a == b) {
            println!("missed {}: {} meshes", same[0], same.len());
        }
        if kinds.is_empty() {
            println!("nothing missed");
        }
    }
}
