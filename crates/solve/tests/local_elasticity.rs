//! Transverse isotropy along an axis, and an elasticity of its own for each tetrahedron.
#![allow(clippy::unwrap_used)]

use crate::support::{SOFT, STIFF, box_mesh, held_box, material};
use bicolumn_base::{Mat3, SymTensor, Vec3};
use bicolumn_model::{DensityLaw, Elasticity, Problem, TransverseIsotropy};
use bicolumn_solve::{Method, PartNodes, SolveOptions, StressField, solve};
use std::sync::Arc;

fn bar(part: impl Fn(Vec3) -> bicolumn_base::Part, young: &[f64]) -> Problem {
    let mesh = box_mesh([3, 8, 3], Vec3::new(3.0, 9.0, 3.0), 0.3, part);
    let z = Vec3::zeros();
    let loads = [(Vec3::new(20.0, 5.0, -10.0), z), (z, Vec3::y() * 400.0)];
    let materials = young.iter().map(|&e| material(e, 0.3)).collect();
    held_box(mesh, materials, &loads)
}

fn options(method: Method) -> SolveOptions {
    SolveOptions {
        method,
        tolerance: 1e-10,
        ..SolveOptions::default()
    }
}

fn displacement(problem: &Problem, method: Method) -> Vec<Vec<Vec3>> {
    solve(problem, &options(method)).unwrap().displacement
}

fn difference(a: &[Vec<Vec3>], b: &[Vec<Vec3>]) -> f64 {
    let size = a.iter().flatten().map(Vec3::norm).fold(0.0, f64::max);
    let pairs = a.iter().flatten().zip(b.iter().flatten());
    pairs.map(|(a, b)| (a - b).norm()).fold(0.0, f64::max) / size
}

#[test]
fn turning_the_whole_problem_turns_the_solution() {
    let bone = TransverseIsotropy::cortical();
    let axis = Vec3::new(0.2, 1.0, 0.3);
    let at = |axis| {
        bar(|_| SOFT, &[1.0])
            .with_elasticity(|_, _, _| bone.along(axis))
            .unwrap()
    };
    let straight = at(axis);
    let turn: Mat3 = nalgebra::Rotation3::from_euler_angles(0.7, -1.1, 2.0).into_inner();
    let turned = at(turn * axis);
    let mut mesh = turned.mesh().clone();
    mesh.nodes.iter_mut().for_each(|x| *x = turn * *x);
    let mut cases = turned.cases().to_vec();
    for case in &mut cases {
        case.forces.iter_mut().for_each(|f| f.1 = turn * f.1);
    }
    let turned = turned.with_mesh(Arc::new(mesh)).unwrap();
    let turned = turned.with_cases(cases).unwrap();
    for method in [Method::Direct, Method::FactoredCoarse] {
        let a = displacement(&straight, method);
        let b = displacement(&turned, method);
        let back: Vec<Vec<Vec3>> = b
            .iter()
            .map(|u| u.iter().map(|v| turn.transpose() * v).collect())
            .collect();
        assert!(difference(&a, &back) < 1e-8, "{method:?}");
        // An axis across the bar is another bar.
        let across = displacement(&at(Vec3::x()), method);
        assert!(difference(&a, &across) > 0.05);
    }
}

#[test]
fn isotropic_constants_give_the_isotropic_solution() {
    let plain = bar(|_| SOFT, &[17_000.0]);
    let formed = TransverseIsotropy::isotropic(17_000.0, 0.3);
    let field = plain
        .clone()
        .with_elasticity(|_, _, _| formed.along(Vec3::new(1.0, 1.0, -2.0)))
        .unwrap();
    let a = displacement(&plain, Method::FactoredCoarse);
    assert!(difference(&a, &displacement(&field, Method::FactoredCoarse)) < 1e-8);
}

#[test]
fn pull_along_the_axis_shows_the_axial_modulus() {
    // Load of a uniform axial stress; held end free to contract (ν = 0 along the axis).
    let bone = TransverseIsotropy {
        poisson_axial: 0.0,
        ..TransverseIsotropy::cortical()
    };
    let mesh = box_mesh([2, 4, 2], Vec3::new(2.0, 8.0, 2.0), 0.3, |_| SOFT);
    let load = [(Vec3::y() * 400.0, Vec3::zeros())];
    let problem = held_box(mesh, vec![material(1.0, 0.3)], &load);
    for (axis, modulus) in [(Vec3::y(), 17_000.0)] {
        let problem = problem
            .clone()
            .with_elasticity(|_, _, _| bone.along(axis))
            .unwrap();
        let u = displacement(&problem, Method::Direct);
        for (x, u) in problem.mesh().nodes.iter().zip(&u[0]) {
            assert!((u.y - 100.0 / modulus * x.y).abs() < 1e-12, "{x} {u}");
        }
        let nodes = PartNodes::of(problem.mesh());
        let stress = StressField::recover(&problem, &nodes, &u[0]);
        let exact = SymTensor::uniaxial(100.0, Vec3::y());
        for s in &stress.values {
            assert!((s.0 - exact.0).norm() < 1e-8);
        }
    }
}

#[test]
fn a_modulus_for_each_tetrahedron_is_what_two_parts_would_be() {
    let split = |x: Vec3| if x.y < 4.5 { STIFF } else { SOFT };
    let law = DensityLaw::ulna();
    let (dense, light) = (law.young_mpa(1.8).unwrap(), law.young_mpa(0.3).unwrap());
    let parts = bar(split, &[dense, light]);
    let field = bar(split, &[1.0, 1.0])
        .with_elasticity(|tet, _, _| {
            let density = if parts.mesh().part[tet] == 0 {
                1.8
            } else {
                0.3
            };
            law.elasticity(density).unwrap()
        })
        .unwrap();
    for method in [Method::Direct, Method::FactoredCoarse] {
        let (a, b) = (displacement(&parts, method), displacement(&field, method));
        assert!(difference(&a, &b) < 1e-10);
    }
}

#[test]
fn an_elasticity_that_is_not_positive_is_refused() {
    let result = bar(|_| SOFT, &[1.0]).with_elasticity(|tet, m, _| {
        let poisson = if tet == 7 { 0.6 } else { 0.3 };
        Elasticity::isotropic(m.young_mpa, poisson)
    });
    let error = result.unwrap_err().to_string();
    assert!(error.contains("tetrahedron 7"), "{error}");
}
