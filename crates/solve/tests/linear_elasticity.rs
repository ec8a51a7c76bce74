//! The solver against exact solutions and against itself.
#![allow(clippy::unwrap_used)]

use crate::support::{SOFT, STIFF, box_mesh, box_tets, from_tets, held_box, material};
use bicolumn_base::{Mat3, SymTensor, Vec3};
use bicolumn_model::{LoadCase, Problem};
use bicolumn_solve::balance::reactions;
use bicolumn_solve::element::{Element, forces};
use bicolumn_solve::{
    Method, PartNodes, Solution, SolveError, SolveOptions, StressField, element_stress, solve,
};
use std::collections::BTreeMap;
use std::sync::Arc;

fn with(method: Method) -> SolveOptions {
    SolveOptions {
        method,
        // Tighter than the default: these small models leave room above rounding.
        tolerance: 1e-9,
        ..SolveOptions::default()
    }
}

fn largest_difference(a: &Solution, b: &Solution) -> f64 {
    let pairs = a.displacement.iter().zip(&b.displacement);
    let differences = pairs.map(|(a, b)| {
        let size = a.iter().map(Vec3::norm).fold(0.0, f64::max);
        let d = a
            .iter()
            .zip(b)
            .map(|(a, b)| (a - b).norm())
            .fold(0.0, f64::max);
        d / size
    });
    differences.fold(0.0, f64::max)
}

/// Load of a body under a given linear displacement: K u of the whole boundary, minus what the held
/// nodes take; and the problem that must give u back.
fn patch_problem(slope: Mat3) -> (Problem, Vec<Vec3>) {
    let mesh = box_mesh([3, 4, 2], Vec3::new(3.0, 5.0, 2.0), 0.5, |_| SOFT);
    let m = material(700.0, 0.3);
    // Rigid support at y = 0 is compatible only with a slope that vanishes there.
    let field = |x: Vec3| slope * x;
    let exact: Vec<Vec3> = mesh.nodes.iter().map(|x| field(*x)).collect();
    let (lambda, mu) = m.lame();
    let mut total: BTreeMap<u32, Vec3> = BTreeMap::new();
    for tet in &mesh.tets {
        let element = Element::new(tet.map(|n| mesh.nodes[n as usize]));
        let k = element.stiffness(lambda, mu).unwrap();
        for (n, f) in tet.iter().zip(forces(&k, &tet.map(|n| exact[n as usize]))) {
            *total.entry(*n).or_insert_with(Vec3::zeros) += f;
        }
    }
    let problem = held_box(mesh, vec![m], &[]);
    total.retain(|n, _| problem.fixed().binary_search(n).is_err());
    let case = LoadCase::new("patch", total);
    (problem.with_cases(vec![case]).unwrap(), exact)
}

#[test]
fn constant_strain_is_exact_on_an_irregular_mesh() {
    // Displacement along y and shear in y only: zero on the held plane y = 0.
    let slope = Mat3::new(0.0, 2e-3, 0.0, 0.0, 1e-3, 0.0, 0.0, -3e-3, 0.0);
    let (problem, exact) = patch_problem(slope);
    let (lambda, mu) = problem.materials()[0].lame();
    let strain = SymTensor::from_matrix(&slope);
    let p = lambda * strain.trace();
    let stress = strain * (2.0 * mu) + SymTensor::new(p, p, p, 0.0, 0.0, 0.0);
    let size = exact.iter().map(Vec3::norm).fold(0.0, f64::max);
    for method in [
        Method::Direct,
        Method::FactoredCoarse,
        Method::AggregatedCoarse,
    ] {
        let options = SolveOptions {
            tolerance: 1e-12,
            ..with(method)
        };
        let solution = solve(&problem, &options).unwrap();
        for (u, e) in solution.displacement[0].iter().zip(&exact) {
            assert!((u - e).norm() < 1e-9 * size, "{method:?} {u} {e}");
        }
        let part_nodes = PartNodes::of(problem.mesh());
        let field = StressField::recover(&problem, &part_nodes, &solution.displacement[0]);
        for v in &field.values {
            assert!((v.0 - stress.0).norm() < 1e-9 * stress.0.norm(), "{v:?}");
        }
        // What the support takes is what the loads give.
        let taken: Vec3 = solution.reactions[0].iter().sum();
        let given = problem.cases()[0].resultant_force();
        assert!(
            (taken + given).norm() < 1e-9 * given.norm(),
            "{taken} {given}"
        );
    }
}

