//! The prepared system, asked again: other forces, added stiffness, guesses.
#![allow(clippy::unwrap_used)]

use crate::support::{SOFT, STIFF, box_mesh, held_box, material};
use bicolumn_base::{Mat3, Vec3};
use bicolumn_mesh::SurfaceName;
use bicolumn_model::{Problem, nodes_on};
use bicolumn_solve::{Ask, InterfaceStiffness, Method, Prepared, SolveOptions, solve};

fn bar() -> Problem {
    let mesh = box_mesh([4, 12, 4], Vec3::new(4.0, 12.0, 4.0), 0.3, |x| {
        if x.y < 6.0 { STIFF } else { SOFT }
    });
    let z = Vec3::zeros();
    let loads = [(Vec3::x() * 30.0, z), (Vec3::y() * -200.0, z)];
    held_box(
        mesh,
        vec![material(17_000.0, 0.3), material(400.0, 0.3)],
        &loads,
    )
}

fn options(method: Method) -> SolveOptions {
    SolveOptions {
        method,
        tolerance: 1e-10,
        ..SolveOptions::default()
    }
}

/// Springs to the ground at the loaded end, and one between two far nodes.
fn springs(problem: &Problem, stiffness: f64) -> InterfaceStiffness {
    let end = nodes_on(problem.mesh(), SurfaceName::Other(2));
    let x = Vec3::x() * Vec3::x().transpose() * stiffness;
    let mut blocks: Vec<(u32, u32, Mat3)> = end.iter().map(|&n| (n, n, x)).collect();
    let n = Vec3::new(0.6, 0.8, 0.0);
    let k = n * n.transpose() * stiffness;
    let (a, b) = (end[0], problem.mesh().nodes.len() as u32 / 2);
    blocks.extend([(a, a, k), (b, b, k), (a, b, -k)]);
    InterfaceStiffness { blocks }
}

fn forces(problem: &Problem) -> Vec<Vec<Vec3>> {
    let mut all = vec![];
    for case in problem.cases() {
        let mut f = vec![Vec3::zeros(); problem.mesh().nodes.len()];
        case.forces.iter().for_each(|(n, v)| f[*n as usize] += v);
        all.push(f);
    }
    all
}

fn difference(a: &[Vec<Vec3>], b: &[Vec<Vec3>]) -> f64 {
    let size = a.iter().flatten().map(Vec3::norm).fold(0.0, f64::max);
    let pairs = a.iter().flatten().zip(b.iter().flatten());
    pairs.map(|(a, b)| (a - b).norm()).fold(0.0, f64::max) / size
}

#[test]
fn nodal_forces_give_what_the_load_cases_give() {
    let problem = bar();
    for method in [Method::Direct, Method::FactoredCoarse] {
        let ready = Prepared::new(&problem, &options(method)).unwrap();
        let answer = ready.solve_for(&forces(&problem), &Ask::default()).unwrap();
        let cases = solve(&problem, &options(method)).unwrap();
        assert!(difference(&cases.displacement, &answer.displacement) < 1e-12);
        // K u gives the forces back, held nodes aside.
        for (f, k) in forces(&problem)
            .iter()
            .zip(ready.apply(&answer.displacement, None))
        {
            let worst = f.iter().zip(&k).map(|(f, k)| (f - k).norm());
            assert!(worst.fold(0.0, f64::max) < 1e-7);
        }
    }
}

#[test]
fn added_stiffness_is_solved_by_either_method() {
    let problem = bar();
    for stiffness in [10.0, 1e4] {
        let c = springs(&problem, stiffness);
        let f = forces(&problem);
        let with = |method, c| {
            let ready = Prepared::with_interface(&problem, &options(method), c).unwrap();
            let answer = ready.solve_for(&f, &Ask::default()).unwrap();
            (ready, answer)
        };
        let (_, plain) = with(Method::Direct, None);
        let (_, exact) = with(Method::Direct, Some(&c));
        let change = difference(&plain.displacement, &exact.displacement);
        assert!(change > 1e-3, "the springs must matter");

        let (ready, found) = with(Method::FactoredCoarse, Some(&c));
        assert!(difference(&exact.displacement, &found.displacement) < 1e-7);
        assert!(found.convergence.iterations < 45, "{:?}", found.convergence);
        // (K + C) u = f at the free nodes.
        for (f, k) in f.iter().zip(ready.apply(&found.displacement, Some(&c))) {
            let worst = f.iter().zip(&k).map(|(f, k)| (f - k).norm());
            assert!(worst.fold(0.0, f64::max) < 1e-7);
        }
    }
}

