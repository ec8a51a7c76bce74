//! A small rasteriser: triangles, seen along parallel rays, to a PNG. No graphics card, same bytes
//! on every machine of the same floating-point arithmetic.
//!
//! Opaque triangles go through a depth buffer; translucent ones through a second, of which only the
//! nearest layer is kept and laid over: bone as glass round the screws, clear at its middle and
//! denser at its rim. Outlines are drawn where the depth jumps. Everything is computed at twice the
//! size and averaged down.

use crate::colour::Rgb;
use bicolumn_base::{BodySide, Vec3};

/// Samples per pixel and direction.
const SUPERSAMPLE: usize = 2;
/// A jump of depth that is drawn as an outline, mm.
const OUTLINE_JUMP_MM: f64 = 1.2;

/// One triangle to be drawn.
#[derive(Debug, Clone, Copy)]
pub struct Triangle {
    /// Corners, mm.
    pub corners: [Vec3; 3],
    /// Normals at the corners, for smooth shading; unit length.
    pub normals: [Vec3; 3],
    /// Colours at the corners.
    pub colours: [Rgb; 3],
    /// Do the colours carry numbers? Then the shading is kept gentle, so that they stay readable.
    pub is_scale: bool,
    /// Drawn as glass?
    pub translucent: bool,
}

/// Where the picture is taken from, and what part of space it shows.
#[derive(Debug, Clone, Copy)]
pub struct Camera {
    /// From the object towards the eye, unit length.
    pub towards_eye: Vec3,
    /// To the right in the picture, unit length.
    pub right: Vec3,
    /// Up in the picture, unit length.
    pub up: Vec3,
    /// Middle of the picture, mm.
    pub middle: Vec3,
    /// Height of the picture, mm.
    pub height_mm: f64,
    /// Width of the picture, mm.
    pub width_mm: f64,
    /// Only what lies between these levels (Y, mm) is drawn: a straight cut through the shaft.
    pub levels_mm: [f64; 2],
}

impl Camera {
    /// A camera that keeps the shaft upright. `azimuth_deg` is counted from anterior (+X) towards
    /// lateral (+Z); `elevation_deg` upwards.
    pub fn upright(azimuth_deg: f64, elevation_deg: f64) -> Camera {
        let (a, e) = (azimuth_deg.to_radians(), elevation_deg.to_radians());
        let towards_eye = Vec3::new(e.cos() * a.cos(), e.sin(), e.cos() * a.sin());
        let right = Vec3::y().cross(&towards_eye).normalize();
        Camera {
            towards_eye,
            right,
            up: towards_eye.cross(&right),
            middle: Vec3::zeros(),
            height_mm: 1.0,
            width_mm: 1.0,
            levels_mm: [f64::NEG_INFINITY, f64::INFINITY],
        }
    }

    /// The same view, framed to hold all points within the levels with a margin.
    pub fn framed(self, points: impl Iterator<Item = Vec3>, margin_mm: f64) -> Camera {
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for p in points {
            if p.y < self.levels_mm[0] || p.y > self.levels_mm[1] {
                continue;
            }
            let flat = [p.dot(&self.right), p.dot(&self.up)];
            for i in 0..2 {
                low[i] = low[i].min(flat[i]);
                high[i] = high[i].max(flat[i]);
            }
        }
        if low[0] > high[0] {
            return self;
        }
        let [x, y] = [0, 1].map(|i| (low[i] + high[i]) / 2.0);
        Camera {
            middle: self.right * x + self.up * y,
            width_mm: high[0] - low[0] + 2.0 * margin_mm,
            height_mm: high[1] - low[1] + 2.0 * margin_mm,
            ..self
        }
    }

    /// The same view of a bone of a side: of a left one from the mirrored place, so that its picture is the mirror
    /// image of a right one's.
    pub(crate) fn on(&self, side: BodySide) -> Camera {
        let right = match side {
            BodySide::Right => self.right,
            BodySide::Left => -side.vector(self.right),
        };
        Camera {
            towards_eye: side.vector(self.towards_eye),
            right,
            up: side.vector(self.up),
            middle: side.vector(self.middle),
            ..*self
        }
    }

