//! The outside of the parametric humerus as a binary STL file, for jobs that import a bone.

use bicolumn_base::{Aabb, Fragment, Part, Tissue, Vec3};
use bicolumn_geometry::{Bone, Field};
use bicolumn_mesh::{
    Blueprint, CutStep, Label, LatticePose, MeshError, SurfaceId, SurfaceName, build,
};

struct Outside<'a>(&'a dyn Field);

impl Field for Outside<'_> {
    fn value(&self, x: Vec3) -> f64 {
        self.0.value(x)
    }

    fn gradient(&self, x: Vec3) -> Vec3 {
        self.0.gradient(x)
    }
}

struct Top(f64);

impl Field for Top {
    fn value(&self, x: Vec3) -> f64 {
        x.y - self.0
    }
}

/// Closed surface of a bone's outside up to a level, by triangles of about the given edge length, mm.
///
/// # Errors
/// [`MeshError`] when the solid cannot be meshed.
pub fn humerus_surface(bone: &Bone, top_mm: f64, edge_mm: f64) -> Result<Vec<u8>, MeshError> {
    let inside = Label(1);
    let outer = bone.outer();
    let step = |surface, within: Label, keep: Label| CutStep {
        surface: SurfaceId(surface),
        bounds: Aabb::EVERYWHERE,
        within: Box::new(move |l, _| l == within),
        relabel: Box::new(move |_, out, _| if out { Label::VOID } else { keep }),
    };
    let mut bounds = outer.bounds();
    bounds.max.y = top_mm;
    let mesh = build(&Blueprint {
        surfaces: vec![
            (SurfaceName::BoneOuter, Box::new(Outside(outer))),
            (SurfaceName::ProximalEnd, Box::new(Top(top_mm))),
        ],
        steps: vec![step(0, Label::VOID, inside), step(1, inside, inside)],
        parts: vec![None, Some(Part::Bone(Fragment::Proximal, Tissue::Cortical))],
        bodies: Vec::new(),
        may_bound: Box::new(|_, _, _| true),
        bounds: bounds.grown(2.0),
        material: Box::new(move |x| outer.value(x).max(x.y - top_mm)),
        size: Box::new(move |_| edge_mm),
        axes: Vec::new(),
        finest_mm: edge_mm,
        levels: 0,
        pose: LatticePose::default(),
    })?;
    let mut bytes = b"outside of the parametric humerus, mm; invented".to_vec();
    bytes.resize(80, b' ');
    let facets: Vec<_> = mesh.free_facets().collect();
    bytes.extend((facets.len() as u32).to_le_bytes());
    for f in facets {
        bytes.extend([0; 12]);
        for n in &f.nodes[..3] {
            for x in mesh.nodes[*n as usize].iter() {
                bytes.extend((*x as f32).to_le_bytes());
            }
        }
        bytes.extend([0; 2]);
    }
    Ok(bytes)
}
