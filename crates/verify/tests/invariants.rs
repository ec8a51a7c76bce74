//! Invariants: rigid motions give no stress; turning body and load together turns the answer
//! with them.
#![allow(clippy::unwrap_used)]

use bicolumn_base::{Mat3, Vec3};
use bicolumn_mesh::TetMesh;
use bicolumn_model::{Material, Problem, Support};
use bicolumn_solve::{Method, PartNodes, SolveOptions, StressField};
use bicolumn_verify::imposed::{Body, Equilibrium};
use bicolumn_verify::meshes::block::{irregular_box, side};
use bicolumn_verify::meshes::tube::{LOWER_END, tube};
use nalgebra::Rotation3;
use proptest::prelude::*;
use std::sync::Arc;

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    /// Tolerance: strain of rounding size (1e-16 of u per element edge, some 1e-13), times E.
    #[test]
    fn rigid_motion_gives_no_stress(
        t in prop::array::uniform3(-1.0..1.0f64),
        w in prop::array::uniform3(-0.1..0.1f64),
    ) {
        let (t, w) = (Vec3::from(t), Vec3::from(w));
        let mesh = Arc::new(tube([12, 2, 3], 5.0, 8.0, 9.0).unwrap());
        let material = Material::new("test", 17_000.0, 0.3, "verification");
        let problem = Problem::new(Arc::clone(&mesh), vec![material], [Support::clamp("node", [0])], vec![]).unwrap();
        let u: Vec<Vec3> = mesh.nodes.iter().map(|x| t + w.cross(x)).collect();
        let part_nodes = PartNodes::of(&mesh);
        let stress = StressField::recover(&problem, &part_nodes, &u);
        for s in &stress.values {
            prop_assert!(s.von_mises() < 17_000.0 * 1e-12);
        }
    }
}

fn turned(mesh: &TetMesh, by: &Mat3) -> TetMesh {
    let mut mesh = mesh.clone();
    for x in &mut mesh.nodes {
        *x = by * *x;
    }
    mesh
}

fn pulled(mesh: TetMesh, by: &Mat3) -> Equilibrium {
    let pull = by * Vec3::new(3.0, -2.0, 5.0);
    Body::new(mesh, 17_000.0, 0.3)
        .impose(side(0, false), |_| Vec3::zeros())
        .pull(|s| s == side(0, true), |_, _| pull)
        .solve(&SolveOptions {
            method: Method::Direct,
            ..SolveOptions::default()
        })
        .unwrap()
}

/// Tolerance: rounding through a solve of condition 1e4.
#[test]
fn turning_everything_turns_the_answer() {
    let mesh = irregular_box(4, 2.0, 0.15).unwrap();
    let turn = *Rotation3::from_scaled_axis(Vec3::new(0.7, -1.1, 0.4)).matrix();
    let here = pulled(mesh.clone(), &Mat3::identity());
    let there = pulled(turned(&mesh, &turn), &turn);
    let work = |e: &Equilibrium| -> f64 {
        let forces = &e.problem.cases()[0].forces;
        forces
            .iter()
            .map(|(n, f)| f.dot(&e.displacement[*n as usize]))
            .sum()
    };
    assert!((work(&here) / work(&there) - 1.0).abs() < 1e-10);
    let peak = here
        .stress
        .values
        .iter()
        .map(|s| s.von_mises())
        .fold(0.0, f64::max);
    for (a, b) in here.stress.values.iter().zip(&there.stress.values) {
        assert!((a.von_mises() - b.von_mises()).abs() < 1e-9 * peak);
    }
    for (a, b) in here.displacement.iter().zip(&there.displacement) {
        assert!((turn * a - b).norm() < 1e-9 * b.norm().max(1e-6));
    }
}

/// Tolerance: the iteration stops at a relative residual of 1e-10.
#[test]
fn iterative_and_direct_solutions_agree() {
    let by = |method| {
        Body::new(tube([16, 2, 12], 6.0, 9.0, 60.0).unwrap(), 17_000.0, 0.3)
            .impose(LOWER_END, |_| Vec3::zeros())
            .pull(|s| s != LOWER_END, |x, n| n * (0.1 * x.y) + Vec3::x())
            .solve(&SolveOptions {
                method,
                tolerance: 1e-10,
                ..SolveOptions::default()
            })
            .unwrap()
    };
    let (a, b) = (by(Method::Direct), by(Method::FactoredCoarse));
    let size = a.displacement.iter().map(|u| u.norm()).fold(0.0, f64::max);
    for (u, v) in a.displacement.iter().zip(&b.displacement) {
        assert!((u - v).norm() < 1e-7 * size);
    }
}
