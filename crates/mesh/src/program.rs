//! The cut program of a construct: which surfaces, in which order, at which sizes.
//!
//! The order is the point: every surface cuts only what the steps before it made, so a screw may end
//! in bone, a plate stops at the bone, and the fracture leaves the hardware whole.
//!
//! 1. bone outside, potting plane, endosteal surface, canal floor;
//! 2. each plate: underside (where it stands off), top, outline, empty holes;
//! 3. each screw: its head where that is a body of its own, side, then tip;
//! 4. the fracture, through bone only.

mod fracture_cuts;
mod screw_cuts;
mod sizes;

use crate::face_names;
use crate::surfaces::SURFACE_LIMIT;
use crate::{
    Blueprint, Body, CutStep, Label, LatticePose, MeshError, RegionFeature, RegionPlace, SizeField,
    SizeRegion, SurfaceId, SurfaceName, TetMesh,
};
use bicolumn_base::{Aabb, Fragment, Part, Tissue, Vec3};
use bicolumn_geometry::{Construct, Field, Head, Hole, Plate, Screw};
use serde::{Deserialize, Serialize};
use sizes::CellSizes;

/// Wanted edge lengths by feature.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Sizing {
    /// Finest lattice cell, mm: proximal plate ends, screws, hole rims.
    pub finest_mm: f64,
    /// Body of the plates, as a multiple of `finest_mm`.
    pub plate_ratio: f64,
    /// Fracture faces, as a multiple.
    pub fracture_ratio: f64,
    /// Far from all hardware, as a multiple.
    pub far_ratio: f64,
    /// Largest cell in a wall, as a multiple of the wall's own thickness.
    pub wall_ratio: f64,
    /// Largest cell at a screw, as a multiple of its radius.
    pub screw_ratio: f64,
    /// At the bone's surface round the uppermost screw of each plate, where the stress near its end peaks, as a
    /// multiple of `finest_mm`.
    pub riser_ratio: f64,
    /// Growth of the size with distance, mm per mm.
    pub growth: f64,
    /// Where the lattice lies: another pose gives another mesh of the same fineness.
    pub pose: LatticePose,
    /// In place of the sizes by feature; must cover [`program::material_box`](material_box).
    pub size_field: Option<SizeField>,
    /// Regions with a size of their own.
    pub regions: Vec<SizeRegion>,
}

impl Default for Sizing {
    fn default() -> Self {
        Sizing {
            finest_mm: 1.25,
            plate_ratio: 1.7,
            fracture_ratio: 1.7,
            far_ratio: 4.0,
            wall_ratio: 1.5,
            screw_ratio: 1.2,
            riser_ratio: 0.5,
            growth: 0.35,
            pose: LatticePose::default(),
            size_field: None,
            regions: Vec::new(),
        }
    }
}

/// Meshes a construct.
///
/// # Errors
/// [`MeshError`] when no valid mesh was found, with the gate and the place.
pub fn mesh_construct(construct: &Construct, sizing: &Sizing) -> Result<TetMesh, MeshError> {
    let mut mesh = crate::build(&blueprint(construct, sizing)?)?;
    face_names::settle(&mut mesh);
    Ok(mesh)
}

/// The labels of a construct while it is cut. Everything below `PLATE` that is not bone is dropped.
mod label {
    use crate::Label;

    pub(super) const CORTICAL: Label = Label(1);
    pub(super) const INSIDE: Label = Label(2);
    pub(super) const CANAL: Label = Label(3);
    /// Fracture gap: empty, or filled with healing tissue.
    pub(super) const GAP: Label = Label(4);
    /// Below the upper fracture plane, not yet told from the gap.
    pub(super) const BELOW_CORTICAL: Label = Label(5);
    pub(super) const BELOW_INSIDE: Label = Label(6);
    pub(super) const DISTAL_CORTICAL: Label = Label(7);
    pub(super) const DISTAL_INSIDE: Label = Label(8);
    /// Void between a plate and the bone.
    pub(super) const UNDER: Label = Label(9);
    /// Layer of a plate's thickness, before its outline is cut.
    pub(super) const SLAB: Label = Label(10);
    /// Between the planes of a gap that one column bridges, not yet told from that column.
    pub(super) const BETWEEN_CORTICAL: Label = Label(11);
    pub(super) const BETWEEN_INSIDE: Label = Label(12);
    /// The lateral part of a split distal fragment; the medial one keeps the label of the whole.
    pub(super) const LATERAL_CORTICAL: Label = Label(13);
    pub(super) const LATERAL_INSIDE: Label = Label(14);
    /// Free ring round a non-locking screw in its plate.
    pub(super) const RING: Label = Label(15);
    pub(super) const PLATE: u8 = 20;
    pub(super) const SCREW: u8 = 24;
    /// Added to a label inside a screw's cylinder before its tip is cut.
    pub(super) const IN_CYLINDER: u8 = 0x80;
    pub(super) const MOST_SCREWS: usize = (IN_CYLINDER - SCREW) as usize;
}

