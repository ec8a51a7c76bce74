//! Supports by component and value: rollers, planes of symmetry, imposed displacements.
#![allow(clippy::unwrap_used)]

use crate::support::{SOFT, STIFF, box_mesh, material};
use bicolumn_base::{Mat3, Vec3};
use bicolumn_mesh::{SurfaceName, TetMesh};
use bicolumn_model::{Components, LoadCase, Patch, Problem, Support, nodes_on, nodes_where};
use bicolumn_solve::{Ask, Method, Prepared, Solution, SolveError, SolveOptions, solve};
use std::sync::Arc;

const METHODS: [Method; 3] = [
    Method::Direct,
    Method::FactoredCoarse,
    Method::AggregatedCoarse,
];

fn options(method: Method) -> SolveOptions {
    SolveOptions {
        method,
        tolerance: 1e-12,
        ..SolveOptions::default()
    }
}

/// An irregular box of 4 × 10 × 4 mm of two parts, all faces flat.
fn mesh() -> TetMesh {
    box_of([3, 5, 3])
}

fn box_of(cells: [usize; 3]) -> TetMesh {
    let part = |x: Vec3| if x.x + x.y > 6.0 { STIFF } else { SOFT };
    box_mesh(cells, Vec3::new(4.0, 10.0, 4.0), 0.3, part)
}

fn plane(name: &str, mesh: &TetMesh, axis: usize) -> Support {
    let components = [Components::X, Components::Y, Components::Z][axis];
    Support::roller(
        name,
        components,
        nodes_where(mesh, |x| x[axis].abs() < 1e-9),
    )
}

fn three_planes(mesh: &TetMesh) -> Vec<Support> {
    let names = ["plane x", "plane y", "plane z"];
    (0..3).map(|a| plane(names[a], mesh, a)).collect()
}

fn largest(values: &[Vec3]) -> f64 {
    values.iter().map(|v| v.norm()).fold(0.0, f64::max)
}

#[test]
fn a_bar_between_planes_of_symmetry_stretches_uniformly() {
    // σ_yy = p alone: u = (−ν p x, p y, −ν p z) / E, whatever the mesh; rollers carry −p A in all.
    let mesh = mesh();
    let (young, nu, p) = (1000.0, 0.3, 5.0);
    let top = Patch::on(&mesh, SurfaceName::Other(2)).unwrap();
    let pull = LoadCase::new("pull", []).with_traction(&mesh, &top, |_, n| n * p);
    let push = LoadCase::new("push", []).with_pressure(&mesh, &top, 2.0 * p);
    let supports = three_planes(&mesh);
    let materials = vec![material(young, nu); mesh.parts.len()];
    let exact: Vec<Vec3> = mesh
        .nodes
        .iter()
        .map(|x| Vec3::new(-nu * x.x, x.y, -nu * x.z) * (p / young))
        .collect();
    let problem = Problem::new(Arc::new(mesh), materials, supports, vec![pull, push]).unwrap();
    for method in METHODS {
        let found = solve(&problem, &options(method)).unwrap();
        assert_eq!(
            found.report.right_sides, 1,
            "the push is a multiple of the pull"
        );
        for (case, factor) in [(0, 1.0), (1, -2.0)] {
            let off: Vec<Vec3> = found.displacement[case]
                .iter()
                .zip(&exact)
                .map(|(u, e)| u - e * factor)
                .collect();
            assert!(
                largest(&off) < 1e-9 * largest(&exact),
                "{method:?}: {}",
                largest(&off)
            );
            assert!(found.report.equilibrium[case] < 1e-9);
            let sum: Vec3 = found.reactions[case].iter().sum();
            assert!(
                (sum - Vec3::y() * (-p * 16.0 * factor)).norm() < 1e-8,
                "{sum}"
            );
            // A roller bears nothing along its plane.
            for (c, r) in problem.constraints().iter().zip(&found.reactions[case]) {
                assert_eq!(c.components.project(*r), *r);
            }
        }
    }
}

