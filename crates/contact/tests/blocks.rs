//! Two blocks on each other: what must hold exactly, whatever the mesh.
#![allow(clippy::unwrap_used)]

use crate::support::*;
use bicolumn_base::{SymTensor, Vec3};
use bicolumn_contact::{ContactOptions, Interfaces, Law, Status, solve};
use bicolumn_mesh::TetMesh;
use bicolumn_solve::{PartNodes, SolveOptions, StressField};

fn options() -> ContactOptions {
    ContactOptions {
        tolerance: 1e-8,
        linear: direct(),
        ..ContactOptions::default()
    }
}

/// A skewed grid over [0, 2] x [0, 2] x [-1, 1], parts above and below z = 0.
fn stack(cells: [usize; 3]) -> TetMesh {
    body(
        cells,
        false,
        &|[x, y, z]| {
            let bend = 0.12 * (3.1 * x).sin() * (2.3 * y).cos() * (1.0 - (2.0 * x - 1.0).powi(2));
            let bend = bend * (1.0 - (2.0 * y - 1.0).powi(2));
            Vec3::new(2.0 * x + bend, 2.0 * y - 0.7 * bend, 2.0 * z - 1.0)
        },
        &|[_, _, z]| Some(if z < 0.5 { LOWER } else { UPPER }),
    )
}

/// Contact patch test (Taylor and Papadopoulos 1991, On a patch test for contact problems in two
/// dimensions, from memory): a uniform pressure passes the interface unchanged. Without Poisson's effect,
/// since the base is held.
#[test]
fn uniform_pressure_passes_unchanged() {
    let split = parted(&stack([3, 3, 4]));
    let mesh = &split.mesh;
    let press = traction(mesh, |x| x.z > 1.0 - 1e-9, |_, n| n * -3.0);
    let base = nodes_at(mesh, |x| x.z < -1.0 + 1e-9);
    let p = problem(mesh, |_| (1000.0, 0.0), base, vec![case("press", press)]);
    for law in [Law::Frictionless, Law::Frictional { mu: 0.2 }] {
        let found = solve(&p, &Interfaces::new(&split, law), &[], &[], &options()).unwrap();
        let report = &found.cases[0];
        assert!(report.is_converged(), "{report:?}");
        let u = &found.total.displacement[0];
        let nodes = PartNodes::of(mesh);
        for s in StressField::recover(&p, &nodes, u).values {
            let off = s - SymTensor::new(0.0, 0.0, -3.0, 0.0, 0.0, 0.0);
            assert!(off.0.norm() < 3e-7, "{s:?}");
        }
        let set = &report.sets[0];
        assert!((set.pressure_max_mpa - 3.0).abs() < 1e-6);
        assert!((set.normal_force_n[2] - 12.0).abs() < 1e-6, "{set:?}");
        assert!((set.contact_area_mm2 - 4.0).abs() < 1e-9);
        assert!(set.open_share == 0.0 && set.penetration_max_mm < 1e-9);
    }
}

/// The same with corners gathered into patches: what is uniform stays so, and the corners keep their areas.
#[test]
fn uniform_pressure_passes_patches_unchanged() {
    let split = parted(&stack([4, 4, 2]));
    let mesh = &split.mesh;
    let press = traction(mesh, |x| x.z > 1.0 - 1e-9, |_, n| n * -3.0);
    let base = nodes_at(mesh, |x| x.z < -1.0 + 1e-9);
    let p = problem(mesh, |_| (1000.0, 0.0), base, vec![case("press", press)]);
    // On one half alone.
    let least = |at: Vec3| if at.x > 1.0 { 0.5 } else { 0.0 };
    let law = Law::Frictional { mu: 0.2 };
    let whole = Interfaces::new(&split, law);
    let gathered = whole.clone().coarsened(|_, at| least(at));
    let [fine, coarse] = [&whole, &gathered].map(|interfaces| {
        let found = solve(&p, interfaces, &[], &[], &options()).unwrap();
        assert!(found.cases[0].is_converged(), "{:?}", found.cases[0]);
        found.tractions[0].clone()
    });
    assert_eq!(fine.len(), coarse.len());
    let mut patches = std::collections::BTreeMap::new();
    for (f, c) in fine.iter().zip(&coarse) {
        assert_eq!((f.set, f.at, f.area_mm2), (c.set, c.at, c.area_mm2));
        assert!((c.pressure_mpa - 3.0).abs() < 1e-6 && c.shear_mpa.norm() < 1e-6);
        let (area, reach) = patches.entry(c.patch).or_insert((0.0, 0.0_f64));
        *area += c.area_mm2;
        *reach = reach.max(c.at.x);
    }
    assert!(patches.len() < fine.len());
    for (area, reach) in patches.values() {
        assert!(*area >= 0.5 || *reach <= 1.01, "{area} {reach}");
    }
}

