//! A screw with a thread in a ring of bone: what it holds, what it lets go.
//!
//! ```text
//!     ┌────┬──┐ ┌──┬────┐  12 mm   a soft guide, 50 MPa, round the head
//!     └────┤  │ │  ├────┘  10
//!     ┌────┤sc│ │  ├────┐  8       hollow screw, 0.8 to 2 mm, 110 GPa
//!     │bone│re│ │  │    │          bone out to 8 mm and under the tip, 1 GPa
//!     │    └──┤ ├──┘    │  2       bone and guide held outside
//!     └───────┘ └───────┘  0
//! ```
//!
//! Without the guide a pull may open the bone all round and leave nothing that keeps the screw from turning.
#![allow(clippy::unwrap_used)]

use crate::support::*;
use bicolumn_base::{Part, UnitVec3, Vec3};
use bicolumn_contact::{
    ContactError, ContactOptions, ContactSolution, Interfaces, Law, Step, Traction, solve,
};
use bicolumn_mesh::{PairKind, SplitMesh, TetMesh, split_kinds};
use bicolumn_model::Problem;
use bicolumn_solve::Method;
use std::collections::BTreeMap;

const RADII: [f64; 5] = [0.8, 2.0, 3.2, 5.2, 8.0];
const TOP: f64 = 12.0;
const BONE: f64 = 1_000.0;
const GUIDE: Part = UPPER;

fn threaded(mu: f64) -> Law {
    let axis = UnitVec3::new_normalize(Vec3::y());
    Law::Threaded { mu, axis }
}

fn radius(x: Vec3) -> f64 {
    x.x.hypot(x.z)
}

fn scene(has_guide: bool) -> SplitMesh {
    let mesh = curved_body(
        [16, 4, 6],
        true,
        &|[round, wall, up]| {
            let (s, c) = (round * std::f64::consts::TAU).sin_cos();
            let r = along(&RADII, wall);
            Vec3::new(r * c, TOP * up, r * s)
        },
        &|[_, wall, up]| match (wall < 0.25, TOP * up) {
            (true, 2.0..) => Some(SCREW),
            (_, ..8.0) => Some(LOWER),
            (_, 10.0..) if has_guide => Some(GUIDE),
            _ => None,
        },
        &|m| {
            let r = radius(m);
            let far = |c: &&f64| (*c - r).abs();
            let circle = RADII.iter().min_by(|a, b| far(a).total_cmp(&far(b)));
            let k = circle.unwrap() / r;
            Vec3::new(m.x * k, m.y, m.z * k)
        },
    );
    split_kinds(&mesh, &[PairKind::ScrewInBone]).unwrap()
}

/// A force on the screw's top, spread evenly.
fn on_top(mesh: &TetMesh, force: Vec3) -> Vec<(u32, Vec3)> {
    let even = traction(
        mesh,
        |x| x.y > TOP - 1e-9 && radius(x) < 2.0 + 1e-9,
        |_, _| Vec3::y(),
    );
    let area: f64 = even.iter().map(|(_, f)| f.y).sum();
    even.iter()
        .map(|(n, f)| (*n, force * (f.y / area)))
        .collect()
}

/// A torque on the screw's top about its axis.
fn turn_top(mesh: &TetMesh, torque: f64) -> Vec<(u32, Vec3)> {
    let round = |x: Vec3| Vec3::y().cross(&x);
    let unit = traction(
        mesh,
        |x| x.y > TOP - 1e-9 && radius(x) < 2.0 + 1e-9,
        |x, _| round(x),
    );
    let of_unit: f64 = unit
        .iter()
        .map(|(n, f)| mesh.nodes[*n as usize].cross(f).y)
        .sum();
    unit.iter()
        .map(|(n, f)| (*n, f * (torque / of_unit)))
        .collect()
}

fn posed(mesh: &TetMesh, loads: Vec<Vec<(u32, Vec3)>>) -> Problem {
    guided(mesh, 50.0, loads)
}

