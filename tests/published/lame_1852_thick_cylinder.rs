//! Thick cylinder under internal pressure.
//!
//! Source: Lamé 1852; Timoshenko and Goodier, Theory of Elasticity, section 28 (from memory).
//! a = 10, b = 20 mm, p = 10 MPa, E = 17 GPa, ν = 0.3, plane strain: at the bore σ_r = −10,
//! σ_θ = 16.667 MPa, u = 0.011216 mm; at the outside σ_r = 0, σ_θ = 6.667 MPa.
//!
//! ```text
//!        ╭───────╮      bore: pressure; outside: free
//!      ╭─┤ ↖ ↑ ↗ ├─╮    y = 0: exact displacement imposed
//!      │ │←  p  →│ │    y = 5: the axial stress ν(σ_r + σ_θ) that plane strain needs
//!      ╰─┤ ↙ ↓ ↘ ├─╯
//!        ╰───────╯      whole ring, midside nodes on the cylinders
//! ```
//!
//! Tolerance: 0.05 % of the displacement, 1 % of the largest stress: nine quadratic cells across the
//! wall, displacement of order h³, recovered stress of order h².
#![allow(clippy::unwrap_used)]

use bicolumn_base::Vec3;
use bicolumn_solve::SolveOptions;
use bicolumn_verify::exact::thick_cylinder::ThickCylinder;
use bicolumn_verify::imposed::Body;
use bicolumn_verify::meshes::tube::{BORE, LOWER_END, UPPER_END, tube};

#[test]
fn displacement_and_stress_through_the_wall() {
    let exact = ThickCylinder {
        inner_mm: 10.0,
        outer_mm: 20.0,
        pressure_mpa: 10.0,
        young_mpa: 17_000.0,
        poisson: 0.3,
    };
    let radial = |x: Vec3| Vec3::new(x.x, 0.0, x.z).normalize();
    let mesh = tube([64, 9, 2], exact.inner_mm, exact.outer_mm, 5.0).unwrap();
    let found = Body::new(mesh, exact.young_mpa, exact.poisson)
        .impose(LOWER_END, |x| {
            radial(x) * exact.displacement_mm(x.x.hypot(x.z))
        })
        .pull(|s| s == BORE, |_, n| n * -exact.pressure_mpa)
        .pull(|s| s == UPPER_END, |_, n| n * exact.axial_stress_mpa())
        .solve(&SolveOptions::default())
        .unwrap();
    let mesh = found.problem.mesh();
    let bore = exact.displacement_mm(exact.inner_mm);
    for (x, u) in mesh.nodes.iter().zip(&found.displacement) {
        let u_exact = radial(*x) * exact.displacement_mm(x.x.hypot(x.z));
        assert!((u - u_exact).norm() < 5e-4 * bore, "{x} {u} {u_exact}");
    }
    let largest = exact.stress_mpa(exact.inner_mm).1;
    let mut checked = 0;
    for r in [10.0, 12.0, 14.0, 16.0, 18.0, 20.0] {
        for turn in [0.0f64, 1.0, 2.5, 4.0] {
            let (stress, at) = found.stress_near(Vec3::new(r * turn.cos(), 2.5, r * turn.sin()));
            let n = radial(at);
            let hoop = Vec3::new(-n.z, 0.0, n.x);
            let (radial_exact, hoop_exact) = exact.stress_mpa(at.x.hypot(at.z));
            let off_r = stress.traction(n).dot(&n) - radial_exact;
            let off_h = stress.traction(hoop).dot(&hoop) - hoop_exact;
            assert!(off_r.abs() < 0.01 * largest, "radial at {r}: off {off_r}");
            assert!(off_h.abs() < 0.01 * largest, "hoop at {r}: off {off_h}");
            checked += 1;
        }
    }
    assert_eq!(checked, 24);
}
