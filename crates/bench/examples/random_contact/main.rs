//! Does contact converge on random designs? One line for each design and coefficient of friction.
//!
//! `cargo run --release -p bicolumn-bench --example random_contact -- [FIRST [COUNT [FINEST_MM [locking]]]]`
//!
//! Designs are those of the mesher's sweep, on the bones whose septum coarse cells can resolve. To be solved three
//! hundred times they are made smaller: the shaft is potted at 105 mm, plates end below 94 mm and lie on the bone
//! everywhere, nine in ten of those without a split keep but one plate, a plate has two screws in the shaft and two below at
//! most, all of them thick. Plates, seats and fracture faces press with the same friction, non-locking screws are
//! tightened to 200 N, lag screws to 150 N; axial load or torsion. A design that geometry or mesher refuse is
//! named and not counted. `locking`: all heads of plates are locked, which leaves out the seats: many points,
//! much time.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

#[allow(dead_code)]
#[path = "../../../mesh/tests/support/designs.rs"]
mod designs;
#[path = "../../../mesh/tests/support/random.rs"]
mod random;

use bicolumn_contact::CaseReport;
use bicolumn_geometry::{Construct, ConstructSpec, ScrewHold};
use bicolumn_job::{InterfaceKind, Job, Meeting, Plan, PointInputs, resolve};
use bicolumn_mesh::{TetMesh, mesh_construct};
use bicolumn_study::build_problem;
use designs::Design;
use std::error::Error;
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

const FRICTION: [f64; 3] = [0.1, 0.3, 0.5];
const JOB: &str = "mesh.growth = 2\nmesh.screw_ratio = 2\nmesh.wall_ratio = 4\nmesh.riser_ratio = 1\nsolve.tolerance = 1e-6\n";
/// A short shaft: what is above the plates adds unknowns and no contact.
const POTTING_LEVEL_MM: f64 = 105.0;
const HIGHEST_END_MM: f64 = 94.0;
/// Screws that coarse cells can follow, and plates that have room for their heads.
const SHAFT_MM: f64 = 2.8;
const DISTAL_NON_LOCKING_MM: f64 = 2.1;
const WIDTH_MM: f64 = 10.0;
const LOWEST_HOLE_MM: f64 = 10.0;
/// Every so many designs keep both plates; of the others one is taken off, by turns, unless one of the fragments
/// of a split might then be held by friction alone.
const BOTH_EVERY: u64 = 10;
/// Two designs in a row bear the first load, the next two the second.
const LOADS: [&str; 2] = ["axial", "internal_torsion"];
/// Seeds of one bone, and the bones of a cycle whose septum is 2.5 mm.
const OF_BONE: u64 = 10;
const WIDE: [u64; 3] = [2, 4, 6];
const CYCLE: u64 = 90;

fn main() -> Result<(), Box<dyn Error>> {
    let arg = |k: usize, default: f64| {
        let given = std::env::args().nth(k).and_then(|a| a.parse().ok());
        given.unwrap_or(default)
    };
    let (first, count, finest_mm) = (arg(1, 0.0) as u64, arg(2, 100.0) as u64, arg(3, 3.0));
    let under = |load: &str| -> Result<PointInputs, String> {
        let text = format!("{JOB}mesh.finest_mm = {finest_mm}\nloads.cases = [\"{load}\"]\n");
        let job = Job::parse(Path::new("random.toml"), &text).map_err(|e| e.to_string())?;
        let plan = Plan::of(&job).map_err(|e| e.to_string())?;
        Ok(resolve(&job, &plan.points[0]))
    };
    let by_load = [under(LOADS[0])?, under(LOADS[1])?];
    let is_locking = std::env::args().nth(4).is_some_and(|a| a == "locking");
    let (mut solved, mut failed, mut refused) = (0, 0, 0);
    for k in first..first + count {
        let per_cycle = OF_BONE * WIDE.len() as u64;
        let bone = WIDE[(k % per_cycle / OF_BONE) as usize];
        let seed = k / per_cycle * CYCLE + bone * OF_BONE + k % OF_BONE;
        let Some(mut design) = designs::with_features(seed) else {
            println!("{k}: seed {seed} has no feasible design");
            refused += 1;
            continue;
        };
        if is_locking {
            for p in &mut design.spec.plates {
                (p.shaft_hold, p.distal_hold) = (ScrewHold::Locking, ScrewHold::Locking);
            }
        }
        let inputs = &by_load[(k / 2 % 2) as usize];
        match mesh(k, &design, inputs) {
            Ok(mesh) => {
                for mu in FRICTION {
                    if line(k, mu, &design, &mesh, inputs) {
                        solved += 1;
                    } else {
                        failed += 1;
                    }
                }
            }
            Err(reason) => {
                println!("{k}: seed {seed} refused: {reason}");
                refused += 1;
            }
        }
    }
    println!("{solved} solutions converged, {failed} did not, {refused} designs were refused");
    Ok(())
}

