//! The pictures of the page: constructs as glass, stress on bone and on hardware.

use crate::colour::{Rgb, stress_colour};
use crate::error::ReportError;
use crate::picture::{Camera, Picture, Ring, Triangle, draw};
use crate::surface::{PartClass, Surface, area_percentile};
use bicolumn_base::Vec3;
use bicolumn_store::PointRecord;

const BONE: Rgb = [0.90, 0.86, 0.76];
const STEEL: Rgb = [0.62, 0.65, 0.69];
const PLATES: [Rgb; 3] = [[0.50, 0.60, 0.72], [0.76, 0.62, 0.45], [0.55, 0.68, 0.55]];
const SCREWS: [Rgb; 3] = [[0.16, 0.36, 0.60], [0.66, 0.36, 0.10], [0.15, 0.45, 0.25]];
/// Bone kept in view above the highest plate end and below the lowest, mm.
const ABOVE_MM: f64 = 32.0;
const BELOW_MM: f64 = 26.0;

/// Views: (words, azimuth from anterior towards lateral, elevation), degrees.
pub const FRONT: (&str, f64, f64) = ("from the front, lateral", 35.0, 14.0);
/// From behind, on the medial side: shows a medial and a posterolateral plate.
pub const BACK: (&str, f64, f64) = ("from behind, medial", 215.0, 14.0);
/// From behind, on the lateral side.
pub const BACK_LATERAL: (&str, f64, f64) = ("from behind, lateral", 145.0, 14.0);

/// What part of the shaft the stress pictures show, and the top of each colour scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StressFrame {
    /// Levels shown, mm.
    pub levels_mm: [f64; 2],
    /// Top of the scale for bone, MPa.
    pub bone_mpa: f64,
    /// Top of the scale for plates and screws, MPa.
    pub hardware_mpa: f64,
}

/// One frame for all points, so that their pictures can be compared.
///
/// Top of a scale: the largest of the points' 99.5th percentiles by area (of bone within the levels
/// shown; of all hardware), rounded up to two digits. What lies above takes the top colour.
pub fn stress_frame(points: &[(&PointRecord, &Surface)], case: &str) -> Option<StressFrame> {
    let ends = || {
        points
            .iter()
            .flat_map(|(p, _)| p.plates.iter().map(|m| m.end_level_mm))
    };
    let (low, high) = (
        ends().fold(f64::INFINITY, f64::min),
        ends().fold(f64::NEG_INFINITY, f64::max),
    );
    let levels_mm = if low.is_finite() {
        [low - BELOW_MM, high + ABOVE_MM]
    } else {
        [f64::NEG_INFINITY, f64::INFINITY]
    };
    let top = |wanted: &dyn Fn(PartClass, Vec3) -> bool| {
        let tops = points.iter().filter_map(|(_, surface)| {
            let mises = surface.mises(case)?;
            let weighted = (0..surface.triangles.len())
                .filter(|&t| wanted(surface.class(t), centre(surface, t)))
                .map(|t| {
                    let sum: f64 = surface.triangles[t]
                        .iter()
                        .map(|&n| mises[n as usize])
                        .sum();
                    (sum / 3.0, surface.area(t))
                })
                .collect();
            area_percentile(weighted, 0.995)
        });
        round_up(tops.fold(0.0, f64::max))
    };
    let within = |c: Vec3| (levels_mm[0]..=levels_mm[1]).contains(&c.y);
    points
        .iter()
        .any(|(_, s)| s.mises(case).is_some())
        .then(|| StressFrame {
            levels_mm,
            bone_mpa: top(&|class, c| class == PartClass::Bone && within(c)),
            hardware_mpa: top(&|class, _| matches!(class, PartClass::Plate | PartClass::Screw)),
        })
}

/// Up to two significant digits.
fn round_up(value: f64) -> f64 {
    if value <= 0.0 {
        return 1.0;
    }
    let step = 10f64.powf(value.log10().floor() - 1.0);
    (value / step - 1e-9).ceil() * step
}

/// The construct with its screws seen through the bone, screws in the colour of their plate.
pub fn construct_picture(
    surface: &Surface,
    point: &PointRecord,
    view: (&str, f64, f64),
    pixels_high: usize,
) -> Picture {
    let plate_of_part: Vec<usize> = surface
        .parts
        .iter()
        .map(|name| {
            let screw = point.screws.iter().find(|s| s.name == *name);
            let site = screw.map_or(name.strip_prefix("plate."), |s| Some(s.plate.as_str()));
            point
                .plates
                .iter()
                .position(|p| Some(p.site.as_str()) == site)
                .unwrap_or(0)
        })
        .collect();
    // A long bare shaft would make everything else small.
    let top = highest(surface, PartClass::Plate).map_or(f64::INFINITY, |h| h + ABOVE_MM);
    let triangles = triangles(surface, [f64::NEG_INFINITY, top], |t, class| {
        let plate = plate_of_part[surface.part[t]] % 3;
        match class {
            PartClass::Bone | PartClass::Other => ([BONE; 3], true),
            PartClass::Plate => ([PLATES[plate]; 3], false),
            PartClass::Screw => ([SCREWS[plate]; 3], false),
        }
    });
    picture(view, triangles, &[], pixels_high)
}

