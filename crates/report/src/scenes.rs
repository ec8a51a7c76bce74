//! The pictures of the page: constructs as glass, stress on bone and on hardware.

use crate::colour::{Rgb, stress_colour};
use crate::error::ReportError;
use crate::picture::{Camera, Picture, Ring, Triangle, draw};
use crate::surface::{PartClass, Surface, area_percentile};
use bicolumn_base::Vec3;
use bicolumn_store::PointRecord;

const BONE: Rgb = [0.90, 0.86, 0.76];
const STEEL: Rgb = [0.62, 0.65, 0.69];
/// Colours of the first, second and third plate, and of their screws.
pub(crate) const PLATES: [Rgb; 3] = [[0.50, 0.60, 0.72], [0.76, 0.62, 0.45], [0.55, 0.68, 0.55]];
const SCREWS: [Rgb; 3] = [[0.16, 0.36, 0.60], [0.66, 0.36, 0.10], [0.15, 0.45, 0.25]];
/// Bone kept in view above the highest plate end and below the lowest, mm.
const ABOVE_MM: f64 = 32.0;
const BELOW_MM: f64 = 26.0;
/// Room beside and below the whole construct, for the load lines, mm.
const ROOM_MM: f64 = 34.0;
/// White round a picture, mm.
const MARGIN_MM: f64 = 1.5;

/// Where a picture is taken from.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Eye {
    /// The view in words.
    pub(crate) words: &'static str,
    azimuth_deg: f64,
}

/// From the front, on the lateral side.
pub(crate) const FRONT: Eye = Eye {
    words: "front, lateral side",
    azimuth_deg: 35.0,
};
/// From behind, on the medial side: shows a medial and a posterolateral plate.
pub(crate) const BACK_MEDIAL: Eye = Eye {
    words: "back, medial side",
    azimuth_deg: 215.0,
};
/// From behind, on the lateral side.
pub(crate) const BACK_LATERAL: Eye = Eye {
    words: "back, lateral side",
    azimuth_deg: 145.0,
};
/// From the lateral side.
pub(crate) const LATERAL: Eye = Eye {
    words: "lateral side",
    azimuth_deg: 90.0,
};
/// From the medial side.
pub(crate) const MEDIAL: Eye = Eye {
    words: "medial side",
    azimuth_deg: 270.0,
};
const ELEVATION_DEG: f64 = 14.0;

impl Eye {
    /// A camera that holds all surfaces between two levels, so that their pictures can be compared. It is that of a
    /// right bone, see [`Camera::on`].
    fn camera(&self, surfaces: &[&Surface], levels_mm: [f64; 2]) -> Camera {
        let camera = Camera {
            levels_mm,
            ..Camera::upright(self.azimuth_deg, ELEVATION_DEG)
        };
        let points = surfaces
            .iter()
            .flat_map(|s| s.points.iter().map(|p| s.side.vector(*p)));
        camera.framed(points, MARGIN_MM)
    }
}

/// Stress pictures of all points under one load case, on common frames and scales.
#[derive(Debug)]
pub(crate) struct StressScene {
    case: String,
    /// Top of the scale for bone, MPa.
    pub(crate) bone_mpa: f64,
    /// Top of the scale for plates and screws, MPa.
    pub(crate) hardware_mpa: f64,
    /// Eyes and cameras on the bone round the plate ends.
    bone_views: [(Eye, Camera); 3],
    /// Eye and camera on the whole hardware.
    hardware_view: (Eye, Camera),
}

