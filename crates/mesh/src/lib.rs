//! Conforming multi-material tetrahedra by lattice, cut and improvement.
//!
//! Doors: [`mesh_construct`] for a construct, [`build`] for any [`Blueprint`],
//! [`TetMesh::from_straight_tets`] for given tetrahedra, [`split()`] for interfaces with two sides.
//!
//! Method: a graded body-centred cubic lattice is cut along implicit surfaces in order, by warping near vertices and
//! splitting crossed edges (in the spirit of isosurface stuffing, Labelle and Shewchuk 2007, ACM Trans Graph 26:57);
//! local operations improve the worst tetrahedra (Klingner and Shewchuk 2007, Proc 16th Int Meshing Roundtable);
//! straight tetrahedra are promoted to curved ten-node ones. The module headers name source and algorithm of each step;
//! words are explained in docs/glossary.md.
//!
//! # Known limits
//! At most 127 surfaces. Features thinner than the lattice's cells are not resolved: a wall or gap may be bridged, an
//! island of it is removed; so sizes must follow the thinnest feature. No proven bound on angles: a mesh that keeps an
//! angle below 10 degrees after all retries is returned with its quality table. Surfaces that meet at less than about 8
//! degrees are treated as parallel there.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod adjacency;
mod axes;
pub mod blueprint;
mod bodies;
mod build;
mod candidate;
mod complex;
mod curved;
mod curved_edges;
mod cut;
pub mod error;
mod face_names;
mod gates;
mod improve;
mod islands;
mod kuhn;
mod lattice;
mod manifold;
mod order;
pub mod program;
mod promote;
mod quality;
pub mod region;
pub mod size_field;
pub mod split;
mod straight;
mod surfaces;
#[cfg(test)]
mod test_cubes;
mod tet;
pub mod tet_mesh;
mod untangle;

pub use blueprint::{Blueprint, Body, CutStep, Label, LatticePose, SurfaceId};
pub use build::build;
pub use error::{GateFault, MeshError, PairFault};
pub use kuhn::kuhn_cell;
pub use program::{Sizing, mesh_construct};
pub use region::{RegionFeature, RegionPlace, SizeRegion};
pub use size_field::{SizeField, SizeFieldError};
pub use split::{
    FacetPair, Interface, PairKind, PairSet, SplitMesh, split, split_into, split_kinds,
};
pub use tet_mesh::{Facet, Fallback, MeshStages, Quality, SurfaceName, TetMesh, UnknownFallback};
