//! A hollow pin pressed into a ring with an interference.
//!
//! Source: Lamé 1852; Timoshenko, Strength of Materials II, shrink fits (from memory). Radial interference
//! d at radius c, hollow pin of bore b and modulus Ei, ring of outside R and modulus Eo, plane stress:
//! p = d / { (c/Eo) [(R²+c²)/(R²−c²) + νo] + (c/Ei) [(c²+b²)/(c²−b²) − νi] }.
//!
//! ```text
//!     ╭───────────╮   ring 1.2 to 6 mm, 17 GPa; pin 0.4 to 1.2 mm, 193 GPa; interference 0.01 mm;
//!     │  ╭─────╮  │   around the ring a layer of 1 kPa, held outside, that keeps the ring in place
//!     │  │ ( ) │  │   and weighs nothing
//!     │  ╰─────╯  │
//!     ╰───────────╯
//! ```
//!
//! Tolerance: 1 %: 40 cells round, one to three through each wall, midside nodes on the circles.
#![allow(clippy::unwrap_used)]

use crate::support::*;
use bicolumn_base::Vec3;
use bicolumn_contact::{ContactOptions, Interfaces, Law, solve};

#[test]
fn pressure_of_the_fit() {
    let radii = [0.4, 0.8, 1.2, 1.6, 2.2, 3.2, 4.5, 6.0, 7.0];
    let at = |wall: f64| {
        let k = (wall * 8.0).floor().min(7.0);
        let f = wall * 8.0 - k;
        radii[k as usize] * (1.0 - f) + radii[k as usize + 1] * f
    };
    let mesh = curved_body(
        [40, 8, 1],
        true,
        &|[round, wall, along]| {
            let (s, c) = (round * std::f64::consts::TAU).sin_cos();
            Vec3::new(at(wall) * c, 0.5 * along, at(wall) * s)
        },
        &|[_, wall, _]| {
            Some(match wall * 8.0 {
                w if w < 2.0 => UPPER,
                w if w < 7.0 => LOWER,
                _ => TIE,
            })
        },
        &|m| {
            // Facets between parts lie on circles: the middle of a chord belongs on the nearest.
            let r = m.x.hypot(m.z);
            let far = |c: &&f64| (*c - r).abs();
            let circle = radii.iter().min_by(|a, b| far(a).total_cmp(&far(b)));
            let k = circle.unwrap() / r;
            Vec3::new(m.x * k, m.y, m.z * k)
        },
    );
    let split = parted(&mesh);
    let mesh = &split.mesh;
    let outside = nodes_at(mesh, |x| x.x.hypot(x.z) > 7.0 - 1e-9);
    let p = problem(
        mesh,
        |part| match part {
            UPPER => (193_000.0, 0.3),
            LOWER => (17_000.0, 0.3),
            _ => (1e-3, 0.0),
        },
        outside,
        vec![case("fit", vec![])],
    );
    let (c, b, ring, d) = (1.2f64, 0.4f64, 6.0f64, 0.01);
    let outer = (ring * ring + c * c) / (ring * ring - c * c) + 0.3;
    let inner = (c * c + b * b) / (c * c - b * b) - 0.3;
    let exact = d / (c / 17_000.0 * outer + c / 193_000.0 * inner);
    for law in [Law::Frictionless, Law::Frictional { mu: 0.3 }] {
        let mut interfaces = Interfaces::new(&split, law);
        interfaces.add_gap(|_| true, |_| -d);
        let options = ContactOptions {
            linear: direct(),
            ..ContactOptions::default()
        };
        let found = solve(&p, &interfaces, &[], &[], &options).unwrap();
        let report = &found.cases[0];
        assert!(report.is_converged(), "{report:?}");
        let set = &report.sets[0];
        assert!(close(set.pressure_mean_mpa, exact, 0.01), "{set:?} {exact}");
        assert!(set.open_share == 0.0);
    }
}
