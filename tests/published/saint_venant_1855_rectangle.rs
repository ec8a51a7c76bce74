//! Free torsion of a rectangular bar.
//!
//! Source: Saint-Venant 1855; Timoshenko and Goodier, Theory of Elasticity, section 109 (series, from
//! memory; its coefficients agree with Roark's table: J = 0.22868 b a³, τ = T / (0.24588 b a²) for
//! b/a = 2).
//!
//! ```text
//!       y, b = 8 mm          bar along Z, 10 mm long, sides free
//!      ┌──────┐              z = 0 and z = 10: rotation and warping imposed
//!      │      │ ● largest
//!      │      │   shear      torque read from the reactions
//!      └──────┘
//!       x, a = 4 mm
//! ```
//!
//! Tolerance: 0.1 % of the torque (an energy quantity, order h⁴); 1 % of the largest shear stress
//! (recovered at the surface, order h²).
#![allow(clippy::unwrap_used)]

use bicolumn_base::Vec3;
use bicolumn_solve::SolveOptions;
use bicolumn_verify::exact::rectangle_torsion::RectangleTorsion;
use bicolumn_verify::imposed::Body;
use bicolumn_verify::meshes::block::{bar, side};

#[test]
fn torque_and_largest_shear() {
    let exact = RectangleTorsion {
        a_mm: 4.0,
        b_mm: 8.0,
        rate_per_mm: 1e-3,
        shear_mpa: 17_000.0 / 2.6,
    };
    let mesh = bar(
        [6, 12, 8],
        Vec3::new(-2.0, -4.0, 0.0),
        Vec3::new(2.0, 4.0, 10.0),
    )
    .unwrap();
    let found = Body::new(mesh, 17_000.0, 0.3)
        .impose(side(2, false), |x| exact.displacement_mm(x))
        .impose(side(2, true), |x| exact.displacement_mm(x))
        .solve(&SolveOptions::default())
        .unwrap();
    let (force, moment) = found.resultant(side(2, true), Vec3::zeros());
    assert!(force.norm() < 1e-3 * exact.torque_nmm());
    let off = moment.z / exact.torque_nmm() - 1.0;
    assert!(off.abs() < 1e-3, "torque off by {off}");
    for s in [1.0, -1.0] {
        let (stress, at) = found.stress_near(Vec3::new(2.0 * s, 0.0, 5.0));
        assert!((at.x - 2.0 * s).abs() < 1e-9 && at.y.abs() < 1e-9);
        let off = stress.0[4] * s / exact.largest_shear_mpa() - 1.0;
        assert!(off.abs() < 0.01, "shear off by {off}");
    }
}