/// A block pushed along a plane by T under a normal force N, held by a soft tie: the tie takes nothing
/// but its share while the block sticks, and what is over μ N once it slides.
#[test]
fn a_block_sticks_and_then_slides_at_mu_n() {
    let mesh = body(
        [4, 2, 2],
        false,
        &|[x, y, z]| Vec3::new(2.0 * x, y, z - 0.5),
        &|[x, _, z]| match (x < 0.5, z < 0.5) {
            (true, true) => Some(LOWER),
            (true, false) => Some(UPPER),
            (false, true) => None,
            (false, false) => Some(TIE),
        },
    );
    let split = parted(&mesh);
    let mesh = &split.mesh;
    let (mu, n) = (0.3, 10.0);
    let press = traction(
        mesh,
        |x| x.z > 0.5 - 1e-9 && x.x < 1.0 + 1e-9,
        |_, m| m * -n,
    );
    // Along −x, away from the tie, low on the block's side.
    let push = |t: f64| {
        let shear = traction(
            mesh,
            |x| x.x < 1e-9 && x.z > -1e-9,
            |_, _| Vec3::new(-2.0 * t, 0.0, 0.0),
        );
        sum(&press, &shear)
    };
    let shares = [0.5, 0.9, 1.2, 2.0];
    let cases = shares
        .iter()
        .map(|s| case(&format!("push {s}"), push(s * mu * n)));
    let held = nodes_at(mesh, |x| x.z < -0.5 + 1e-9 || x.x > 2.0 - 1e-9);
    let p = problem(
        mesh,
        |part| if part == TIE { (1.0, 0.0) } else { (1e5, 0.2) },
        held,
        cases.collect(),
    );
    let options = ContactOptions {
        increments: 2,
        ..options()
    };
    let law = Law::Frictional { mu };
    let found = solve(&p, &Interfaces::new(&split, law), &[], &[], &options).unwrap();
    for (share, report) in shares.iter().zip(&found.cases) {
        assert_eq!(report.status, Status::Converged, "{report:?}");
        let set = &report.sets[0];
        let (normal, shear) = (set.normal_force_n[2], set.shear_force_n[0]);
        assert!(close(normal, n, 1e-5), "{set:?}");
        if *share < 1.0 {
            assert!(close(shear, share * mu * n, 1e-3), "{set:?}");
        } else {
            assert!(close(shear, mu * n, 1e-6), "{set:?}");
            assert_eq!(set.stuck_share, 0.0);
            assert!(report.dissipation_nmm > 0.0);
        }
        assert!(report.dissipation_nmm >= 0.0);
    }
}

/// Without the tie nothing holds a sliding block: the case is marked, not answered.
#[test]
fn a_block_pushed_beyond_friction_is_reported_as_not_converged() {
    let split = parted(&stack([2, 2, 2]));
    let mesh = &split.mesh;
    let press = traction(mesh, |x| x.z > 1.0 - 1e-9, |_, m| m * -3.0);
    let push = |t: f64| {
        let shear = traction(
            mesh,
            |x| x.x < 1e-9 && x.z > -1e-9,
            |_, _| Vec3::new(0.5 * t, 0.0, 0.0),
        );
        sum(&press, &shear)
    };
    let base = nodes_at(mesh, |x| x.z < -1.0 + 1e-9);
    let limit = 0.3 * 12.0;
    let cases = vec![
        case("below", push(0.9 * limit)),
        case("beyond", push(1.1 * limit)),
    ];
    let p = problem(mesh, |_| (1000.0, 0.0), base, cases);
    let law = Law::Frictional { mu: 0.3 };
    let found = solve(&p, &Interfaces::new(&split, law), &[], &[], &options()).unwrap();
    assert!(found.cases[0].is_converged(), "{:?}", found.cases[0]);
    assert!(!found.cases[1].is_converged(), "{:?}", found.cases[1]);
}