/// With a guide of so many MPa.
fn guided(mesh: &TetMesh, guide: f64, loads: Vec<Vec<(u32, Vec3)>>) -> Problem {
    let cases = (0..).zip(loads);
    let cases = cases.map(|(k, f): (usize, _)| case(&format!("load {k}"), f));
    problem(
        mesh,
        |part| match part {
            SCREW => (110_000.0, 0.3),
            GUIDE => (guide, 0.3),
            _ => (BONE, 0.3),
        },
        nodes_at(mesh, |x| radius(x) > 8.0 - 1e-9),
        cases.collect(),
    )
}

fn options() -> ContactOptions {
    ContactOptions {
        tolerance: 1e-8,
        linear: direct(),
        ..ContactOptions::default()
    }
}

fn found(split: &SplitMesh, p: &Problem, law: Law) -> ContactSolution {
    solve(p, &Interfaces::new(split, law), &[], &[], &options()).unwrap()
}

/// Work of a case's load, N·mm.
fn work(p: &Problem, found: &ContactSolution, case: usize) -> f64 {
    assert!(found.cases[case].is_converged(), "{:?}", found.cases[case]);
    let u = &found.by_load.displacement[case];
    let forces = p.cases()[case].forces.iter();
    forces.map(|(n, f)| f.dot(&u[*n as usize])).sum()
}

/// Radon's seven-point rule on a triangle in closed form (Radon 1948, Monatsh Math 52:286, from memory): barycentric
/// coordinates and weights of unit sum.
fn radon() -> Vec<([f64; 3], f64)> {
    let root = 15f64.sqrt();
    let mut points = vec![([1.0 / 3.0; 3], 9.0 / 40.0)];
    for sign in [-1.0, 1.0] {
        let a = (6.0 + sign * root) / 21.0;
        for k in 0..3 {
            let mut l = [a; 3];
            l[k] = 1.0 - 2.0 * a;
            points.push((l, (155.0 + sign * root) / 1200.0));
        }
    }
    points
}

/// Place on a six-node triangle at barycentric coordinates, as a sum over corners and chords: x = Σ lₖ xₖ + 4 Σ lₖ lₘ cₖₘ,
/// c the vector from a chord's middle to the midside node; and the vector area of the triangle there.
fn on_triangle(x: &[Vec3; 6], l: [f64; 3]) -> (Vec3, Vec3) {
    let sides = [(0, 1, 3), (1, 2, 4), (2, 0, 5)];
    let sagitta = |(a, b, m): (usize, usize, usize)| x[m] - 0.5 * (x[a] + x[b]);
    let mut at: Vec3 = (0..3).map(|k| x[k] * l[k]).sum();
    let mut along = [x[0], x[1], x[2]];
    for side in sides {
        let (a, b, _) = side;
        at += sagitta(side) * (4.0 * l[a] * l[b]);
        along[a] += sagitta(side) * (4.0 * l[b]);
        along[b] += sagitta(side) * (4.0 * l[a]);
    }
    let [p, q] = [along[1] - along[0], along[2] - along[0]];
    (at, 0.5 * p.cross(&q))
}

/// Force and moment about the origin of tractions on the screw, linear in the barycentric coordinates of each facet;
/// by none of the solver's own sums or shape functions, at the points of the rule that defines the contact forces (on
/// these facets it is off the exact integral by 5e-8).
fn resultant(split: &SplitMesh, tractions: &[Traction]) -> (Vec3, Vec3) {
    let nodes = &split.mesh.nodes;
    let key = |x: Vec3| [x.x, x.y, x.z].map(f64::to_bits);
    let at: BTreeMap<_, _> = tractions.iter().map(|t| (key(t.at), t)).collect();
    let (mut force, mut moment) = (Vec3::zeros(), Vec3::zeros());
    for pair in &split.pairs {
        let carried = [0, 1, 2].map(|c| {
            let t = at[&key(nodes[pair.a[c] as usize])];
            t.normal * t.pressure_mpa + t.shear_mpa
        });
        let corners = pair.a.map(|n| nodes[n as usize]);
        for (l, w) in radon() {
            let (place, area) = on_triangle(&corners, l);
            let here: Vec3 = carried.iter().zip(l).map(|(t, l)| t * l).sum();
            let here = here * (w * area.norm());
            force += here;
            moment += place.cross(&here);
        }
    }
    (force, moment)
}

