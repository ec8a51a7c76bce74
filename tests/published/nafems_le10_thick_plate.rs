//! Thick elliptic plate under pressure: NAFEMS LE10.
//!
//! Source: NAFEMS, The Standard NAFEMS Benchmarks, R0015, 1990, case LE10, as restated publicly:
//! σ_yy at (2, 0, 0.6) = −5.38 MPa. An independent computation of degree 5 gave −5.373.
//!
//! ```text
//!        ↓ ↓ ↓ ↓ ↓  1 MPa on the upper face      plan of LE1, thickness 0.6
//!      ●────────────┐                            E = 210 GPa, ν = 0.3
//!      │            ├ △ u = v = 0 on the outer face, w = 0 on its middle line
//!      └────────────┘                            x = 0: u = 0;  y = 0: v = 0
//! ```
//!
//! Tolerance: 1 %: the point lies where free and symmetric faces meet, so the stress is recovered one-sidedly
//! from the elements of one corner, with an error of order h²; cells there are a tenth of even ones.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use bicolumn_base::Vec3;
use bicolumn_solve::{Method, SolveOptions};
use bicolumn_verify::imposed::Body;
use bicolumn_verify::meshes::elliptic_quarter::{
    ON_X_AXIS, ON_Y_AXIS, OUTER, OUTSIDE, UPPER, elliptic_quarter,
};

const THICKNESS: f64 = 0.6;

fn stress_yy(cells: [usize; 3]) -> f64 {
    let on_middle_line = |x: Vec3| {
        let outside = (x.x / OUTER[0]).hypot(x.y / OUTER[1]) - 1.0;
        outside.abs() < 1e-9 && (x.z - 0.5 * THICKNESS).abs() < 1e-9
    };
    let found = Body::new(
        elliptic_quarter(cells, THICKNESS, 0.1).unwrap(),
        210_000.0,
        0.3,
    )
    .roll(ON_Y_AXIS, [true, false, false])
    .roll(ON_X_AXIS, [false, true, false])
    .roll(OUTSIDE, [true, true, false])
    .roll_where(on_middle_line, [false, false, true])
    .pull(|s| s == UPPER, |_, n| -n)
    .solve(&SolveOptions {
        method: Method::FactoredCoarse,
        tolerance: 1e-9,
        ..SolveOptions::default()
    })
    .unwrap();
    let wanted = Vec3::new(2.0, 0.0, THICKNESS);
    let (stress, at) = found.stress_near(wanted);
    assert!((at - wanted).norm() < 1e-9, "{at}");
    stress.0[1]
}

#[test]
fn stress_on_the_upper_face() {
    let (coarse, fine) = (stress_yy([12, 10, 6]), stress_yy([24, 20, 10]));
    println!("sigma_yy at (2, 0, 0.6): {coarse:.4} and {fine:.4} MPa against -5.38");
    assert!((fine / -5.38 - 1.0).abs() < 0.01, "{fine}");
    assert!((fine + 5.373).abs() < (coarse + 5.373).abs());
}
