//! Orders of convergence on a manufactured solution.
//!
//! Source: method of manufactured solutions, Roache 2002, J Fluids Eng 124:4; orders for complete
//! polynomials of degree 2, Strang and Fix 1973, An Analysis of the Finite Element Method (both from
//! memory).
//!
//! A sum of plane waves of displacement is chosen, the body force −div σ that holds it is applied, the
//! displacement is imposed on one side and the tractions on the five others of a box under a smooth curved
//! map, the same for all meshes: no two tetrahedra alike, every mesh twice as fine as the one before.
//!
//! | quantity | norm | expected order | accepted |
//! | --- | --- | --- | --- |
//! | displacement | L2 over the volume | 3 | 2.8 to 3.4 |
//! | stress of the elements | L2 over the volume | 2 | 1.8 to 2.4 |
//! | recovered stress | L2 over the volume | at least 2 | at least 1.8 |
//!
//! Tolerance: the orders hold for cells that tend to zero; 0.2 is what is left at 10 and 20 cells an edge. An
//! order above the expected one by more than 0.4 would mean that something else is measured.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use bicolumn_base::Vec3;
use bicolumn_mesh::TetMesh;
use bicolumn_solve::element::Element;
use bicolumn_solve::quadrature::FOURTEEN;
use bicolumn_solve::shape::values;
use bicolumn_solve::{SolveOptions, element_stress};
use bicolumn_verify::exact::plane_waves::PlaneWaves;
use bicolumn_verify::imposed::Body;
use bicolumn_verify::meshes::Block;
use bicolumn_verify::meshes::block::side;
use std::f64::consts::{PI, TAU};

fn wavy_box(cells: usize) -> TetMesh {
    Block {
        cells: [cells; 3],
        ring: false,
        map: &|g| {
            let x = |i: usize| {
                let wave =
                    (TAU * g[(i + 1) % 3] + 0.7 * i as f64).sin() * (PI * g[(i + 2) % 3]).cos();
                4.0 * (g[i] + 0.06 * wave)
            };
            Vec3::new(x(0), x(1), x(2))
        },
        curve: &|m, _| m,
    }
    .mesh()
    .unwrap()
}

/// L2 errors of displacement, element stress and recovered stress, relative to the L2 norms.
fn errors(cells: usize) -> [f64; 3] {
    let field = PlaneWaves::three(17_000.0, 0.3);
    let held = side(0, false);
    let found = Body::new(wavy_box(cells), 17_000.0, 0.3)
        .impose(held, |x| field.displacement_mm(x))
        .pull(|s| s != held, |x, n| field.stress_mpa(x).traction(n))
        .body_force(|x| field.body_force(x))
        .solve(&SolveOptions {
            tolerance: 1e-10,
            ..SolveOptions::default()
        })
        .unwrap();
    let mesh = found.problem.mesh();
    let (mut off, mut size) = ([0.0; 3], [0.0; 2]);
    for (t, tet) in mesh.tets.iter().enumerate() {
        let element = Element::new(tet.map(|n| mesh.nodes[n as usize]));
        for (l, weight) in FOURTEEN {
            let (x, volume) = (element.position(l), weight * element.gradients(l).1 / 6.0);
            let shaped = tet.iter().zip(values(l));
            let u: Vec3 = shaped
                .map(|(n, w)| found.displacement[*n as usize] * w)
                .sum();
            let exact = field.displacement_mm(x);
            let stress = field.stress_mpa(x);
            let raw = element_stress(&found.problem, &found.displacement, t, l);
            let recovered = found.stress.at(&found.part_nodes, t, l);
            off[0] += volume * (u - exact).norm_squared();
            off[1] += volume * (raw - stress).to_matrix().norm_squared();
            off[2] += volume * (recovered - stress).to_matrix().norm_squared();
            size[0] += volume * exact.norm_squared();
            size[1] += volume * stress.to_matrix().norm_squared();
        }
    }
    [off[0] / size[0], off[1] / size[1], off[2] / size[1]].map(f64::sqrt)
}

#[test]
fn displacement_of_order_three_and_stress_of_order_two() {
    let cells = [5, 10, 20];
    let all = cells.map(errors);
    for (n, e) in cells.iter().zip(&all) {
        println!("{n} cells: {e:.3?}", e = e.map(|v| v * 1e6));
    }
    let order = |k: usize| (all[1][k] / all[2][k]).log2();
    let (displacement, raw, recovered) = (order(0), order(1), order(2));
    println!("orders: displacement {displacement:.2}, stress {raw:.2}, recovered {recovered:.2}");
    assert!((2.8..3.4).contains(&displacement), "{displacement}");
    assert!((1.8..2.4).contains(&raw), "{raw}");
    assert!(recovered > 1.8, "{recovered}");
    // The finest mesh is good in itself.
    assert!(all[2][0] < 1e-3 && all[2][1] < 1e-2, "{:?}", all[2]);
}
