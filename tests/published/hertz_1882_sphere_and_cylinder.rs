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
//! The radius is taken from the second moment of the pressure (∫ p r² = 2/5 F a² under a sphere, 1/4 F b²
//! under a cylinder), the peak from the mean pressure over the inner half: single corners of the interface
//! carry pressures that swing about the mean with the pattern of the facets.
//!
//! Tolerance: 4 % of the radius, 6 % of the pressure (three to five facets a radius; blocks of 8 and more
//! radii stand for half-spaces).
#![allow(clippy::unwrap_used)]

use crate::support::*;
use bicolumn_base::Vec3;
use bicolumn_contact::{ContactOptions, Interfaces, Law, Traction, solve};
use std::f64::consts::PI;

const YOUNG: f64 = 1000.0;
const RADIUS: f64 = 20.0;

/// The corners of the interface of two blocks with a given gap, both held at their far ends.
fn pressed(places: [&[f64]; 3], poisson: f64, gap: &dyn Fn(Vec3) -> f64) -> Vec<Traction> {
    let mesh = body(
        places.map(|p| p.len() - 1),
        false,
        &|g| Vec3::from([0, 1, 2].map(|i| along(places[i], g[i]))),
        &|[_, _, z]| Some(if z < 0.5 { LOWER } else { UPPER }),
    );
    let split = parted(&mesh);
    let mesh = &split.mesh;
    let far = places[2][places[2].len() - 1];
    let ends = nodes_at(mesh, |x| x.z.abs() > far - 1e-9);
    let p = problem(
        mesh,
        |_| (YOUNG, poisson),
        ends,
        vec![case("press", vec![])],
    );
    let mut interfaces = Interfaces::new(&split, Law::Frictionless);
    interfaces.add_gap(|_| true, gap);
    let options = ContactOptions {
        linear: direct(),
        ..ContactOptions::default()
    };
    let found = solve(&p, &interfaces, &[], &[], &options).unwrap();
    let report = &found.cases[0];
    assert!(report.is_converged(), "{report:?}");
    assert!(report.sets[0].penetration_max_mm < 1e-7);
    found.tractions[0].clone()
}

/// Sum over corners.
fn total(all: &[Traction], of: impl Fn(&Traction) -> f64) -> f64 {
    all.iter().map(|t| of(t) * t.area_mm2).sum()
}

#[test]
fn sphere() {
    let poisson = 0.3;
    let gap = |x: Vec3| (x.x * x.x + x.y * x.y) / (2.0 * RADIUS) - 0.048;
    let wide = both_sides(&[0.3, 0.6, 0.9, 1.2, 2.0, 4.0, 8.0]);
    let high = both_sides(&[0.3, 0.8, 2.0, 8.0]);
    let all = pressed([&wide, &wide, &high], poisson, &gap);
    let modulus = YOUNG / (2.0 * (1.0 - poisson * poisson));
    let radius = |t: &Traction| t.at.x.hypot(t.at.y);
    let force = total(&all, |t| t.pressure_mpa);
    let a = (3.0 * force * RADIUS / (4.0 * modulus)).cbrt();
    let peak = 3.0 * force / (2.0 * PI * a * a);
    let second = total(&all, |t| t.pressure_mpa * radius(t).powi(2));
    let found = (2.5 * second / force).sqrt();
    let inner = |t: &Traction| if radius(t) < 0.5 * a { 1.0 } else { 0.0 };
    let exact = |t: &Traction| peak * (1.0 - (radius(t) / a).powi(2)).max(0.0).sqrt();
    let share = total(&all, |t| inner(t) * t.pressure_mpa) / total(&all, |t| inner(t) * exact(t));
    assert!(a > 0.8 && a < 1.2, "{a}");
    assert!(close(found, a, 0.04), "{found} {a}");
    assert!(close(share, 1.0, 0.06), "{share}");
}

#[test]
fn cylinder() {
    // Without Poisson's effect a free slab is in plane strain.
    let thickness = 0.3;
    let gap = |x: Vec3| x.x * x.x / (2.0 * RADIUS) - 0.06;
    let wide = both_sides(&[
        0.15, 0.3, 0.45, 0.6, 0.75, 0.9, 1.05, 1.2, 1.6, 2.5, 5.0, 10.0,
    ]);
    let high = both_sides(&[0.15, 0.35, 0.7, 1.4, 3.0, 6.0, 10.0]);
    let all = pressed(
        [&wide, &[-0.5 * thickness, 0.5 * thickness], &high],
        0.0,
        &gap,
    );
    let modulus = YOUNG / 2.0;
    let force = total(&all, |t| t.pressure_mpa) / thickness;
    let b = (4.0 * force * RADIUS / (PI * modulus)).sqrt();
    let peak = 2.0 * force / (PI * b);
    let second = total(&all, |t| t.pressure_mpa * t.at.x.powi(2)) / thickness;
    let found = (4.0 * second / force).sqrt();
    let inner = |t: &Traction| if t.at.x.abs() < 0.5 * b { 1.0 } else { 0.0 };
    let exact = |t: &Traction| peak * (1.0 - (t.at.x / b).powi(2)).max(0.0).sqrt();
    let share = total(&all, |t| inner(t) * t.pressure_mpa) / total(&all, |t| inner(t) * exact(t));
    assert!(b > 0.6 && b < 1.6, "{b}");
    assert!(close(found, b, 0.04), "{found} {b}");
    assert!(close(share, 1.0, 0.06), "{share}");
}