#[test]
fn linear_stress_is_recovered_exactly() {
    let mesh = box_mesh([3, 3, 3], Vec3::new(2.0, 3.0, 2.0), 0.5, |_| STIFF);
    // A quadratic displacement field: its stress is linear.
    let field = |x: Vec3| Vec3::new(x.x * x.y, 0.5 * x.z * x.z - x.x * x.x, x.y * x.z) * 1e-3;
    let u: Vec<Vec3> = mesh.nodes.iter().map(|x| field(*x)).collect();
    let problem = held_box(mesh, vec![material(1000.0, 0.25)], &[]);
    let (lambda, mu) = problem.materials()[0].lame();
    let exact = |x: Vec3| {
        let slope = Mat3::new(x.y, x.x, 0.0, -2.0 * x.x, 0.0, x.z, 0.0, x.z, x.y) * 1e-3;
        let strain = SymTensor::from_matrix(&slope);
        let p = lambda * strain.trace();
        strain * (2.0 * mu) + SymTensor::new(p, p, p, 0.0, 0.0, 0.0)
    };
    let part_nodes = PartNodes::of(problem.mesh());
    let recovered = StressField::recover(&problem, &part_nodes, &u);
    for (v, &n) in recovered.values.iter().zip(&part_nodes.node) {
        let e = exact(problem.mesh().nodes[n as usize]);
        assert!((v.0 - e.0).norm() < 1e-10, "{v:?} {e:?}");
    }
    let l = [0.1, 0.2, 0.3, 0.4];
    for tet in 0..problem.mesh().tets.len() {
        let nodes = problem.mesh().tets[tet].map(|n| problem.mesh().nodes[n as usize]);
        let e = exact(Element::new(nodes).position(l));
        assert!((recovered.at(&part_nodes, tet, l).0 - e.0).norm() < 1e-10);
        assert!((element_stress(&problem, &u, tet, l).0 - e.0).norm() < 1e-10);
    }
}

#[test]
fn rigid_motion_gives_no_stress_and_no_force() {
    let mesh = box_mesh([2, 3, 2], Vec3::new(2.0, 3.0, 2.0), 0.5, |x| {
        if x.y < 1.5 { SOFT } else { STIFF }
    });
    let spin = Vec3::new(0.3, -0.2, 0.5);
    let u: Vec<Vec3> = mesh
        .nodes
        .iter()
        .map(|x| Vec3::new(1.0, 2.0, 3.0) + spin.cross(x))
        .collect();
    let problem = held_box(
        mesh,
        vec![material(17_000.0, 0.3), material(200.0, 0.3)],
        &[],
    );
    let part_nodes = PartNodes::of(problem.mesh());
    let field = StressField::recover(&problem, &part_nodes, &u);
    assert!(field.values.iter().all(|v| v.0.norm() < 1e-9));
    let r = reactions(&problem, &[u]);
    assert!(r[0].iter().all(|f| f.norm() < 1e-8));
}

#[test]
fn part_nodes_keep_the_stress_jump_at_an_interface() {
    let mesh = box_mesh([2, 2, 2], Vec3::new(2.0, 2.0, 2.0), 0.0, |x| {
        if x.y < 1.0 { SOFT } else { STIFF }
    });
    let u: Vec<Vec3> = mesh
        .nodes
        .iter()
        .map(|x| Vec3::new(x.x, 0.0, 0.0) * 1e-3)
        .collect();
    let problem = held_box(mesh, vec![material(1000.0, 0.0), material(10.0, 0.0)], &[]);
    let part_nodes = PartNodes::of(problem.mesh());
    let field = StressField::recover(&problem, &part_nodes, &u);
    for (v, &p) in field.values.iter().zip(&part_nodes.part) {
        let e = problem.materials()[p as usize].young_mpa * 1e-3;
        assert!((v.0[0] - e).abs() < 1e-10);
    }
    let shared = part_nodes.node.len() - problem.mesh().nodes.len();
    assert_eq!(shared, 25, "5 × 5 nodes lie on the interface");
}

/// A bar with a stiff core in soft surroundings; six loads of which two are multiples of others.
fn bar(stiff: f64, soft: f64, cells: usize) -> Problem {
    let n = cells;
    let mesh = box_mesh([n, 4 * n, n], Vec3::new(4.0, 16.0, 4.0), 0.4, |x| {
        let off = Vec3::new(x.x - 2.0, 0.0, x.z - 2.0);
        if off.norm() < 1.1 { STIFF } else { SOFT }
    });
    let z = Vec3::zeros();
    let loads = [
        (Vec3::y() * -200.0, z),
        (Vec3::x() * 30.0, z),
        (Vec3::x() * -30.0, z),
        (Vec3::z() * 30.0, z),
        (z, Vec3::y() * 7500.0),
        (z, Vec3::y() * -2500.0),
    ];
    // Parts sort cortical before cancellous.
    held_box(
        mesh,
        vec![material(stiff, 0.3), material(soft, 0.3)],
        &loads,
    )
}