impl StressScene {
    /// The scene of these points; `None` when none of them stored stress under the load case.
    ///
    /// Top of a scale: the largest of the points' 99.5th percentiles by area (of bone within the
    /// levels shown; of all hardware), rounded up. What lies above takes the top colour.
    pub(crate) fn new(points: &[(&PointRecord, &Surface)], case: &str) -> Option<StressScene> {
        if !points.iter().any(|(_, s)| s.mises(case).is_some()) {
            return None;
        }
        let plates = || points.iter().flat_map(|(p, _)| &p.plates);
        let lowest_end = plates()
            .map(|m| m.end_level_mm)
            .fold(f64::INFINITY, f64::min);
        let highest_end = plates()
            .map(|m| m.end_level_mm)
            .fold(f64::NEG_INFINITY, f64::max);
        let levels_mm = match lowest_end.is_finite() {
            true => [lowest_end - BELOW_MM, highest_end + ABOVE_MM],
            false => [f64::NEG_INFINITY, f64::INFINITY],
        };
        let top = |wanted: &dyn Fn(PartClass, f64) -> bool| {
            let tops = points.iter().filter_map(|(_, surface)| {
                let mises = surface.mises(case)?;
                let weighted = (0..surface.triangles.len())
                    .filter(|&t| wanted(surface.class(t), middle_level(surface, t)))
                    .map(|t| {
                        let corners = surface.triangles[t].iter();
                        let sum: f64 = corners.map(|&n| mises[n as usize]).sum();
                        (sum / 3.0, surface.area(t))
                    })
                    .collect();
                area_percentile(weighted, 0.995)
            });
            round_top(tops.fold(0.0, f64::max))
        };
        let within = |level: f64| (levels_mm[0]..=levels_mm[1]).contains(&level);
        let surfaces: Vec<&Surface> = points.iter().map(|(_, s)| *s).collect();
        let hardware_levels = [f64::NEG_INFINITY, highest_end + ABOVE_MM / 2.0];
        Some(StressScene {
            case: case.to_string(),
            bone_mpa: top(&|class, level| class == PartClass::Bone && within(level)),
            hardware_mpa: top(&|class, _| class.is_hardware()),
            bone_views: [BACK_MEDIAL, BACK_LATERAL, FRONT]
                .map(|eye| (eye, eye.camera(&surfaces, levels_mm))),
            hardware_view: (BACK_MEDIAL, BACK_MEDIAL.camera(&surfaces, hardware_levels)),
        })
    }

    /// Stress on the bone round the plate ends, from three sides; hardware as glass, so that the bone
    /// under a plate is seen. A ring marks the place given.
    pub(crate) fn bone_pictures(
        &self,
        surface: &Surface,
        hot_spot: Option<[f64; 3]>,
        pixels_high: usize,
    ) -> Vec<(Eye, Picture)> {
        let views = self.bone_views.iter();
        let seen = views.filter_map(|v| self.bone_picture(v, surface, hot_spot, pixels_high));
        seen.collect()
    }

    /// The one of these views that faces a place most.
    pub(crate) fn facing_picture(
        &self,
        surface: &Surface,
        place: Option<[f64; 3]>,
        pixels_high: usize,
    ) -> Option<(Eye, Picture)> {
        let middle = surface.points.iter().sum::<Vec3>() / surface.points.len().max(1) as f64;
        let outwards = place.map_or(Vec3::zeros(), |at| Vec3::from(at) - middle);
        let outwards = surface.side.vector(Vec3::new(outwards.x, 0.0, outwards.z));
        let faces = |view: &(Eye, Camera)| view.1.towards_eye.dot(&outwards);
        let first = self.bone_views.first()?;
        let most =
            self.bone_views
                .iter()
                .fold(first, |best, view| match faces(view) > faces(best) {
                    true => view,
                    false => best,
                });
        self.bone_picture(most, surface, place, pixels_high)
    }

    fn bone_picture(
        &self,
        (eye, camera): &(Eye, Camera),
        surface: &Surface,
        hot_spot: Option<[f64; 3]>,
        pixels_high: usize,
    ) -> Option<(Eye, Picture)> {
        let mises = surface.mises(&self.case)?;
        let triangles = triangles(surface, |t, class| match class.is_hardware() {
            true => Paint::glass(STEEL),
            false => Paint::scale(surface, mises, t, self.bone_mpa),
        });
        let rings: Vec<Ring> = hot_spot
            .iter()
            .map(|at| Ring {
                at: Vec3::from(*at),
                radius_mm: 3.0,
            })
            .collect();
        let camera = camera.on(surface.side);
        Some((*eye, draw(&camera, &triangles, &rings, pixels_high)))
    }

    /// Stress on plates and screws, the bone as glass.
    pub(crate) fn hardware_picture(
        &self,
        surface: &Surface,
        pixels_high: usize,
    ) -> Option<(Eye, Picture)> {
        let mises = surface.mises(&self.case)?;
        if !(0..surface.triangles.len()).any(|t| surface.class(t).is_hardware()) {
            return None;
        }
        let triangles = triangles(surface, |t, class| match class.is_hardware() {
            true => Paint::scale(surface, mises, t, self.hardware_mpa),
            false => Paint::glass(BONE),
        });
        let (eye, camera) = &self.hardware_view;
        let camera = camera.on(surface.side);
        Some((*eye, draw(&camera, &triangles, &[], pixels_high)))
    }
}

