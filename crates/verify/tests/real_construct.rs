//! Two plates, screws and a fractured bone, meshed as the engine meshes any design, against exact answers
//! and against the direct method.
//!
//! Screws, plates and septum are thicker than anybody would use: cells follow them, and the mesh stays
//! small enough for the direct method. Materials jump from cancellous bone (600 MPa) to steel (193 GPa).
//!
//! Tolerances: the patch test and the rigid motion leave room for rounding only, in a matrix of condition
//! 1e8 at the worst. Iterative against direct: 1e-7 of the largest displacement. Balance of reactions and
//! loads: 1e-8 of the loads.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use crate::support::{HEALTHY, Model, model};
use bicolumn_base::{Mat3, SymTensor, Vec3};
use bicolumn_geometry::{BoneSpec, ConstructSpec, PlateSpec};
use bicolumn_mesh::Sizing;
use bicolumn_model::NamedLoad;
use bicolumn_solve::{Method, PartNodes, SolveOptions, StressField, element_stress, solve};
use bicolumn_verify::exact::linear_field::LinearField;
use bicolumn_verify::imposed::Body;

fn stout(base: ConstructSpec) -> ConstructSpec {
    let plates = base.plates.into_iter().map(|p| PlateSpec {
        thickness_mm: 3.0,
        shaft_screws: 2,
        distal_screws: 1,
        shaft_screw_diameter_mm: 4.0,
        distal_screw_diameter_mm: 4.0,
        ..p
    });
    ConstructSpec {
        bone: BoneSpec {
            septum_thickness_mm: 3.5,
            ..base.bone
        },
        plates: plates.collect(),
        ..base
    }
}

fn sizing() -> Sizing {
    Sizing {
        finest_mm: 2.4,
        growth: 1.5,
        wall_ratio: 3.0,
        ..Sizing::default()
    }
}

fn made(base: ConstructSpec, sizing: &Sizing, loads: &[NamedLoad]) -> Model {
    model(&stout(base), sizing, &HEALTHY, loads)
}

/// Less of the shaft: for what is solved several times, or by the direct method.
fn of_a_short_shaft(sizing: &Sizing, loads: &[NamedLoad]) -> Model {
    let mut base = ConstructSpec::orthogonal();
    base.bone.potting_level_mm = 100.0;
    for p in &mut base.plates {
        p.end_level_mm = 70.0;
    }
    made(base, sizing, loads)
}

#[test]
fn constant_strain_is_exact() {
    let (young, poisson) = (17_000.0, 0.3);
    let field = LinearField {
        gradient: Mat3::new(1.0, 0.5, -0.3, 0.2, -0.7, 0.4, 0.6, -0.1, 0.9) * 1e-3,
        origin: Vec3::new(0.3, -0.2, 0.1),
    };
    let made = made(ConstructSpec::parallel(), &sizing(), &[]);
    let mesh = made.problem.mesh();
    let found = Body::new((*mesh).clone(), young, poisson)
        .impose_on_boundary(|x| field.displacement(x))
        .solve(&SolveOptions {
            tolerance: 1e-13,
            ..SolveOptions::default()
        })
        .unwrap();
    let size = mesh
        .nodes
        .iter()
        .map(|x| field.displacement(*x).norm())
        .fold(0.0, f64::max);
    let exact = field.stress(young, poisson);
    let off = |s: &SymTensor| (*s - exact).0.norm() / exact.0.norm();
    let of_motion = mesh
        .nodes
        .iter()
        .zip(&found.displacement)
        .map(|(x, u)| (u - field.displacement(*x)).norm() / size)
        .fold(0.0, f64::max);
    let of_stress = found.stress.values.iter().map(off).fold(0.0, f64::max);
    let of_raw = (0..mesh.tets.len())
        .map(|t| element_stress(&found.problem, &found.displacement, t, [0.1, 0.2, 0.3, 0.4]))
        .map(|s| off(&s))
        .fold(0.0, f64::max);
    println!(
        "{} tetrahedra: off by {of_motion:.1e} in displacement, {of_stress:.1e} in recovered stress, {of_raw:.1e} in raw stress",
        mesh.tets.len()
    );
    assert!(of_motion < 1e-9 && of_stress < 1e-9 && of_raw < 1e-9);
}

