//! A rough guess of a point's size, memory and time before it is meshed.
//!
//! Tetrahedra: the cell size h(x) of the cut program, halved from the coarsest cell as the lattice does
//! it, integrated as n = c ∫ h⁻³ dV over the material by samples on a regular grid. Memory and time
//! follow from measured costs a tetrahedron.
//! The three constants are fits to measured points and good to about a factor of 1.5: they serve to
//! decide how many points run at once and to tell minutes from hours, nothing else.

use bicolumn_geometry::Construct;
use bicolumn_mesh::{MeshError, Sizing, program};

/// Guess for one point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// Tetrahedra.
    pub tets: f64,
    /// Unknowns of the linear system: three a node.
    pub unknowns: f64,
    /// Largest memory in use, bytes.
    pub bytes: f64,
    /// Seconds on one thread.
    pub seconds: f64,
}

/// Tetrahedra in a cube of the wanted size: 12 in a lattice cell, more where surfaces cut.
const TETS_A_CUBE: f64 = 16.0;
/// Unknowns a tetrahedron of ten nodes in an unstructured mesh: about 1.45 nodes.
const UNKNOWNS_A_TET: f64 = 4.35;
/// Memory of matrix, factor and vectors, bytes an unknown.
const BYTES_AN_UNKNOWN: f64 = 3_000.0;
/// Time of all stages on one thread, seconds an unknown.
const SECONDS_AN_UNKNOWN: f64 = 5e-5;
/// Distance between samples, mm.
const STEP_MM: f64 = 2.0;

/// Estimates a point from its construct and mesh sizes.
///
/// # Errors
/// The cut program cannot be written: [`MeshError`].
pub fn estimate(construct: &Construct, sizing: &Sizing) -> Result<Estimate, MeshError> {
    let plan = program::blueprint(construct, sizing)?;
    let (low, high) = (plan.bounds.min, plan.bounds.max);
    let count = |i: usize| ((high[i] - low[i]) / STEP_MM).ceil().max(1.0) as usize;
    let mut cubes = 0.0;
    for i in 0..count(0) {
        for j in 0..count(1) {
            for k in 0..count(2) {
                let at = |n: usize| (n as f64 + 0.5) * STEP_MM;
                let x = low + bicolumn_base::Vec3::new(at(i), at(j), at(k));
                if (plan.material)(x) < 0.0 {
                    let doublings = ((plan.size)(x) / plan.finest_mm).log2().floor();
                    let cell =
                        plan.finest_mm * 2_f64.powf(doublings.clamp(0.0, f64::from(plan.levels)));
                    cubes += (STEP_MM / cell).powi(3);
                }
            }
        }
    }
    Ok(Estimate::of_tets(TETS_A_CUBE * cubes))
}

impl Estimate {
    /// Memory and time of a mesh of so many tetrahedra.
    pub fn of_tets(tets: f64) -> Estimate {
        let unknowns = UNKNOWNS_A_TET * tets;
        Estimate {
            tets,
            unknowns,
            bytes: BYTES_AN_UNKNOWN * unknowns,
            seconds: SECONDS_AN_UNKNOWN * unknowns,
        }
    }
}

/// Memory that the machine says is free for new work, bytes; `None` where it does not say.
pub fn available_bytes() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/meminfo").ok()?;
    let line = text.lines().find(|l| l.starts_with("MemAvailable:"))?;
    let kib: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib * 1024.0)
}
