//! The distal humerus as an implicit solid.

mod check;
mod landmarks;
mod shape;

pub(crate) use landmarks::first_crossing;
pub(crate) use shape::step;

use crate::imported::{self, Audited, audit, read_stl, surface_bytes};
use crate::laid::LaidPlates;
use crate::redistance::redistance;
use crate::spline_grid::{Lattice, SplineGrid, smoothed};
use crate::{BoneDimension, BoneSpec, Field, GeometryError, Subject};
use bicolumn_base::{Aabb, BodySide, Vec3};
use shape::{BEARING, Shape};

/// Grid step of the fields, mm.
const GRID: f64 = 0.8;
/// How far the grid reaches beyond the bone, mm.
const MARGIN: f64 = 6.5;
/// A joint surface bears within this angle of the distal-anterior direction, degrees.
const BEARING_ANGLE: f64 = 50.0;
/// Distance of the lowest fracture below the middle of the olecranon fossa, as a share of the fossa's length
/// (judgement).
const LOWEST_IN_FOSSA: f64 = 0.15;
/// How far a facet of the joint surface may lie from the ideal sphere or spool, mm: of the parametric
/// bone, of an imported surface (judgement).
const BEARING_TOLERANCE: f64 = 0.5;
const BEARING_TOLERANCE_IMPORTED: f64 = 2.0;

/// The joint surface that a load may act on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ArticularSurface {
    /// The lateral, spherical part, facing the radius.
    Capitellum,
    /// The medial spool, facing the ulna.
    Trochlea,
}

/// The built solid.
///
/// The outer surface is the signed distance to a blended shape; the inner surface is the outer one
/// offset by a thickness that goes over from the shaft's cortex to the columns' and the joint's, so the
/// cortex is nowhere thinner than the least of the three and the inside ends where bone is thin.
pub struct Bone {
    spec: BoneSpec,
    shape: Shape,
    outer: SplineGrid,
    inner: SplineGrid,
    bearing_tolerance: f64,
    notes: Vec<String>,
    /// Plates laid on it so far.
    pub(crate) laid: LaidPlates,
}

/// Dimensions measured back from the built solid.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Landmarks {
    /// (name, what the card asked for, what the solid has, unit), in card order.
    pub rows: Vec<(String, f64, f64, String)>,
}

impl Bone {
    /// Builds the solid. Takes some seconds: both surfaces are turned into distances on a grid.
    ///
    /// # Errors
    /// [`GeometryError::Dimension`] for an implausible value or combination, with its bound.
    pub fn build(spec: &BoneSpec) -> Result<Bone, GeometryError> {
        check::check(spec)?;
        if let Some(file) = &spec.surface_file {
            let surface = read_stl(&surface_bytes(file)?)?;
            imported::check_size(&surface, spec.surface_unit)?;
            return Bone::on_surface(spec, &audit(surface)?);
        }
        let shape = Shape::new(spec);
        let lattice = Lattice::covering(&grid_box(spec, &shape), GRID);
        let levels = 0..lattice.size[1];
        let sections: Vec<_> = levels
            .map(|j| shape.sections(lattice.node([0, j, 0]).y))
            .collect();
        let values = (0..lattice.len())
            .map(|i| {
                let at = lattice.at(i);
                shape.value(lattice.node(at), &sections[at[1]])
            })
            .collect();
        let outer = redistance(lattice, values);
        let inner = redistance(lattice, inside(spec, &shape, &lattice, &outer));
        let (outer, inner) = if spec.left {
            (outer.mirrored(), inner.mirrored())
        } else {
            (outer, inner)
        };
        let bone = Bone {
            spec: spec.clone(),
            shape,
            outer,
            inner,
            bearing_tolerance: BEARING_TOLERANCE,
            notes: Vec::new(),
            laid: LaidPlates::default(),
        };
        bone.check_columns()?;
        Ok(bone)
    }