#[test]
fn rigid_motion_gives_no_stress() {
    let problem = made(ConstructSpec::orthogonal(), &sizing(), &[]).problem;
    let (t, w) = (Vec3::new(0.4, -0.9, 0.2), Vec3::new(0.05, -0.02, 0.08));
    let u: Vec<Vec3> = problem
        .mesh()
        .nodes
        .iter()
        .map(|x| t + w.cross(x))
        .collect();
    let stress = StressField::recover(&problem, &PartNodes::of(problem.mesh()), &u);
    let worst = stress
        .values
        .iter()
        .map(|s| s.von_mises())
        .fold(0.0, f64::max);
    println!("{:.1e} of the steel's modulus", worst / HEALTHY.implant);
    // Strain of rounding size, an ulp of 5 mm over the shortest edge of 0.1 mm, times the modulus.
    assert!(worst < 1e-12 * HEALTHY.implant);
}

#[test]
fn iteration_and_direct_method_agree_and_balance_in_every_load_case() {
    // The direct method's work grows with the square of the unknowns.
    let coarser = Sizing {
        finest_mm: 3.0,
        screw_ratio: 1.6,
        ..sizing()
    };
    let Model { problem, .. } = of_a_short_shaft(&coarser, &NamedLoad::ALL);
    let by = |method| {
        let options = SolveOptions {
            method,
            tolerance: 1e-10,
            ..SolveOptions::default()
        };
        solve(&problem, &options).unwrap()
    };
    let (direct, iterated) = (by(Method::Direct), by(Method::FactoredCoarse));
    println!(
        "{} unknowns, {} iterations",
        iterated.report.unknowns, iterated.report.iterations
    );
    for (k, case) in problem.cases().iter().enumerate() {
        let (a, b) = (&direct.displacement[k], &iterated.displacement[k]);
        let size = a.iter().map(|u| u.norm()).fold(0.0, f64::max);
        let off = a
            .iter()
            .zip(b)
            .map(|(u, v)| (u - v).norm() / size)
            .fold(0.0, f64::max);
        let balance = [&direct, &iterated].map(|s| s.report.equilibrium[k]);
        println!(
            "{:18} residual {:.1e}, difference {off:.1e}, balance {:.1e} direct, {:.1e} iterated",
            case.name, iterated.report.residuals[k], balance[0], balance[1]
        );
        assert!(off < 1e-7, "{}", case.name);
        assert!(balance.iter().all(|b| *b < 1e-8), "{}", case.name);
    }
}

/// The iteration must not care how much stiffer metal is than bone: curved screws in soft bone once made
/// it stall.
#[test]
fn iterations_stay_few_whatever_the_stiffness_of_bone() {
    let loads = [
        NamedLoad::Axial,
        NamedLoad::Varus,
        NamedLoad::InternalTorsion,
    ];
    let Model { problem, .. } = of_a_short_shaft(&sizing(), &loads);
    let count = |method: Method, cortical: f64, cancellous: f64| {
        let moduli = crate::support::Moduli {
            cortical,
            cancellous,
            implant: HEALTHY.implant,
        };
        let materials = moduli.of(problem.mesh());
        let problem = problem.clone().with_materials(materials).unwrap();
        let options = SolveOptions {
            method,
            tolerance: 1e-8,
            ..SolveOptions::default()
        };
        let report = solve(&problem, &options).unwrap().report;
        println!(
            "{method:?}, cortical {cortical} MPa, cancellous {cancellous} MPa: {} iterations",
            report.iterations
        );
        report.iterations
    };
    for (method, limit) in [(Method::FactoredCoarse, 32), (Method::AggregatedCoarse, 25)] {
        let even = count(method, HEALTHY.implant, HEALTHY.implant);
        assert!(even <= limit, "{even}");
        // Healthy; a foam.
        for [cortical, cancellous] in [[17_000.0, 600.0], [2.0, 2.0]] {
            let found = count(method, cortical, cancellous);
            assert!(4 * found <= 5 * even, "{found} against {even}");
        }
    }
}