/// With all friction a pressed interface is a bond, to 1e-6; with a wide gap it is not there, to 1e-6.
#[test]
fn limits_of_the_laws() {
    // A screw joins the blocks at one corner; the load presses and shears.
    let mesh = body(
        [3, 3, 4],
        false,
        &|[x, y, z]| Vec3::new(3.0 * x, 3.0 * y, 2.0 * z - 1.0),
        &|[x, y, z]| {
            Some(match (x < 0.3 && y < 0.3, z < 0.5) {
                (true, _) => SCREW,
                (_, true) => LOWER,
                _ => UPPER,
            })
        },
    );
    let split = parted(&mesh);
    let load =
        |mesh: &TetMesh| traction(mesh, |x| x.z > 1.0 - 1e-9, |_, _| Vec3::new(0.4, 0.2, -2.0));
    let base = |mesh: &TetMesh| nodes_at(mesh, |x| x.z < -1.0 + 1e-9);
    let material = |part| match part {
        LOWER => (1000.0, 0.3),
        _ => (5000.0, 0.3),
    };
    let whole = problem(&mesh, material, base(&mesh), vec![case("a", load(&mesh))]);
    let bonded = bicolumn_solve::solve(
        &whole,
        &SolveOptions {
            tolerance: 1e-10,
            ..direct()
        },
    )
    .unwrap();
    let on_copies =
        |u: &[Vec3]| -> Vec<Vec3> { split.origin.iter().map(|n| u[*n as usize]).collect() };
    let bonded = on_copies(&bonded.displacement[0]);
    let mesh = &split.mesh;
    let p = problem(mesh, material, base(mesh), vec![case("a", load(mesh))]);
    let apart = bicolumn_solve::solve(
        &p,
        &SolveOptions {
            tolerance: 1e-10,
            ..direct()
        },
    )
    .unwrap();
    let apart = &apart.displacement[0];
    let run = |law: Law, gap: f64| {
        let mut i = Interfaces::new(&split, law);
        i.add_gap(|_| true, |_| gap);
        let found = solve(&p, &i, &[], &[], &options()).unwrap();
        assert!(found.cases[0].is_converged(), "{:?}", found.cases[0]);
        found
    };
    let stuck = run(Law::Frictional { mu: 1e6 }, 0.0);
    let tied = run(Law::Bonded, 0.0);
    assert_eq!(stuck.cases[0].sets[0].open_share, 0.0, "the load presses");
    let (stuck, tied) = (&stuck.total.displacement[0], &tied.total.displacement[0]);
    assert!(apart_by(stuck, tied) < 1e-6);
    // A bond of two sides holds the means of the jump, shared nodes the jump itself: they differ by an
    // error of the mesh, here three cells wide; see the next test.
    assert!(apart_by(tied, &bonded) < 0.05);
    for law in [Law::Frictional { mu: 0.3 }, Law::Frictionless] {
        let wide = run(law, 10.0);
        assert!(apart_by(&wide.total.displacement[0], apart) < 1e-6);
        assert_eq!(wide.cases[0].sets[0].open_share, 1.0);
    }
    let off = run(Law::Apart, 0.0);
    assert!(apart_by(&off.total.displacement[0], apart) < 1e-6);
    assert!(
        apart_by(apart, &bonded) > 1e-2,
        "the test can tell them apart"
    );
}