    /// Right, up (mm from the middle) and depth towards the eye of a point.
    pub(crate) fn project(&self, p: Vec3) -> Vec3 {
        let d = p - self.middle;
        Vec3::new(
            d.dot(&self.right),
            d.dot(&self.up),
            d.dot(&self.towards_eye),
        )
    }
}

/// A ring round a place of interest.
#[derive(Debug, Clone, Copy)]
pub struct Ring {
    /// Its place, mm.
    pub at: Vec3,
    /// Its radius, mm.
    pub radius_mm: f64,
}

/// A picture, 8-bit RGB.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// Rows from the top, three bytes a pixel.
    pub rgb: Vec<u8>,
}

impl Picture {
    /// The picture as a PNG file.
    ///
    /// # Errors
    /// The encoder's, which in memory does not fail.
    pub fn to_png(&self) -> Result<Vec<u8>, png::EncodingError> {
        let mut out = Vec::new();
        let mut encoder = png::Encoder::new(&mut out, self.width as u32, self.height as u32);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_compression(png::Compression::Balanced);
        encoder.write_header()?.write_image_data(&self.rgb)?;
        Ok(out)
    }
}

#[derive(Clone, Copy)]
struct Sample {
    depth: f64,
    colour: Rgb,
    /// Cosine between the surface and the eye: 1 face on, 0 at the rim.
    facing: f64,
}

const EMPTY: Sample = Sample {
    depth: f64::NEG_INFINITY,
    colour: [1.0; 3],
    facing: 0.0,
};

/// Draws the triangles on white, `pixels_high` pixels high.
///
/// A ring is drawn only where nothing opaque hides its place by more than 2 mm.
pub fn draw(
    camera: &Camera,
    triangles: &[Triangle],
    rings: &[Ring],
    pixels_high: usize,
) -> Picture {
    let height = pixels_high.max(1) * SUPERSAMPLE;
    let scale = height as f64 / camera.height_mm.max(1e-9);
    let width_pixels = (camera.width_mm * scale / SUPERSAMPLE as f64).round() as usize;
    let width = width_pixels.clamp(1, 4 * pixels_high.max(1)) * SUPERSAMPLE;
    let mut solid = vec![EMPTY; width * height];
    let mut glass = vec![EMPTY; width * height];
    // Screen x to the right, y down, in samples.
    let to_screen = |p: Vec3| {
        let q = camera.project(p);
        Vec3::new(
            q.x * scale + width as f64 / 2.0,
            height as f64 / 2.0 - q.y * scale,
            q.z,
        )
    };
    for triangle in triangles {
        let layer = if triangle.translucent {
            &mut glass
        } else {
            &mut solid
        };
        fill(layer, width, height, triangle, camera, &to_screen);
    }
    let mut image = composite(&solid, &glass, width, height);
    for ring in rings {
        draw_ring(&mut image, &solid, width, height, ring, scale, &to_screen);
    }
    average_down(&image, width, height)
}