/// The construct with its screws seen through the bone, screws in the colour of their plate.
pub(crate) fn construct_picture(
    surface: &Surface,
    point: &PointRecord,
    eye: Eye,
    pixels_high: usize,
) -> (Picture, Camera) {
    // A long bare shaft would make everything else small.
    let ends = point.plates.iter().map(|p| p.end_level_mm).reduce(f64::max);
    let top = ends.map_or(f64::INFINITY, |end| end + ABOVE_MM);
    let camera = eye.camera(&[surface], [f64::NEG_INFINITY, top]);
    glass_picture(surface, point, camera, pixels_high)
}

/// The whole construct likewise, with room about it for the load lines.
pub(crate) fn whole_picture(
    surface: &Surface,
    point: &PointRecord,
    pixels_high: usize,
) -> (Picture, Camera) {
    let mut camera = FRONT.camera(&[surface], [f64::NEG_INFINITY, f64::INFINITY]);
    camera.width_mm += 2.0 * ROOM_MM;
    camera.height_mm += ROOM_MM;
    camera.middle -= camera.up * (0.5 * ROOM_MM);
    glass_picture(surface, point, camera, pixels_high)
}

fn glass_picture(
    surface: &Surface,
    point: &PointRecord,
    camera: Camera,
    pixels_high: usize,
) -> (Picture, Camera) {
    let plate_of_part: Vec<usize> = surface
        .parts
        .iter()
        .map(|name| {
            let screw = point.screws.iter().find(|s| s.name == *name);
            let site = screw.map_or(name.strip_prefix("plate."), |s| Some(s.plate.as_str()));
            let place = point
                .plates
                .iter()
                .position(|p| Some(p.site.as_str()) == site);
            place.unwrap_or(0) % PLATES.len()
        })
        .collect();
    let triangles = triangles(surface, |t, class| {
        let plate = plate_of_part[surface.part[t]];
        match class {
            PartClass::Bone | PartClass::Other => Paint::glass(BONE),
            PartClass::Plate => Paint::plain(PLATES[plate]),
            PartClass::Screw => Paint::plain(SCREWS[plate]),
        }
    });
    let camera = camera.on(surface.side);
    (draw(&camera, &triangles, &[], pixels_high), camera)
}

/// A picture as the text of an `<img>` source.
///
/// # Errors
/// [`ReportError::Picture`].
pub(crate) fn data_uri(picture: &Picture) -> Result<String, ReportError> {
    use base64::Engine;
    let png = picture.to_png()?;
    let text = base64::engine::general_purpose::STANDARD.encode(png);
    Ok(format!("data:image/png;base64,{text}"))
}

/// How one triangle is painted.
struct Paint {
    colours: [Rgb; 3],
    is_scale: bool,
    translucent: bool,
}

impl Paint {
    fn plain(colour: Rgb) -> Paint {
        Paint {
            colours: [colour; 3],
            is_scale: false,
            translucent: false,
        }
    }

    fn glass(colour: Rgb) -> Paint {
        Paint {
            translucent: true,
            ..Paint::plain(colour)
        }
    }

    fn scale(surface: &Surface, mises: &[f64], t: usize, top: f64) -> Paint {
        Paint {
            colours: surface.triangles[t].map(|n| stress_colour(mises[n as usize] / top)),
            is_scale: true,
            translucent: false,
        }
    }
}

fn triangles(surface: &Surface, paint: impl Fn(usize, PartClass) -> Paint) -> Vec<Triangle> {
    (0..surface.triangles.len())
        .map(|t| {
            let paint = paint(t, surface.class(t));
            Triangle {
                corners: surface.corners(t),
                normals: surface.normals[t],
                colours: paint.colours,
                is_scale: paint.is_scale,
                translucent: paint.translucent,
            }
        })
        .collect()
}

fn middle_level(surface: &Surface, t: usize) -> f64 {
    surface.corners(t).iter().map(|c| c.y).sum::<f64>() / 3.0
}

/// Up to a number whose quarters are round, at most a third larger.
fn round_top(value: f64) -> f64 {
    if value <= 0.0 || !value.is_finite() {
        return 1.0;
    }
    let power = 10f64.powf(value.log10().floor());
    [1.0, 1.2, 1.6, 2.0, 2.4, 3.0, 4.0, 5.0, 6.0, 8.0]
        .iter()
        .map(|lead| lead * power)
        .find(|top| *top >= value * (1.0 - 1e-9))
        .unwrap_or(10.0 * power)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tops_are_round_and_not_below() {
        for value in [0.013, 1.0, 1.7, 29.4, 87.0, 99.0, 1234.0] {
            let top = round_top(value);
            assert!(top >= value && top <= 1.34 * value, "{value} {top}");
        }
        assert_eq!(round_top(87.0), 100.0);
        assert_eq!(round_top(0.0), 1.0);
    }
}