#[test]
fn iterative_and_direct_solutions_agree_and_balance() {
    let problem = bar(193_000.0, 400.0, 4);
    let direct = solve(&problem, &with(Method::Direct)).unwrap();
    let iterative = solve(&problem, &with(Method::FactoredCoarse)).unwrap();
    let difference = largest_difference(&direct, &iterative);
    assert!(difference < 1e-7, "{difference:e}");
    assert_eq!(iterative.report.right_sides, 4);
    for solution in [&direct, &iterative] {
        assert!(
            solution.report.equilibrium.iter().all(|e| *e < 1e-8),
            "{:?}",
            solution.report
        );
        assert!(solution.report.residuals.iter().all(|r| *r <= 1e-9));
        assert_eq!(solution.displacement.len(), 6);
    }
    // Opposite loads: opposite displacements, to the bit.
    for (a, b) in iterative.displacement[1]
        .iter()
        .zip(&iterative.displacement[2])
    {
        assert_eq!(*a, -*b);
    }
}

#[test]
fn iterations_hardly_grow_with_the_material_jump() {
    for method in [Method::FactoredCoarse, Method::AggregatedCoarse] {
        let iterations = |stiff, soft| {
            let report = solve(&bar(stiff, soft, 4), &with(method)).unwrap().report;
            report.iterations
        };
        let none = iterations(1000.0, 1000.0);
        let steel = iterations(193_000.0, 400.0);
        let extreme = iterations(1e5, 1.0);
        assert!(
            none <= 20 && steel <= 25 && extreme <= 28,
            "{method:?}: {none} {steel} {extreme}"
        );
    }
}

#[test]
fn iterations_do_not_grow_with_refinement() {
    for method in [Method::FactoredCoarse, Method::AggregatedCoarse] {
        let iterations = |cells| {
            let report = solve(&bar(193_000.0, 400.0, cells), &with(method))
                .unwrap()
                .report;
            report.iterations as f64
        };
        let (coarse, fine) = (iterations(3), iterations(6));
        assert!(fine <= 1.2 * coarse + 1.0, "{method:?}: {coarse} {fine}");
    }
}

#[test]
fn same_bits_for_any_number_of_threads() {
    let problem = bar(193_000.0, 400.0, 5);
    let run = |method, threads| {
        let options = SolveOptions {
            threads,
            ..with(method)
        };
        let s = solve(&problem, &options).unwrap();
        let bits = |u: &Vec3| [u.x.to_bits(), u.y.to_bits(), u.z.to_bits()];
        let all: Vec<_> = s.displacement.iter().flatten().map(bits).collect();
        (all, s.report.iterations)
    };
    for method in [Method::FactoredCoarse, Method::AggregatedCoarse] {
        let one = run(method, 1);
        assert!(one == run(method, 2) && one == run(method, 3));
    }
}

#[test]
fn slender_bar_bends_as_beam_theory_says() {
    // 1 × 20 × 1 mm, E 1000 MPa: w = F L³ / (3 E I) + shear; ν = 0 takes out the held end's restraint.
    let mesh = box_mesh([2, 40, 2], Vec3::new(1.0, 20.0, 1.0), 0.0, |_| SOFT);
    let problem = held_box(
        mesh,
        vec![material(1000.0, 0.0)],
        &[(Vec3::x() * 0.1, Vec3::zeros())],
    );
    let solution = solve(&problem, &SolveOptions::default()).unwrap();
    let tip = problem
        .mesh()
        .nodes
        .iter()
        .zip(&solution.displacement[0])
        .filter(|(x, _)| x.y > 20.0 - 1e-9)
        .map(|(_, u)| u.x)
        .fold(0.0, f64::max);
    let (f, l, e, i, g, a) = (0.1, 20.0f64, 1000.0, 1.0 / 12.0, 500.0, 1.0);
    // Timoshenko with the rectangle's shear factor 5/6 (ν = 0).
    let exact = f * l.powi(3) / (3.0 * e * i) + 1.2 * f * l / (g * a);
    assert!((tip / exact - 1.0).abs() < 2e-3, "{tip} {exact}");
}

