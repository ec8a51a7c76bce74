//! Dimensions measured back from the built solid, by probing its outer and inner surface.

use super::shape::BEARING;
use super::{ArticularSurface, Bone, Landmarks};
use crate::Field;
use bicolumn_base::Vec3;
use nalgebra::{DMatrix, DVector};

/// Width of a column at the fossa's middle, from the fossa's wall to the column's border, mm.
pub(crate) fn column_width(bone: &Bone, medial: bool) -> f64 {
    let side = if medial { -1.0 } else { 1.0 };
    let from = bone.shape.fossa_middle - Vec3::new(0.25 * bone.spec.column_depth_mm, 0.0, 0.0);
    let toward = Vec3::new(0.0, 0.0, side);
    let wall = crossing(bone, from, toward);
    let border = crossing(bone, from + toward * 80.0, -toward);
    80.0 - border - wall
}

/// Distance along a ray, in the right bone's frame, to where the outer surface is first crossed.
fn crossing(bone: &Bone, from: Vec3, toward: Vec3) -> f64 {
    first_crossing(bone.outer(), bone.mirrored(from), bone.mirrored(toward))
}

/// Distance along a ray to the first change of a field's sign; 100 when there is none.
pub(crate) fn first_crossing(field: &dyn Field, from: Vec3, toward: Vec3) -> f64 {
    let inside = field.value(from) < 0.0;
    let changed = |t: f64| (field.value(from + toward * t) < 0.0) != inside;
    let mut t = 0.0;
    while t < 100.0 {
        let next = t + 0.25;
        if changed(next) {
            let (mut low, mut high) = (t, next);
            for _ in 0..40 {
                let middle = 0.5 * (low + high);
                if changed(middle) {
                    high = middle
                } else {
                    low = middle
                }
            }
            return high;
        }
        t = next;
    }
    100.0
}

pub(super) fn measure(bone: &Bone) -> Landmarks {
    let spec = &bone.spec;
    let shape = &bone.shape;
    let mut rows = Vec::new();
    let mut add = |name: &str, asked: f64, found: f64, unit: &str| {
        rows.push((name.to_string(), asked, found, unit.to_string()));
    };
    let (x, z) = (Vec3::x(), Vec3::z());
    let axis = |level: f64| Vec3::new(shape.shaft_x, level, 0.0);
    let through = |level: f64, along: Vec3| {
        crossing(bone, axis(level), along) + crossing(bone, axis(level), -along)
    };
    for level in [75.0, 110.0f64.min(spec.potting_level_mm - 5.0)] {
        let name = format!("shaft diameter, level {level:.0}, ");
        add(
            &(name.clone() + "AP"),
            spec.shaft_diameter_mm,
            through(level, x),
            "mm",
        );
        add(
            &(name + "ML"),
            spec.shaft_diameter_mm,
            through(level, z),
            "mm",
        );
    }
    let canal_level = 110.0f64.min(spec.potting_level_mm - 5.0);
    let canal = 2.0 * first_crossing(bone.inner(), bone.mirrored(axis(canal_level)), x);
    add("canal diameter", spec.canal_diameter_mm, canal, "mm");

    let width = extent(bone, false) - extent(bone, true);
    add("epicondylar width", spec.epicondylar_width_mm, width, "mm");
    let angles = [
        ("medial column angle", true, spec.medial_column_angle_deg),
        ("lateral column angle", false, spec.lateral_column_angle_deg),
    ];
    for (name, medial, asked) in angles {
        add(name, asked, column_angle(bone, medial), "deg");
    }

    let patch = |surface| patch_points(bone, surface);
    if let Some((_, radius)) = fit_sphere(&patch(ArticularSurface::Capitellum)) {
        add("capitellum radius", spec.capitellum_radius_mm, radius, "mm");
    }
    let down = (BEARING - shape.axis * BEARING.dot(&shape.axis)).normalize();
    let spool = [
        (
            "trochlear groove diameter",
            shape.groove_at,
            spec.trochlea_groove_diameter_mm,
        ),
        (
            "trochlea medial diameter",
            shape.medial_rim_at,
            spec.trochlea_medial_diameter_mm,
        ),
        (
            "trochlea lateral diameter",
            shape.lateral_rim_at,
            spec.trochlea_lateral_diameter_mm,
        ),
    ];
    for (name, at, asked) in spool {
        add(
            name,
            asked,
            2.0 * (60.0 - crossing(bone, shape.axis * at + down * 60.0, -down)),
            "mm",
        );
    }

    let middle = shape.fossa_middle;
    add(
        "septum thickness",
        spec.septum_thickness_mm,
        septum(bone),
        "mm",
    );
    add(
        "fossa length",
        spec.fossa_length_mm,
        fossa_extent(bone, Vec3::y()),
        "mm",
    );
    add(
        "fossa width",
        spec.fossa_width_mm,
        fossa_extent(bone, z),
        "mm",
    );
    for (name, medial) in [
        ("medial column depth", true),
        ("lateral column depth", false),
    ] {
        let (centre, _) = shape.column(medial, middle.y);
        let depth = crossing(bone, centre, x) + crossing(bone, centre, -x);
        add(name, spec.column_depth_mm, depth, "mm");
    }
    for (name, medial) in [
        ("medial column cortex", true),
        ("lateral column cortex", false),
    ] {
        let (centre, _) = shape.column(medial, middle.y);
        let outward = if medial { -z } else { z };
        add(
            name,
            spec.column_cortex_mm,
            wall(bone, centre, outward),
            "mm",
        );
    }
    let centre = shape.axis * shape.capitellum_at;
    add(
        "capitellum shell",
        spec.articular_cortex_mm,
        wall(bone, centre, -Vec3::y()),
        "mm",
    );
    Landmarks { rows }
}