/// Largest motion of a screw's side against the bone along the axis, mm, in what a case's load adds.
fn slide(split: &SplitMesh, found: &ContactSolution, case: usize) -> f64 {
    let u = &found.by_load.displacement[case];
    let pairs = split.pairs.iter().flat_map(|p| p.a.into_iter().zip(p.b));
    let slides = pairs.map(|(a, b)| (u[b as usize] - u[a as usize]).y.abs());
    slides.fold(0.0, f64::max)
}

/// Along its axis a threaded screw gives way about as a bonded one does, whatever the friction: the bone that it
/// leaves behind when pulled costs a tenth. A smooth one slides out.
#[test]
fn a_thread_holds_along_the_axis_whatever_the_friction() {
    let split = scene(true);
    let mesh = &split.mesh;
    let [pull, push] = [100.0, -100.0].map(|f| on_top(mesh, Vec3::y() * f));
    let p = posed(mesh, vec![pull, push]);
    let works = |law: Law| {
        let found = found(&split, &p, law);
        [0, 1].map(|case| work(&p, &found, case))
    };
    let bonded = works(Law::Bonded);
    let [slippery, held, rough] = [0.05, 0.3, 1.0].map(|mu| works(threaded(mu)));
    for case in 0..2 {
        // Polygons of sixteen sides for circles leave friction something to do.
        assert!(close(slippery[case], held[case], 2e-3));
        assert!(close(rough[case], held[case], 2e-3));
    }
    assert!(held[0] > bonded[0] && held[0] < 1.15 * bonded[0]);
    assert!(held[1] > bonded[1] && held[1] < 1.005 * bonded[1]);
    let smooth = works(Law::Frictional { mu: 0.3 });
    assert!(smooth[0] > 50.0 * held[0] && smooth[1] > 1.5 * held[1]);
}

/// Pushed aside the screw parts from the bone behind it, as a smooth one does; stiffness lies between.
#[test]
fn a_thread_lifts_off_beside_a_load_across() {
    let split = scene(true);
    let mesh = &split.mesh;
    let p = posed(mesh, vec![on_top(mesh, Vec3::x() * 50.0)]);
    let laws = [Law::Bonded, threaded(0.3), Law::Frictional { mu: 0.3 }];
    let [bonded, held, smooth] = laws.map(|law| {
        let found = found(&split, &p, law);
        (work(&p, &found, 0), found)
    });
    assert!(bonded.0 < 0.8 * held.0 && held.0 < 0.8 * smooth.0);
    for (_, found) in [&held, &smooth] {
        let mouth = found.tractions[0].iter().filter(|t| t.at.y > 8.0 - 1e-9);
        for t in mouth {
            let is_pressed = t.pressure_mpa > 0.0;
            assert!(is_pressed == (t.at.x > 0.1), "{t:?}");
            assert!(is_pressed || t.gap_mm > 0.0, "{t:?}");
        }
        assert!(found.cases[0].sets[0].penetration_max_mm < 1e-9);
    }
    // Where it has parted from the bone the thread still holds: that bears the screw's tilt.
    let parted = |t: &&Traction| t.pressure_mpa == 0.0;
    let most = |found: &ContactSolution| {
        let parted = found.tractions[0].iter().filter(parted);
        parted.map(|t| t.shear_mpa.norm()).fold(0.0, f64::max)
    };
    assert!(most(&held.1) > 0.3 && most(&smooth.1) < 1e-9);
}

