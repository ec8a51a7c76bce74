//! Strip of finite width with a central hole under tension.
//!
//! Source: Howland 1930, Phil Trans R Soc A 229:49; fit K_tn = 2 + 0.284 x − 0.600 x² + 1.32 x³ with
//! x = 1 − d/w of Peterson's chart 4.1 (from memory): 2.16 on the net section at d/w = 0.5, 2.36 at
//! 0.3.
//!
//! ```text
//!   ╞══════════════════════╡→   length 3 w, thickness 1 mm, ν = 0: exactly two-dimensional
//!   ╞         ( )          ╡→   left end: uniform displacement held; right end: uniform tension
//!   ╞══════════════════════╡→
//! ```
//!
//! Tolerance: 2 %: about 1 % for the fit (three digits are given) and 1 % for the recovered stress on
//! the curved edge.
#![allow(clippy::unwrap_used)]

use bicolumn_base::Vec3;
use bicolumn_solve::SolveOptions;
use bicolumn_verify::exact::circular_hole::strip_net_factor;
use bicolumn_verify::imposed::Body;
use bicolumn_verify::meshes::holed_plate::{HoledPlate, RIM};

fn net_factor(d_over_w: f64) -> f64 {
    const TENSION: f64 = 10.0;
    let (width, length) = (10.0, 30.0);
    let mesh = HoledPlate {
        radius_mm: 0.5 * d_over_w * width,
        length_mm: length,
        width_mm: width,
        thickness_mm: 1.0,
        cells: [14, 9, 1],
        grading: 0.35,
    }
    .mesh()
    .unwrap();
    let end = 0.5 * length;
    let found = Body::new(mesh, 17_000.0, 0.0)
        .impose_where(|x| x.x < -end + 1e-9, |_| Vec3::zeros())
        .pull(
            |s| s == RIM,
            |_, n| {
                if n.x > 0.9 {
                    n * TENSION
                } else {
                    Vec3::zeros()
                }
            },
        )
        .solve(&SolveOptions::default())
        .unwrap();
    let radius = 0.5 * d_over_w * width;
    let peak = [1.0, -1.0].map(|s| {
        let (stress, at) = found.stress_near(Vec3::new(0.0, s * radius, 0.5));
        assert!(
            at.x.abs() < 0.2 && (at.y.abs() - radius).abs() < 0.02,
            "{at}"
        );
        stress.0[0]
    });
    0.5 * (peak[0] + peak[1]) * (1.0 - d_over_w) / TENSION
}

#[test]
fn net_section_factors() {
    for d_over_w in [0.3, 0.5] {
        let (found, expected) = (net_factor(d_over_w), strip_net_factor(d_over_w));
        assert!(
            (found / expected - 1.0).abs() < 0.02,
            "d/w {d_over_w}: {found} against {expected}"
        );
    }
}
