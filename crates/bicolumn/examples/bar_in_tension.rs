//! First example: a bar in tension, whose exact elongation is σ L / E.
//!
//! Run: `cargo run --release -p bicolumn --example bar_in_tension`
//!
//! ```text
//!   █──────────────────┐→      40 x 10 x 10 mm, E = 17,000 MPa
//!   █                  │→ σ    x = 0 held in all directions; σ = 10 MPa on x = 40
//!   █──────────────────┘→      ν = 0, so that the clamp hinders no contraction
//!   x = 0          x = 40      exact: u_x = σ x / E, σ_xx = σ everywhere
//! ```
//! Three steps that every later example repeats: a mesh, a problem, a solution. The exact field is linear, which
//! ten-node tetrahedra hold, so the error is the residual of the solver.
//! Next: `plate_with_hole`.
#![allow(clippy::print_stdout)]

use bicolumn_base::Vec3;
use bicolumn_model::{LoadCase, Material, Patch, Problem, Support, nodes_where};
use bicolumn_solve::{SolveOptions, solve};
use bicolumn_verify::meshes::block::bar;
use std::error::Error;
use std::sync::Arc;

const LENGTH_MM: f64 = 40.0;
const SIDE_MM: f64 = 10.0;
const TENSION_MPA: f64 = 10.0;
const YOUNG_MPA: f64 = 17_000.0;

/// Computed and exact elongation, mm.
pub(crate) struct Elongation {
    pub(crate) computed_mm: f64,
    pub(crate) exact_mm: f64,
}

/// Meshes, poses and solves the bar.
pub(crate) fn elongation() -> Result<Elongation, Box<dyn Error>> {
    // 1. The mesh: 8 x 2 x 2 cells of six tetrahedra.
    let far = Vec3::new(LENGTH_MM, SIDE_MM, SIDE_MM);
    let mesh = Arc::new(bar([8, 2, 2], Vec3::zeros(), far)?);

    // 2. The problem: a Dirichlet condition on one end, a traction on the other.
    let near = nodes_where(&mesh, |x| x.x.abs() < 1e-9);
    let clamp = Support::clamp("clamped end", near);
    let end = Patch::of_free_facets(&mesh, "end", |_, middle, _| middle.x > LENGTH_MM - 1e-9)?;
    let pull = LoadCase::new("pull", []).with_pressure(&mesh, &end, -TENSION_MPA);
    let bone = Material::new("bone", YOUNG_MPA, 0.0, "example");
    let problem = Problem::new(mesh.clone(), vec![bone], [clamp], vec![pull])?;

    // 3. The solution: displacements of all nodes by load case.
    let solution = solve(&problem, &SolveOptions::default())?;
    let tip = nodes_where(&mesh, |x| (x - far).norm() < 1e-9)[0];
    Ok(Elongation {
        computed_mm: solution.displacement[0][tip as usize].x,
        exact_mm: TENSION_MPA * LENGTH_MM / YOUNG_MPA,
    })
}

fn main() -> Result<(), Box<dyn Error>> {
    let found = elongation()?;
    println!(
        "elongation {:.9} mm, exact {:.9} mm",
        found.computed_mm, found.exact_mm
    );
    Ok(())
}