/// Reported tractions of the interface balance the screw's load, in force and moment.
#[test]
fn what_a_thread_carries_balances_the_load() {
    let split = scene(false);
    let mesh = &split.mesh;
    let oblique = on_top(mesh, Vec3::new(40.0, 60.0, -20.0));
    let p = posed(mesh, vec![oblique.clone()]);
    let found = found(&split, &p, threaded(0.3));
    assert!(found.cases[0].is_converged(), "{:?}", found.cases[0]);
    let set = &found.cases[0].sets[0];
    assert!(set.open_share > 0.1 && set.slipping_share > 0.1, "{set:?}");
    let (force, moment) = resultant(&split, &found.tractions[0]);
    let load: Vec3 = oblique.iter().map(|(_, f)| f).sum();
    let arms = oblique
        .iter()
        .map(|(n, f)| mesh.nodes[*n as usize].cross(f));
    let turn: Vec3 = arms.sum();
    let off = [
        (force + load).norm() / load.norm(),
        (moment + turn).norm() / turn.norm(),
    ];
    assert!(off.iter().all(|o| *o < 1e-7), "{off:?}");
}

/// A press fit of 0.01 mm takes a torque up to friction times pressure times radius, and the guide the rest.
#[test]
fn a_thread_does_not_hold_a_turn_beyond_friction() {
    let split = scene(true);
    let mesh = &split.mesh;
    let mu = 0.3;
    let mut interfaces = Interfaces::new(&split, threaded(mu));
    // The mantle, not the tip.
    let is_mantle = |x: Vec3| radius(x) > 2.0 - 1e-3;
    interfaces.add_gap(|_| true, |x| if is_mantle(x) { -0.01 } else { 0.0 });
    let most = |tractions: &[Traction]| -> f64 {
        let parts = tractions.iter();
        parts
            .map(|t| mu * t.pressure_mpa * t.area_mm2 * radius(t.at))
            .sum()
    };
    let turned = |torque: f64| {
        let p = posed(mesh, vec![turn_top(mesh, torque)]);
        let found = solve(&p, &interfaces, &[], &[], &options()).unwrap();
        assert!(found.cases[0].is_converged(), "{:?}", found.cases[0]);
        let (_, moment) = resultant(&split, &found.tractions[0]);
        let set = found.cases[0].sets[0].clone();
        (-moment.y, most(&found.tractions[0]), set)
    };
    let (_, bound, _) = turned(0.0);
    let (carried, _, set) = turned(0.5 * bound);
    assert!(close(carried, 0.5 * bound, 0.05) && set.slipping_share == 0.0);
    let (carried, bound, set) = turned(2.0 * bound);
    assert!(close(carried, bound, 0.02) && set.slipping_share > 0.7);
}

/// A thread that is made when the screw has already moved holds it there; increments change nothing.
#[test]
fn a_thread_holds_from_where_it_is_made() {
    let split = scene(true);
    let mesh = &split.mesh;
    let pull = on_top(mesh, Vec3::y() * 20.0);
    let more = on_top(mesh, Vec3::y() * 100.0);
    let p = posed(mesh, vec![more]);
    let interfaces = Interfaces::new(&split, threaded(0.3));
    let before = |law: Law| Step {
        name: "pull".into(),
        forces: pull.clone(),
        lasting: true,
        laws: Some(vec![law]),
        increments: 1,
        ..Step::default()
    };
    let run = |steps: &[Step], increments: usize| {
        let options = ContactOptions {
            increments,
            ..options()
        };
        let found = solve(&p, &interfaces, &[], steps, &options).unwrap();
        (work(&p, &found, 0), slide(&split, &found, 0))
    };
    let [once, thrice] = [1, 3].map(|n| run(&[], n));
    let later = run(&[before(Law::Apart)], 2);
    let free = found(&split, &p, Law::Apart);
    let free = (work(&p, &free, 0), slide(&split, &free, 0));
    assert!(close(thrice.0, once.0, 1e-4));
    assert!(close(later.0, once.0, 0.05) && later.0 < 0.02 * free.0);
    assert!(later.1 < 0.01 * free.1);

    let across = Law::Threaded {
        mu: 0.3,
        axis: UnitVec3::new_normalize(Vec3::x()),
    };
    let refused = solve(&p, &interfaces, &[], &[before(across)], &options());
    let set = split.sets[0].name.clone();
    assert_eq!(refused.unwrap_err(), ContactError::TwoAxes(set));
}

