//! Rates of convergence on the thick cylinder of Lamé.
//!
//! | element | norm | expected rate | accepted |
//! | --- | --- | --- | --- |
//! | ten-node tetrahedron, curved | displacement, root mean square over nodes | 3 | at least 2.7 |
//! | same | recovered stress, root mean square over nodes | 2 | at least 1.7 |
//!
//! Expected: order p + 1 and p for polynomial degree p = 2 (Strang and Fix 1973); the slack is what two
//! halvings from a coarse mesh leave.
#![allow(clippy::unwrap_used)]

use bicolumn_base::Vec3;
use bicolumn_solve::SolveOptions;
use bicolumn_verify::exact::thick_cylinder::ThickCylinder;
use bicolumn_verify::imposed::Body;
use bicolumn_verify::meshes::tube::{BORE, LOWER_END, UPPER_END, tube};

const EXACT: ThickCylinder = ThickCylinder {
    inner_mm: 10.0,
    outer_mm: 20.0,
    pressure_mpa: 10.0,
    young_mpa: 17_000.0,
    poisson: 0.3,
};

fn errors(n: usize) -> (f64, f64) {
    let exact = |x: Vec3| {
        let r = x.x.hypot(x.z);
        Vec3::new(x.x, 0.0, x.z) * (EXACT.displacement_mm(r) / r)
    };
    let found = Body::new(
        tube([10 * n, 2 * n, n], 10.0, 20.0, 5.0).unwrap(),
        17_000.0,
        0.3,
    )
    .impose(LOWER_END, exact)
    .pull(|s| s == BORE, |_, n| n * -EXACT.pressure_mpa)
    .pull(|s| s == UPPER_END, |_, n| n * EXACT.axial_stress_mpa())
    .solve(&SolveOptions::default())
    .unwrap();
    let mesh = found.problem.mesh();
    let u2: f64 = mesh
        .nodes
        .iter()
        .zip(&found.displacement)
        .map(|(x, u)| (u - exact(*x)).norm_squared())
        .sum();
    let s2: f64 = found
        .part_nodes
        .node
        .iter()
        .zip(&found.stress.values)
        .map(|(n, s)| {
            let x = mesh.nodes[*n as usize];
            let radial = Vec3::new(x.x, 0.0, x.z).normalize();
            let off = s.traction(radial).dot(&radial) - EXACT.stress_mpa(x.x.hypot(x.z)).0;
            off * off
        })
        .sum();
    let count = mesh.nodes.len() as f64;
    ((u2 / count).sqrt(), (s2 / count).sqrt())
}

#[test]
fn displacement_and_stress_converge_at_their_rates() {
    let (coarse, fine) = (errors(2), errors(4));
    let rate = |a: f64, b: f64| (a / b).log2();
    let (u, s) = (rate(coarse.0, fine.0), rate(coarse.1, fine.1));
    assert!(u > 2.7, "displacement rate {u}");
    assert!(s > 1.7, "stress rate {s}");
}
