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
use bicolumn_solve::SolveOptions;
use bicolumn_verify::exact::circular_hole::KirschHole;
use bicolumn_verify::imposed::Body;
use bicolumn_verify::meshes::holed_plate::{FACES, HoledPlate, RIM};
use std::error::Error;

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
    let mesh = plate.mesh()?;

    // Displacements of the infinite body on the rim, its tractions on the faces; the hole is free.
    let found = Body::new(mesh, exact.young_mpa, exact.poisson)
        .impose(RIM, |x| exact.displacement_mm(x))
        .pull(
            |surface| FACES.contains(&surface),
            |x, normal| exact.stress_mpa(x).traction(normal),
        )
        .solve(&SolveOptions::default())?;

    let beside = Vec3::new(0.0, exact.radius_mm, 0.5 * plate.thickness_mm);
    let (peak, _) = found.stress_near(beside);
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
