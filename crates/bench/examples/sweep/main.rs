//! Meshes random feasible designs on real bones and holds every figure of each mesh against its limit.
//!
//! `cargo run --release -p bicolumn-bench --example sweep -- --seeds 1..1000`
//!
//! - `--finest 1.25`: finest cell, mm; `--screw-ratio 1.2`: cell at a screw over its radius;
//! - `--coarse`: the sizing of the test of a hundred designs;
//! - `--unlinted`: spoil the screws of each design beyond what the geometry accepts; then only invalid
//!   meshes count, a refusal by the mesher is right;
//! - `--plain`: without splits, reduced fractures, slots, non-locking heads, screws without a plate;
//! - `--neighbours`: also mesh two designs next to each one, and print the elements in common;
//! - `--summary FILE`: meshes nothing, but sums up the lines of earlier runs, finished or not;
//! - `--check DIGESTS`: a file of an earlier run's output: every seed must give the same bits again.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

#[path = "../../../mesh/tests/support/coarse.rs"]
mod coarse;
#[path = "../../../mesh/tests/support/designs.rs"]
mod designs;
#[path = "../../../mesh/tests/support/figures.rs"]
mod figures;
#[path = "../../../mesh/tests/support/random.rs"]
mod random;
mod tally;
#[path = "../../../mesh/tests/support/volumes.rs"]
mod volumes;

use bicolumn_mesh::{PairKind, Sizing, mesh_construct};
use coarse::coarse;
use designs::spoil;
use figures::{Figures, PairFigures, common_share};
use std::error::Error;
use tally::Tally;

struct Options {
    seeds: std::ops::RangeInclusive<u64>,
    sizing: Sizing,
    unlinted: bool,
    plain: bool,
    neighbours: bool,
    earlier: String,
    summary: Option<String>,
}

fn options() -> Result<Options, Box<dyn Error>> {
    let mut o = Options {
        seeds: 1..=20,
        sizing: Sizing::default(),
        unlinted: false,
        plain: false,
        neighbours: false,
        earlier: String::new(),
        summary: None,
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
            "--coarse" => o.sizing = coarse(),
            "--unlinted" => o.unlinted = true,
            "--plain" => o.plain = true,
            "--neighbours" => o.neighbours = true,
            "--summary" => o.summary = Some(std::fs::read_to_string(value()?)?),
            "--check" => o.earlier = std::fs::read_to_string(value()?)?,
            other => return Err(format!("unknown option {other}").into()),
        }
    }
    Ok(o)
}

fn main() -> Result<(), Box<dyn Error>> {
    let o = options()?;
    let mut tally = Tally::default();
    if let Some(lines) = &o.summary {
        lines.lines().for_each(|l| tally.take(l));
    } else {
        for seed in o.seeds.clone() {
            let line = one(seed, &o);
            println!("{line}");
            tally.take(&line);
        }
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

/// Meshes the design of a seed; its line: the design, its figures, what it misses.
fn one(seed: u64, o: &Options) -> String {
    let drawn = if o.plain {
        designs::of_seed(seed)
    } else {
        designs::with_features(seed)
    };
    let Some(mut design) = drawn else {
        return format!("seed {seed}: no feasible draw");
    };
    if o.unlinted {
        spoil(&mut design.construct, seed);
    }
    let sizing = Sizing {
        pose: design.pose,
        ..o.sizing.clone()
    };
    let start = processor_seconds();
    let meshed = mesh_construct(&design.construct, &sizing);
    let seconds = processor_seconds() - start;
    let mesh = match meshed {
        Ok(mesh) => mesh,
        Err(e) => return format!("seed {seed}: {} | FAILED {e}", design.text),
    };
    let f = Figures::of(&design.construct, &mesh);
    let (q, s) = (&mesh.quality, &mesh.stages);
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
        misses.push("A7 other bits".into());
    }
    format!(
        "seed {seed}: {}, refused {} | {} tets, angles {:.1} to {:.1}, ratio {:.3}, off {:.0e} near {:.3} ({}) share {:.1e} far {:.3} ({}) mm, circle {:.4}, volumes: screw {:.4} bone {:.4} plate {:.4}, straightened {:.4}, det {:.2}, pairs {pairs}{common}, fallback {}, lattice {:.2} cut {:.2} improve {:.2} promote {:.2} all {seconds:.2} s, worst at {:.1?}, {line} | {}",
        design.text,
        design.refused,
        q.tets,
        f.least_deg,
        f.largest_deg,
        f.radius_ratio,
        f.vertex_off_mm,
        f.near_off_mm,
        f.worst_off[0],
        f.near_off_share,
        f.far_off_mm,
        f.worst_off[1],
        f.circle_error,
        f.screw_volume_error,
        f.bone_volume_error,
        f.plate_volume_error,
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
    )
}
