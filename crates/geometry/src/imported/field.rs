//! The signed distance to a triangle surface on a grid.

use super::placed::{BY_LANDMARKS, box_in_words};
use super::stl::TriangleSurface;
use super::surface_error::SurfaceError;
use super::tree::Tree;
use crate::redistance::redistance;
use crate::spline_grid::{Lattice, SplineGrid};
use crate::{BoneDimension, Field};
use bicolumn_base::{Aabb, Vec3};

/// How far above the potting level a surface must reach, mm: a cap nearer than this would be felt by
/// the canal below it.
const ABOVE_POTTING: f64 = 8.0;
/// Distances beyond this are found by spreading, mm.
const BAND: f64 = 3.0;

/// The signed distance to a surface, up to a level, with its grid. The facets' creases are rounded by
/// the grid.
pub(crate) fn distances(
    surface: &TriangleSurface,
    top: f64,
    step: f64,
    margin: f64,
) -> (Lattice, SplineGrid) {
    let tree = Tree::of(surface);
    let mut bounds = Aabb::around(&surface.vertices);
    bounds.max.y = bounds.max.y.min(top);
    let mut bounds = bounds.grown(margin);
    bounds.max.y = bounds.max.y.min(top + 2.0 * step);
    let lattice = Lattice::covering(&bounds, step);
    let signed = |x: Vec3| {
        let distance = tree.distance(x, BAND);
        if tree.winding(x) > 0.5 {
            -distance
        } else {
            distance
        }
    };
    let values = (0..lattice.len())
        .map(|i| signed(lattice.node(lattice.at(i))))
        .collect();
    (lattice, redistance(lattice, values))
}

/// Does a surface go on above the potting level?
///
/// # Errors
/// [`SurfaceError::Misplaced`] with the level at which it ends.
pub(crate) fn reaches(surface: &TriangleSurface, potting: f64) -> Result<(), SurfaceError> {
    let bounds = Aabb::around(&surface.vertices);
    let end = bounds.max.y;
    if end >= potting + ABOVE_POTTING {
        return Ok(());
    }
    let range = BoneDimension::PottingLevel.range();
    let highest = end - ABOVE_POTTING;
    Err(SurfaceError::Misplaced {
        why: format!(
            "it ends at level {end:.1} mm, the potting is at {potting:.1} mm; its bounding box is {}",
            box_in_words(&bounds, "mm")
        ),
        hint: match highest >= range.least {
            true => {
                format!("set potting_level_mm to {highest:.1} or less, or import more of the shaft")
            }
            false => format!(
                "the shaft must go on to level {:.1} mm at least: import more of it; {BY_LANDMARKS}",
                range.least + ABOVE_POTTING
            ),
        },
    })
}

/// Do the named places lie as deep inside a field as they need to?
///
/// # Errors
/// [`SurfaceError::Misplaced`] with the first that does not.
pub(crate) fn fits(
    places: &[(&'static str, Vec3, f64)],
    outer: &SplineGrid,
) -> Result<(), SurfaceError> {
    for (name, at, needed) in places {
        let depth = -outer.value(*at);
        if depth < *needed {
            return Err(SurfaceError::Misplaced {
                why: format!(
                    "the {name} of the card, at ({:.1}, {:.1}, {:.1}) mm, lies {}; at least {needed} mm inside is needed",
                    at.x,
                    at.y,
                    at.z,
                    if depth < 0.0 {
                        format!("{:.1} mm outside", -depth)
                    } else {
                        format!("{depth:.1} mm inside")
                    }
                ),
                hint: format!(
                    "give the dimensions of bone as measured on the surface; {BY_LANDMARKS}"
                ),
            });
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::shapes::ball;
    use super::super::{audit, read_stl};
    use super::*;

    #[test]
    fn the_field_of_a_ball_is_its_distance() {
        let audited = audit(ball(Vec3::zeros(), 12.0, 4)).unwrap();
        let (_, field) = distances(&audited.surface, 100.0, 0.8, 6.0);
        for i in 0..400 {
            let (a, b) = (f64::from(i) * 0.61, f64::from(i) * 1.37);
            let d = -4.0 + 8.0 * f64::from(i % 17) / 16.0;
            let x = Vec3::new(a.cos() * b.sin(), a.sin() * b.sin(), b.cos()) * (12.0 + d);
            assert!(
                (field.value(x) - d).abs() < 0.12,
                "{x:?} {d} {}",
                field.value(x)
            );
            assert!((field.gradient(x).norm() - 1.0).abs() < 0.06);
        }
    }

    #[test]
    fn a_surface_that_is_too_short_is_told_a_level_that_the_key_accepts() {
        let range = BoneDimension::PottingLevel.range();
        let hint = |radius: f64| {
            let surface = ball(Vec3::zeros(), radius, 2);
            match reaches(&surface, 150.0) {
                Err(SurfaceError::Misplaced { hint, .. }) => hint,
                other => panic!("{other:?}"),
            }
        };
        assert!(hint(120.0).starts_with("set potting_level_mm to 112.0 or less"));
        // No level of the range would do.
        let told = hint(60.0);
        assert!(!told.contains("set potting_level_mm"), "{told}");
        let least = format!("level {:.1} mm", range.least + ABOVE_POTTING);
        assert!(
            told.contains(&least) && told.contains("surface_shaft_distal"),
            "{told}"
        );
    }

    #[test]
    fn a_file_of_triangles_makes_the_same_field() {
        let surface = ball(Vec3::zeros(), 6.0, 2);
        let mut text = String::from("solid ball\n");
        for t in 0..surface.triangles.len() {
            text.push_str("facet normal 0 0 0\nouter loop\n");
            for p in surface.corners(t) {
                text.push_str(&format!(
                    "vertex {} {} {}\n",
                    p.x as f32, p.y as f32, p.z as f32
                ));
            }
            text.push_str("endloop\nendfacet\n");
        }
        text.push_str("endsolid ball\n");
        let read = audit(read_stl(text.as_bytes()).unwrap()).unwrap();
        assert_eq!(read.surface.triangles.len(), surface.triangles.len());
        let of = |surface: &TriangleSurface| distances(surface, 100.0, 0.8, 5.0).1;
        let (a, b) = (of(&surface), of(&read.surface));
        for x in [Vec3::new(1.0, 2.0, 5.0), Vec3::new(-4.0, 3.0, 1.0)] {
            assert!((a.value(x) - b.value(x)).abs() < 1e-4);
        }
    }
}