#[test]
fn imposed_displacements_make_their_linear_field() {
    // The patch test: the whole boundary follows u = G x + t; by load case, too.
    let gradient = Mat3::new(1.0, 0.4, -0.2, 0.3, -0.7, 0.5, 0.1, -0.6, 0.9) * 1e-3;
    let field = |x: Vec3| gradient * x + Vec3::new(0.01, -0.02, 0.005);
    let mesh = mesh();
    let boundary: Vec<u32> = {
        let mut all: Vec<u32> = mesh.free_facets().flat_map(|f| f.nodes).collect();
        all.sort_unstable();
        all.dedup();
        all
    };
    let values = boundary
        .iter()
        .map(|n| (*n, field(mesh.nodes[*n as usize])));
    let support = Support::prescribed("boundary", Components::ALL, values);
    let twice = boundary.iter().fold(LoadCase::new("twice", []), |case, n| {
        let value = field(mesh.nodes[*n as usize]) * 2.0;
        case.with_displacement([*n], Components::ALL, value)
    });
    let cases = vec![LoadCase::new("once", []), twice];
    let materials = vec![material(700.0, 0.25); mesh.parts.len()];
    let problem = Problem::new(Arc::new(mesh), materials, [support], cases).unwrap();
    assert!(problem.fixed().len() < problem.mesh().nodes.len());
    for method in METHODS {
        let found = solve(&problem, &options(method)).unwrap();
        for (case, factor) in [(0, 1.0), (1, 2.0)] {
            for (x, u) in problem.mesh().nodes.iter().zip(&found.displacement[case]) {
                let e = field(*x) * factor;
                assert!((u - e).norm() < 1e-11, "{method:?} {u} {e}");
            }
            assert!(found.report.equilibrium[case] < 1e-9);
        }
    }
}

/// Two materials, a plane of symmetry, a slanted set of single components, one of them moved, and a shear.
fn mixed(cells: [usize; 3]) -> Problem {
    let mesh = box_of(cells);
    let top = Patch::on(&mesh, SurfaceName::Other(2)).unwrap();
    let middles = nodes_where(&mesh, |x| (x.y - 6.0).abs() < 0.3 && x.x > 3.9);
    let mut supports = vec![
        plane("symmetry", &mesh, 0),
        Support::clamp("end", nodes_on(&mesh, SurfaceName::Other(1))),
        Support::prescribed(
            "pusher",
            Components::Z,
            nodes_where(&mesh, |x| x.z > 3.999 && x.y > 7.0)
                .into_iter()
                .map(|n| (n, Vec3::z() * -0.01)),
        ),
    ];
    if !middles.is_empty() {
        supports.push(Support::roller(
            "stops",
            Components::of([true, false, true]),
            middles,
        ));
    }
    let cases = vec![
        LoadCase::new("shear", []).with_traction(&mesh, &top, |_, _| Vec3::new(0.3, 0.0, 1.0)),
        LoadCase::new("rest", []),
    ];
    let materials = (0..mesh.parts.len())
        .map(|k| material(if k == 0 { 900.0 } else { 90_000.0 }, 0.3))
        .collect();
    Problem::new(Arc::new(mesh), materials, supports, cases).unwrap()
}

#[test]
fn all_methods_agree_on_mixed_supports_and_every_prescribed_value_is_met() {
    // More tetrahedra than a chunk of the products holds, so that constrained rows lie on the border of two.
    let problem = mixed([6, 11, 6]);
    assert!(problem.mesh().tets.len() > 2048);
    let by = |method| solve(&problem, &options(method)).unwrap();
    let direct: Solution = by(Method::Direct);
    for method in [Method::FactoredCoarse, Method::AggregatedCoarse] {
        let other = by(method);
        assert!(
            other.report.iterations < 40,
            "{method:?} {}",
            other.report.iterations
        );
        for (a, b) in direct.displacement.iter().zip(&other.displacement) {
            let off: Vec<Vec3> = a.iter().zip(b).map(|(a, b)| a - b).collect();
            assert!(
                largest(&off) < 1e-8 * largest(a),
                "{method:?} {:e}",
                largest(&off)
            );
        }
    }
    for (case, u) in direct.displacement.iter().enumerate() {
        for c in problem.constraints() {
            let own = c.components.project(u[c.node as usize]);
            assert_eq!(own, c.value_mm, "case {case}");
        }
    }
    assert!(direct.report.equilibrium.iter().all(|e| *e < 1e-8));
}

