//! Solids of the bench tests of hardware alone: a straight plate with holes, a smooth rod.

use bicolumn_base::{Aabb, Part, Vec3};
use bicolumn_geometry::Field;
use bicolumn_mesh::{
    Blueprint, Body, CutStep, Label, LatticePose, MeshError, SurfaceId, SurfaceName, TetMesh, build,
};

/// Upper face of a plate.
pub(super) const TOP: SurfaceName = SurfaceName::Other(0);
/// Lower face of a plate.
pub(super) const UNDERSIDE: SurfaceName = SurfaceName::Other(1);
/// Held end of a rod.
pub(super) const ROOT: SurfaceName = SurfaceName::Other(3);
/// Loaded end of a rod.
pub(super) const TIP: SurfaceName = SurfaceName::Other(4);
const SIDE: SurfaceName = SurfaceName::Other(2);
const FIRST_HOLE: u8 = 5;

const SOLID: Label = Label(1);

/// Cell far from holes over the cell at them.
const FAR_RATIO: f64 = 1.6;

/// Straight plate: along Y about the origin, thickness from x = 0 to x = t, width along Z.
#[derive(Debug, Clone, PartialEq)]
pub struct StraightPlate {
    /// Length, mm.
    pub length_mm: f64,
    /// Width, mm.
    pub width_mm: f64,
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Diameter of its holes, mm.
    pub hole_mm: f64,
    /// Places of the holes along Y, mm.
    pub holes_mm: Vec<f64>,
}

/// Smooth rod along Y from the origin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rod {
    pub(super) length_mm: f64,
    pub(super) diameter_mm: f64,
}

struct Shape<F>(F);

impl<F: Fn(Vec3) -> f64 + Send + Sync> Field for Shape<F> {
    fn value(&self, x: Vec3) -> f64 {
        (self.0)(x)
    }
}

type Surfaces<'a> = Vec<(SurfaceName, Box<dyn Field + 'a>)>;

fn surface<'a>(
    name: SurfaceName,
    value: impl Fn(Vec3) -> f64 + Send + Sync + 'a,
) -> (SurfaceName, Box<dyn Field + 'a>) {
    (name, Box::new(Shape(value)))
}

/// Meshes the part of space that is inside of every surface.
fn mesh(
    surfaces: &Surfaces<'_>,
    bounds: Aabb,
    volume_mm3: f64,
    axes: Vec<[Vec3; 2]>,
    finest_mm: f64,
    size: impl Fn(Vec3) -> f64 + Sync,
) -> Result<TetMesh, MeshError> {
    let steps = (0..surfaces.len()).map(|k| CutStep {
        surface: SurfaceId(k as u8),
        bounds: Aabb::EVERYWHERE,
        within: Box::new(move |label, _| k == 0 || label == SOLID),
        relabel: Box::new(|_, is_outside, _| if is_outside { Label::VOID } else { SOLID }),
    });
    let part = Part::Numbered(0);
    let plan = Blueprint {
        steps: steps.collect(),
        surfaces: surfaces
            .iter()
            .map(|(name, field)| surface(*name, move |x| field.value(x)))
            .collect(),
        parts: vec![None, Some(part)],
        bodies: vec![Body {
            name: "specimen".into(),
            parts: vec![part],
            volume_mm3: Some(volume_mm3),
        }],
        may_bound: Box::new(|_, _, _| true),
        axes,
        bounds: bounds.grown(1.0),
        material: Box::new(|x| {
            let all = surfaces.iter().map(|(_, field)| field.value(x));
            all.fold(f64::NEG_INFINITY, f64::max)
        }),
        size: Box::new(size),
        finest_mm,
        levels: 1,
        pose: LatticePose::default(),
    };
    build(&plan)
}

impl StraightPlate {
    /// Width of material across a place along the plate, mm.
    pub fn net_width_mm(&self, y: f64) -> f64 {
        let radius = 0.5 * self.hole_mm;
        let chords = self.holes_mm.iter().map(|hole| {
            let square = radius * radius - (y - hole).powi(2);
            2.0 * square.max(0.0).sqrt()
        });
        self.width_mm - chords.sum::<f64>()
    }

    /// Tetrahedra with cells of a size at the holes.
    pub(super) fn mesh(&self, finest_mm: f64) -> Result<TetMesh, MeshError> {
        let (t, radius) = (self.thickness_mm, 0.5 * self.hole_mm);
        let half = Vec3::new(0.0, 0.5 * self.length_mm, 0.5 * self.width_mm);
        let mut surfaces: Surfaces<'_> = vec![
            surface(TOP, move |x| x.x - t),
            surface(UNDERSIDE, |x| -x.x),
            surface(SIDE, move |x| x.z.abs() - half.z),
            surface(ROOT, move |x| -x.y - half.y),
            surface(TIP, move |x| x.y - half.y),
        ];
        for (k, hole) in self.holes_mm.iter().enumerate() {
            let name = SurfaceName::Other(FIRST_HOLE + k as u8);
            surfaces.push(surface(name, move |x| radius - (x.y - hole).hypot(x.z)));
        }
        let of_holes = self.holes_mm.len() as f64 * std::f64::consts::PI * radius * radius * t;
        let bounds = Aabb {
            min: -half,
            max: half + Vec3::x() * t,
        };
        let size = |x: Vec3| {
            let to_wall = self
                .holes_mm
                .iter()
                .map(|hole| (x.y - hole).hypot(x.z) - radius);
            let nearest = to_wall.fold(f64::INFINITY, |a, b| a.min(b.abs()));
            (finest_mm + 0.3 * nearest).min(FAR_RATIO * finest_mm)
        };
        let volume = self.length_mm * self.width_mm * t - of_holes;
        mesh(&surfaces, bounds, volume, vec![], finest_mm, size)
    }
}

impl Rod {
    pub(super) fn mesh(&self, finest_mm: f64) -> Result<TetMesh, MeshError> {
        let (radius, length) = (0.5 * self.diameter_mm, self.length_mm);
        let surfaces: Surfaces<'_> = vec![
            surface(SIDE, move |x| x.x.hypot(x.z) - radius),
            surface(ROOT, |x| -x.y),
            surface(TIP, move |x| x.y - length),
        ];
        let bounds = Aabb {
            min: Vec3::new(-radius, 0.0, -radius),
            max: Vec3::new(radius, length, radius),
        };
        let axis = [-Vec3::y(), Vec3::y() * (length + 1.0)];
        let volume = std::f64::consts::PI * radius * radius * length;
        mesh(&surfaces, bounds, volume, vec![axis], finest_mm, |_| {
            finest_mm
        })
    }
}
