//! Errors of the mesher: faults that a gate found, and inputs that it refuses.

use crate::RegionFeature;
use bicolumn_base::{Part, Vec3};
use std::fmt;
use thiserror::Error;

/// Error of the mesher.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum MeshError {
    /// A mesh that did not pass a gate, on any try.
    #[error("no valid mesh: {gate}: {0}", gate = .0.gate())]
    Gate(GateFault),
    /// More surfaces than a vertex's classification has bits.
    #[error("the construct has {found} surfaces, the mesher takes {limit}")]
    TooManySurfaces {
        /// Number of surfaces.
        found: usize,
        /// Number of bits.
        limit: usize,
    },
    /// A region round a feature that the construct does not have.
    #[error(
        "region {region}: this construct has no {feature}; it has {}",
        listed(exist)
    )]
    NoSuchFeature {
        /// The region's name.
        region: String,
        /// Feature that the region lies round.
        feature: RegionFeature,
        /// Features of the construct.
        exist: Vec<RegionFeature>,
    },
    /// A size field that leaves out a part of the construct.
    #[error(
        "the size field covers {} mm, the construct reaches {} mm",
        between(covered_mm),
        between(needed_mm)
    )]
    SizeFieldTooSmall {
        /// Lower and upper corner of the field's grid.
        covered_mm: [[f64; 3]; 2],
        /// Lower and upper corner of the box that it must cover.
        needed_mm: [[f64; 3]; 2],
    },
}

/// Fault of a mesh, found by one of its gates; places in mm.
#[derive(Debug, Clone, PartialEq)]
pub enum GateFault {
    /// Tetrahedra on both sides of a surface that was cut.
    Straddling {
        /// Number of tetrahedra.
        tets: usize,
    },
    /// No tetrahedron with a part.
    NoMaterial,
    /// A tetrahedron whose volume is not positive.
    NotPositive {
        /// Part of the tetrahedron.
        part: Part,
        /// Centroid.
        at: [f64; 3],
    },
    /// A given tetrahedron without volume.
    Flat {
        /// Number of the tetrahedron.
        tet: usize,
        /// Centroid.
        at: [f64; 3],
    },
    /// A given tetrahedron with a vertex that is not there.
    UnknownVertex {
        /// Number of the tetrahedron.
        tet: usize,
        /// Number of the vertex.
        vertex: u32,
        /// Number of vertices.
        vertices: usize,
    },
    /// A given vertex that no tetrahedron has.
    UnusedVertex {
        /// Number of the vertex.
        vertex: usize,
    },
    /// A face of three tetrahedra or more.
    OverfullFace {
        /// Vertices of the face.
        vertices: [u32; 3],
        /// Centroid.
        at: [f64; 3],
    },
    /// A body without tetrahedra.
    MissingBody {
        /// Name of the body.
        body: String,
    },
    /// A body in several connected components.
    BrokenBody {
        /// Name of the body.
        body: String,
        /// Number of components.
        pieces: usize,
        /// Volume of the smallest component, mm³.
        smallest_mm3: f64,
        /// Centroid of the smallest component.
        at: [f64; 3],
    },
    /// A body whose volume is not that of its shape.
    Volume {
        /// Name of the body.
        body: String,
        /// Meshed volume over the shape's.
        share: f64,
        /// Centroid.
        at: [f64; 3],
    },
    /// Material joined along edges alone: non-manifold edges of the whole mesh.
    Hinged {
        /// Parts at the first such edge.
        parts: Vec<Part>,
        /// Number of such edges.
        edges: usize,
        /// Middle of the first.
        at: [f64; 3],
    },
    /// A boundary or interface facet that lies on no surface.
    Unclassified {
        /// Part of the facet's tetrahedron.
        part: Part,
        /// Centroid.
        at: [f64; 3],
    },
    /// A split mesh whose facet pairs do not match.
    Pairs {
        /// Rule that is broken.
        fault: PairFault,
        /// Corner of the pair.
        at: [f64; 3],
    },
}

/// Rule of a split mesh that is broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PairFault {
    /// A facet in two pairs.
    InTwoPairs,
    /// A pair whose nodes are not those of its facets.
    OtherNodes,
    /// A facet of an interface that still shares its nodes.
    NotSplit,
    /// Facets of a pair with normals that are not opposite.
    NotFacing,
    /// Nodes of a pair with different origins.
    NotMatching,
    /// A facet outside the pairs that has lost its neighbour's nodes.
    LostNeighbour,
}

