//! Cantilever of square section with a transverse force at its tip.
//!
//! Source: Timoshenko 1921, Phil Mag 41:744; shear coefficient κ = 10(1 + ν)/(12 + 11ν) of Cowper
//! 1966, J Appl Mech 33:335 (from memory).
//!
//! ```text
//!   █────────────────────────┐ │ P = 100 N, spread over the end face
//!   █  100 x 10 x 10 mm      │ ▼ (uniform shear traction)
//!   █────────────────────────┘     E = 200 GPa
//!   x = 0 held in all directions
//! ```
//!
//! Tolerance. At ν = 0 the held end hinders only the warping of the section, part of a shear deflection
//! that is 0.6 % of the whole: 0.2 %. At ν = 0.3 it also hinders the Poisson contraction: over about a
//! third of the height the bending stiffness rises by up to 1/(1 − ν²), which takes 3 (h/3L) ν² = 0.9 %
//! off the deflection; the body can only be stiffer than the beam: between 98.5 and 100 %. The bending
//! stress half way is free of the ends (Saint-Venant): 1 % for the recovered stress of a coarse mesh.
#![allow(clippy::unwrap_used)]

use bicolumn_base::Vec3;
use bicolumn_solve::SolveOptions;
use bicolumn_verify::exact::cantilever::Cantilever;
use bicolumn_verify::imposed::{Body, Equilibrium};
use bicolumn_verify::meshes::block::{bar, side};

fn cantilever(poisson: f64) -> Cantilever {
    Cantilever {
        length_mm: 100.0,
        height_mm: 10.0,
        width_mm: 10.0,
        force_n: 100.0,
        young_mpa: 200e3,
        poisson,
    }
}

fn bent(exact: &Cantilever) -> Equilibrium {
    let (low, high) = (Vec3::new(0.0, -5.0, -5.0), Vec3::new(100.0, 5.0, 5.0));
    let tip = side(0, true);
    Body::new(
        bar([24, 3, 3], low, high).unwrap(),
        exact.young_mpa,
        exact.poisson,
    )
    .impose(side(0, false), |_| Vec3::zeros())
    .pull(|s| s == tip, |_, _| Vec3::y() * (-exact.force_n / 100.0))
    .solve(&SolveOptions::default())
    .unwrap()
}

/// Work-conjugate tip deflection over that of the beam.
fn deflection_ratio(exact: &Cantilever, found: &Equilibrium) -> f64 {
    let load = &found.problem.cases()[0].forces;
    let work: f64 = load
        .iter()
        .map(|(n, f)| f.dot(&found.displacement[*n as usize]))
        .sum();
    work / exact.force_n / exact.tip_deflection_mm()
}

#[test]
fn tip_deflection_without_contraction() {
    let exact = cantilever(0.0);
    let ratio = deflection_ratio(&exact, &bent(&exact));
    assert!((ratio - 1.0).abs() < 0.002, "{ratio}");
}

#[test]
fn tip_deflection_and_bending_stress() {
    let exact = cantilever(0.3);
    let found = bent(&exact);
    let ratio = deflection_ratio(&exact, &found);
    assert!((0.985..1.0).contains(&ratio), "{ratio}");

    let (stress, at) = found.stress_near(Vec3::new(50.0, 5.0, 0.0));
    let expected = exact.bending_stress_mpa(100.0 - at.x, at.y);
    let ratio = stress.0[0] / expected;
    assert!((ratio - 1.0).abs() < 0.01, "{stress:?} {expected}");
    // The clamp carries the load.
    let (force, _) = found.resultant(side(0, false), Vec3::zeros());
    assert!((force - Vec3::y() * 100.0).norm() < 1e-6);
}
