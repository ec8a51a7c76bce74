//! A gap in a shaft bridged by a locked plate on one side, under axial load: how much stiffer are screws that
//! are one with the bone than screws that meet it as threads do, or as smooth rods with friction?
//!
//! Run: `cargo run --release -p bicolumn-bench --example screw_interface -- [MU ...]`
//!
//! The nearest that published figures allow to MacLeod, Pankaj and Simpson 2012, J Biomech 45:1712: a tube, a plate
//! that stands off it, three bicortical screws on either side of the gap; dimensions are common sizes, not
//! theirs. Without gaps and preload the response is proportional to the load, so its size does not matter.
#![allow(clippy::unwrap_used, clippy::print_stdout, dead_code)]

#[path = "../../mesh/tests/support/random.rs"]
mod random;
#[path = "../../contact/tests/support/mod.rs"]
mod support;
#[path = "../../mesh/tests/support/tube_scene.rs"]
mod tube_scene;

use bicolumn_base::{UnitVec3, Vec3};
use bicolumn_contact::{ContactOptions, Interfaces, Law, solve};
use bicolumn_mesh::{PairKind, SplitMesh, SurfaceName, TetMesh, build, split_kinds};
use bicolumn_model::{Material, Problem, nodes_on};
use bicolumn_solve::{Prepared, SolveOptions};
use std::error::Error;
use std::time::Instant;
use support::{case, problem, traction};
use tube_scene::{Rod, Scene, Shell};

const LOAD_N: f64 = 770.0;
const OUTER_MM: f64 = 12.0;
const INNER_MM: f64 = 7.0;
const HALF_LENGTH_MM: f64 = 70.0;

fn main() -> Result<(), Box<dyn Error>> {
    let given: Vec<f64> = std::env::args()
        .skip(1)
        .filter_map(|a| a.parse().ok())
        .collect();
    let frictions = if given.is_empty() { vec![0.3] } else { given };
    let mesh = build(&scene().blueprint())?;
    let split = split_kinds(&mesh, &[PairKind::ScrewInBone])?;
    let linear = SolveOptions {
        tolerance: 1e-6,
        ..SolveOptions::default()
    };
    let whole = posed(&mesh);
    let bonded = Prepared::new(&whole, &linear)?.solve_cases()?;
    let glued = stiffness(&whole, &bonded.displacement[0]);
    println!(
        "{} unknowns; bonded {glued:.1} N/mm",
        bonded.report.unknowns
    );
    let p = posed(&split.mesh);
    // What the two sides of an interface alone change, by the means of the jump that laws hold for.
    try_law(Law::Bonded, &split, &p, &linear, glued)?;
    for mu in frictions {
        let axis = UnitVec3::new_normalize(along());
        for law in [Law::Threaded { mu, axis }, Law::Frictional { mu }] {
            try_law(law, &split, &p, &linear, glued)?;
        }
    }
    Ok(())
}

fn try_law(
    law: Law,
    split: &SplitMesh,
    p: &Problem,
    linear: &SolveOptions,
    glued: f64,
) -> Result<(), Box<dyn Error>> {
    let interfaces = Interfaces::new(split, law).coarsened(|_, _| 0.3);
    let options = ContactOptions {
        linear: *linear,
        ..ContactOptions::default()
    };
    let started = Instant::now();
    let found = solve(p, &interfaces, &[], &[], &options)?;
    let report = &found.cases[0];
    let pressing = stiffness(p, &found.total.displacement[0]);
    let name = match law {
        Law::Bonded => "bonded".to_owned(),
        Law::Threaded { mu, .. } => format!("threaded, friction {mu}"),
        law => format!("smooth, friction {}", law.friction()),
    };
    println!(
        "{name}: {:?}, {pressing:.1} N/mm, {:+.2} %, {} iterations, {:.0} s",
        report.status,
        100.0 * (pressing / glued - 1.0),
        report.iterations,
        started.elapsed().as_secs_f64()
    );
    for s in &report.sets {
        println!(
            "   {}: open {:.2} stuck {:.2} slipping {:.2}, slip {:.4} mm, opening {:.4} mm",
            s.name, s.open_share, s.stuck_share, s.slipping_share, s.slip_max_mm, s.opening_max_mm
        );
    }
    Ok(())
}

/// Axis of the screws.
fn along() -> Vec3 {
    Vec3::new(-1.0, 0.0, 0.0)
}

fn scene() -> Scene {
    let (stand_off, thickness) = (2.0, 4.0);
    let mut scene = Scene {
        outer: OUTER_MM,
        inner: INNER_MM,
        half_length: HALF_LENGTH_MM,
        gap: 10.0,
        tilt: 0.0,
        plates: vec![Shell {
            angle: 0.0,
            middle: 0.0,
            length: 110.0,
            width: 14.0,
            thickness,
            stand_off,
        }],
        screws: vec![],
        finest: 1.8,
        ..Scene::base()
    };
    let along = along();
    // The scene has a screw in plates, and from 6 mm below its start on.
    let above = 6.2 + stand_off;
    for level in [-46.0, -31.0, -16.0, 16.0, 31.0, 46.0] {
        scene.screws.push(Rod {
            start: Vec3::new(OUTER_MM, level, 0.0) - along * above,
            along,
            length: above + 2.0 * OUTER_MM + 2.5,
            radius: 2.0,
        });
    }
    scene
}

/// Steel on bone, the tube pressed together along its axis, uniformly over its lower face.
fn posed(mesh: &TetMesh) -> Problem {
    let area = std::f64::consts::PI * (OUTER_MM.powi(2) - INNER_MM.powi(2));
    let press = traction(
        mesh,
        |x| x.y < -HALF_LENGTH_MM + 1e-6,
        |_, _| Vec3::new(0.0, LOAD_N / area, 0.0),
    );
    let steel = Material::steel_316l();
    problem(
        mesh,
        |part| match part.is_implant() {
            true => (steel.young_mpa, steel.poisson),
            false => (17_000.0, 0.3),
        },
        nodes_on(mesh, SurfaceName::ProximalEnd),
        vec![case("axial", press)],
    )
}

/// Axial stiffness by the work of the load, N/mm.
fn stiffness(p: &Problem, u: &[Vec3]) -> f64 {
    let forces = &p.cases()[0].forces;
    let work: f64 = forces.iter().map(|(n, f)| f.dot(&u[*n as usize])).sum();
    LOAD_N * LOAD_N / work
}
