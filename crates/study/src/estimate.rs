//! A guess of a point's size, memory and time before it is meshed.
//!
//! Cells: the lattice's own rule (halve a cell while it is wider than what is wanted in it) walked over
//! the construct, without the lattice's balancing and cutting, which a measured factor stands for.
//! Memory and time follow from the unknowns, by the cost model of `bicolumn_solve`. The figures and their spread are
//! printed by `cargo run --release -p bicolumn-bench --example estimate_table`; they serve to decide
//! how many points run at once and to tell minutes from hours.

use bicolumn_base::Vec3;
use bicolumn_geometry::Construct;
use bicolumn_mesh::{Blueprint, MeshError, Sizing, program};
use bicolumn_solve::cost;

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

/// Tetrahedra for each cell's worth of material, balancing and cutting included: 12 fill a cell.
/// Fitted to the six meshes of the first-look job when they had 0.28 to 0.29 million tetrahedra. Of the present ones,
/// 0.30 to 0.31 million, it gives 0.98 to 1.00.
const TETS_A_CELL: f64 = 11.9;
/// Unknowns a tetrahedron of ten nodes: 4.54 to 4.56 on the same meshes.
const UNKNOWNS_A_TET: f64 = 4.55;

/// Tetrahedra of a construct's mesh by its sizes, before it is meshed.
///
/// # Errors
/// The cut program cannot be written: [`MeshError`].
pub fn tetrahedra(construct: &Construct, sizing: &Sizing) -> Result<f64, MeshError> {
    let plan = program::blueprint(construct, sizing)?;
    Ok(TETS_A_CELL * cells_of_material(&plan))
}

/// Cells that the lattice would fill with material, those at its boundary in part.
fn cells_of_material(plan: &Blueprint<'_>) -> f64 {
    let width = plan.finest_mm * 2_f64.powi(plan.levels as i32);
    let (low, high) = (plan.bounds.min, plan.bounds.max);
    let count = |i: usize| ((high[i] - low[i]) / width).ceil().max(1.0) as usize;
    let mut cells = 0.0;
    for i in 0..count(0) {
        for j in 0..count(1) {
            for k in 0..count(2) {
                let at = Vec3::new(i as f64, j as f64, k as f64).add_scalar(0.5);
                cells += cells_in(plan, low + at * width, width, plan.levels);
            }
        }
    }
    cells
}

/// Cells in a cube about a centre: one, or those of its eight children.
fn cells_in(plan: &Blueprint<'_>, centre: Vec3, width: f64, doublings: u32) -> f64 {
    let distance = (plan.material)(centre);
    // No part of the cube holds material.
    if distance > 0.87 * width {
        return 0.0;
    }
    if doublings > 0 && width > 1.01 * wanted(plan, centre, width) {
        let children = corners(centre, 0.25 * width);
        return children.fold(0.0, |sum, c| {
            sum + cells_in(plan, c, 0.5 * width, doublings - 1)
        });
    }
    (0.5 - distance / width).clamp(0.0, 1.0)
}

/// Least wanted size at the centre and near every other corner of a cube: the lattice looks at more
/// places, which takes as long as laying the lattice.
fn wanted(plan: &Blueprint<'_>, centre: Vec3, width: f64) -> f64 {
    let every_other = corners(centre, width / 3.0)
        .enumerate()
        .filter(|(k, _)| [0, 3, 5, 6].contains(k))
        .map(|(_, x)| x);
    every_other.fold((plan.size)(centre), |least, x| least.min((plan.size)(x)))
}

fn corners(centre: Vec3, reach: f64) -> impl Iterator<Item = Vec3> {
    (0..8).map(move |k| {
        let side = |axis: i32| if k >> axis & 1 == 1 { reach } else { -reach };
        centre + Vec3::new(side(0), side(1), side(2))
    })
}

impl Estimate {
    /// Memory and time of a point whose mesh has so many tetrahedra, for `cases` load cases solved to a relative
    /// residual of `tolerance`, with or without estimates of its discretisation errors.
    pub fn new(tets: f64, cases: usize, tolerance: f64, has_error_estimates: bool) -> Estimate {
        let unknowns = UNKNOWNS_A_TET * tets;
        let mut cost = cost::point(unknowns, cases, tolerance);
        if has_error_estimates {
            let more = cost::error_estimates(unknowns);
            cost.seconds += more.seconds;
            cost.bytes += more.bytes;
        }
        Estimate {
            tets,
            unknowns,
            bytes: cost.bytes,
            seconds: cost.seconds,
        }
    }
}
