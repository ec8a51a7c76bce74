//! Hollow round shaft, held at one end, under axial force, bending and torsion.
//!
//! Source: beam theory (Timoshenko, Strength of Materials; from memory) for a mean adult humeral
//! shaft, outer diameter 19.3 mm and canal 12.1 mm (Murdoch et al. 2002, 20 MRI): A = 177.6 mm²,
//! I = 5759 mm⁴, GJ = 75.3 N·m² at E = 17 GPa, ν = 0.3.
//!
//! ```text
//!   █╞════════════════════╡   60 mm; y = 0 held in all directions
//!   █╞════════════════════╡   y = 60: 200 N, 3 N·m or 7.5 N·m spread over the end face
//! ```
//!
//! Tolerance: torsion is exact with a held end (plane sections stay plane): 0.1 % of twist. Under
//! axial force and bending the held end stops the Poisson contraction over about one radius of 60 mm:
//! 1 % of shortening and rotation. Stresses at mid-length, 1.5 diameters from the ends: 1 %.
#![allow(clippy::unwrap_used)]

use bicolumn_base::Vec3;
use bicolumn_model::{Patch, PatchLoad};
use bicolumn_solve::SolveOptions;
use bicolumn_verify::exact::hollow_shaft::HollowShaft;
use bicolumn_verify::imposed::{Body, Equilibrium};
use bicolumn_verify::meshes::tube::{LOWER_END, UPPER_END, tube};

const SHAFT: HollowShaft = HollowShaft {
    outer_mm: 19.3,
    inner_mm: 12.1,
    young_mpa: 17_000.0,
    poisson: 0.3,
};
const LENGTH: f64 = 60.0;
const OUTER: f64 = 9.65;

fn loaded(force_n: Vec3, moment_nmm: Vec3) -> Equilibrium {
    let mesh = tube([20, 3, 10], 6.05, OUTER, LENGTH).unwrap();
    let end = Patch::of_free_facets(&mesh, "end", |f, _, _| {
        mesh.surfaces[f.surface as usize] == UPPER_END
    })
    .unwrap();
    let load = PatchLoad {
        patch: 0,
        force_n,
        through_mm: None,
        moment_nmm,
    };
    let forces = load.nodal_forces(&mesh, &end);
    Body::new(mesh, SHAFT.young_mpa, SHAFT.poisson)
        .impose(LOWER_END, |_| Vec3::zeros())
        .load(&forces)
        .solve(&SolveOptions::default())
        .unwrap()
}

/// Mean over the free end's outer edge of a linear function of position and displacement.
fn at_end(found: &Equilibrium, value: impl Fn(Vec3, Vec3) -> f64) -> f64 {
    let mesh = found.problem.mesh();
    let edge: Vec<f64> = mesh
        .nodes
        .iter()
        .zip(&found.displacement)
        .filter(|(x, _)| x.y > LENGTH - 1e-9 && x.x.hypot(x.z) > OUTER - 1e-9)
        .map(|(x, u)| value(*x, *u))
        .collect();
    assert_eq!(edge.len(), 40);
    edge.iter().sum::<f64>() / edge.len() as f64
}

#[test]
fn axial_force() {
    let found = loaded(Vec3::y() * -200.0, Vec3::zeros());
    let shortening = -at_end(&found, |_, u| u.y);
    let expected = 200.0 * LENGTH / (SHAFT.young_mpa * SHAFT.area_mm2());
    assert!((shortening / expected - 1.0).abs() < 0.01);
    let (stress, _) = found.stress_near(Vec3::new(OUTER, 30.0, 0.0));
    let expected = 200.0 / SHAFT.area_mm2();
    assert!((stress.von_mises() / expected - 1.0).abs() < 0.01);
    assert!(stress.0[1] < 0.0);
}

#[test]
fn bending() {
    let moment = 3000.0;
    let found = loaded(Vec3::zeros(), Vec3::z() * moment);
    // Rotation about Z: u_y = ω x, fitted over the edge: ω = 2 mean(u_y x) / r².
    let rotation = 2.0 * at_end(&found, |x, u| u.y * x.x) / (OUTER * OUTER);
    let expected = moment * LENGTH / SHAFT.bending_rigidity_nmm2();
    assert!(
        (rotation / expected - 1.0).abs() < 0.01,
        "{rotation} {expected}"
    );
    for s in [1.0, -1.0] {
        let (stress, at) = found.stress_near(Vec3::new(s * OUTER, 30.0, 0.0));
        let expected = SHAFT.bending_stress_mpa(moment, at.x);
        assert!((expected.abs() - 5.03).abs() < 0.01);
        assert!(
            (stress.0[1] / expected - 1.0).abs() < 0.01,
            "{stress:?} {expected}"
        );
    }
}

#[test]
fn torsion() {
    let torque = 7500.0;
    let found = loaded(Vec3::zeros(), Vec3::y() * torque);
    let twist = at_end(&found, |x, u| Vec3::y().cross(&x).dot(&u) / (OUTER * OUTER));
    let expected = torque * LENGTH / SHAFT.torsional_rigidity_nmm2();
    assert!((twist / expected - 1.0).abs() < 1e-3, "{twist} {expected}");
    let (stress, _) = found.stress_near(Vec3::new(OUTER, 30.0, 0.0));
    let expected = SHAFT.torsion_stress_mpa(torque, OUTER) * 3f64.sqrt();
    assert!(
        (stress.von_mises() / expected - 1.0).abs() < 0.01,
        "{stress:?} {expected}"
    );
}