fn fill(
    layer: &mut [Sample],
    width: usize,
    height: usize,
    triangle: &Triangle,
    camera: &Camera,
    to_screen: &impl Fn(Vec3) -> Vec3,
) {
    let [a, b, c] = triangle.corners.map(to_screen);
    let area = (b.x - a.x) * (c.y - a.y) - (c.x - a.x) * (b.y - a.y);
    if area.abs() < 1e-12 || !area.is_finite() {
        return;
    }
    let range = |low: f64, high: f64, size: usize| {
        let first = (low - 0.5).ceil().max(0.0) as usize;
        let end = ((high - 0.5).floor() + 1.0).clamp(0.0, size as f64) as usize;
        first..end
    };
    let rows = range(a.y.min(b.y).min(c.y), a.y.max(b.y).max(c.y), height);
    let columns = range(a.x.min(b.x).min(c.x), a.x.max(b.x).max(c.x), width);
    for y in rows {
        for x in columns.clone() {
            let (px, py) = (x as f64 + 0.5, y as f64 + 0.5);
            let wb = ((px - a.x) * (c.y - a.y) - (c.x - a.x) * (py - a.y)) / area;
            let wc = ((b.x - a.x) * (py - a.y) - (px - a.x) * (b.y - a.y)) / area;
            let wa = 1.0 - wb - wc;
            if wa < 0.0 || wb < 0.0 || wc < 0.0 {
                continue;
            }
            let depth = wa * a.z + wb * b.z + wc * c.z;
            let sample = &mut layer[y * width + x];
            if depth <= sample.depth {
                continue;
            }
            let [ka, kb, kc] = triangle.corners;
            let level = wa * ka.y + wb * kb.y + wc * kc.y;
            if level < camera.levels_mm[0] || level > camera.levels_mm[1] {
                continue;
            }
            let [na, nb, nc] = triangle.normals;
            let normal = (na * wa + nb * wb + nc * wc)
                .try_normalize(1e-12)
                .unwrap_or(camera.towards_eye);
            let [ca, cb, cc] = triangle.colours;
            let colour = [0, 1, 2].map(|i| wa * ca[i] + wb * cb[i] + wc * cc[i]);
            let (light, facing) = light(normal, camera, triangle.is_scale);
            *sample = Sample {
                depth,
                colour: colour.map(|c| (c * light).min(1.0)),
                facing,
            };
        }
    }
}

/// Brightness of a surface, and how much it faces the eye. Surfaces are lit from both sides.
fn light(normal: Vec3, camera: &Camera, gentle: bool) -> (f64, f64) {
    let facing = normal.dot(&camera.towards_eye);
    let normal = if facing < 0.0 { -normal } else { normal };
    let lamp = (camera.towards_eye + 0.55 * camera.up - 0.45 * camera.right).normalize();
    let lit = normal.dot(&lamp).max(0.0);
    let brightness = if gentle {
        0.78 + 0.22 * lit
    } else {
        0.42 + 0.62 * lit
    };
    (brightness, facing.abs())
}

fn composite(solid: &[Sample], glass: &[Sample], width: usize, height: usize) -> Vec<Rgb> {
    let outline = |layer: &[Sample], x: usize, y: usize| {
        let here = layer[y * width + x].depth;
        let farthest = [(0i64, 1i64), (1, 0), (0, -1), (-1, 0)]
            .iter()
            .filter_map(|(dx, dy)| {
                let (nx, ny) = (x as i64 + dx, y as i64 + dy);
                let inside = (0..width as i64).contains(&nx) && (0..height as i64).contains(&ny);
                inside.then(|| layer[ny as usize * width + nx as usize].depth)
            })
            .fold(here, f64::min);
        here.is_finite() && here - farthest > OUTLINE_JUMP_MM
    };
    let mut image = Vec::with_capacity(solid.len());
    for y in 0..height {
        for x in 0..width {
            let (s, g) = (solid[y * width + x], glass[y * width + x]);
            let mut colour = s.colour;
            if outline(solid, x, y) {
                colour = colour.map(|c| c * 0.55);
            }
            if g.depth > s.depth {
                let cover = if outline(glass, x, y) {
                    0.85
                } else {
                    0.22 + 0.55 * (1.0 - g.facing).powi(2)
                };
                colour = [0, 1, 2].map(|i| cover * g.colour[i] + (1.0 - cover) * colour[i]);
            }
            image.push(colour);
        }
    }
    image
}