/// A bond of two sides and shared nodes come together as the mesh is refined.
#[test]
fn a_bond_tends_to_shared_nodes() {
    let off = |n: usize| {
        let mesh = stack([2 * n, 2 * n, 2 * n]);
        let load = |mesh: &TetMesh| {
            let top = |x: Vec3| x.z > 1.0 - 1e-9;
            traction(mesh, top, |x, _| Vec3::new(0.4, 0.2, -x.x))
        };
        let base = |mesh: &TetMesh| nodes_at(mesh, |x| x.z < -1.0 + 1e-9);
        let material = |part| {
            if part == LOWER {
                (1000.0, 0.3)
            } else {
                (3000.0, 0.3)
            }
        };
        let whole = problem(&mesh, material, base(&mesh), vec![case("a", load(&mesh))]);
        let shared = bicolumn_solve::solve(&whole, &direct()).unwrap();
        let split = parted(&mesh);
        let p = problem(
            &split.mesh,
            material,
            base(&split.mesh),
            vec![case("a", load(&split.mesh))],
        );
        let bond = Interfaces::new(&split, Law::Bonded);
        let found = solve(&p, &bond, &[], &[], &options()).unwrap();
        assert!(found.cases[0].is_converged());
        let nodes = split.origin.iter();
        let shared: Vec<Vec3> = nodes.map(|n| shared.displacement[0][*n as usize]).collect();
        apart_by(&found.total.displacement[0], &shared)
    };
    let (coarse, fine) = (off(1), off(2));
    assert!(fine < 0.5 * coarse && fine < 0.02, "{coarse} {fine}");
}

/// Two stacked cantilevers that may slide on each other bend as two beams, a bonded pair as one: twice the
/// second moment against eight times (Euler and Bernoulli, with Timoshenko's shear for the tip).
#[test]
fn sliding_beams_bend_apart() {
    let (length, height, width) = (20.0, 1.0, 1.0);
    let mesh = body(
        [20, 1, 4],
        false,
        &|[x, y, z]| Vec3::new(length * x, width * y, 2.0 * height * z - height),
        &|[_, _, z]| Some(if z < 0.5 { LOWER } else { UPPER }),
    );
    let split = parted(&mesh);
    let mesh = &split.mesh;
    let force = 1.0;
    let top = traction(
        mesh,
        |x| x.z > height - 1e-9 && x.x > length - 1.0 - 1e-9,
        |_, n| n * -force,
    );
    let p = problem(
        mesh,
        |_| (1000.0, 0.0),
        nodes_at(mesh, |x| x.x < 1e-9),
        vec![case("tip", top)],
    );
    let sag = |law: Law| {
        let found = solve(&p, &Interfaces::new(&split, law), &[], &[], &options()).unwrap();
        assert!(found.cases[0].is_converged(), "{:?}", found.cases[0]);
        let tip = nodes_at(mesh, |x| x.x > length - 1e-9 && x.z.abs() < 1e-9);
        let u = &found.total.displacement[0];
        -tip.iter().map(|n| u[*n as usize].z).sum::<f64>() / tip.len() as f64
    };
    // The load's resultant acts half a millimetre before the tip.
    let arm = length - 0.5;
    let beam = |second_moment: f64| {
        let stiffness = 1000.0 * second_moment;
        force * arm * arm * (3.0 * length - arm) / (6.0 * stiffness)
    };
    let one = width * height * height * height / 12.0;
    let (free, rubbing, tied) = (
        sag(Law::Frictionless),
        sag(Law::Frictional { mu: 0.5 }),
        sag(Law::Bonded),
    );
    assert!(close(free, beam(2.0 * one), 0.02), "{free}");
    assert!(close(tied, beam(8.0 * one), 0.02), "{tied}");
    assert!(rubbing <= free && rubbing > tied);
}

/// Same bits whatever the number of threads, with the iterative solver too.
#[test]
fn threads_do_not_change_a_bit() {
    let split = parted(&stack([3, 3, 4]));
    let mesh = &split.mesh;
    let load = traction(
        mesh,
        |x| x.z > 1.0 - 1e-9,
        |x, _| Vec3::new(0.15, 0.0, -x.x),
    );
    let base = nodes_at(mesh, |x| x.z < -1.0 + 1e-9);
    let p = problem(mesh, |_| (1000.0, 0.3), base, vec![case("a", load)]);
    let interfaces = Interfaces::new(&split, Law::Frictional { mu: 0.3 });
    let run = |threads, method| displaced(&p, &interfaces, threads, method);
    let one = run(1, bicolumn_solve::Method::FactoredCoarse);
    let three = run(3, bicolumn_solve::Method::FactoredCoarse);
    assert!(one == three);
    let direct = run(1, bicolumn_solve::Method::Direct);
    assert!(apart_by(&one, &direct) < 1e-5);
}
