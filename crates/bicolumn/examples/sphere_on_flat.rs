//! Third example, after `plate_with_hole`: a sphere pressed on a flat, whose contact radius is Hertz's.
//!
//! Run: `cargo run --release -p bicolumn --example sphere_on_flat`
//!
//! ```text
//!      ┌─────────────┐  held            the sphere's shape is the initial gap r²/2R − δ between
//!      │    upper    │                  two flat blocks, graded towards the middle; both are held
//!      ├── ‿‿‿‿‿‿ ───┤  gap             at their far ends, so that δ presses them together
//!      │    lower    │
//!      └─────────────┘  held            E = 1000 MPa, ν = 0.3, R = 20 mm
//! ```
//! Source: Hertz 1882, J reine angew Math 92:156; Johnson 1985, Contact Mechanics, section 4.2 (from memory):
//! a³ = 3 F R / (4 E*), 1/E* = Σ (1 − ν²)/E. New here: an interface with two sides, its law (Signorini without
//! friction), and tractions as a result. The radius follows from the second moment of the pressure,
//! ∫ p r² = 2/5 F a², since the pressure of a single corner swings with the pattern of the facets.
//! Next: `one_construct`.
#![allow(clippy::print_stdout)]

use bicolumn_base::{Fragment, Part, PlateSite, Tissue, Vec3};
use bicolumn_contact::{ContactOptions, Interfaces, Law, Traction, solve};
use bicolumn_mesh::{PairKind, SurfaceName, TetMesh, split_kinds};
use bicolumn_model::{LoadCase, Material, Problem, Support, nodes_where};
use bicolumn_verify::meshes::Block;
use std::error::Error;
use std::sync::Arc;

const LOWER: Part = Part::Bone(Fragment::Proximal, Tissue::Cortical);
const UPPER: Part = Part::Plate(PlateSite::Medial);
const YOUNG_MPA: f64 = 1000.0;
const POISSON: f64 = 0.3;
const RADIUS_MM: f64 = 20.0;
const APPROACH_MM: f64 = 0.048;

/// Grid lines on either side of the middle, mm.
const ACROSS: [f64; 7] = [0.3, 0.6, 0.9, 1.2, 2.0, 4.0, 8.0];
const THROUGH: [f64; 4] = [0.3, 0.8, 2.0, 8.0];

/// Contact radius, mm.
pub(crate) struct Radius {
    pub(crate) computed_mm: f64,
    pub(crate) exact_mm: f64,
}

/// Presses the bodies together and compares the contact radius at the force that results.
pub(crate) fn radius() -> Result<Radius, Box<dyn Error>> {
    // One mesh of two parts, then its interface with doubled nodes.
    let split = split_kinds(&two_blocks()?, &[PairKind::PlateOnBone])?;
    let mesh = Arc::new(split.mesh.clone());
    let far_end = THROUGH[THROUGH.len() - 1];
    let ends = nodes_where(&mesh, |x| x.z.abs() > far_end - 1e-9);
    let material = Material::new("elastic body", YOUNG_MPA, POISSON, "example");
    let problem = Problem::new(
        mesh,
        vec![material; split.mesh.parts.len()],
        [Support::clamp("ends", ends)],
        vec![LoadCase::new("press", [])],
    )?;

    let mut interfaces = Interfaces::new(&split, Law::Frictionless);
    let gap = |x: Vec3| (x.x * x.x + x.y * x.y) / (2.0 * RADIUS_MM) - APPROACH_MM;
    interfaces.add_gap(|_| true, gap);
    let found = solve(&problem, &interfaces, &[], &[], &ContactOptions::default())?;
    if !found.cases[0].is_converged() {
        return Err("contact did not converge".into());
    }

    let corners: &[Traction] = &found.tractions[0];
    let sum = |of: &dyn Fn(&Traction) -> f64| -> f64 {
        corners
            .iter()
            .map(|t| of(t) * t.pressure_mpa * t.area_mm2)
            .sum()
    };
    let force = sum(&|_| 1.0);
    let second = sum(&|t| t.at.x.powi(2) + t.at.y.powi(2));
    let modulus = YOUNG_MPA / (2.0 * (1.0 - POISSON * POISSON));
    Ok(Radius {
        computed_mm: (2.5 * second / force).sqrt(),
        exact_mm: (3.0 * force * RADIUS_MM / (4.0 * modulus)).cbrt(),
    })
}

/// Two blocks that share the plane z = 0.
fn two_blocks() -> Result<TetMesh, Box<dyn Error>> {
    let [wide, high] = [both_sides(&ACROSS), both_sides(&THROUGH)];
    let lines = [&wide, &wide, &high];
    let grid = Block {
        cells: lines.map(|l| l.len() - 1),
        ring: false,
        map: &|g| Vec3::from([0, 1, 2].map(|axis| between(lines[axis], g[axis]))),
        curve: &|middle, _| middle,
    }
    .mesh()?;
    let vertices = grid.nodes[..grid.vertex_count].to_vec();
    let corners: Vec<[u32; 4]> = grid.tets.iter().map(|t| [t[0], t[1], t[2], t[3]]).collect();
    let part_of = |t: usize| {
        let level: f64 = corners[t].iter().map(|v| vertices[*v as usize].z).sum();
        if level < 0.0 { LOWER } else { UPPER }
    };
    let surface_of = |_: Vec3, _: Vec3| SurfaceName::Other(0);
    Ok(TetMesh::from_straight_tets(
        vertices.clone(),
        &corners,
        part_of,
        surface_of,
        |middle, _| middle,
    )?)
}

/// Lines on both sides of zero, zero included.
fn both_sides(steps: &[f64]) -> Vec<f64> {
    let below = steps.iter().rev().map(|x| -x);
    below.chain([0.0]).chain(steps.iter().copied()).collect()
}

/// Coordinate of a grid coordinate from 0 to 1, linear between the lines.
fn between(lines: &[f64], g: f64) -> f64 {
    let at = g * (lines.len() - 1) as f64;
    let k = (at.floor() as usize).min(lines.len() - 2);
    lines[k] + (at - k as f64) * (lines[k + 1] - lines[k])
}

fn main() -> Result<(), Box<dyn Error>> {
    let found = radius()?;
    println!(
        "contact radius {:.4} mm, Hertz {:.4} mm",
        found.computed_mm, found.exact_mm
    );
    Ok(())
}