#[test]
fn loose_parts_are_named() {
    // Two boxes that share one edge only: a hinge.
    let (mut vertices, mut tets) = box_tets([1, 1, 1], Vec3::new(1.0, 1.0, 1.0), 0.0);
    let shift = Vec3::new(1.0, 1.0, 0.0);
    let (more, others) = box_tets([1, 1, 1], Vec3::new(1.0, 1.0, 1.0), 0.0);
    let place: Vec<u32> = more
        .iter()
        .map(|v| {
            let at = v + shift;
            let known = vertices.iter().position(|w| (w - at).norm() < 1e-12);
            known.unwrap_or_else(|| {
                vertices.push(at);
                vertices.len() - 1
            }) as u32
        })
        .collect();
    tets.extend(others.iter().map(|t| t.map(|v| place[v as usize])));
    let mesh = from_tets(vertices.clone(), &tets, |x| {
        if x.x > 1.0 { SOFT } else { STIFF }
    });
    let problem = held_box(mesh, vec![material(1.0, 0.3), material(1.0, 0.3)], &[]);
    let Err(SolveError::NotHeld { part, motion }) = solve(&problem, &SolveOptions::default())
    else {
        panic!("a hinge must be refused");
    };
    assert_eq!(part, SOFT.to_string());
    assert!(motion.contains("line of nodes"), "{motion}");
    assert!(motion.contains("(1.00, 1.00, 0.50)"), "{motion}");

    // One node only.
    let corner = Vec3::new(1.0, 1.0, 1.0);
    let (mut pivoted, mut tets) = box_tets([1, 1, 1], corner, 0.0);
    let (more, others) = box_tets([1, 1, 1], corner, 0.0);
    let place: Vec<u32> = more
        .iter()
        .map(|v| {
            let at = v + corner;
            let known = pivoted.iter().position(|w| (w - at).norm() < 1e-12);
            known.unwrap_or_else(|| {
                pivoted.push(at);
                pivoted.len() - 1
            }) as u32
        })
        .collect();
    tets.extend(others.iter().map(|t| t.map(|v| place[v as usize])));
    let mesh = from_tets(pivoted, &tets, |x| if x.x > 1.0 { SOFT } else { STIFF });
    let problem = held_box(mesh, vec![material(1.0, 0.3), material(1.0, 0.3)], &[]);
    let error = solve(&problem, &SolveOptions::default())
        .map(|s| s.report)
        .unwrap_err();
    assert!(matches!(&error, SolveError::NotHeld { part, .. } if *part == SOFT.to_string()));
    assert!(error.to_string().contains("(1.00, 1.00, 1.00)"), "{error}");

    // Apart altogether.
    for v in &mut vertices[8..] {
        v.x += 5.0;
    }
    let (more, _) = box_tets([1, 1, 1], Vec3::new(1.0, 1.0, 1.0), 0.0);
    let (mut apart, mut tets) = box_tets([1, 1, 1], Vec3::new(1.0, 1.0, 1.0), 0.0);
    let second: Vec<[u32; 4]> = tets.iter().map(|t| t.map(|v| v + 8)).collect();
    apart.extend(more.iter().map(|v| v + Vec3::new(3.0, 1.0, 0.0)));
    tets.extend(second);
    let mesh = from_tets(apart, &tets, |x| if x.x > 2.0 { SOFT } else { STIFF });
    let problem = held_box(mesh, vec![material(1.0, 0.3), material(1.0, 0.3)], &[]);
    let error = solve(&problem, &SolveOptions::default()).unwrap_err();
    assert!(matches!(&error, SolveError::NotHeld { part, .. } if *part == SOFT.to_string()));
    assert!(error.to_string().contains("can move freely"), "{error}");
}

#[test]
fn stagnation_is_an_error() {
    let options = SolveOptions {
        max_iterations: 3,
        ..with(Method::FactoredCoarse)
    };
    let result = solve(&bar(193_000.0, 400.0, 3), &options).map(|s| s.report);
    let error = result.unwrap_err();
    assert!(
        matches!(error, SolveError::NotConverged { iterations: 3, .. }),
        "{error}"
    );
}

#[test]
fn no_load_gives_no_displacement() {
    let idle = vec![LoadCase::new("idle", [])];
    let problem = bar(1000.0, 1000.0, 2).with_cases(idle).unwrap();
    let s = solve(&problem, &SolveOptions::default()).unwrap();
    assert!(s.displacement[0].iter().all(|u| *u == Vec3::zeros()));
    assert_eq!(s.report.equilibrium, [0.0]);
}

#[test]
fn an_inverted_element_is_named() {
    let problem = bar(1000.0, 1000.0, 2);
    let mut mesh = (*problem.mesh()).clone();
    mesh.tets[5].swap(0, 1);
    let problem = problem.with_mesh(Arc::new(mesh)).unwrap();
    let error = solve(&problem, &SolveOptions::default()).unwrap_err();
    assert!(
        matches!(error, SolveError::Inverted { tet: 5, .. }),
        "{error}"
    );
}