    /// Builds the solid on an imported outer surface, brought into the bone frame by its unit and its landmarks. The inner surface is the outer one offset by the
    /// card's cortex; joint axis, columns and fossae lie where the card puts them.
    ///
    /// # Errors
    /// [`GeometryError::Dimension`] as [`Bone::build`]; [`GeometryError::Surface`] when the surface does
    /// not lie where the card says.
    pub fn on_surface(spec: &BoneSpec, surface: &Audited) -> Result<Bone, GeometryError> {
        check::check(spec)?;
        let shape = Shape::new(spec);
        let right = if spec.left {
            surface.surface.mirrored()
        } else {
            surface.surface.clone()
        };
        let tips = [true, false].map(|medial| shape.epicondyle(medial));
        let frame = spec.surface_frame.map(|frame| match spec.left {
            true => frame.mirrored(),
            false => frame,
        });
        imported::check_size(&right, spec.surface_unit)?;
        let of_card = (tips, shape.shaft_x);
        let right = imported::placed(right, spec.surface_unit, frame, of_card)?;
        let top = spec.top_level_mm();
        imported::reaches(&right, top)?;
        let (lattice, outer) = imported::distances(&right, top, GRID, MARGIN);
        imported::fits(&places(spec, &shape), &outer)?;
        let inner = redistance(lattice, inside(spec, &shape, &lattice, &outer));
        let mirror = |field: SplineGrid| if spec.left { field.mirrored() } else { field };
        let mut notes = surface.repairs.clone();
        notes.push("the outer surface of the bone is imported; its landmarks are those of the surface, its cortex that of the card".into());
        Ok(Bone {
            spec: spec.clone(),
            shape,
            outer: mirror(outer),
            inner: mirror(inner),
            bearing_tolerance: BEARING_TOLERANCE_IMPORTED,
            notes,
            laid: LaidPlates::default(),
        })
    }

    /// Notes of the construction, in sentences for the user.
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// Dimensions of the bone.
    pub fn spec(&self) -> &BoneSpec {
        &self.spec
    }

    /// Side of the body.
    pub fn side(&self) -> BodySide {
        BodySide::of_left(self.spec.left)
    }

    /// The outer surface: negative in bone.
    pub fn outer(&self) -> &dyn Field {
        &self.outer
    }

    /// The inner (endosteal) surface: negative in cancellous bone and in the canal.
    pub fn inner(&self) -> &dyn Field {
        &self.inner
    }

    /// Joint surface of a point of the outer surface, given the outward normal; `None` off the joint.
    ///
    /// Both patches are where a forearm bears: within 50° of the distal-anterior direction, within
    /// 0.5 mm of the sphere or the spool (2 mm on an imported surface).
    pub fn articular(&self, x: Vec3, normal: Vec3) -> Option<ArticularSurface> {
        let (x, normal) = (self.mirrored(x), self.mirrored(normal));
        let shape = &self.shape;
        let (s, across) = shape.along_axis(x);
        let outward = across.try_normalize(1e-6)?;
        if outward.dot(&BEARING) < BEARING_ANGLE.to_radians().cos() || normal.dot(&outward) < 0.6 {
            return None;
        }
        let from_centre = (x - shape.axis * shape.capitellum_at).norm() - shape.capitellum_radius;
        let half_width = 0.45 * shape.capitellum_width;
        if (s - shape.capitellum_at).abs() < half_width
            && from_centre.abs() < self.bearing_tolerance
        {
            return Some(ArticularSurface::Capitellum);
        }
        let from_spool = across.norm() - shape.spool_radius(s);
        let on_spool = shape.medial_rim_at < s && s < shape.lateral_rim_at;
        (on_spool && from_spool.abs() < self.bearing_tolerance)
            .then_some(ArticularSurface::Trochlea)
    }

