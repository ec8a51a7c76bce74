//! Discretisation estimates against errors that are known: effectivity index = estimate / error.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use bicolumn_base::{SymTensor, Vec3};
use bicolumn_estimate::{Defects, Smoothing};
use bicolumn_solve::element::Element;
use bicolumn_solve::quadrature::FOURTEEN;
use bicolumn_solve::{Ask, Prepared, SolveOptions, StressField};
use bicolumn_sparse::Team;
use bicolumn_verify::exact::circular_hole::KirschHole;
use bicolumn_verify::exact::plane_waves::PlaneWaves;
use bicolumn_verify::imposed::{Body, Equilibrium};
use bicolumn_verify::meshes::block::{bar, irregular_box, side};
use bicolumn_verify::meshes::holed_plate::{FACES, HoledPlate, RIM};

const TIGHT: SolveOptions = SolveOptions {
    method: bicolumn_solve::Method::Auto,
    tolerance: 1e-10,
    max_iterations: 500,
    threads: 1,
};

/// The energy norm of the error against an exact stress.
fn true_energy(found: &Equilibrium, exact: &dyn Fn(Vec3) -> SymTensor) -> f64 {
    let (problem, mesh) = (&found.problem, &found.problem.mesh);
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

/// Effectivity of the energy estimate by smoothing, and with the nodal means of recovery in its place.
fn energy_effectivity(found: &Equilibrium, exact: &dyn Fn(Vec3) -> SymTensor) -> [f64; 2] {
    let team = Team::new(1);
    let fields = [found.displacement.as_slice()];
    let smoothed = Smoothing::new(&found.problem, &found.part_nodes).smooth(&team, &fields);
    let means = [found.stress.clone()];
    let truth = true_energy(found, exact);
    [&smoothed[..], &means[..]].map(|s| {
        Defects::new(&found.problem, &found.part_nodes, &fields, s).energy(&team)[0] / truth
    })
}

#[test]
fn energy_of_a_manufactured_field() {
    let exact = PlaneWaves::three(17_000.0, 0.3);
    for cells in [4, 8, 12] {
        let found = Body::new(irregular_box(cells, 10.0, 0.15).unwrap(), 17_000.0, 0.3)
            .impose_on_boundary(|x| exact.displacement_mm(x))
            .body_force(|x| exact.body_force(x))
            .solve(&TIGHT)
            .unwrap();
        let [smooth, means] = energy_effectivity(&found, &|x| exact.stress_mpa(x));
        println!("waves {cells}: {smooth:.3} smoothed, {means:.3} nodal means");
    }
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
        let [smooth, means] = energy_effectivity(&found, &|x| exact.stress_mpa(x));
        let problem = &found.problem;
        let ready = Prepared::new(problem, &TIGHT).unwrap();
        let team = Team::new(1);
        let smoothing = Smoothing::new(problem, &found.part_nodes);
        for place in [Vec3::new(0.0, 2.0, 0.5), Vec3::new(0.0, 3.0, 0.5)] {
            let nodes = &problem.mesh.nodes;
            let far = |k: &usize| (nodes[found.part_nodes.node[*k] as usize] - place).norm();
            let all = 0..found.part_nodes.node.len();
            let k = all.min_by(|a, b| far(a).total_cmp(&far(b))).unwrap();
            let at = nodes[found.part_nodes.node[k] as usize];
            let pull = SymTensor::new(1.0, 0.0, 0.0, 0.0, 0.0, 0.0);
            let load = StressField::load_of(problem, &found.part_nodes, &[(k as u32, pull)]);
            let reported = found.stress.values[k].0[0];
            let work: f64 = load.iter().zip(&found.displacement).map(|(f, u)| f.dot(u)).sum();
            assert!((work / reported - 1.0).abs() < 1e-9, "{work} {reported}");
            let z = ready.solve_for(&[load], &Ask::default()).unwrap().displacement;
            let fields = [found.displacement.as_slice(), z[0].as_slice()];
            let smoothed = smoothing.smooth(&team, &fields);
            let defects = Defects::new(problem, &found.part_nodes, &fields, &smoothed);
            let product = &defects.products(&team, &[(0, 1)], false)[0];
            let again = smoothed[0].recovered_again(problem, &found.part_nodes, &[k as u32]);
            let own = smoothed[0].values[k].0[0] - again[0].0[0];
            let truth = exact.stress_mpa(at).0[0] - reported;
            println!(
                "hole {n}: energy {smooth:.3} smoothed {means:.3} means; σxx at {at:.2?} {reported:.3}, error {truth:.4}: pollution {:.4} (abs {:.4}) + recovery {own:.4}; effectivity {:.3}; smoothed alone {:.4}",
                product.sum, product.absolute, (product.sum + own) / truth, smoothed[0].values[k].0[0] - reported
            );
        }
    }
}

fn work(found: &Equilibrium) -> f64 {
    let load = &found.problem.cases[0].forces;
    load.iter().map(|(n, f)| f.dot(&found.displacement[*n as usize])).sum()
}

#[test]
fn compliance_of_a_cantilever() {
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
    let finer = work(&bent(4));
    println!("{finest} {finer}");
    let team = Team::new(1);
    for n in [1, 2, 3] {
        let found = bent(n);
        let fields = [found.displacement.as_slice()];
        let smoothed = Smoothing::new(&found.problem, &found.part_nodes).smooth(&team, &fields);
        let means = [found.stress.clone()];
        let truth = finest - work(&found);
        let of = |s: &[StressField]| {
            Defects::new(&found.problem, &found.part_nodes, &fields, s).energy(&team)[0].powi(2) / truth
        };
        println!("cantilever {n}: error {:.2e} of work, effectivity {:.3} smoothed {:.3} means", truth / finest, of(&smoothed), of(&means));
    }
}