/// A bar bent near its hold carries its free end along, with a screw in it that feels nothing of it.
#[test]
fn a_thread_that_moves_rigidly_carries_nothing() {
    let mesh = body(
        [12, 3, 3],
        false,
        &|[x, y, z]| Vec3::new(36.0 * x, 3.0 * y, 3.0 * z),
        &|[x, _, z]| {
            let is_screw = (12.0 * x) as usize == 10 && (3.0 * z) as usize == 1;
            Some(if is_screw { SCREW } else { LOWER })
        },
    );
    let split = split_kinds(&mesh, &[PairKind::ScrewInBone]).unwrap();
    let mesh = &split.mesh;
    let near = |x: Vec3| x.x < 6.0 + 1e-9 && x.y > 3.0 - 1e-9;
    let bend = traction(mesh, near, |_, _| Vec3::new(0.0, -1.0, 0.5));
    let held = nodes_at(mesh, |x| x.x < 1e-9);
    let p = problem(mesh, |_| (BONE, 0.3), held, vec![case("bend", bend)]);
    let found = found(&split, &p, threaded(0.3));
    work(&p, &found, 0);
    let u = &found.total.displacement[0];
    let at = |x: f64| nodes_at(mesh, |y| (y - Vec3::new(x, 0.0, 0.0)).norm() < 1e-6)[0] as usize;
    let turn = (u[at(36.0)] - u[at(24.0)]).norm() / 12.0;
    let most = found.tractions[0].iter();
    let most = most.map(|t| t.pressure_mpa.abs().max(t.shear_mpa.norm()));
    let most = most.fold(0.0, f64::max);
    assert!(most < 1e-6 * BONE * turn, "{most} MPa at a turn of {turn}");
}

/// A smooth screw that next to nothing holds is hard on the contact problem: what does not meet its laws yet must
/// not pass for an answer, even where the direct method leaves no residual.
#[test]
fn what_breaks_the_laws_is_no_answer() {
    let split = scene(true);
    let mesh = &split.mesh;
    let p = guided(mesh, 1.0, vec![on_top(mesh, Vec3::x() * 50.0)]);
    let interfaces = Interfaces::new(&split, Law::Frictional { mu: 0.3 });
    let options = ContactOptions {
        max_iterations: 8,
        ..options()
    };
    let found = solve(&p, &interfaces, &[], &[], &options).unwrap();
    let report = &found.cases[0];
    let set = &report.sets[0];
    assert!(report.residual < options.tolerance, "{report:?}");
    let share = set.penetration_max_mm / set.opening_max_mm;
    assert!(!report.is_converged() || share < 1e-6, "{set:?}");
}

/// Same bits whatever the number of threads, with the iterative solver too.
#[test]
fn threads_do_not_change_a_bit() {
    let split = scene(true);
    let mesh = &split.mesh;
    let p = posed(mesh, vec![on_top(mesh, Vec3::new(40.0, 60.0, -20.0))]);
    let interfaces = Interfaces::new(&split, threaded(0.3)).coarsened(|_, _| 1.0);
    let run = |threads, method| displaced(&p, &interfaces, threads, method);
    let one = run(1, Method::FactoredCoarse);
    assert!(one == run(3, Method::FactoredCoarse));
    assert!(apart_by(&one, &run(1, Method::Direct)) < 1e-5);
}