    /// Point that the resultant of a load on a joint surface passes: the centroid of its bearing area on the ideal
    /// sphere or spool, as far as the solid has it. It belongs to the bone, not to a mesh.
    pub fn bearing_point(&self, surface: ArticularSurface) -> Vec3 {
        let shape = &self.shape;
        let half_width = 0.45 * shape.capitellum_width;
        let (from, to) = match surface {
            ArticularSurface::Capitellum => (
                shape.capitellum_at - half_width,
                shape.capitellum_at + half_width,
            ),
            ArticularSurface::Trochlea => (shape.medial_rim_at, shape.lateral_rim_at),
        };
        let radius = |s: f64| match surface {
            ArticularSurface::Capitellum => {
                let off = s - shape.capitellum_at;
                (shape.capitellum_radius.powi(2) - off * off)
                    .max(0.0)
                    .sqrt()
            }
            ArticularSurface::Trochlea => shape.spool_radius(s),
        };
        // Cells of the surface of revolution about the flexion axis, each by its middle.
        const ALONG: usize = 100;
        const AROUND: usize = 100;
        let middle = (BEARING - shape.axis * BEARING.dot(&shape.axis)).normalize();
        let aside = shape.axis.cross(&middle);
        let half_angle = BEARING_ANGLE.to_radians();
        let step = (to - from) / ALONG as f64;
        let (mut moment, mut area) = (Vec3::zeros(), 0.0);
        for i in 0..ALONG {
            let s = from + step * (i as f64 + 0.5);
            let (r, slope) = (
                radius(s),
                (radius(s + 0.5 * step) - radius(s - 0.5 * step)) / step,
            );
            for k in 0..AROUND {
                let angle = half_angle * ((2 * k + 1) as f64 / AROUND as f64 - 1.0);
                let outward = middle * angle.cos() + aside * angle.sin();
                let x = shape.axis * s + outward * r;
                let normal = (outward - shape.axis * slope).normalize();
                let [x, normal] = [x, normal].map(|v| self.mirrored(v));
                let is_there = self.outer.value(x).abs() < self.bearing_tolerance;
                if is_there && self.articular(x, normal) == Some(surface) {
                    let cell = r * (1.0 + slope * slope).sqrt();
                    moment += x * cell;
                    area += cell;
                }
            }
        }
        match area > 0.0 {
            true => moment / area,
            false => {
                self.mirrored(shape.axis * (0.5 * (from + to)) + middle * radius(0.5 * (from + to)))
            }
        }
    }

    /// Centre of a joint surface on the flexion axis.
    pub fn articular_centre(&self, surface: ArticularSurface) -> Vec3 {
        let at = match surface {
            ArticularSurface::Capitellum => self.shape.capitellum_at,
            ArticularSurface::Trochlea => self.shape.groove_at,
        };
        self.mirrored(self.shape.axis * at)
    }

    /// Point of the shaft axis at a level above the articular axis.
    pub fn shaft_axis(&self, level_mm: f64) -> Vec3 {
        Vec3::new(self.shape.shaft_x, level_mm, 0.0)
    }

    /// Dimensions measured back from the solid.
    pub fn landmarks(&self) -> Landmarks {
        landmarks::measure(self)
    }

    /// Does the space round a point, as wide as `radius_mm`, reach out of the bone into one of the fossae? A void is a
    /// fossa where the shape before the fossae are taken out is solid to some depth; on an imported surface, whose
    /// fossae lie where the card puts them within millimetres, to a greater one.
    pub(crate) fn opens_into_fossa(&self, x: Vec3, radius_mm: f64) -> bool {
        if self.outer.value(x) <= -radius_mm {
            return false;
        }
        let own = self.mirrored(x);
        let solid = self.shape.without_fossae(own, &self.shape.sections(own.y));
        solid < -radius_mm - 2.0 * self.bearing_tolerance
    }

    /// Between a right bone's frame and this bone's, either way.
    pub(crate) fn mirrored(&self, x: Vec3) -> Vec3 {
        self.side().vector(x)
    }

    /// Centre line and radius of a column at a level.
    pub(crate) fn column(&self, medial: bool, level: f64) -> (Vec3, f64) {
        let (centre, radius) = self.shape.column(medial, level);
        (self.mirrored(centre), radius)
    }

    /// Levels between which a fracture lies that leaves the joint whole: through the lower half of the olecranon fossa
    /// at the lowest, where both columns and the bone below the fossa are left; end of the flare.
    pub(crate) fn metaphysis(&self) -> (f64, f64) {
        let lowest = self.shape.fossa_middle.y - LOWEST_IN_FOSSA * self.spec.fossa_length_mm;
        (lowest, self.shape.shaft_starts())
    }

    /// Distance of a point outside the two columns and the bone between them, without the articular block, mm (about).
    pub(crate) fn off_columns(&self, x: Vec3) -> f64 {
        let x = self.mirrored(x);
        self.shape.metaphysis(x, &self.shape.sections(x.y))
    }

    /// How far the olecranon fossa reaches from the shaft axis to a side, mm.
    pub(crate) fn fossa_reach(&self) -> f64 {
        self.shape.fossa_middle.z.abs() + 0.5 * self.spec.fossa_width_mm
    }