/// Void as far as cutting is concerned: nothing, or the slit under a plate.
fn is_void(l: Label) -> bool {
    l == Label::VOID || l == label::UNDER
}

/// Bone as far as screws are concerned: uncut by the fracture, the canal with it.
fn is_bone(l: Label) -> bool {
    matches!(l, label::CORTICAL | label::INSIDE | label::CANAL)
}

fn is_plate(l: Label) -> bool {
    (label::PLATE..label::SCREW).contains(&l.0)
}

/// Half-space: negative below the plane through `point` with unit `normal`.
struct Plane {
    point: Vec3,
    normal: Vec3,
}

impl Field for Plane {
    fn value(&self, x: Vec3) -> f64 {
        (x - self.point).dot(&self.normal)
    }
    fn gradient(&self, _x: Vec3) -> Vec3 {
        self.normal
    }
}

/// Endless cylinder: negative inside.
struct Cylinder {
    point: Vec3,
    axis: Vec3,
    radius_mm: f64,
    bounds: Aabb,
}

impl Cylinder {
    fn radial(&self, x: Vec3) -> Vec3 {
        let r = x - self.point;
        r - self.axis * r.dot(&self.axis)
    }
}

impl Field for Cylinder {
    fn value(&self, x: Vec3) -> f64 {
        self.radial(x).norm() - self.radius_mm
    }
    fn gradient(&self, x: Vec3) -> Vec3 {
        self.radial(x)
            .try_normalize(1e-12)
            .unwrap_or_else(Vec3::zeros)
    }
    fn bounds(&self) -> Aabb {
        self.bounds
    }
}

/// Another field, moved outwards by a distance.
struct Offset<'a> {
    of: &'a dyn Field,
    by_mm: f64,
}

impl Field for Offset<'_> {
    fn value(&self, x: Vec3) -> f64 {
        self.of.value(x) - self.by_mm
    }
    fn gradient(&self, x: Vec3) -> Vec3 {
        self.of.gradient(x)
    }
    fn bounds(&self) -> Aabb {
        self.of.bounds().grown(self.by_mm.max(0.0))
    }
}

/// Another field, unchanged.
struct Borrowed<'a>(&'a dyn Field);

impl Field for Borrowed<'_> {
    fn value(&self, x: Vec3) -> f64 {
        self.0.value(x)
    }
    fn gradient(&self, x: Vec3) -> Vec3 {
        self.0.gradient(x)
    }
    fn bounds(&self) -> Aabb {
        self.0.bounds()
    }
}

type Within<'a> = Box<dyn Fn(Label, Vec3) -> bool + Sync + 'a>;
type Relabel<'a> = Box<dyn Fn(Label, bool, Vec3) -> Label + Sync + 'a>;

/// A blueprint under construction.
struct Writer<'a> {
    surfaces: Vec<(SurfaceName, Box<dyn Field + 'a>)>,
    steps: Vec<CutStep<'a>>,
    /// Shells at a distance from the bone that are there already.
    shells: Vec<(f64, SurfaceId)>,
}

impl<'a> Writer<'a> {
    fn cut(
        &mut self,
        name: SurfaceName,
        field: Box<dyn Field + 'a>,
        bounds: Aabb,
        within: Within<'a>,
        relabel: Relabel<'a>,
    ) {
        let surface = self.surface(name, field);
        self.steps.push(CutStep {
            surface,
            bounds,
            within,
            relabel,
        });
    }

    fn surface(&mut self, name: SurfaceName, field: Box<dyn Field + 'a>) -> SurfaceId {
        self.surfaces.push((name, field));
        SurfaceId((self.surfaces.len() - 1).min(u8::MAX as usize) as u8)
    }

