//! Input of the mesher: implicit surfaces, an ordered list of cuts, a size field.

use crate::SurfaceName;
use bicolumn_base::{Aabb, Part, Vec3};
use bicolumn_geometry::Field;
use serde::{Deserialize, Serialize};

/// Index of a surface in a blueprint; also its bit in a vertex's provenance word (`u128`).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SurfaceId(pub u8);

/// A region number while cutting. Label 0 is void from the start; `Blueprint::parts` says what each
/// label becomes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Label(pub u8);

impl Label {
    /// Nothing there.
    pub const VOID: Label = Label(0);
}

/// One cut: tetrahedra that `within` accepts are split along the surface and relabelled by side.
pub struct CutStep<'a> {
    /// The surface.
    pub surface: SurfaceId,
    /// Tetrahedra outside this box are not looked at.
    pub bounds: Aabb,
    /// May this tetrahedron be cut (label, centroid)?
    pub within: Box<dyn Fn(Label, Vec3) -> bool + Sync + 'a>,
    /// The label afterwards: (label before, is on the positive side, centroid).
    pub relabel: Box<dyn Fn(Label, bool, Vec3) -> Label + Sync + 'a>,
}

/// How the background lattice lies in the bone frame.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LatticePose {
    /// Shift along the bone's axes.
    pub shift_mm: [f64; 3],
    /// Rotation as a scaled axis.
    pub rotation_rad: [f64; 3],
}

impl Default for LatticePose {
    /// Turned a little, so that no lattice plane lies along a plane of the construct.
    fn default() -> Self {
        LatticePose {
            shift_mm: [0.11, 0.07, 0.19],
            rotation_rad: [0.31, 0.17, 0.43],
        }
    }
}

/// Body that must come out in one connected piece.
#[derive(Debug, Clone, PartialEq)]
pub struct Body {
    /// Its name in errors.
    pub name: String,
    /// Its parts.
    pub parts: Vec<Part>,
    /// About what volume it has; `None` where nothing but the mesh tells.
    pub volume_mm3: Option<f64>,
}

/// Rule by which facets get their surface: (surface, part on one side, centroid of the facet).
pub type MayBound<'a> = dyn Fn(SurfaceName, Part, Vec3) -> bool + Sync + 'a;

/// A meshing task.
pub struct Blueprint<'a> {
    /// Surfaces with their names, in bit order.
    pub surfaces: Vec<(SurfaceName, Box<dyn Field + 'a>)>,
    /// Cuts, in order; everything starts as [`Label::VOID`].
    pub steps: Vec<CutStep<'a>>,
    /// Part of each label; tetrahedra of labels with `None`, or beyond the end, are dropped.
    pub parts: Vec<Option<Part>>,
    /// Bodies checked to be connected and of their volume.
    pub bodies: Vec<Body>,
    /// May a facet of a part lie on a surface? Asked where the corners of a facet share more than one surface.
    pub may_bound: Box<MayBound<'a>>,
    /// Segments that lattice vertices are drawn onto before the first cut: axes of rods hardly thicker
    /// than a cell, whose cross-section would otherwise have no vertex inside.
    pub axes: Vec<[Vec3; 2]>,
    /// Box that holds all material.
    pub bounds: Aabb,
    /// Estimated signed distance to the material (negative inside), mm; lattice cells farther away
    /// than about their size are dropped.
    pub material: Box<dyn Fn(Vec3) -> f64 + Sync + 'a>,
    /// Wanted edge length at a point, mm.
    pub size: Box<dyn Fn(Vec3) -> f64 + Sync + 'a>,
    /// Finest lattice cell, mm.
    pub finest_mm: f64,
    /// How many times a lattice cell may double.
    pub levels: u32,
    /// Where the lattice lies.
    pub pose: LatticePose,
}