    /// Refuses a fossa that leaves too little of a column.
    fn check_columns(&self) -> Result<(), GeometryError> {
        const LEAST: f64 = 6.0;
        for medial in [true, false] {
            let width = landmarks::column_width(self, medial);
            if width < LEAST {
                let side = if medial { "medial" } else { "lateral" };
                return Err(GeometryError::Dimension {
                    subject: Subject::Bone(BoneDimension::FossaWidth),
                    value: self.spec.fossa_width_mm,
                    unit: "mm",
                    accepted: format!(
                        "a width that leaves the {side} column {LEAST} mm; it would be {width:.1} mm"
                    ),
                    bounds: None,
                });
            }
        }
        Ok(())
    }
}

/// Points that must lie inside the outer surface, by name, with the depth needed, for a right bone.
fn places(spec: &BoneSpec, shape: &Shape) -> Vec<(&'static str, Vec3, f64)> {
    let shaft = |level: f64| Vec3::new(shape.shaft_x, level, 0.0);
    let column = |medial| shape.column(medial, shape.fossa_middle.y).0;
    vec![
        (
            "centre of the capitellum",
            shape.axis * shape.capitellum_at,
            4.0,
        ),
        (
            "centre of the trochlear groove",
            shape.axis * shape.groove_at,
            4.0,
        ),
        ("medial column beside the fossa", column(true), 2.0),
        ("lateral column beside the fossa", column(false), 2.0),
        (
            "shaft axis at the canal's floor",
            shaft(spec.canal_floor_mm),
            4.0,
        ),
        (
            "shaft axis at the potting",
            shaft(spec.potting_level_mm),
            4.0,
        ),
    ]
}

/// Defining values of the inner surface: the outer distance plus the cortex, rounded where the inside
/// runs out into edges and sheets too thin to mesh. Rounding only ever takes away from the inside, and
/// leaves smooth parts such as the canal alone.
fn inside(spec: &BoneSpec, shape: &Shape, lattice: &Lattice, outer: &SplineGrid) -> Vec<f64> {
    let levels = 0..lattice.size[1];
    let cortex: Vec<f64> = levels
        .map(|j| cortex(spec, shape, lattice.node([0, j, 0]).y))
        .collect();
    let offset: Vec<f64> = (0..lattice.len())
        .map(|i| {
            let at = lattice.at(i);
            outer.value(lattice.node(at)) + cortex[at[1]]
        })
        .collect();
    let round = smoothed(lattice, offset.clone(), 3);
    offset
        .iter()
        .zip(round)
        .map(|(a, b)| a.max(b - 0.12))
        .collect()
}

/// Thickness of the cortex at a level.
fn cortex(spec: &BoneSpec, shape: &Shape, y: f64) -> f64 {
    let shaft = 0.5 * (spec.shaft_diameter_mm - spec.canal_diameter_mm);
    let from = shape.fossa_middle.y + 0.5 * spec.fossa_length_mm;
    let upper = step(from, shape.shaft_starts(), y);
    let lower = step(0.0, shape.fossa_middle.y, y);
    let metaphysis =
        spec.articular_cortex_mm + (spec.column_cortex_mm - spec.articular_cortex_mm) * lower;
    metaphysis + (shaft - metaphysis) * upper
}