/// The design with parts that coarse cells can resolve.
fn thickened(k: u64, design: &Design) -> Result<Construct, String> {
    let mut spec: ConstructSpec = design.spec.clone();
    spec.bone.potting_level_mm = POTTING_LEVEL_MM;
    let is_split = spec.fracture.as_ref().is_some_and(|f| f.split.is_some());
    if !k.is_multiple_of(BOTH_EVERY) && !is_split {
        spec.plates.remove((k % 2) as usize);
    }
    for p in &mut spec.plates {
        p.end_level_mm = p.end_level_mm.min(HIGHEST_END_MM);
        p.stand_off_mm = 0.0;
        p.thickness_mm = p.thickness_mm.max(2.5);
        p.shaft_screws = p.shaft_screws.min(2);
        p.distal_screws = p.distal_screws.min(2);
        p.width_mm = WIDTH_MM;
        p.distal_hole_level_mm = LOWEST_HOLE_MM;
        p.shaft_screw_diameter_mm = SHAFT_MM;
        p.distal_screw_diameter_mm = match p.distal_hold {
            ScrewHold::NonLocking => DISTAL_NON_LOCKING_MM,
            _ => SHAFT_MM,
        };
    }
    for s in &mut spec.independent {
        s.diameter_mm = s.diameter_mm.max(SHAFT_MM);
    }
    Construct::build(&spec).map_err(|e| e.to_string())
}

fn mesh(k: u64, design: &Design, inputs: &PointInputs) -> Result<Arc<TetMesh>, String> {
    let mesh = mesh_construct(&thickened(k, design)?, &inputs.sizing);
    mesh.map(Arc::new).map_err(|e| e.to_string())
}

/// Solves with one coefficient and prints what became of it; true if all converged.
fn line(k: u64, mu: f64, design: &Design, mesh: &Arc<TetMesh>, inputs: &PointInputs) -> bool {
    let mut inputs = inputs.clone();
    let pressing = InterfaceKind {
        meeting: Meeting::Frictional,
        friction: mu,
    };
    let interfaces = &mut inputs.interfaces;
    interfaces.plate_bone = pressing;
    interfaces.head_seat = pressing;
    interfaces.fracture_faces = pressing;
    interfaces.plate_preload_n = [[200.0; 2]; 2];
    let independent = design.spec.independent.iter();
    interfaces.independent_preload_n = independent
        .map(|s| if s.hold == ScrewHold::Lag { 150.0 } else { 0.0 })
        .collect();
    let start = Instant::now();
    let construct = thickened(k, design).unwrap();
    let model = build_problem(construct, Arc::clone(mesh), &inputs).unwrap();
    let found = match model.solve(&inputs, 1, &|_| {}) {
        Ok(found) => found,
        Err(e) => {
            println!("{k} mu {mu}: FAILED: {e} [{}]", design.text);
            return false;
        }
    };
    let reports = found.contact.unwrap();
    let worst = reports.cases.iter().map(|c| c.residual).fold(0.0, f64::max);
    let shares: Vec<String> = reports.cases.iter().map(shares).collect();
    let iterations = |of: &[CaseReport]| {
        let all: Vec<String> = of.iter().map(|c| c.iterations.to_string()).collect();
        all.join("+")
    };
    let is_converged = reports.cases.iter().all(CaseReport::is_converged);
    println!(
        "{k} mu {mu}: {} {} unknowns, iterations {} prepared, {} loaded, residual {worst:.1e}, open/stuck/slipping {}, {:.0} s [{}]",
        if is_converged { "converged" } else { "FAILED" },
        found.by_load.report.unknowns,
        iterations(&reports.steps),
        iterations(&reports.cases),
        shares.join(" "),
        start.elapsed().as_secs_f64(),
        design.text
    );
    is_converged
}

/// Shares of the area of all interfaces.
fn shares(case: &CaseReport) -> String {
    let sum = |of: fn(&bicolumn_contact::SetReport) -> f64| {
        let all: f64 = case.sets.iter().map(|s| s.area_mm2).sum();
        case.sets.iter().map(|s| of(s) * s.area_mm2).sum::<f64>() / all
    };
    let (open, stuck) = (sum(|s| s.open_share), sum(|s| s.stuck_share));
    format!("{open:.2}/{stuck:.2}/{:.2}", sum(|s| s.slipping_share))
}