impl GateFault {
    /// Name of the gate that found the fault.
    pub fn gate(&self) -> &'static str {
        match self {
            GateFault::Straddling { .. } => "cut",
            GateFault::NoMaterial => "material",
            GateFault::NotPositive { .. } | GateFault::Flat { .. } => "orientation",
            GateFault::UnknownVertex { .. } | GateFault::UnusedVertex { .. } => "vertices",
            GateFault::OverfullFace { .. } => "conformity",
            GateFault::MissingBody { .. } | GateFault::BrokenBody { .. } => "pieces",
            GateFault::Volume { .. } => "volume",
            GateFault::Hinged { .. } => "hinges",
            GateFault::Unclassified { .. } => "facets",
            GateFault::Pairs { .. } => "split",
        }
    }

    /// Place of the fault, mm; `None` where it has none.
    pub fn at(&self) -> Option<Vec3> {
        match self {
            GateFault::Straddling { .. }
            | GateFault::NoMaterial
            | GateFault::UnknownVertex { .. }
            | GateFault::UnusedVertex { .. }
            | GateFault::MissingBody { .. } => None,
            GateFault::NotPositive { at, .. }
            | GateFault::Flat { at, .. }
            | GateFault::OverfullFace { at, .. }
            | GateFault::BrokenBody { at, .. }
            | GateFault::Volume { at, .. }
            | GateFault::Hinged { at, .. }
            | GateFault::Unclassified { at, .. }
            | GateFault::Pairs { at, .. } => Some(Vec3::from(*at)),
        }
    }
}

impl From<GateFault> for MeshError {
    fn from(fault: GateFault) -> Self {
        MeshError::Gate(fault)
    }
}

impl fmt::Display for GateFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            GateFault::Straddling { tets } => {
                write!(f, "{tets} tetrahedra lie astride a surface")?;
            }
            GateFault::NoMaterial => {
                f.write_str("no tetrahedron has a part: the blueprint's cuts leave nothing")?;
            }
            GateFault::NotPositive { part, .. } => write!(f, "{part}: volume not positive")?,
            GateFault::Flat { tet, .. } => write!(f, "tetrahedron {tet} is flat")?,
            GateFault::UnknownVertex {
                tet,
                vertex,
                vertices,
            } => write!(f, "tetrahedron {tet} names vertex {vertex} of {vertices}")?,
            GateFault::UnusedVertex { vertex } => {
                write!(f, "no tetrahedron uses vertex {vertex}")?;
            }
            GateFault::OverfullFace { vertices, .. } => {
                write!(f, "face {vertices:?} belongs to more than two tetrahedra")?;
            }
            GateFault::MissingBody { body } => write!(f, "{body} is missing")?,
            GateFault::BrokenBody {
                body,
                pieces,
                smallest_mm3,
                ..
            } => write!(
                f,
                "{body} is in {pieces} pieces, the smallest of {smallest_mm3:.2} mm3"
            )?,
            GateFault::Volume { body, share, .. } => {
                write!(f, "{body} has {:.0} % of its volume,", 100.0 * share)?;
            }
            GateFault::Hinged { parts, edges, .. } => {
                let names: Vec<String> = parts.iter().map(ToString::to_string).collect();
                let around = names.join(" and ");
                write!(f, "{around}: {edges} edges joined like a hinge, the first")?;
            }
            GateFault::Unclassified { part, .. } => {
                write!(f, "{part}: a facet that no surface claims")?;
            }
            GateFault::Pairs { fault, .. } => fault.fmt(f)?,
        }
        match self.at() {
            Some(at) => write!(f, " at ({:.2}, {:.2}, {:.2}) mm", at.x, at.y, at.z),
            None => Ok(()),
        }
    }
}

impl fmt::Display for PairFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            PairFault::InTwoPairs => "a facet belongs to two pairs",
            PairFault::OtherNodes => "a pair's nodes are not its facets' nodes",
            PairFault::NotSplit => "a facet of an interface was not split",
            PairFault::NotFacing => "the facets of a pair do not face each other",
            PairFault::NotMatching => "nodes of a pair do not match",
            PairFault::LostNeighbour => "a facet lost its neighbour",
        })
    }
}

fn listed(features: &[RegionFeature]) -> String {
    if features.is_empty() {
        return "none".into();
    }
    let names: Vec<String> = features.iter().map(ToString::to_string).collect();
    names.join(", ")
}

fn between(corners: &[[f64; 3]; 2]) -> String {
    let [from, to] = corners.map(|c| format!("({:.1}, {:.1}, {:.1})", c[0], c[1], c[2]));
    format!("from {from} to {to}")
}