#[test]
fn a_part_may_hang_on_its_interface_alone() {
    // Two blocks with a slit between them, joined by stiff springs only.
    let mut problem = bar();
    let mut mesh = (*problem.mesh()).clone();
    let middle: Vec<u32> = (0..mesh.nodes.len() as u32)
        .filter(|&n| {
            let around = mesh.tets.iter().zip(&mesh.part);
            let mut parts: Vec<u16> = around
                .filter(|(t, _)| t.contains(&n))
                .map(|(_, p)| *p)
                .collect();
            parts.sort_unstable();
            parts.dedup();
            parts.len() == 2
        })
        .collect();
    let mut blocks = vec![];
    for &n in &middle {
        let twin = mesh.nodes.len() as u32;
        mesh.nodes.push(mesh.nodes[n as usize]);
        for (t, tet) in mesh.tets.iter_mut().enumerate() {
            if mesh.part[t] == 1 {
                tet.iter_mut().filter(|v| **v == n).for_each(|v| *v = twin);
            }
        }
        let k = Mat3::identity() * 1e6;
        blocks.extend([(n, n, k), (twin, twin, k), (n, twin, -k)]);
    }
    let bonded = solve(&problem, &options(Method::Direct)).unwrap();
    problem = problem.with_mesh(std::sync::Arc::new(mesh)).unwrap();
    assert!(Prepared::new(&problem, &options(Method::FactoredCoarse)).is_err());
    let c = InterfaceStiffness { blocks };
    let ready =
        Prepared::with_interface(&problem, &options(Method::FactoredCoarse), Some(&c)).unwrap();
    let answer = ready.solve_for(&forces(&problem), &Ask::default()).unwrap();
    let nodes = bonded.displacement[0].len();
    let held: Vec<Vec<Vec3>> = answer
        .displacement
        .iter()
        .map(|u| u[..nodes].to_vec())
        .collect();
    assert!(difference(&bonded.displacement, &held) < 1e-2);
}

#[test]
fn a_good_guess_saves_iterations() {
    let problem = bar();
    let ready = Prepared::new(&problem, &options(Method::FactoredCoarse)).unwrap();
    let f = forces(&problem);
    let cold = ready.solve_for(&f, &Ask::default()).unwrap();
    let close: Vec<Vec<Vec3>> = cold
        .displacement
        .iter()
        .map(|u| u.iter().map(|v| v * 1.000_001).collect())
        .collect();
    let warm = ready
        .solve_for(
            &f,
            &Ask {
                guess: Some(&close),
                ..Ask::default()
            },
        )
        .unwrap();
    assert!(warm.convergence.iterations < cold.convergence.iterations);
    assert!(difference(&cold.displacement, &warm.displacement) < 1e-7);
}

/// Pairs of opposite forces on near and far nodes, and one at a held node's neighbour.
fn few(problem: &Problem) -> Vec<Vec<(u32, Vec3)>> {
    let count = problem.mesh().nodes.len() as u32;
    let along = Vec3::new(1.0, -2.0, 0.5);
    (0..19)
        .map(|k| {
            let (a, b) = (k * count / 20, (7 * k + 11) % count);
            vec![(a, along), (b, -along * (1.0 + f64::from(k)))]
        })
        .collect()
}

#[test]
fn products_of_few_forces_are_those_of_the_whole_preconditioner() {
    let problem = bar();
    for (method, accuracy) in [(Method::Direct, 1e-10), (Method::FactoredCoarse, 1e-5)] {
        let ready = Prepared::new(&problem, &options(method)).unwrap();
        let forces = few(&problem);
        // In two parts, the second longer than a group.
        let mut basis = ready.force_basis();
        let mut found = basis.extend(forces[..5].to_vec());
        found.extend(basis.extend(forces[5..].to_vec()));
        let full: Vec<Vec<Vec3>> = forces
            .iter()
            .map(|few| {
                let mut all = vec![Vec3::zeros(); problem.mesh().nodes.len()];
                few.iter().for_each(|(n, f)| all[*n as usize] += f);
                all
            })
            .collect();
        let moved = basis.begin(&full).finish();
        for (j, row) in found.iter().enumerate() {
            assert_eq!(row.len(), if j < 5 { 5 } else { 19 });
            for (i, value) in row.iter().enumerate() {
                let work = |f: &[(u32, Vec3)], u: &[Vec3]| -> f64 {
                    f.iter().map(|(n, f)| f.dot(&u[*n as usize])).sum()
                };
                let exact = work(&forces[i], &moved[j]);
                let size = (work(&forces[i], &moved[i]) * work(&forces[j], &moved[j])).sqrt();
                assert!(
                    (value - exact).abs() < accuracy * size,
                    "{i} {j}: {value} {exact}"
                );
            }
        }
    }
}
