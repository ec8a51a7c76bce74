//! Elliptic membrane under outward pressure: NAFEMS LE1.
//!
//! Source: NAFEMS, The Standard NAFEMS Benchmarks, R0015, 1990, case LE1, as restated publicly:
//! σ_yy at (2, 0) = 92.7 MPa. An independent two-dimensional computation converged to 92.6582.
//!
//! ```text
//!   2.75 ┤‾‾‾--..   ↗ 10 MPa outwards      E = 210 GPa, ν = 0.3, thickness 0.1
//!        │        ╲                       x = 0: u = 0;  y = 0: v = 0
//!     1  ┤‾‾╲      │ →                    plane stress: both faces free
//!        └────●────┴─                     (metres in the source; stress does not depend on the unit)
//!             2   3.25
//! ```
//!
//! Solved as a slab: half the thickness, z = 0 held in Z. The source's thickness is a tenth of the
//! ellipse's semi-axis, where the stress at the point varies through the thickness; plane stress is the
//! limit of a thin slab, so the thickness here is a tenth of the source's and the value is read on the
//! free face.
//!
//! Tolerance: 0.5 %: the target has three digits, recovered stress on a curved edge is of order h².
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use bicolumn_base::Vec3;
use bicolumn_solve::{Method, SolveOptions};
use bicolumn_verify::imposed::Body;
use bicolumn_verify::meshes::elliptic_quarter::{
    LOWER, ON_X_AXIS, ON_Y_AXIS, OUTSIDE, elliptic_quarter,
};

/// σ_yy at (2, 0) on the free face.
fn stress_yy(cells: [usize; 3], half_thickness: f64) -> f64 {
    let found = Body::new(
        elliptic_quarter(cells, half_thickness, 0.5).unwrap(),
        210_000.0,
        0.3,
    )
    .roll(ON_Y_AXIS, [true, false, false])
    .roll(ON_X_AXIS, [false, true, false])
    .roll(LOWER, [false, false, true])
    .pull(|s| s == OUTSIDE, |_, n| n * 10.0)
    .solve(&SolveOptions {
        method: Method::Direct,
        ..SolveOptions::default()
    })
    .unwrap();
    let wanted = Vec3::new(2.0, 0.0, half_thickness);
    let (stress, at) = found.stress_near(wanted);
    assert!((at - wanted).norm() < 1e-9, "{at}");
    stress.0[1]
}

#[test]
fn stress_at_the_end_of_the_long_axis() {
    let (coarse, fine) = (stress_yy([12, 8, 1], 0.005), stress_yy([24, 16, 1], 0.005));
    println!("sigma_yy at (2, 0): {coarse:.3} and {fine:.3} MPa against 92.7");
    assert!((fine / 92.7 - 1.0).abs() < 0.005, "{fine}");
    assert!((fine - 92.6582).abs() < (coarse - 92.6582).abs());
}
