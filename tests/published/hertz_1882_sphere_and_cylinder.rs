//! Two elastic bodies pressed together, touching at first in a point or along a line.
//!
//! Source: Hertz 1882, J reine angew Math 92:156; Johnson 1985, Contact Mechanics, sections 4.1 and 4.2
//! (from memory). With 1/E* = Σ (1 − ν²)/E and R the relative radius:
//! point a³ = 3FR/(4E*), p₀ = 3F/(2πa²); line b² = 4F'R/(πE*), p₀ = 2F'/(πb).
//!
//! ```text
//!      ┌─────────────┐  held            the sphere's shape is the initial gap r²/2R − δ between two
//!      │             │                  flat blocks, graded towards the middle; both are held at
//!      ├── ‿‿‿‿‿‿ ───┤  gap             their far ends, so that δ presses them together
//!      │             │
//!      └─────────────┘  held
//! ```
//!
//! Tolerance: the contact radius falls inside facets and is found to a part of one: 6 % of the radius
//! (2 to 3 facets a radius), 3 % of the peak pressure; blocks of 8 radii differ from half-spaces by less.
#![allow(clippy::unwrap_used)]

#[path = "../../crates/contact/tests/support/mod.rs"]
mod support;

use bicolumn_base::Vec3;
use bicolumn_contact::{ContactOptions, Interfaces, Law, SetReport, solve};
use std::f64::consts::PI;
use support::*;

const YOUNG: f64 = 1000.0;
const RADIUS: f64 = 20.0;

/// Graded towards the middle of [−1, 1].
fn graded(g: f64, near: f64) -> f64 {
    let x = 2.0 * g - 1.0;
    x * (near + (1.0 - near) * x * x)
}

/// The interface of two blocks with a gap x²/2R (+ y²/2R) − δ.
fn pressed(
    cells: [usize; 3],
    half: Vec3,
    near: [f64; 3],
    poisson: f64,
    gap: &dyn Fn(Vec3) -> f64,
) -> SetReport {
    let mesh = body(
        cells,
        false,
        &|g| {
            let x = [0, 1, 2].map(|i| half[i] * graded(g[i], near[i]));
            Vec3::from(x)
        },
        &|[_, _, z]| Some(if z < 0.5 { LOWER } else { UPPER }),
    );
    let split = parted(&mesh);
    let mesh = &split.mesh;
    let ends = nodes_at(mesh, |x| x.z.abs() > half.z - 1e-9);
    let p = problem(
        mesh,
        |_| (YOUNG, poisson),
        ends,
        vec![case("press", vec![])],
    );
    let mut interfaces = Interfaces::new(&split, Law::Frictionless);
    interfaces.add_gap(|_| true, gap);
    let options = ContactOptions {
        linear: bicolumn_contact::solution::direct(),
        ..ContactOptions::default()
    };
    let found = solve(&p, &interfaces, &[], &[], &options).unwrap();
    let report = &found.cases[0];
    assert!(report.is_converged(), "{report:?}");
    println!(
        "outer {} Newton {} {:?}",
        report.outer_iterations, report.newton_steps, report.sets[0]
    );
    report.sets[0].clone()
}

#[test]
fn sphere() {
    let poisson = 0.3;
    let gap = |x: Vec3| (x.x * x.x + x.y * x.y) / (2.0 * RADIUS) - 0.048;
    let near = [0.12, 0.12, 0.12];
    let set = pressed([12, 12, 8], Vec3::repeat(8.0), near, poisson, &gap);
    let modulus = YOUNG / (2.0 * (1.0 - poisson * poisson));
    let force = set.normal_force_n[2];
    let a = (3.0 * force * RADIUS / (4.0 * modulus)).cbrt();
    let peak = 3.0 * force / (2.0 * PI * a * a);
    let found = (set.contact_area_mm2 / PI).sqrt();
    println!(
        "a {found} against {a}, peak {} against {peak}",
        set.pressure_max_mpa
    );
    assert!(a > 0.8 && a < 1.2, "{a}");
    assert!(close(found, a, 0.06), "{found} {a}");
    assert!(
        close(set.pressure_max_mpa, peak, 0.03),
        "{} {peak}",
        set.pressure_max_mpa
    );
}

#[test]
fn cylinder() {
    // Without Poisson's effect a free slab is in plane strain.
    let thickness = 0.5;
    let half = Vec3::new(10.0, 0.5 * thickness, 10.0);
    let gap = |x: Vec3| x.x * x.x / (2.0 * RADIUS) - 0.06;
    let set = pressed([24, 1, 12], half, [0.12, 1.0, 0.12], 0.0, &gap);
    let modulus = YOUNG / 2.0;
    let force = set.normal_force_n[2] / thickness;
    let b = (4.0 * force * RADIUS / (PI * modulus)).sqrt();
    let peak = 2.0 * force / (PI * b);
    let found = 0.5 * set.contact_area_mm2 / thickness;
    println!(
        "b {found} against {b}, peak {} against {peak}",
        set.pressure_max_mpa
    );
    assert!(b > 0.6 && b < 1.6, "{b}");
    assert!(close(found, b, 0.06), "{found} {b}");
    assert!(
        close(set.pressure_max_mpa, peak, 0.03),
        "{} {peak}",
        set.pressure_max_mpa
    );
}
