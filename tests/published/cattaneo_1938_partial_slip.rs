//! A sphere pressed on a flat and then pushed along it, by less than friction can hold: a disk in the middle
//! sticks, the ring around it slips.
//!
//! Source: Cattaneo 1938, Rend Accad Naz Lincei 27:342; Mindlin 1949, J Appl Mech 16:259; Johnson 1985, Contact
//! Mechanics, section 7.2 (from memory). For two equal bodies under F and a push Q < μF, with the contact radius
//! a of Hertz: stick radius c = a (1 − Q/μF)^(1/3); shear μp(r; a) − μ(c/a) p(r; c); shift of distant points
//! 3μF(2 − ν)/(8Ga) [1 − (1 − Q/μF)^(2/3)], against Q(2 − ν)/(4Ga) when nothing slips.
//!
//! ```text
//!   F ↓ → Q
//!   ┌─────────────┐   The sphere's shape is the initial gap r²/2R between two flat blocks. The push comes
//!   │             │   with tractions that take its moment about the contact.
//!   ├── ‿‿‿‿‿‿ ───┤
//!   │             │
//!   └─────────────┘  held
//! ```
//!
//! The stick radius is taken from the second moment of the shear, 2/5 μF a² [1 − (c/a)⁵], a from that of the
//! pressure. The shift is compared as the difference between two coefficients of friction, which is free of
//! what the blocks themselves give.
//!
//! Tolerance: 5 % of the stick radius, 10 % of the shift by slip (four facets a radius; blocks of eight
//! radii stand for half-spaces).
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use crate::support::*;
use bicolumn_base::Vec3;
use bicolumn_contact::{ContactOptions, ContactSolution, Interfaces, Law, Step, solve};

const YOUNG: f64 = 1000.0;
const POISSON: f64 = 0.3;
const RADIUS: f64 = 20.0;
const FORCE: f64 = 36.0;
const MU: f64 = 0.5;
/// Of μF.
const SHARE: f64 = 0.8;

/// The solution, and the shift of the upper block's top by the push, mm.
fn pushed(mu: f64, increments: usize) -> (ContactSolution, f64) {
    let wide = both_sides(&[0.25, 0.5, 0.75, 1.0, 1.25, 2.5, 8.0]);
    let high = both_sides(&[0.25, 0.8, 2.5, 8.0]);
    let axes = [&wide, &wide, &high];
    let mesh = body(
        axes.map(|p| p.len() - 1),
        false,
        &|g| Vec3::from([0, 1, 2].map(|i| along(axes[i], g[i]))),
        &|[_, _, z]| Some(if z < 0.5 { LOWER } else { UPPER }),
    );
    let split = parted(&mesh);
    let mesh = &split.mesh;
    let (half, top) = (8.0, |x: Vec3| x.z > 8.0 - 1e-9);
    let area = 4.0 * half * half;
    let press = traction(mesh, top, |_, n| n * (-FORCE / area));
    // The push at height 8 has the moment 8 Q about the contact; k x across the top takes it back:
    // ∫ k x² dA = k area half²/3.
    let push = SHARE * MU * FORCE;
    let tilt = push * half * 3.0 / (area * half * half);
    let along_x = traction(mesh, top, |x, _| Vec3::new(push / area, 0.0, tilt * x.x));
    let held = nodes_at(mesh, |x| x.z < -8.0 + 1e-9);
    let p = problem(
        mesh,
        |_| (YOUNG, POISSON),
        held,
        vec![case("push", along_x.clone())],
    );
    let mut interfaces = Interfaces::new(&split, Law::Frictional { mu });
    interfaces.add_gap(|_| true, |x| (x.x * x.x + x.y * x.y) / (2.0 * RADIUS));
    let steps = [Step {
        name: "press".into(),
        forces: press,
        lasting: true,
        ..Step::default()
    }];
    let options = ContactOptions {
        increments,
        tolerance: 1e-5,
        ..ContactOptions::default()
    };
    let found = solve(&p, &interfaces, &[], &steps, &options).unwrap();
    assert!(found.cases[0].is_converged(), "{:?}", found.cases[0]);
    let u = &found.by_load.displacement[0];
    let work: f64 = along_x.iter().map(|(n, f)| f.dot(&u[*n as usize])).sum();
    (found, work / push)
}

#[test]
fn stick_radius_and_shift() {
    let (found, shift) = pushed(MU, 4);
    let (_, stuck_shift) = pushed(100.0, 1);
    let all = &found.tractions[0];
    let sum = |of: &dyn Fn(&bicolumn_contact::Traction) -> f64| -> f64 {
        all.iter().map(|t| of(t) * t.area_mm2).sum()
    };
    let square = |t: &bicolumn_contact::Traction| t.at.x.powi(2) + t.at.y.powi(2);
    let force = sum(&|t| t.pressure_mpa);
    assert!(close(force, FORCE, 1e-4), "{force}");
    // The shear on the upper body holds it back.
    let shear = -sum(&|t| t.shear_mpa.x);
    assert!(close(shear, SHARE * MU * FORCE, 1e-4), "{shear}");
    let a = (2.5 * sum(&|t| t.pressure_mpa * square(t)) / force).sqrt();
    let modulus = YOUNG / (2.0 * (1.0 - POISSON * POISSON));
    let hertz = (3.0 * FORCE * RADIUS / (4.0 * modulus)).cbrt();
    assert!(close(a, hertz, 0.04), "{a} {hertz}");
    let second = -sum(&|t| t.shear_mpa.x * square(t)) / (0.4 * MU * FORCE * a * a);
    let stick = (1.0 - second).powf(0.2);
    let exact = (1.0 - SHARE).cbrt();
    assert!(close(stick, exact, 0.05), "{stick} {exact}");
    // What slips and what sticks, by area: the corners' own areas tell no better than this.
    let set = &found.cases[0].sets[0];
    let by_area = (set.stuck_share / (set.stuck_share + set.slipping_share)).sqrt();
    assert!(close(by_area, exact, 0.15), "{by_area} {exact}");
    let rigidity = YOUNG / (2.0 * (1.0 + POISSON));
    let scale = MU * FORCE * (2.0 - POISSON) / (rigidity * hertz);
    let by_slip = scale * (0.375 * (1.0 - (1.0 - SHARE).powf(2.0 / 3.0)) - 0.25 * SHARE);
    let found_slip = shift - stuck_shift;
    println!("stick radius {stick:.4}, exact {exact:.4}; by area {by_area:.4}");
    println!("shift by slip {found_slip:.6} mm, exact {by_slip:.6}");
    assert!(close(found_slip, by_slip, 0.10), "{found_slip} {by_slip}");
    assert!(found.cases[0].dissipation_nmm > 0.0);
}
