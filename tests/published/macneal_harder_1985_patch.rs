//! Patch test on an irregular ten-node mesh.
//!
//! Source: MacNeal and Harder 1985, Finite Elements in Analysis and Design 1:3 (the idea; their data
//! are for plates and bricks). Any complete element must reproduce constant strain exactly.
//!
//! Goal: displacement and stress to 1e-9 relative, (a) with the field imposed on the whole boundary,
//! (b) held on one side and pulled by its tractions on the others, (c) on curved elements.
//!
//! ```text
//!      ╱────────╲        skewed box, inner points shifted by up to 15 % of a cell:
//!     ╱  ╱╲ ╱╲   ╲       no two tetrahedra alike
//!    ╱──╱──╲──╲───╲
//! ```
//!
//! Tolerance: rounding only. The matrix's condition is about 1e4, so 1e-9 leaves room for no
//! discretisation error at all.
#![allow(clippy::unwrap_used)]

use bicolumn_base::{Mat3, SymTensor, Vec3};
use bicolumn_solve::{Method, SolveOptions, element_stress};
use bicolumn_verify::exact::linear_field::LinearField;
use bicolumn_verify::imposed::{Body, Equilibrium};
use bicolumn_verify::meshes::block::{irregular_box, side};
use bicolumn_verify::meshes::tube::{LOWER_END, tube};

const YOUNG: f64 = 17_000.0;
const POISSON: f64 = 0.3;
const TOLERANCE: f64 = 1e-9;

fn field() -> LinearField {
    LinearField {
        gradient: Mat3::new(1.0, 0.5, -0.3, 0.2, -0.7, 0.4, 0.6, -0.1, 0.9) * 1e-3,
        origin: Vec3::new(0.3, -0.2, 0.1),
    }
}

fn direct() -> SolveOptions {
    SolveOptions {
        method: Method::Direct,
        ..SolveOptions::default()
    }
}

fn assert_exact(found: &Equilibrium) {
    let field = field();
    let mesh = found.problem.mesh();
    let size = mesh
        .nodes
        .iter()
        .map(|x| field.displacement(*x).norm())
        .fold(0.0, f64::max);
    for (x, u) in mesh.nodes.iter().zip(&found.displacement) {
        assert!((u - field.displacement(*x)).norm() < TOLERANCE * size);
    }
    let exact = field.stress(YOUNG, POISSON);
    let near = |s: SymTensor| (s - exact).0.norm() < TOLERANCE * exact.0.norm();
    assert!(found.stress.values.iter().all(|s| near(*s)));
    for t in 0..mesh.tets.len() {
        let raw = element_stress(&found.problem, &found.displacement, t, [0.1, 0.2, 0.3, 0.4]);
        assert!(near(raw), "element {t}");
    }
}

#[test]
fn field_imposed_on_the_whole_boundary() {
    let mut body = Body::new(irregular_box(4, 2.0, 0.15).unwrap(), YOUNG, POISSON);
    for axis in 0..3 {
        for at_end in [false, true] {
            body = body.impose(side(axis, at_end), |x| field().displacement(x));
        }
    }
    let inside = body.mesh().nodes.len();
    let found = body.solve(&direct()).unwrap();
    assert!(
        found.problem.fixed().len() < inside,
        "nothing left to solve"
    );
    assert_exact(&found);
}

#[test]
fn held_on_one_side_and_pulled_on_the_others() {
    let stress = field().stress(YOUNG, POISSON);
    let held = side(0, false);
    let found = Body::new(irregular_box(4, 2.0, 0.15).unwrap(), YOUNG, POISSON)
        .impose(held, |x| field().displacement(x))
        .pull(|s| s != held, |_, n| stress.traction(n))
        .solve(&direct())
        .unwrap();
    assert_exact(&found);
}

#[test]
fn curved_elements_pass_too() {
    let stress = field().stress(YOUNG, POISSON);
    let mesh = tube([10, 2, 2], 3.0, 5.0, 4.0).unwrap();
    assert_eq!(mesh.quality.curved_share, 1.0);
    let found = Body::new(mesh, YOUNG, POISSON)
        .impose(LOWER_END, |x| field().displacement(x))
        .pull(|s| s != LOWER_END, |_, n| stress.traction(n))
        .solve(&direct())
        .unwrap();
    assert_exact(&found);
}