/// Stress on the bone round the plate ends; hardware plain. A ring marks where the headline was found.
pub fn bone_stress_picture(
    surface: &Surface,
    case: &str,
    frame: &StressFrame,
    view: (&str, f64, f64),
    hot_spot: Option<[f64; 3]>,
    pixels_high: usize,
) -> Option<Picture> {
    let mises = surface.mises(case)?;
    let triangles = triangles(surface, frame.levels_mm, |t, class| match class {
        PartClass::Bone | PartClass::Other => (scale(surface, mises, t, frame.bone_mpa), false),
        PartClass::Plate | PartClass::Screw => ([STEEL; 3], false),
    });
    let rings: Vec<Ring> = hot_spot
        .iter()
        .map(|at| Ring {
            at: Vec3::from(*at),
            radius_mm: 3.0,
        })
        .collect();
    let mut triangles = triangles;
    for t in &mut triangles {
        // Plain hardware carries no numbers and may be shaded fully.
        t.is_scale = t.colours != [STEEL; 3];
    }
    Some(picture(view, triangles, &rings, pixels_high))
}

/// Stress on plates and screws, the bone as glass.
pub fn hardware_stress_picture(
    surface: &Surface,
    case: &str,
    frame: &StressFrame,
    view: (&str, f64, f64),
    pixels_high: usize,
) -> Option<Picture> {
    let mises = surface.mises(case)?;
    let top = highest(surface, PartClass::Plate)? + ABOVE_MM / 2.0;
    let mut triangles = triangles(surface, [f64::NEG_INFINITY, top], |t, class| match class {
        PartClass::Bone | PartClass::Other => ([BONE; 3], true),
        PartClass::Plate | PartClass::Screw => {
            (scale(surface, mises, t, frame.hardware_mpa), false)
        }
    });
    for t in &mut triangles {
        t.is_scale = !t.translucent;
    }
    Some(picture(view, triangles, &[], pixels_high))
}

/// A picture as the text of an `<img>` source.
///
/// # Errors
/// [`ReportError::Picture`].
pub fn data_uri(picture: &Picture) -> Result<String, ReportError> {
    use base64::Engine;
    let png = picture.to_png()?;
    let text = base64::engine::general_purpose::STANDARD.encode(png);
    Ok(format!("data:image/png;base64,{text}"))
}

fn picture(
    (_, azimuth, elevation): (&str, f64, f64),
    triangles: Vec<Triangle>,
    rings: &[Ring],
    pixels_high: usize,
) -> Picture {
    let points = triangles.iter().flat_map(|t| t.corners);
    let camera = Camera::upright(azimuth, elevation).framed(points, 2.0);
    draw(&camera, &triangles, rings, pixels_high)
}

/// The triangles within the levels (by their centres), coloured by `paint(triangle, class)`, which
/// says whether they are glass.
fn triangles(
    surface: &Surface,
    levels_mm: [f64; 2],
    paint: impl Fn(usize, PartClass) -> ([Rgb; 3], bool),
) -> Vec<Triangle> {
    (0..surface.triangles.len())
        .filter(|&t| (levels_mm[0]..=levels_mm[1]).contains(&centre(surface, t).y))
        .map(|t| {
            let (colours, translucent) = paint(t, surface.class(t));
            Triangle {
                corners: surface.corners(t),
                normals: surface.normals[t],
                colours,
                is_scale: false,
                translucent,
            }
        })
        .collect()
}

fn scale(surface: &Surface, mises: &[f64], t: usize, top: f64) -> [Rgb; 3] {
    surface.triangles[t].map(|n| stress_colour(mises[n as usize] / top))
}

fn centre(surface: &Surface, t: usize) -> Vec3 {
    let [a, b, c] = surface.corners(t);
    (a + b + c) / 3.0
}

fn highest(surface: &Surface, class: PartClass) -> Option<f64> {
    (0..surface.triangles.len())
        .filter(|&t| surface.class(t) == class)
        .map(|t| centre(surface, t).y)
        .fold(None, |best: Option<f64>, y| {
            Some(best.map_or(y, |b| b.max(y)))
        })
}
