//! The cut program of a construct: which surfaces, in which order, at which sizes.
//!
//! The order is the point: every surface cuts only what the steps before it made, so a screw may end
//! in bone, a plate stops at the bone, and the fracture leaves the hardware whole.
//!
//! 1. bone outside, potting plane, endosteal surface, canal floor;
//! 2. each plate: underside (where it stands off), top, outline, empty holes;
//! 3. each screw: its head where that is a body of its own, side, then tip;
//! 4. the fracture, through bone only.

mod bodies;
mod bone_cuts;
mod distance;
mod fracture_cuts;
mod label;
mod level_sets;
mod plate_cuts;
mod screw_cuts;
mod sizes;
mod sizing;
mod writer;

pub use sizing::Sizing;

use crate::face_names;
use crate::surfaces::SURFACE_LIMIT;
use crate::{Blueprint, MeshError, RegionFeature, RegionPlace, SurfaceName, TetMesh};
use bicolumn_base::{Aabb, Part, Vec3};
use bicolumn_geometry::{Construct, Field, Head};
use bodies::{bodies, parts};
use bone_cuts::proximal_plane;
use distance::{head_distance, plate_distance, screw_distance};
use sizes::CellSizes;
use writer::Writer;

/// Meshes a construct.
///
/// # Errors
/// [`MeshError`] when no valid mesh was found, with the gate and the place.
pub fn mesh_construct(construct: &Construct, sizing: &Sizing) -> Result<TetMesh, MeshError> {
    let mut mesh = crate::build(&blueprint(construct, sizing)?)?;
    face_names::settle(&mut mesh, &construct.screws);
    Ok(mesh)
}

/// How far round a feature tetrahedra are offered to its cut, in lattice cells: more than the largest
/// tetrahedron that can straddle the feature's boundary.
const MARGIN_CELLS: f64 = 3.0;

/// Writes the cut program of a construct.
///
/// # Errors
/// [`MeshError::TooManySurfaces`] for more plates, holes and screws than the mesher can tell apart,
/// [`MeshError::SizeFieldTooSmall`] for a size field that does not cover the construct,
/// [`MeshError::NoSuchFeature`] for a region round what the construct does not have.
pub fn blueprint<'a>(
    construct: &'a Construct,
    sizing: &'a Sizing,
) -> Result<Blueprint<'a>, MeshError> {
    let screw_limit = label::MOST_SCREWS;
    if construct.screws.len() > screw_limit {
        return Err(MeshError::TooManySurfaces {
            found: construct.screws.len(),
            limit: screw_limit,
        });
    }
    check_cover(construct, sizing)?;
    check_features(construct, sizing)?;
    let sizes = CellSizes::of(construct, sizing);
    let margin = MARGIN_CELLS * sizes.at_hardware_mm();
    let mut w = Writer::new();
    bone_cuts::cut(&mut w, construct);
    for (i, plate) in construct.plates.iter().enumerate() {
        plate_cuts::cut(&mut w, construct, plate, label::PLATE + i as u8, margin);
    }
    for (i, screw) in construct.screws.iter().enumerate() {
        let own = label::SCREW + i as u8;
        screw_cuts::cut(&mut w, construct, screw, own, margin);
    }
    if let Some(fracture) = &construct.fracture {
        fracture_cuts::cut(&mut w, fracture, construct.canal_floor.is_none());
    }
    if w.surfaces.len() > SURFACE_LIMIT {
        return Err(MeshError::TooManySurfaces {
            found: w.surfaces.len(),
            limit: SURFACE_LIMIT,
        });
    }

    let end = proximal_plane(construct);
    let outer = construct.bone.outer();
    let material = Box::new(move |x: Vec3| {
        let mut d = outer.value(x).max(end.value(x));
        for p in &construct.plates {
            d = d.min(plate_distance(construct, p, x));
        }
        for s in &construct.screws {
            d = d.min(screw_distance(construct, s, x));
            d = d.min(head_distance(construct, s, x));
        }
        d
    });
    Ok(Blueprint {
        surfaces: w.surfaces,
        steps: w.steps,
        parts: parts(construct),
        bodies: bodies(construct),
        may_bound: Box::new(move |name, part, at| may_bound(construct, name, part, at)),
        bounds: material_box(construct).grown(2.0),
        material,
        axes: construct
            .screws
            .iter()
            .map(|s| [s.entry, s.tip()])
            .collect(),
        finest_mm: sizes.finest_mm(),
        levels: sizes.levels(),
        size: Box::new(move |x| sizes.at(x)),
        pose: sizing.pose,
    })
}

/// May a surface bound a part at a point? Other screws, the bone's surfaces and the fracture bound no screw, but for
/// the bone under a head that is a body of its own: a facet with all corners on the rim of a screw's hole is of the
/// screw's side.
fn may_bound(construct: &Construct, name: SurfaceName, part: Part, at: Vec3) -> bool {
    use SurfaceName as N;
    let Part::Screw(number) = part else {
        return true;
    };
    match name {
        N::BoneOuter => construct.screws.iter().any(|s| {
            let is_under_head = (at - s.entry).dot(&s.direction) < 0.5 * s.length_mm;
            s.number == number && s.head != Head::Locked && is_under_head
        }),
        N::ScrewSide(n) | N::ScrewTip(n) => n == number,
        N::HeadSeat(n) | N::HeadTop(n) | N::HeadRim(n) => n == number,
        N::BoneInner | N::CanalFloor | N::ProximalEnd => false,
        N::FractureProximal | N::FractureDistal | N::FractureStep => false,
        N::SplitMedial | N::SplitLateral => false,
        _ => true,
    }
}

/// A size field must reach as far as the construct does, but for one of its cells.
fn check_cover(construct: &Construct, sizing: &Sizing) -> Result<(), MeshError> {
    let Some(field) = &sizing.size_field else {
        return Ok(());
    };
    let needed = material_box(construct);
    let covered = field.bounds();
    let slack = covered.grown(field.spacing_mm());
    if slack.contains(needed.min) && slack.contains(needed.max) {
        return Ok(());
    }
    let corners = |b: &Aabb| [b.min, b.max].map(<[f64; 3]>::from);
    Err(MeshError::SizeFieldTooSmall {
        covered_mm: corners(&covered),
        needed_mm: corners(&needed),
    })
}

fn check_features(construct: &Construct, sizing: &Sizing) -> Result<(), MeshError> {
    let exist = RegionFeature::all_of(construct);
    for region in &sizing.regions {
        match region.place {
            RegionPlace::Around { feature, .. } if !exist.contains(&feature) => {
                return Err(MeshError::NoSuchFeature {
                    region: region.name.clone(),
                    feature,
                    exist,
                });
            }
            _ => {}
        }
    }
    Ok(())
}

/// A box that holds all bone, plates and screws of a construct.
pub fn material_box(construct: &Construct) -> Aabb {
    let mut b = construct.bone.outer().bounds();
    // The bone's surface goes on above any level; the cut face ends it.
    b.max.y = construct.bone.spec().top_level_mm();
    for p in &construct.plates {
        let o = p.outline().bounds();
        b = b.including(o.min).including(o.max);
    }
    for s in &construct.screws {
        b = b.including(s.tip()).including(s.entry);
        if let Head::OnBone {
            diameter_mm,
            height_mm,
        } = s.head
        {
            let head = Aabb::around(&[s.entry - s.direction * height_mm]).grown(0.5 * diameter_mm);
            b = b.including(head.min).including(head.max);
        }
    }
    b
}
