//! Evidence of mesh and solution, as a record keeps it.

use crate::number;
use serde::{Deserialize, Serialize};

/// Quality table of a mesh, over straight-sided tetrahedra.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct MeshRecord {
    pub tets: usize,
    pub vertices: usize,
    pub nodes: usize,
    #[serde(with = "number")]
    pub min_dihedral_deg: f64,
    #[serde(with = "number")]
    pub max_dihedral_deg: f64,
    /// Least 3·inradius/circumradius (1 for the regular tetrahedron).
    #[serde(with = "number")]
    pub min_radius_ratio: f64,
    /// Share of tetrahedra whose least dihedral angle is below 10, 18 and 20 degrees.
    #[serde(with = "number")]
    pub share_below_10_deg: f64,
    #[serde(with = "number")]
    pub share_below_18_deg: f64,
    #[serde(with = "number")]
    pub share_below_20_deg: f64,
    /// (part name, tetrahedra, volume mm³).
    pub parts: Vec<(String, usize, f64)>,
    /// Share of the curved-surface midside nodes that sit on the true surface.
    #[serde(with = "number")]
    pub curved_share: f64,
    /// Share of the elements with a curved edge for whose sake a midside node was drawn back.
    #[serde(default, with = "number")]
    pub straightened_share: f64,
    /// Least det J of a curved element (lower bound), over that of the straight element.
    #[serde(default, with = "number")]
    pub min_jacobian_share: f64,
    /// Facets that no surface claims.
    pub unclassified_facets: usize,
    /// Connected components.
    pub components: usize,
    /// Non-manifold edges of single parts.
    pub pinched_edges: usize,
    /// Non-manifold edges of all material.
    pub hinged_edges: usize,
    /// Largest distance of a facet's corner from the facet's surface, mm.
    #[serde(with = "number")]
    pub surface_error_mm: f64,
    /// Place of the worst tetrahedron, mm.
    pub worst_at: [f64; 3],
    /// Retry of the mesher that gave the mesh: 0 none, 1 a shifted lattice, 2 a finer lattice.
    pub fallback: u8,
}

/// Report of the linear solver, all load cases together.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct SolverRecord {
    /// `multigrid`, `aggregation`, `direct`.
    pub method: String,
    pub unknowns: usize,
    /// Load cases solved; the others are multiples of one of them.
    pub right_sides: usize,
    pub iterations: usize,
    /// Relative residual of each load case at the end.
    #[serde(with = "number::list")]
    pub residuals: Vec<f64>,
    /// Smallest relative residual of each load case that double precision can promise.
    #[serde(with = "number::list")]
    pub rounding_floors: Vec<f64>,
    /// Load cases whose residual ended at the rounding floor, above the tolerance asked for.
    pub stopped_at_floor: Vec<bool>,
    /// Largest residual over the load cases, by iteration.
    #[serde(with = "number::list")]
    pub history: Vec<f64>,
    #[serde(with = "number")]
    pub assemble_s: f64,
    #[serde(with = "number")]
    pub setup_s: f64,
    #[serde(with = "number")]
    pub solve_s: f64,
    /// Estimated and measured bytes of matrices, factors and vectors.
    pub estimated_bytes: u64,
    pub used_bytes: u64,
    /// Imbalance of loads and reactions by load case, the larger of force and moment.
    #[serde(with = "number::list")]
    pub equilibrium: Vec<f64>,
}
