//! Second example, after `bar_in_tension`: stress beside a hole, three times the tension far away.
//!
//! Run: `cargo run --release -p bicolumn --example plate_with_hole`
//!
//! ```text
//!   ←┌───────────────┐→   16 x 16 x 1 mm, hole of radius 2 mm, plane strain, ν = 0.3
//!   ←│      ( )      │→   rim: displacement of the infinite body, prescribed
//!   ←└───────────────┘→   faces: its σ_zz as traction; hole: free
//! ```
//! Source: Kirsch 1898, Z VDI 42:797; Timoshenko and Goodier, Theory of Elasticity, section 35 (from memory).
//! New here: curved edges (the mesh follows the hole), displacements that are not zero, and stress, which is
//! recovered at the nodes from the displacements. It converges with order two, so the peak is off by per cents on
//! a mesh that has displacements right to a thousandth.
//! Next: `sphere_on_flat`.
#![allow(clippy::print_stdout)]

use bicolumn_base::Vec3;
use bicolumn_model::{Components, LoadCase, Material, Patch, Problem, Support, nodes_on};
use bicolumn_solve::{PartNodes, SolveOptions, StressField, solve};
use bicolumn_verify::exact::circular_hole::KirschHole;
use bicolumn_verify::meshes::holed_plate::{FACES, HoledPlate, RIM};
use std::error::Error;
use std::sync::Arc;

/// Stress concentration factor beside the hole.
pub(crate) struct Factor {
    pub(crate) computed: f64,
    pub(crate) exact: f64,
}

/// Solves the plate and reads σ_xx beside the hole over the tension.
pub(crate) fn factor() -> Result<Factor, Box<dyn Error>> {
    let exact = KirschHole {
        radius_mm: 2.0,
        tension_mpa: 10.0,
        young_mpa: 17_000.0,
        poisson: 0.3,
    };
    let plate = HoledPlate {
        radius_mm: exact.radius_mm,
        length_mm: 16.0,
        width_mm: 16.0,
        thickness_mm: 1.0,
        cells: [16, 14, 1],
        grading: 0.4,
    };
    let mesh = Arc::new(plate.mesh()?);

    let rim = nodes_on(&mesh, RIM);
    let moved = rim
        .into_iter()
        .map(|n| (n, exact.displacement_mm(mesh.nodes[n as usize])));
    let grip = Support::prescribed("rim", Components::ALL, moved);
    let faces = Patch::of_free_facets(&mesh, "faces", |f, _, _| {
        FACES.contains(&mesh.surfaces[f.surface as usize])
    })?;
    let pull = LoadCase::new("tension", [])
        .with_traction(&mesh, &faces, |x, n| exact.stress_mpa(x).traction(n));
    let bone = Material::new("bone", exact.young_mpa, exact.poisson, "example");
    let problem = Problem::new(mesh.clone(), vec![bone], [grip], vec![pull])?;

    let solution = solve(&problem, &SolveOptions::default())?;
    let part_nodes = PartNodes::of(&mesh);
    let stress = StressField::recover(&problem, &part_nodes, &solution.displacement[0]);

    let beside = Vec3::new(0.0, exact.radius_mm, 0.5 * plate.thickness_mm);
    let nodes = part_nodes.node.iter().zip(&stress.values);
    let far = |n: u32| (mesh.nodes[n as usize] - beside).norm();
    let (_, peak) = nodes
        .min_by(|a, b| far(*a.0).total_cmp(&far(*b.0)))
        .ok_or("a mesh without nodes")?;
    Ok(Factor {
        computed: peak.0[0] / exact.tension_mpa,
        exact: 3.0,
    })
}

fn main() -> Result<(), Box<dyn Error>> {
    let found = factor()?;
    println!(
        "stress concentration {:.3}, exact {:.0}",
        found.computed, found.exact
    );
    Ok(())
}