#[test]
fn rollers_are_what_stiff_springs_tend_to() {
    // Independent of the projection: the same bar with springs of 1e7 E in place of the rollers of one plane.
    let mesh = Arc::new(mesh());
    let top = Patch::on(&mesh, SurfaceName::Other(2)).unwrap();
    let case =
        LoadCase::new("shear", []).with_traction(&mesh, &top, |_, _| Vec3::new(0.2, 0.1, 1.0));
    let end = Support::clamp("end", nodes_on(&mesh, SurfaceName::Other(1)));
    let materials = vec![material(1000.0, 0.3); mesh.parts.len()];
    let rollers = [end.clone(), plane("symmetry", &mesh, 0)];
    let exact = Problem::new(
        Arc::clone(&mesh),
        materials.clone(),
        rollers.clone(),
        vec![case.clone()],
    );
    let exact = solve(&exact.unwrap(), &options(Method::Direct)).unwrap();
    let free = Problem::new(Arc::clone(&mesh), materials, [end], vec![case]).unwrap();
    let held = rollers[1]
        .nodes()
        .map(|n| (n, n, Mat3::from_diagonal(&(Vec3::x() * 1e10))));
    let springs = bicolumn_solve::InterfaceStiffness {
        blocks: held.collect(),
    };
    let ready = Prepared::with_interface(&free, &options(Method::Direct), Some(&springs)).unwrap();
    let sprung = ready.solve_cases().unwrap();
    let off: Vec<Vec3> = exact.displacement[0]
        .iter()
        .zip(&sprung.displacement[0])
        .map(|(a, b)| a - b)
        .collect();
    let size = largest(&exact.displacement[0]);
    assert!(largest(&off) < 1e-6 * size, "{:e}", largest(&off) / size);
}

#[test]
fn the_prepared_system_is_asked_again_in_its_free_components() {
    let problem = mixed([3, 5, 3]);
    let forces: Vec<Vec3> = (0..problem.mesh().nodes.len())
        .map(|k| {
            Vec3::new(
                (k as f64).sin(),
                (2.0 * k as f64).cos(),
                (0.3 * k as f64).sin(),
            )
        })
        .collect();
    for method in METHODS {
        let ready = Prepared::new(&problem, &options(method)).unwrap();
        let answer = ready
            .solve_for(std::slice::from_ref(&forces), &Ask::default())
            .unwrap();
        let back = ready.apply(&answer.displacement, None);
        let mut worst = 0.0f64;
        for (n, (f, k)) in (0u32..).zip(forces.iter().zip(&back[0])) {
            let held = problem.constraint_of(n).map(|c| c.components);
            let held = held.unwrap_or_default();
            assert_eq!(held.project(*k), Vec3::zeros());
            assert_eq!(
                held.project(answer.displacement[0][n as usize]),
                Vec3::zeros()
            );
            worst = worst.max((f - held.project(*f) - k).norm());
        }
        assert!(worst < 1e-7, "{method:?} {worst:e}");
    }
}

#[test]
fn threads_do_not_move_a_bit() {
    let problem = mixed([6, 11, 6]);
    for method in [Method::FactoredCoarse, Method::AggregatedCoarse] {
        let with = |threads| {
            let options = SolveOptions {
                threads,
                ..options(method)
            };
            solve(&problem, &options).unwrap().displacement
        };
        assert_eq!(with(1), with(3), "{method:?}");
    }
}

#[test]
fn what_rollers_leave_free_is_said() {
    let mesh = Arc::new(mesh());
    let refused = |supports: Vec<Support>| {
        let materials = vec![material(1000.0, 0.3); mesh.parts.len()];
        let cases = vec![LoadCase::new("idle", [])];
        let problem = Problem::new(Arc::clone(&mesh), materials, supports, cases).unwrap();
        match solve(&problem, &SolveOptions::default()) {
            Err(SolveError::NotHeld { motion, .. }) => motion,
            other => panic!("{other:?}"),
        }
    };
    let two = refused(vec![plane("x", &mesh, 0), plane("z", &mesh, 2)]);
    assert_eq!(two, "its supports let it slide along (0.000, 1.000, 0.000)");
    // Held along x, y and z at one corner and along x on the whole face: it can turn about x through that corner.
    let corner = nodes_where(&mesh, |x| x.norm() < 1e-9);
    let pivot = refused(vec![
        plane("x", &mesh, 0),
        Support::roller("corner", Components::of([false, true, true]), corner),
    ]);
    assert_eq!(
        pivot,
        "its supports let it turn about the axis through (0.00, 0.00, 0.00) mm along (1.000, 0.000, 0.000)"
    );
}