/// The box of the grid, for a right bone. It ends where the shaft has become a tube: the field goes on
/// unchanged above.
fn grid_box(spec: &BoneSpec, shape: &Shape) -> Aabb {
    let rim = 0.5 * spec.trochlea_medial_diameter_mm;
    let medial = shape.column(true, 0.0);
    let lateral = shape.column(false, 0.0);
    let front = shape.capitellum_radius.max(rim);
    let back = (-front).min(shape.shaft_x - shape.shaft_radius);
    Aabb {
        min: Vec3::new(back, -rim - 2.5, medial.0.z - medial.1),
        max: Vec3::new(front, shape.shaft_starts(), lateral.0.z + lateral.1),
    }
    .grown(MARGIN)
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use std::sync::{Arc, OnceLock};

    /// One mean adult for all tests: building takes a while.
    pub(crate) fn mean_bone() -> Arc<Bone> {
        static BONE: OnceLock<Arc<Bone>> = OnceLock::new();
        BONE.get_or_init(|| Arc::new(Bone::build(&BoneSpec::mean_adult()).unwrap()))
            .clone()
    }

    /// Points of a field's zero set, about half a millimetre apart, below level 70.
    fn cloud(field: &dyn Field) -> Vec<Vec3> {
        let mut points = Vec::new();
        let step = 0.5;
        for i in 0..100 {
            for j in 0..170 {
                for k in 0..140 {
                    let n = Vec3::new(f64::from(i), f64::from(j), f64::from(k));
                    let mut x = Vec3::new(-24.0, -17.0, -38.0) + n * step;
                    if field.value(x).abs() > 0.7 * step {
                        continue;
                    }
                    for _ in 0..4 {
                        let g = field.gradient(x);
                        x -= g * (field.value(x) / g.norm_squared().max(0.1));
                    }
                    if field.value(x).abs() < 1e-6 {
                        points.push(x);
                    }
                }
            }
        }
        points
    }

    #[test]
    fn the_fields_are_distances_within_three_percent() {
        let bone = mean_bone();
        for field in [bone.outer(), bone.inner()] {
            let cloud = cloud(field);
            assert!(cloud.len() > 20_000, "{}", cloud.len());
            let (mut tried, mut rough, mut wrong) = (0, 0, Vec::new());
            for (i, p) in cloud.iter().enumerate().step_by(97) {
                let d = 3.0 * (((i / 97) % 13) as f64 - 6.0) / 6.0;
                let x = p + field.gradient(*p).normalize() * d;
                if x.y > 65.0 || d == 0.0 {
                    continue;
                }
                tried += 1;
                let value = field.value(x);
                let g = field.gradient(x);
                // Where two sheets are equally near, no smooth distance exists.
                if (g.norm() - 1.0).abs() > 0.03 {
                    rough += 1;
                    continue;
                }
                // The distance is no larger: the foot of the perpendicular lies on the surface. It is
                // no smaller: no surface point is nearer.
                let foot = x - g.normalize() * value;
                let nearest = cloud
                    .iter()
                    .map(|q| (q - x).norm())
                    .fold(f64::MAX, f64::min);
                if field.value(foot).abs() > 0.03 * value.abs() + 1e-3
                    || nearest < 0.97 * value.abs() - 1e-3
                {
                    wrong.push((x, value, nearest));
                }
            }
            assert!(rough * 8 < tried, "{rough} of {tried} beside a medial axis");
            // A crease may still be met that the gradient's size does not betray.
            assert!(
                wrong.len() * 100 < tried,
                "{} of {tried}: {wrong:?}",
                wrong.len()
            );
        }
    }

    #[test]
    fn the_flare_has_faded_above_the_distal_quarter_however_small_its_angle() {
        let bone = Bone::build(&BoneSpec {
            lateral_column_angle_deg: 10.0,
            ..BoneSpec::mean_adult()
        })
        .unwrap();
        let border = |level: f64| {
            let from = Vec3::new(bone.shape.shaft_x, level, 60.0);
            60.0 - first_crossing(bone.outer(), from, -Vec3::z())
        };
        // A shaft of 9.65 mm radius; the straight border of 10 degrees from the epicondyle's tip would end at 97 mm.
        assert!(border(72.0) < 9.65 + 0.2, "{}", border(72.0));
        assert!((border(30.0) - border(8.0)).abs() > 4.0);
        for y in 10..80 {
            let (low, high) = (border(f64::from(y)), border(f64::from(y + 1)));
            assert!(high < low + 0.02, "level {y}: {low} then {high}");
        }
        let rows = bone.landmarks().rows;
        let row = rows.iter().find(|r| r.0 == "lateral column angle");
        let angle = row.unwrap().2;
        assert!((angle - 10.0).abs() < 1.0, "{angle}");
    }

    #[test]
    fn the_capitellum_is_flat_behind_and_round_before() {
        let bone = mean_bone();
        let z = bone.shape.capitellum_at + 2.0;
        let seen = |y: f64, toward: f64| {
            let from = Vec3::new(-60.0 * toward, y, z);
            from.x + toward * first_crossing(bone.outer(), from, Vec3::x() * toward)
        };
        // Behind, three levels lie on a line; before, they bulge like the sphere.
        let bulge =
            |toward: f64| seen(-3.0, toward) - 0.5 * (seen(0.0, toward) + seen(-6.0, toward));
        let radius = bone.spec.capitellum_radius_mm;
        let sphere = 3.0f64.powi(2) / (2.0 * radius);
        assert!(
            bulge(1.0).abs() < 0.5 * sphere,
            "{} of {sphere}",
            bulge(1.0)
        );
        assert!(bulge(-1.0) > 0.9 * sphere, "{} of {sphere}", bulge(-1.0));
    }

    #[test]
    fn cortex_is_nowhere_thinner_than_asked() {
        let bone = mean_bone();
        let least = bone.spec.articular_cortex_mm;
        for p in cloud(bone.inner()).iter().step_by(11) {
            let cover = -bone.outer.value(*p);
            assert!(cover > least - 0.05, "{p:?}: {cover}");
        }
    }

    #[test]
    fn landmarks_return_what_the_card_asked_for() {
        for (name, asked, found, _) in mean_bone().landmarks().rows {
            let slack = if name.contains("fossa") || name.contains("angle") {
                1.5
            } else {
                0.3
            };
            assert!(
                (asked - found).abs() < slack,
                "{name}: asked {asked}, found {found}"
            );
        }
    }

    #[test]
    fn a_left_bone_is_the_mirror_image_and_the_septum_can_be_perforated() {
        let spec = BoneSpec {
            left: true,
            septum_thickness_mm: 0.0,
            ..BoneSpec::mean_adult()
        };
        let left = Bone::build(&spec).unwrap();
        let right = mean_bone();
        let x = Vec3::new(-3.0, 12.0, -27.0);
        let mirrored = Vec3::new(x.x, x.y, -x.z);
        assert!((left.outer().value(mirrored) - right.outer().value(x)).abs() < 1e-3);
        assert!(left.articular_centre(ArticularSurface::Capitellum).z < 0.0);
        for surface in [ArticularSurface::Capitellum, ArticularSurface::Trochlea] {
            let mirrored = left.side().vector(mean_bone().bearing_point(surface));
            assert!((left.bearing_point(surface) - mirrored).norm() < 1e-9);
        }
        assert!(left.outer().value(left.mirrored(left.shape.fossa_middle)) > 1.0);
    }

    #[test]
    fn both_joint_surfaces_have_an_area_to_bear_on() {
        let bone = mean_bone();
        let mut area = [0.0; 2];
        for p in cloud(bone.outer()) {
            // Half a millimetre of spacing: each point of the cloud stands for a similar area.
            match bone.articular(p, bone.outer().gradient(p)) {
                Some(ArticularSurface::Capitellum) => area[0] += 1.0,
                Some(ArticularSurface::Trochlea) => area[1] += 1.0,
                None => {}
            }
        }
        assert!(area.iter().all(|a| *a > 400.0), "{area:?}");
    }

    #[test]
    fn bearing_points_are_centroids_of_the_bearing_areas() {
        let bone = mean_bone();
        let shape = &bone.shape;
        let b = BEARING_ANGLE.to_radians();
        // Of a zone of a sphere between planes square to the axis, half the bearing angle to either side: the sphere's
        // area element is R ds dφ, so the centroid lies at the mean of √(R² − s²) times sin β / β.
        let (radius, half) = (shape.capitellum_radius, 0.45 * shape.capitellum_width);
        let mean = {
            let n = 1000;
            let s = (0..n).map(|i| half * (2.0 * (f64::from(i) + 0.5) / f64::from(n) - 1.0));
            s.map(|s| (radius * radius - s * s).sqrt()).sum::<f64>() / f64::from(n)
        };
        let found = bone.bearing_point(ArticularSurface::Capitellum);
        let (along, across) = shape.along_axis(found);
        assert!((along - shape.capitellum_at).abs() < 0.3, "{along}");
        assert!(
            (across.norm() - mean * b.sin() / b).abs() < 0.2,
            "{}",
            across.norm()
        );
        let found = bone.bearing_point(ArticularSurface::Trochlea);
        let (along, across) = shape.along_axis(found);
        assert!(shape.medial_rim_at < along && along < shape.lateral_rim_at);
        assert!(across.x > 0.0 && across.y < 0.0);
    }
}
