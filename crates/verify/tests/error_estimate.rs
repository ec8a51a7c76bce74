//! Estimates of the discretisation error against errors that are known. Effectivity: estimate over error.
//!
//! Accepted effectivities: of the energy of smooth fields, 0.85 to 1.2, near the 1 that smoothing converges to
//! where its stress is more accurate than the elements'; of the stress beside a hole, size without
//! cancellation, 0.5 to 3; of the compliance of a clamped bar 0.4 to 1: at the clamp's edges the exact stress is
//! infinite, and no smoothing of finite stress sees all of that.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use bicolumn_base::{Mat3, SymTensor, Vec3};
use bicolumn_estimate::{Defects, Smoothing, adjoints};
use bicolumn_solve::element::Element;
use bicolumn_solve::quadrature::FOURTEEN;
use bicolumn_solve::{Method, Prepared, SolveOptions, StressField};
use bicolumn_sparse::Team;
use bicolumn_verify::exact::circular_hole::KirschHole;
use bicolumn_verify::exact::plane_waves::PlaneWaves;
use bicolumn_verify::imposed::{Body, Equilibrium};
use bicolumn_verify::meshes::block::{bar, irregular_box, side};
use bicolumn_verify::meshes::holed_plate::{FACES, HoledPlate, RIM};

const TIGHT: SolveOptions = SolveOptions {
    method: Method::Auto,
    tolerance: 1e-10,
    max_iterations: 500,
    threads: 1,
};

/// The energy norm of the error against an exact stress.
fn energy_error(found: &Equilibrium, exact: &dyn Fn(Vec3) -> SymTensor) -> f64 {
    let (problem, mesh) = (&found.problem, found.problem.mesh());
    let mut sum = 0.0;
    for (t, tet) in mesh.tets.iter().enumerate() {
        let element = Element::new(tet.map(|n| mesh.nodes[n as usize]));
        let elasticity = problem.elasticity_of(t);
        let compliance = elasticity.compliance();
        let u = tet.map(|n| found.displacement[n as usize]);
        for (l, weight) in FOURTEEN {
            let off = exact(element.position(l)) - element.stress(l, &u, &elasticity);
            sum += compliance.product(&off, &off) * weight * element.gradients(l).1 / 6.0;
        }
    }
    sum.sqrt()
}

/// The estimated energy norm of the error.
fn energy_estimate(found: &Equilibrium) -> f64 {
    let team = Team::new(1);
    let fields = [found.displacement.as_slice()];
    let smoothed = Smoothing::new(&found.problem, &found.part_nodes).smooth(&team, &fields);
    Defects::new(&found.problem, &found.part_nodes, &fields, &smoothed).energy(&team)[0]
}

fn waves(cells: usize) -> f64 {
    let exact = PlaneWaves::three(17_000.0, 0.3);
    let found = Body::new(irregular_box(cells, 10.0, 0.15).unwrap(), 17_000.0, 0.3)
        .impose_on_boundary(|x| exact.displacement_mm(x))
        .body_force(|x| exact.body_force(x))
        .solve(&TIGHT)
        .unwrap();
    energy_estimate(&found) / energy_error(&found, &|x| exact.stress_mpa(x))
}

#[test]
fn energy_of_a_manufactured_field() {
    for cells in [4, 8, 12] {
        let effectivity = waves(cells);
        println!("{cells} cells: {effectivity:.3}");
        assert!((0.85..1.2).contains(&effectivity), "{effectivity}");
    }
}

#[test]
fn linear_stress_leaves_nothing_to_estimate() {
    // u = M x + a quadratic: stress linear in space, element by element and smoothed alike.
    let slope = Mat3::new(1.0, 0.5, -0.3, 0.2, -0.7, 0.4, 0.6, -0.1, 0.9) * 1e-3;
    let field = |x: Vec3| slope * x + Vec3::new(x.y * x.z, x.x * x.x, x.x * x.y - x.z * x.z) * 1e-4;
    let mesh = irregular_box(3, 10.0, 0.15).unwrap();
    let u: Vec<Vec3> = mesh.nodes.iter().map(|x| field(*x)).collect();
    let found = Body::new(mesh, 17_000.0, 0.3)
        .impose_on_boundary(field)
        .solve(&TIGHT)
        .unwrap();
    let team = Team::new(1);
    let fields = [u.as_slice()];
    let smoothed = Smoothing::new(&found.problem, &found.part_nodes).smooth(&team, &fields);
    let left = Defects::new(&found.problem, &found.part_nodes, &fields, &smoothed).energy(&team)[0];
    let nothing = StressField {
        values: vec![SymTensor::zeros(); smoothed[0].values.len()],
    };
    let nothing = [nothing];
    let whole = Defects::new(&found.problem, &found.part_nodes, &fields, &nothing).energy(&team)[0];
    println!("{left:.1e} of {whole:.3}");
    assert!(left < 1e-9 * whole, "{left} of {whole}");
}