/// Thickness of the cortex met from inside along a ray, measured normal to the outer surface.
fn wall(bone: &Bone, from: Vec3, toward: Vec3) -> f64 {
    let at = bone.mirrored(from) + bone.mirrored(toward) * crossing(bone, from, toward);
    first_crossing(bone.inner(), at, -bone.outer().gradient(at).normalize())
}

/// Medial or lateral extreme of the epicondyles, z in the right bone's frame.
fn extent(bone: &Bone, medial: bool) -> f64 {
    let side = if medial { -1.0 } else { 1.0 };
    let (centre, radius) = bone.shape.column(medial, 0.0);
    let mut reach: f64 = 0.0;
    for iy in 0..50 {
        for ix in -4..=4 {
            let at = Vec3::new(
                centre.x + f64::from(ix) * 0.15 * radius,
                f64::from(iy) * 0.5 - 3.0,
                0.0,
            );
            let from = at + Vec3::new(0.0, 0.0, side * 60.0);
            reach = reach.max(60.0 - crossing(bone, from, Vec3::new(0.0, 0.0, -side)));
        }
    }
    side * reach
}

/// Angle of a column's border to the shaft in the coronal plane, by a line through the straight part.
fn column_angle(bone: &Bone, medial: bool) -> f64 {
    let side = if medial { -1.0 } else { 1.0 };
    let middle = bone.shape.mid_flare(medial);
    let points: Vec<(f64, f64)> = (-4..=4)
        .map(|i| {
            let y = middle + f64::from(i);
            let (centre, _) = bone.shape.column(medial, y);
            let out = crossing(bone, centre, Vec3::new(0.0, 0.0, side));
            (y, centre.z * side + out)
        })
        .collect();
    let n = points.len() as f64;
    let (my, mz) = points
        .iter()
        .fold((0.0, 0.0), |a, p| (a.0 + p.0 / n, a.1 + p.1 / n));
    let (top, bottom) = points.iter().fold((0.0, 0.0), |a, p| {
        (a.0 + (p.0 - my) * (p.1 - mz), a.1 + (p.0 - my).powi(2))
    });
    (-top / bottom).atan().to_degrees()
}

fn septum(bone: &Bone) -> f64 {
    let middle = bone.shape.fossa_middle;
    if bone.outer.value(bone.mirrored(middle)) >= 0.0 {
        return 0.0;
    }
    crossing(bone, middle, Vec3::x()) + crossing(bone, middle, -Vec3::x())
}

/// Extent of the olecranon fossa between its rims: where the posterior surface along the middle line
/// lies more than 0.5 mm below the bone that would be there without the fossae.
fn fossa_extent(bone: &Bone, along: Vec3) -> f64 {
    let rim = |sign: f64| {
        let mut t = 0.0;
        while t < 30.0 {
            let at = bone.shape.fossa_middle + along * (sign * t);
            let from = Vec3::new(-60.0, at.y, at.z);
            let seen = from + Vec3::x() * crossing(bone, from, Vec3::x());
            if bone
                .shape
                .without_fossae(seen, &bone.shape.sections(seen.y))
                > -0.5
            {
                break;
            }
            t += 0.1;
        }
        t
    };
    rim(1.0) + rim(-1.0)
}

/// Points of the outer surface on a joint surface, right bone's frame.
fn patch_points(bone: &Bone, surface: ArticularSurface) -> Vec<Vec3> {
    let centre = bone.mirrored(bone.articular_centre(surface));
    let mut points = Vec::new();
    for i in 0..24 {
        for j in 0..24 {
            let angle = std::f64::consts::FRAC_PI_4 * (f64::from(i) / 6.0 - 3.0);
            let tilt = (f64::from(j) / 23.0 - 0.5) * 1.4;
            let d = Vec3::new(
                angle.cos() * tilt.cos(),
                angle.sin() * tilt.cos(),
                tilt.sin(),
            );
            let p = centre + d * (60.0 - crossing(bone, centre + d * 60.0, -d));
            let world = bone.mirrored(p);
            let normal = bone.outer().gradient(world);
            if bone.articular(world, normal) == Some(surface) {
                points.push(p);
            }
        }
    }
    points
}

/// Least-squares sphere through points: centre and radius.
fn fit_sphere(points: &[Vec3]) -> Option<(Vec3, f64)> {
    if points.len() < 8 {
        return None;
    }
    let a = DMatrix::from_fn(points.len(), 4, |i, j| {
        if j < 3 { 2.0 * points[i][j] } else { 1.0 }
    });
    let b = DVector::from_fn(points.len(), |i, _| points[i].norm_squared());
    let s = a.svd(true, true).solve(&b, 1e-12).ok()?;
    let centre = Vec3::new(s[0], s[1], s[2]);
    Some((centre, (s[3] + centre.norm_squared()).sqrt()))
}