    /// The shell at a distance from the bone. Plates of equal stand-off or height share it: two
    /// surfaces in one place would be cut twice, a hair apart.
    fn shell(&mut self, name: SurfaceName, outer: &'a dyn Field, by_mm: f64) -> SurfaceId {
        if let Some((_, known)) = self.shells.iter().find(|s| s.0 == by_mm) {
            return *known;
        }
        let id = self.surface(name, Box::new(Offset { of: outer, by_mm }));
        self.shells.push((by_mm, id));
        id
    }
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
    let mut w = Writer {
        surfaces: Vec::new(),
        steps: Vec::new(),
        shells: Vec::new(),
    };
    cut_bone(&mut w, construct);
    for (i, plate) in construct.plates.iter().enumerate() {
        cut_plate(&mut w, construct, plate, label::PLATE + i as u8, margin);
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
            d = d.min(screw_cuts::head_distance(construct, s, x));
        }
        d
    });
    Ok(Blueprint {
        surfaces: w.surfaces,
        steps: w.steps,
        parts: parts(construct),
        bodies: bodies(construct),
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

fn parts(construct: &Construct) -> Vec<Option<Part>> {
    let mut parts = vec![None; label::SCREW as usize + construct.screws.len()];
    let mut set = |l: Label, p: Part| parts[l.0 as usize] = Some(p);
    set(
        label::CORTICAL,
        Part::Bone(Fragment::Proximal, Tissue::Cortical),
    );
    set(
        label::INSIDE,
        Part::Bone(Fragment::Proximal, Tissue::Cancellous),
    );
    let split = construct
        .fracture
        .as_ref()
        .is_some_and(|f| f.split.is_some());
    let distal = if split {
        Fragment::DistalMedial
    } else {
        Fragment::Distal
    };
    for (fragment, cortical, inside) in [
        (distal, label::DISTAL_CORTICAL, label::DISTAL_INSIDE),
        (
            Fragment::DistalLateral,
            label::LATERAL_CORTICAL,
            label::LATERAL_INSIDE,
        ),
    ] {
        set(cortical, Part::Bone(fragment, Tissue::Cortical));
        set(inside, Part::Bone(fragment, Tissue::Cancellous));
    }
    if construct.fracture.as_ref().is_some_and(|f| f.spec.filled) {
        set(label::GAP, Part::GapTissue);
    }
    for (i, p) in construct.plates.iter().enumerate() {
        set(Label(label::PLATE + i as u8), Part::Plate(p.site));
    }
    for (i, s) in construct.screws.iter().enumerate() {
        set(Label(label::SCREW + i as u8), Part::Screw(s.number));
    }
    parts
}

/// Fragments, plates and screws: each must come out in one piece, screws and plates with about the
/// volume of their shapes.
fn bodies(construct: &Construct) -> Vec<Body> {
    let fragment = |f: Fragment| Body {
        name: format!("bone.{}", f.name()),
        parts: [Tissue::Cortical, Tissue::Cancellous]
            .map(|t| Part::Bone(f, t))
            .to_vec(),
        volume_mm3: None,
    };
    let mut out = vec![fragment(Fragment::Proximal)];
    match &construct.fracture {
        Some(f) if f.split.is_some() => {
            out.extend([Fragment::DistalMedial, Fragment::DistalLateral].map(fragment));
        }
        Some(_) => out.push(fragment(Fragment::Distal)),
        None => {}
    }
    for p in &construct.plates {
        out.push(Body {
            name: Part::Plate(p.site).to_string(),
            parts: vec![Part::Plate(p.site)],
            volume_mm3: Some(plate_volume(p)),
        });
    }
    for s in &construct.screws {
        out.push(Body {
            name: s.number.to_string(),
            parts: vec![Part::Screw(s.number)],
            volume_mm3: Some(screw_cuts::volume(construct, s)),
        });
    }
    out
}

/// Volume of a plate by counting points a millimetre apart, its empty holes taken off, mm3.
fn plate_volume(plate: &Plate) -> f64 {
    let b = plate.outline().bounds();
    let size = (b.max - b.min).map(|v| v.ceil() as usize);
    let mut count = 0;
    for i in 0..size.x {
        for j in 0..size.y {
            for k in 0..size.z {
                let at = Vec3::new(i as f64, j as f64, k as f64).add_scalar(0.5);
                count += usize::from(plate.value(b.min + at) < 0.0);
            }
        }
    }
    let holes = plate.holes.iter().filter(|h| h.screw.is_none());
    let area = |h: &Hole| {
        let d = h.diameter_mm;
        std::f64::consts::FRAC_PI_4 * d * d + d * h.slot_mm
    };
    count as f64 - holes.map(area).sum::<f64>() * plate.thickness_mm
}

fn proximal_plane(construct: &Construct) -> Plane {
    Plane {
        point: construct
            .bone
            .shaft_axis(construct.bone.spec().potting_level_mm),
        normal: Vec3::y(),
    }
}

/// A box that holds all bone, plates and screws of a construct.
pub fn material_box(construct: &Construct) -> Aabb {
    let mut b = construct.bone.outer().bounds();
    // The bone's surface goes on above any level; the potting plane ends it.
    b.max.y = construct.bone.spec().potting_level_mm;
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

fn cut_bone<'a>(w: &mut Writer<'a>, construct: &'a Construct) {
    let bone = &construct.bone;
    w.cut(
        SurfaceName::BoneOuter,
        Box::new(Borrowed(bone.outer())),
        Aabb::EVERYWHERE,
        Box::new(|_, _| true),
        Box::new(|_, outside, _| {
            if outside {
                Label::VOID
            } else {
                label::CORTICAL
            }
        }),
    );
    w.cut(
        SurfaceName::ProximalEnd,
        Box::new(proximal_plane(construct)),
        Aabb::EVERYWHERE,
        Box::new(|l, _| l == label::CORTICAL),
        Box::new(|l, above, _| if above { Label::VOID } else { l }),
    );
    w.cut(
        SurfaceName::BoneInner,
        Box::new(Borrowed(bone.inner())),
        Aabb::EVERYWHERE,
        Box::new(|l, _| l == label::CORTICAL),
        Box::new(|l, wall, _| if wall { l } else { label::INSIDE }),
    );
    let Some(floor) = &construct.canal_floor else {
        return;
    };
    w.cut(
        SurfaceName::CanalFloor,
        Box::new(Borrowed(floor)),
        Aabb::EVERYWHERE,
        Box::new(|l, _| l == label::INSIDE),
        Box::new(|l, above, _| if above { label::CANAL } else { l }),
    );
}

fn cut_plate<'a>(
    w: &mut Writer<'a>,
    construct: &'a Construct,
    plate: &'a Plate,
    own: u8,
    margin: f64,
) {
    let outer = construct.bone.outer();
    let outline = plate.outline();
    let bounds = outline.bounds().grown(margin);
    let top = plate.stand_off_mm + plate.thickness_mm;
    // Another plate's slit must not be taken for this plate's room: each has what is nearer to it.
    let near = move |x: Vec3| {
        let off = outline.value(x);
        let is_own = |p: &Plate| {
            let other = p.outline();
            p.site == plate.site || other.bounds().distance(x) > off || off <= other.value(x)
        };
        off < margin && outer.value(x) < top + margin && construct.plates.iter().all(is_own)
    };
    if plate.stand_off_mm > 0.0 {
        let name = SurfaceName::PlateUnderside(plate.site);
        let surface = w.shell(name, outer, plate.stand_off_mm);
        w.steps.push(CutStep {
            surface,
            bounds,
            within: Box::new(move |l, x| is_void(l) && near(x)),
            relabel: Box::new(|_, above, _| if above { Label::VOID } else { label::UNDER }),
        });
    }
    let surface = w.shell(SurfaceName::PlateTop(plate.site), outer, top);
    w.steps.push(CutStep {
        surface,
        bounds,
        within: Box::new(move |l, x| l == Label::VOID && near(x)),
        relabel: Box::new(|_, above, _| if above { Label::VOID } else { label::SLAB }),
    });
    w.cut(
        SurfaceName::PlateSide(plate.site),
        Box::new(Borrowed(outline)),
        bounds,
        Box::new(|l, _| l == label::SLAB),
        Box::new(move |_, outside, _| if outside { Label::VOID } else { Label(own) }),
    );
    for (i, hole) in plate
        .holes
        .iter()
        .enumerate()
        .filter(|(_, h)| h.screw.is_none())
    {
        let wall = screw_cuts::hole_wall(hole, top + 1.0);
        let bounds = wall.bounds.grown(margin);
        w.cut(
            SurfaceName::HoleWall(plate.site, i as u8 + 1),
            Box::new(wall),
            bounds,
            Box::new(move |l, _| l == Label(own)),
            Box::new(|l, outside, _| if outside { l } else { Label::VOID }),
        );
    }
}

/// Distance to a plate, from its three coordinates: across the outline, above, below. mm.
fn plate_distance(construct: &Construct, plate: &Plate, x: Vec3) -> f64 {
    let reach = plate.outline().bounds();
    let far = reach.distance(x);
    if far > 10.0 {
        return far;
    }
    let side = plate.outline().value(x);
    let d = construct.bone.outer().value(x);
    let above = d - plate.stand_off_mm - plate.thickness_mm;
    let below = plate.stand_off_mm - d;
    let layer = above.max(below);
    if side <= 0.0 && layer <= 0.0 {
        side.max(layer)
    } else {
        side.max(0.0).hypot(layer.max(0.0))
    }
}

/// Distance to a screw's cylinder between its plate's top and its tip, mm (negative inside).
fn screw_distance(construct: &Construct, screw: &Screw, x: Vec3) -> f64 {
    let r = x - screw.entry;
    let t = r.dot(&screw.direction);
    let side = (r - screw.direction * t).norm() - 0.5 * screw.diameter_mm;
    let ends = (t - screw.length_mm).max(-t - screw_cuts::top_of_plate(construct, screw));
    if side <= 0.0 && ends <= 0.0 {
        side.max(ends)
    } else {
        side.max(0.0).hypot(ends.max(0.0))
    }
}