#[test]
fn energy_and_peak_stress_at_a_hole() {
    let exact = KirschHole {
        radius_mm: 2.0,
        tension_mpa: 10.0,
        young_mpa: 17_000.0,
        poisson: 0.3,
    };
    for n in [1, 2, 3] {
        let mesh = HoledPlate {
            radius_mm: exact.radius_mm,
            length_mm: 16.0,
            width_mm: 16.0,
            thickness_mm: 1.0,
            cells: [4 * n, 4 * n, 1],
            grading: 0.4,
        }
        .mesh()
        .unwrap();
        let found = Body::new(mesh, exact.young_mpa, exact.poisson)
            .impose(RIM, |x| exact.displacement_mm(x))
            .pull(
                |s| FACES.contains(&s),
                |x, n| exact.stress_mpa(x).traction(n),
            )
            .solve(&TIGHT)
            .unwrap();
        let energy = energy_estimate(&found) / energy_error(&found, &|x| exact.stress_mpa(x));
        let (truth, signed, size) = peak_of(&found, &exact);
        println!(
            "{n}: energy {energy:.3}; peak off by {truth:.3} MPa, with its sign {:.2}, size {:.2}",
            signed / truth,
            size / truth.abs()
        );
        assert!((0.85..1.2).contains(&energy), "{energy}");
        assert!((0.5..3.0).contains(&(size / truth.abs())), "{size} {truth}");
    }
}

/// Error of the recovered σ_xx beside the hole, MPa; its estimate with its sign; without cancellation.
fn peak_of(found: &Equilibrium, exact: &KirschHole) -> (f64, f64, f64) {
    let (problem, part_nodes) = (&found.problem, &found.part_nodes);
    let nodes = &problem.mesh().nodes;
    let far = |k: &usize| {
        let at = nodes[part_nodes.node[*k] as usize];
        (at - Vec3::new(0.0, 2.0, 0.5)).norm()
    };
    let all = 0..part_nodes.node.len();
    let k = all.min_by(|a, b| far(a).total_cmp(&far(b))).unwrap();
    let pull = SymTensor::new(1.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    let load = StressField::load_of(problem, part_nodes, &[(k as u32, pull)]);
    let reported = found.stress.values[k].0[0];
    // The load reads off what recovery finds.
    let u = &found.displacement;
    let work: f64 = load.iter().zip(u).map(|(f, u)| f.dot(u)).sum();
    assert!((work / reported - 1.0).abs() < 1e-9, "{work} {reported}");

    let ready = Prepared::new(problem, &TIGHT).unwrap();
    let z = adjoints(&ready, problem, &[], vec![load]).unwrap();
    let team = Team::new(1);
    let fields = [u.as_slice(), z[0].as_slice()];
    let smoothed = Smoothing::new(problem, part_nodes).smooth(&team, &fields);
    let defects = Defects::new(problem, part_nodes, &fields, &smoothed);
    let product = &defects.products(&team, &[(0, 1)], true)[0];
    let summed: f64 = product.by_element.iter().sum();
    assert!((summed - product.sum).abs() < 1e-9 * product.absolute);
    let again = smoothed[0].recovered_again(problem, part_nodes, &[k as u32]);
    let own = smoothed[0].values[k].0[0] - again[0].0[0];
    let at = nodes[part_nodes.node[k] as usize];
    let truth = exact.stress_mpa(at).0[0] - reported;
    (truth, product.sum + own, product.absolute + own.abs())
}

fn work(found: &Equilibrium) -> f64 {
    let load = &found.problem.cases()[0].forces;
    let each = load.iter();
    each.map(|(n, f)| f.dot(&found.displacement[*n as usize]))
        .sum()
}

#[test]
fn compliance_of_a_clamped_bar() {
    let bent = |n: usize| {
        let (low, high) = (Vec3::new(0.0, -5.0, -5.0), Vec3::new(100.0, 5.0, 5.0));
        let tip = side(0, true);
        Body::new(bar([10 * n, n, n], low, high).unwrap(), 200e3, 0.3)
            .impose(side(0, false), |_| Vec3::zeros())
            .pull(|s| s == tip, |_, _| Vec3::y() * -1.0)
            .solve(&TIGHT)
            .unwrap()
    };
    let finest = work(&bent(8));
    for n in [1, 2, 3] {
        let found = bent(n);
        let truth = finest - work(&found);
        let effectivity = energy_estimate(&found).powi(2) / truth;
        println!(
            "{n} cells high: off by {:.2} %, effectivity {effectivity:.2}",
            100.0 * truth / finest
        );
        assert!((0.4..1.0).contains(&effectivity), "{effectivity}");
    }
}

/// Smoothing must not feel how many threads it has.
#[test]
fn same_bits_from_two_threads() {
    let mesh = irregular_box(4, 10.0, 0.15).unwrap();
    let found = Body::new(mesh, 17_000.0, 0.3)
        .impose(side(0, false), |_| Vec3::zeros())
        .pull(|s| s == side(0, true), |_, _| Vec3::y())
        .solve(&TIGHT)
        .unwrap();
    let shifted: Vec<Vec3> = found.displacement.iter().map(|u| u.yzx()).collect();
    let fields = [found.displacement.as_slice(), shifted.as_slice()];
    let by = |threads| {
        let team = Team::new(threads);
        let smoothed = Smoothing::new(&found.problem, &found.part_nodes).smooth(&team, &fields);
        let defects = Defects::new(&found.problem, &found.part_nodes, &fields, &smoothed);
        defects.products(&team, &[(0, 0), (0, 1), (1, 1)], true)
    };
    assert_eq!(by(1), by(2));
}