fn draw_ring(
    image: &mut [Rgb],
    solid: &[Sample],
    width: usize,
    height: usize,
    ring: &Ring,
    scale: f64,
    to_screen: &impl Fn(Vec3) -> Vec3,
) {
    let at = to_screen(ring.at);
    let inside = (0.0..width as f64).contains(&at.x) && (0.0..height as f64).contains(&at.y);
    if !inside || solid[at.y as usize * width + at.x as usize].depth > at.z + 2.0 {
        return;
    }
    let radius = ring.radius_mm * scale;
    let half = 1.1 * SUPERSAMPLE as f64;
    for y in 0..height {
        for x in 0..width {
            let off = ((x as f64 + 0.5 - at.x).hypot(y as f64 + 0.5 - at.y) - radius).abs();
            if off < half {
                image[y * width + x] = [0.0, 0.35, 0.75];
            } else if off < 1.7 * half {
                image[y * width + x] = [1.0; 3];
            }
        }
    }
}

fn average_down(image: &[Rgb], width: usize, height: usize) -> Picture {
    let (w, h) = (width / SUPERSAMPLE, height / SUPERSAMPLE);
    let mut rgb = Vec::with_capacity(w * h * 3);
    for y in 0..h {
        for x in 0..w {
            for channel in 0..3 {
                let mut sum = 0.0;
                for dy in 0..SUPERSAMPLE {
                    for dx in 0..SUPERSAMPLE {
                        let at = (y * SUPERSAMPLE + dy) * width + x * SUPERSAMPLE + dx;
                        sum += image[at][channel];
                    }
                }
                let mean = sum / (SUPERSAMPLE * SUPERSAMPLE) as f64;
                rgb.push((mean.clamp(0.0, 1.0) * 255.0).round() as u8);
            }
        }
    }
    Picture {
        width: w,
        height: h,
        rgb,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(depth: f64, half: f64, colour: Rgb, translucent: bool) -> Vec<Triangle> {
        let c = |y: f64, z: f64| Vec3::new(depth, y * half, z * half);
        [
            [c(-1.0, -1.0), c(-1.0, 1.0), c(1.0, 1.0)],
            [c(-1.0, -1.0), c(1.0, 1.0), c(1.0, -1.0)],
        ]
        .map(|corners| Triangle {
            corners,
            normals: [Vec3::x(); 3],
            colours: [colour; 3],
            is_scale: true,
            translucent,
        })
        .to_vec()
    }

    fn front() -> Camera {
        Camera {
            height_mm: 4.0,
            width_mm: 4.0,
            ..Camera::upright(0.0, 0.0)
        }
    }

    fn pixel(p: &Picture, x: usize, y: usize) -> [u8; 3] {
        let at = 3 * (y * p.width + x);
        [p.rgb[at], p.rgb[at + 1], p.rgb[at + 2]]
    }

    #[test]
    fn from_the_front_medial_of_a_right_bone_is_to_the_right() {
        let camera = Camera::upright(0.0, 0.0);
        assert!(
            (camera.right + Vec3::z()).norm() < 1e-12,
            "lateral (+Z) lies left"
        );
        assert!((camera.up - Vec3::y()).norm() < 1e-12);
    }

    #[test]
    fn the_nearer_square_hides_the_farther_whatever_the_order() {
        let near = square(1.0, 0.5, [1.0, 0.0, 0.0], false);
        let far = square(0.0, 1.0, [0.0, 0.0, 1.0], false);
        let one = draw(&front(), &[near.clone(), far.clone()].concat(), &[], 40);
        let other = draw(&front(), &[far, near].concat(), &[], 40);
        assert_eq!(one, other);
        let middle = pixel(&one, 20, 20);
        assert!(middle[0] > 180 && middle[2] == 0, "{middle:?}");
        let beside = pixel(&one, 12, 20);
        assert!(beside[2] > 180 && beside[0] == 0, "{beside:?}");
        assert_eq!(pixel(&one, 1, 1), [255; 3]);
    }

    #[test]
    fn glass_lets_what_is_behind_through_but_not_what_is_before() {
        let red = square(0.0, 0.5, [1.0, 0.0, 0.0], false);
        let glass_before = square(1.0, 1.0, [0.9, 0.9, 0.8], true);
        let glass_behind = square(-1.0, 1.0, [0.9, 0.9, 0.8], true);
        let plain = draw(&front(), &red, &[], 40);
        let through = draw(&front(), &[red.clone(), glass_before].concat(), &[], 40);
        let before = draw(&front(), &[red, glass_behind].concat(), &[], 40);
        assert_eq!(pixel(&plain, 20, 20), pixel(&before, 20, 20));
        let seen = pixel(&through, 20, 20);
        assert!(seen[0] > seen[1] && seen[1] > 20, "{seen:?}");
    }

    #[test]
    fn the_area_drawn_is_the_projected_area() {
        // Edge-on light aside, a 2 mm square of a 4 mm picture covers a quarter of the pixels.
        let picture = draw(&front(), &square(0.0, 1.0, [0.0; 3], false), &[], 200);
        let dark = picture.rgb.chunks(3).filter(|p| p[0] < 128).count();
        assert!((dark as f64 / 40_000.0 - 0.25).abs() < 0.01, "{dark}");
    }

    #[test]
    fn what_lies_beyond_the_levels_is_cut_off_straight() {
        let camera = Camera {
            levels_mm: [-0.5, 0.5],
            ..front()
        };
        let picture = draw(&camera, &square(0.0, 1.0, [0.0; 3], false), &[], 200);
        let dark = picture.rgb.chunks(3).filter(|p| p[0] < 128).count();
        assert!((dark as f64 / 40_000.0 - 0.125).abs() < 0.01, "{dark}");
        let corners = [
            Vec3::new(0.0, -1.0, 9.0),
            Vec3::new(0.0, 0.4, 1.0),
            Vec3::zeros(),
        ];
        let framed = camera.framed(corners.into_iter(), 0.0);
        assert!((framed.width_mm - 1.0).abs() < 1e-12 && (framed.height_mm - 0.4).abs() < 1e-12);
    }

    #[test]
    fn a_left_bone_looks_as_the_mirror_image_of_a_right_one() {
        let corners =
            |z: f64| [[0.0, 0.0, 0.0], [1.0, 2.0, 0.3 * z], [0.2, 1.0, 1.5 * z]].map(Vec3::from);
        let triangle = |corners: [Vec3; 3]| Triangle {
            corners,
            normals: [Vec3::x(); 3],
            colours: [[0.1, 0.2, 0.3]; 3],
            is_scale: true,
            translucent: false,
        };
        let camera = Camera::upright(35.0, 14.0).framed(corners(1.0).into_iter(), 0.5);
        let right = draw(
            &camera.on(BodySide::Right),
            &[triangle(corners(1.0))],
            &[],
            90,
        );
        let left = draw(
            &camera.on(BodySide::Left),
            &[triangle(corners(-1.0))],
            &[],
            90,
        );
        assert_eq!((right.width, right.height), (left.width, left.height));
        let is_dark = |p: &Picture, x, y| pixel(p, x, y)[0] < 128;
        let (mut dark, mut off) = (0, 0);
        for y in 0..right.height {
            for x in 0..right.width {
                let one = is_dark(&right, x, y);
                dark += usize::from(one);
                off += usize::from(one != is_dark(&left, right.width - 1 - x, y));
            }
        }
        // Pixels on an edge may fall to either side.
        assert!(dark > 500 && 50 * off < dark, "{off} of {dark}");
    }

    #[test]
    fn a_ring_shows_only_where_its_place_is_not_hidden() {
        let blue = |p: &Picture| p.rgb.chunks(3).any(|c| c[2] > 150 && c[0] < 60);
        let wall = square(0.0, 1.5, [0.5; 3], false);
        let ring = |depth| Ring {
            at: Vec3::new(depth, 0.0, 0.0),
            radius_mm: 0.5,
        };
        assert!(blue(&draw(&front(), &wall, &[ring(0.0)], 100)));
        assert!(!blue(&draw(&front(), &wall, &[ring(-5.0)], 100)));
    }
}
