//! A sphere pressed on a flat and then pushed along it: the outer ring slips, the middle sticks.
//!
//! Source: Cattaneo 1938, Rend Accad Naz Lincei 27:342; Mindlin 1949, J Appl Mech 16:259; Johnson 1985,
//! Contact Mechanics, section 7.2 (from memory). Stick radius c = a (1 − Q/μP)^(1/3); shift
//! δ = (3μP/16a) Σ(2 − ν)/G · [1 − (1 − Q/μP)^(2/3)].
//!
//! Two like blocks with the gap r²/2R between them; P presses, then Q acts at
//! the level of the contact. The far elasticity of the blocks adds a shift that is proportional to Q: it is
//! taken out by comparing with a small Q, where δ → (2/3)(Q/μP) of the bracket's scale.
//!
//! Tolerance: 12 % of the stick radius (its edge falls inside facets, 3 to 4 to a radius), 12 % of the
//! part of the shift that is not proportional to Q, which is an eighth of the whole.
#![allow(clippy::unwrap_used)]

#[path = "../../crates/contact/tests/support/mod.rs"]
mod support;

use bicolumn_base::Vec3;
use bicolumn_contact::{ContactOptions, Interfaces, Law, Step, solve};
use std::f64::consts::PI;
use support::*;

const YOUNG: f64 = 1000.0;
const POISSON: f64 = 0.3;
const RADIUS: f64 = 20.0;
const HALF: f64 = 8.0;

#[test]
fn stick_radius_and_shift() {
    let wide = [0.0, 0.3, 0.6, 0.9, 1.2, 2.0, 4.0, HALF];
    let high = [0.0, 0.3, 0.8, 2.0, HALF];
    let along = |places: &[f64], g: f64| {
        let at = (2.0 * g - 1.0).abs() * (places.len() - 1) as f64;
        let k = (at.floor() as usize).min(places.len() - 2);
        let x = places[k] + (at - k as f64) * (places[k + 1] - places[k]);
        if g < 0.5 { -x } else { x }
    };
    let mesh = body(
        [14, 14, 8],
        false,
        &|[x, y, z]| Vec3::new(along(&wide, x), along(&wide, y), along(&high, z)),
        &|[_, _, z]| Some(if z < 0.5 { LOWER } else { UPPER }),
    );
    let split = parted(&mesh);
    let mesh = &split.mesh;
    let is_top = |x: Vec3| x.z > HALF - 1e-9;
    let modulus = YOUNG / (2.0 * (1.0 - POISSON * POISSON));
    let (a, mu) = (1.0, 0.3);
    let pressed = 4.0 * modulus * a * a * a / (3.0 * RADIUS);
    let side = 2.0 * HALF;
    let press = traction(mesh, is_top, |_, n| n * (-pressed / (side * side)));
    // Q as shear of the top face, its moment about the contact taken by a linear pressure.
    let inertia = side.powi(4) / 12.0;
    let push = |q: f64| {
        traction(mesh, is_top, |x, _| {
            Vec3::new(q / (side * side), 0.0, q * HALF / inertia * x.x)
        })
    };
    let limit = mu * pressed;
    let shares = [0.1, 0.8];
    let cases = shares
        .iter()
        .map(|s| case("push", push(s * limit)))
        .collect();
    let base = nodes_at(mesh, |x| x.z < -HALF + 1e-9);
    let p = problem(mesh, |_| (YOUNG, POISSON), base, cases);
    let mut interfaces = Interfaces::new(&split, Law::Frictional { mu });
    interfaces.add_gap(|_| true, |x| (x.x * x.x + x.y * x.y) / (2.0 * RADIUS));
    let steps = [Step {
        name: "press".into(),
        forces: press,
        lasting: true,
        increments: 1,
        ..Step::default()
    }];
    let options = ContactOptions {
        linear: bicolumn_contact::solution::direct(),
        tolerance: 1e-5,
        ..ContactOptions::default()
    };
    let found = solve(&p, &interfaces, &[], &steps, &options).unwrap();
    println!("press: {:?}", found.steps[0]);
    let top = nodes_at(mesh, is_top);
    let mut shifts = vec![];
    for (k, share) in shares.iter().enumerate() {
        let report = &found.cases[k];
        assert!(report.is_converged(), "{report:?}");
        assert!(report.dissipation_nmm >= 0.0);
        let set = &report.sets[0];
        assert!(close(set.normal_force_n[2], pressed, 1e-4), "{set:?}");
        assert!(close(-set.shear_force_n[0], share * limit, 1e-4), "{set:?}");
        let stuck = (set.stuck_share * set.area_mm2 / PI).sqrt();
        let exact = a * (1.0 - share).cbrt();
        println!("Q/muP {share}: stick radius {stuck} against {exact}; {report:?}");
        if *share > 0.3 {
            assert!(close(stuck, exact, 0.12), "{stuck} {exact}");
        }
        let u = &found.by_load.displacement[k];
        shifts.push(top.iter().map(|n| u[*n as usize].x).sum::<f64>() / top.len() as f64);
    }
    let shear = YOUNG / (2.0 * (1.0 + POISSON));
    let scale = 3.0 * limit / (16.0 * a) * 2.0 * (2.0 - POISSON) / shear;
    let bracket = |s: f64| 1.0 - (1.0 - s).powf(2.0 / 3.0);
    let beyond = shifts[1] - shifts[0] * shares[1] / shares[0];
    let exact = scale * (bracket(shares[1]) - bracket(shares[0]) * shares[1] / shares[0]);
    println!("shift beyond proportion {beyond} against {exact}");
    assert!(close(beyond, exact, 0.12), "{beyond} {exact}");
}
