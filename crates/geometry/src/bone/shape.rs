//! The defining function of the distal humerus, before it is made a distance.
//!
//! Always a right bone. Two round pillars (the columns) run from the shaft, where they coincide, to
//! the epicondyles; their hull is the metaphysis. The articular block (capitellum and trochlea) is
//! joined to it, then the olecranon and coronoid fossae are taken out.
//!
//! ```text
//!        |  |            shaft
//!       /    \
//!      / fos- \          columns, y = 10..50
//!     <  sae   |
//!      \_oOO_O_/         medial epicondyle, trochlea, capitellum, lateral epicondyle
//! ```

use crate::BoneSpec;
use bicolumn_base::Vec3;

/// Levels of the metaphysis as multiples of the epicondylar width (judgement: 30 mm on a bone 59 mm wide).
const METAPHYSIS: f64 = 0.51;
/// Level at which the straight border of a column leaves the shaft at the latest, as a multiple of the epicondylar
/// width (judgement: 65 mm on a bone 59 mm wide).
const FLARE_TOP: f64 = 1.105;
/// Share of the epicondylar width medial of the middle of the joint (judgement).
const MEDIAL_SHARE: f64 = 0.57;
/// Arm of the anterior offset of the joint, as a share of the epicondylar width (judgement).
const TILT_ARM: f64 = 0.2;
/// Depth of the coronoid fossa as a share of the column depth (Fahrioglu et al. 2019: 4.5 mm; column
/// depth from memory).
const CORONOID_SHARE: f64 = 0.32;
/// Radius of the medial rim above and behind, as a share of its radius below (judgement).
const RIM_BEHIND: f64 = 0.72;
/// Distal-anterior: where a forearm bears.
pub(crate) const BEARING: Vec3 = Vec3::new(
    std::f64::consts::FRAC_1_SQRT_2,
    -std::f64::consts::FRAC_1_SQRT_2,
    0.0,
);
/// Radius of the blends, mm.
pub(crate) const BLEND: f64 = 3.0;
/// Radius of the blend at the rim of the olecranon fossa, mm: wide enough to be meshed smooth.
const RIM_BLEND: f64 = 4.0;
/// Distance by which that blend moves the rim outwards, mm; the ellipsoid is smaller by so much.
const RIM_SHIFT: f64 = 0.6;

/// One pillar of the metaphysis.
#[derive(Debug, Clone)]
struct Pillar {
    /// −1 medial, +1 lateral.
    side: f64,
    /// Distance of the shaft's border from its axis.
    shaft_radius: f64,
    /// Distance of the epicondyle's tip from the shaft axis.
    tip: f64,
    /// Tangent of the divergence angle.
    slope: f64,
    /// Level where the straight border would leave the shaft.
    start: f64,
    /// Reach that the epicondyle adds to the straight border, from a level at which it begins to its own.
    jut: f64,
    jut_levels: [f64; 2],
    /// Radius of the column and of the epicondyle.
    column_radius: f64,
    epicondyle_radius: f64,
    /// Lowest level of the pillar's centre line.
    end: f64,
    /// How far the centre line curves forward.
    forward: f64,
    /// Width of the flare's rounding.
    rounding: f64,
    /// Levels between which radius and forward curve change.
    top: f64,
    fossa: f64,
}

impl Pillar {
    /// Distance of the border from the shaft axis at a level.
    fn border(&self, y: f64) -> f64 {
        let straight = self.slope * soft_plus(self.start - y, self.rounding);
        let flare = match self.jut > 0.0 {
            true => straight + self.jut * step(self.jut_levels[0], self.jut_levels[1], y),
            false => straight,
        };
        self.shaft_radius + smooth_min(flare, self.tip - self.shaft_radius, 5.0 * self.slope)
    }

    fn radius(&self, y: f64) -> f64 {
        let column = mix(
            self.column_radius,
            self.shaft_radius,
            step(self.fossa + 4.0, self.top, y),
        );
        mix(
            self.epicondyle_radius,
            column,
            step(self.end, self.fossa, y),
        )
    }

    /// Centre (x, z) relative to the shaft axis, and radius.
    fn section(&self, y: f64) -> (f64, f64, f64) {
        let y = y.max(self.end);
        let radius = self.radius(y);
        let x = self.forward * (1.0 - step(self.end - 8.0, self.top, y));
        (x, self.side * (self.border(y) - radius), radius)
    }
}

/// The shape, with the lengths derived from the card.
#[derive(Debug, Clone)]
pub(crate) struct Shape {
    pub(crate) shaft_radius: f64,
    /// X of the shaft axis (it runs parallel to Y at z = 0).
    pub(crate) shaft_x: f64,
    /// Unit flexion axis, pointing laterally.
    pub(crate) axis: Vec3,
    /// Positions along the flexion axis.
    pub(crate) capitellum_at: f64,
    pub(crate) groove_at: f64,
    pub(crate) medial_rim_at: f64,
    pub(crate) lateral_rim_at: f64,
    pub(crate) capitellum_radius: f64,
    pub(crate) capitellum_width: f64,
    groove_radius: f64,
    medial_radius: f64,
    lateral_radius: f64,
    spool: (f64, f64),
    medial: Pillar,
    lateral: Pillar,
    olecranon: Ellipsoid,
    coronoid: Ellipsoid,
    /// Plane along the back of the lateral column: a point and the unit normal, pointing forwards.
    back: (Vec3, Vec3),
    /// Middle of the fossae.
    pub(crate) fossa_middle: Vec3,
    perforated: bool,
}

/// Centre (x, z) relative to the shaft axis and radius of both pillars at a level.
pub(crate) struct Sections {
    medial: (f64, f64, f64),
    lateral: (f64, f64, f64),
}

/// An axis-parallel ellipsoid.
#[derive(Debug, Clone)]
struct Ellipsoid {
    centre: Vec3,
    axes: Vec3,
}

impl Ellipsoid {
    /// Distance to first order (Quilez 2008, bound of an ellipsoid: k₀(k₀−1)/k₁).
    fn value(&self, x: Vec3) -> f64 {
        let d = x - self.centre;
        let k0 = d.component_div(&self.axes).norm();
        let k1 = d.component_div(&self.axes.component_mul(&self.axes)).norm();
        if k1 < 1e-9 {
            -self.axes.min()
        } else {
            k0 * (k0 - 1.0) / k1
        }
    }
}

impl Shape {
    pub(crate) fn new(spec: &BoneSpec) -> Shape {
        let width = spec.epicondylar_width_mm;
        let shaft_radius = spec.shaft_diameter_mm / 2.0;
        let offset = TILT_ARM * width * spec.anterior_tilt_deg.to_radians().tan();
        let valgus = spec.articular_valgus_deg.to_radians();
        // Capitellum's centre and trochlear groove lie evenly about the origin.
        let reach = (spec.capitellum_width_mm + spec.trochlea_width_mm) / 4.0;
        let half_trochlea = spec.trochlea_width_mm / 2.0;
        let column_radius = spec.column_depth_mm / 2.0;
        let scale = width / 58.9;
        let top = 2.0 * METAPHYSIS * width;
        let fossa_level = 0.5 * (spec.trochlea_groove_diameter_mm + spec.fossa_length_mm);
        let pillar = |side: f64, angle: f64, tip: f64, tip_level: f64, end: f64, forward: f64| {
            let slope = angle.to_radians().tan();
            // A border at a small angle would run straight far up the shaft; a real one fades into it below the
            // shaft's distal quarter, and the epicondyle juts out of it.
            let reach = (tip - shaft_radius) / slope;
            let straight = reach.min(FLARE_TOP * width - tip_level);
            Pillar {
                side,
                shaft_radius,
                tip,
                slope,
                start: tip_level + straight,
                jut: (reach - straight) * slope,
                jut_levels: [fossa_level + 0.5 * spec.fossa_length_mm, tip_level],
                column_radius,
                epicondyle_radius: column_radius * if side < 0.0 { 0.86 } else { 0.95 },
                end,
                forward,
                rounding: 4.0 * scale,
                top,
                fossa: fossa_level,
            }
        };
        let medial = pillar(
            -1.0,
            spec.medial_column_angle_deg,
            MEDIAL_SHARE * width,
            10.0 * scale,
            5.0 * scale,
            0.40 * offset,
        );
        let lateral = pillar(
            1.0,
            spec.lateral_column_angle_deg,
            (1.0 - MEDIAL_SHARE) * width,
            8.0 * scale,
            4.0 * scale,
            0.62 * offset,
        );
        let fossa_z = -0.07 * width;
        let fossa_x = {
            let (m, l) = (medial.section(fossa_level), lateral.section(fossa_level));
            let t = ((fossa_z - m.1) / (l.1 - m.1)).clamp(0.0, 1.0);
            -offset + mix(m.0, l.0, t)
        };
        let septum_front = fossa_x + column_radius - CORONOID_SHARE * spec.column_depth_mm;
        let perforated = spec.septum_thickness_mm == 0.0;
        // A perforation needs an overlap to leave a hole of some size.
        let septum_back = septum_front
            - if perforated {
                -1.5
            } else {
                spec.septum_thickness_mm
            };
        let olecranon = bowl(
            Vec3::new(fossa_x - column_radius, fossa_level, fossa_z),
            Vec3::new(
                septum_back,
                spec.fossa_length_mm / 2.0 - RIM_SHIFT,
                spec.fossa_width_mm / 2.0 - RIM_SHIFT,
            ),
        );
        let coronoid = bowl(
            Vec3::new(fossa_x + column_radius, fossa_level - 0.5, fossa_z),
            Vec3::new(
                septum_front,
                0.33 * spec.fossa_length_mm,
                0.3 * spec.fossa_width_mm,
            ),
        );
        let back = {
            let rear = |level: f64| {
                let (x, _, radius) = lateral.section(level);
                Vec3::new(x - offset - radius, level, 0.0)
            };
            let (low, high) = (rear(lateral.end), rear(fossa_level));
            let up = (high - low).normalize();
            (low, Vec3::new(up.y, -up.x, 0.0))
        };
        Shape {
            shaft_radius,
            shaft_x: -offset,
            back,
            axis: Vec3::new(0.0, valgus.sin(), valgus.cos()),
            capitellum_at: reach,
            groove_at: -reach,
            medial_rim_at: -reach - 0.68 * half_trochlea,
            lateral_rim_at: -reach + 0.75 * half_trochlea,
            capitellum_radius: spec.capitellum_radius_mm,
            capitellum_width: spec.capitellum_width_mm,
            groove_radius: spec.trochlea_groove_diameter_mm / 2.0,
            medial_radius: spec.trochlea_medial_diameter_mm / 2.0,
            lateral_radius: spec.trochlea_lateral_diameter_mm / 2.0,
            spool: (-reach - half_trochlea, -reach + 0.75 * half_trochlea + 3.5),
            medial,
            lateral,
            olecranon,
            coronoid,
            fossa_middle: Vec3::new(0.5 * (septum_back + septum_front), fossa_level, fossa_z),
            perforated,
        }
    }

    /// Sections of both pillars at a level.
    pub(crate) fn sections(&self, y: f64) -> Sections {
        Sections {
            medial: self.medial.section(y),
            lateral: self.lateral.section(y),
        }
    }

    /// Negative inside; gradient near one, not a distance. The sections are those at the point's level.
    pub(crate) fn value(&self, x: Vec3, sections: &Sections) -> f64 {
        let solid = self.without_fossae(x, sections);
        let behind = -smooth_min(-solid, self.olecranon.value(x), RIM_BLEND);
        let before = -smooth_min(-solid, self.coronoid.value(x), BLEND);
        // The rim of a perforation is rounded; where only one fossa cuts, nothing is to be blended.
        let both = (behind.min(before) - solid).clamp(0.0, 1.0);
        let rim = if self.perforated { 2.5 } else { 0.5 };
        -smooth_min(-behind, -before, (rim * both).max(1e-6))
    }

    /// The same before the fossae are taken out.
    pub(crate) fn without_fossae(&self, x: Vec3, sections: &Sections) -> f64 {
        let block = smooth_min(self.spool(x), self.capitellum(x), BLEND);
        smooth_min(self.metaphysis(x, sections), block, BLEND)
    }

    /// Radius of the trochlear spool at a position along the axis.
    pub(crate) fn spool_radius(&self, s: f64) -> f64 {
        self.profile(s, self.medial_radius)
    }

    fn profile(&self, s: f64, medial_radius: f64) -> f64 {
        if s < self.groove_at {
            let t = step3(self.medial_rim_at, self.groove_at, s);
            mix(medial_radius, self.groove_radius, t)
        } else {
            let t = step3(self.groove_at, self.lateral_rim_at, s);
            mix(self.groove_radius, self.lateral_radius, t)
        }
    }

    /// Position along the flexion axis and the vector from the axis.
    pub(crate) fn along_axis(&self, x: Vec3) -> (f64, Vec3) {
        let s = x.dot(&self.axis);
        (s, x - self.axis * s)
    }

    /// Level above which the section is that of the shaft, within a tenth of a millimetre.
    pub(crate) fn shaft_starts(&self) -> f64 {
        let flare = |p: &Pillar| p.start + 4.0 * p.rounding;
        flare(&self.lateral)
            .max(flare(&self.medial))
            .max(self.lateral.top)
    }

    /// Border of a column at a level: centre of its pillar and radius there.
    pub(crate) fn column(&self, medial: bool, y: f64) -> (Vec3, f64) {
        let pillar = if medial { &self.medial } else { &self.lateral };
        let (x, z, radius) = pillar.section(y);
        (Vec3::new(self.shaft_x + x, y, z), radius)
    }

    /// Tip of an epicondyle.
    pub(crate) fn epicondyle(&self, medial: bool) -> Vec3 {
        let pillar = if medial { &self.medial } else { &self.lateral };
        let level = pillar.jut_levels[1];
        let (x, ..) = pillar.section(level);
        Vec3::new(self.shaft_x + x, level, pillar.side * pillar.tip)
    }

    /// Level at which a column's border is half way down its straight flare.
    pub(crate) fn mid_flare(&self, medial: bool) -> f64 {
        let p = if medial { &self.medial } else { &self.lateral };
        match p.jut > 0.0 {
            // Between the jut of the epicondyle and the rounding at the shaft.
            true => 0.5 * (p.jut_levels[0] + p.start - 2.0 * p.rounding),
            false => p.start - 0.55 * (p.tip - p.shaft_radius) / p.slope,
        }
    }

    fn spool(&self, x: Vec3) -> f64 {
        let (s, across) = self.along_axis(x);
        let distance = across.norm();
        // The medial rim stands out where the ulna bears and fades into the bone above and behind.
        let facing = across.dot(&BEARING) / distance.max(1e-6);
        let rim = mix(1.0, RIM_BEHIND, step(-0.1, -0.9, facing));
        let side = distance - self.profile(s, self.medial_radius * rim);
        let ends = (self.spool.0 - s).max(s - self.spool.1);
        -smooth_min(-side, -ends, 2.0 * BLEND)
    }

    /// A sphere, cut flat behind along the back of the lateral column.
    fn capitellum(&self, x: Vec3) -> f64 {
        let sphere = (x - self.axis * self.capitellum_at).norm() - self.capitellum_radius;
        let back = (self.back.0 - x).dot(&self.back.1);
        -smooth_min(-sphere, -back, BLEND)
    }

    /// Hull of the two pillars.
    pub(crate) fn metaphysis(&self, x: Vec3, sections: &Sections) -> f64 {
        let (xm, zm, rm) = sections.medial;
        let (xl, zl, rl) = sections.lateral;
        let (px, pz) = (x.x - self.shaft_x, x.z);
        let (dx, dz) = (xl - xm, zl - zm);
        let t = (((px - xm) * dx + (pz - zm) * dz) / (dx * dx + dz * dz).max(1e-6)).clamp(0.0, 1.0);
        // Between the columns the lower edge lies higher, to bare the trochlea.
        let arch = 0.4 * self.groove_radius * 4.0 * t * (1.0 - t);
        let below = (x.y - mix(self.medial.end, self.lateral.end, t) - arch).min(0.0);
        let (ex, ez) = (px - mix(xm, xl, t), pz - mix(zm, zl, t));
        (ex * ex + ez * ez + below * below).sqrt() - mix(rm, rl, t)
    }
}

/// A bowl sunk into a slab from one face. `face` is the middle of its rim, `size` the x of its
/// deepest point and the half lengths of its rim.
fn bowl(face: Vec3, size: Vec3) -> Ellipsoid {
    let depth = size.x - face.x;
    // The centre lies outside the slab by a share of the depth, to open the rim's angle.
    let outside = 0.25 * depth;
    let a = depth + outside;
    let widening = 1.0 / (1.0 - (outside / a).powi(2)).sqrt();
    Ellipsoid {
        centre: face - Vec3::new(outside, 0.0, 0.0),
        axes: Vec3::new(a.abs(), size.y * widening, size.z * widening),
    }
}

fn mix(a: f64, b: f64, t: f64) -> f64 {
    a + (b - a) * t
}

/// Quintic step from 0 at `a` to 1 at `b`, twice continuously differentiable.
pub(crate) fn step(a: f64, b: f64, x: f64) -> f64 {
    let t = ((x - a) / (b - a)).clamp(0.0, 1.0);
    t * t * t * (10.0 + t * (6.0 * t - 15.0))
}

/// Cubic step: rounder shoulders than the quintic one.
fn step3(a: f64, b: f64, x: f64) -> f64 {
    let t = ((x - a) / (b - a)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// max(x, 0) rounded over a width w: w ln(1 + exp(x/w)).
fn soft_plus(x: f64, w: f64) -> f64 {
    let u = x / w;
    w * (u.max(0.0) + (-u.abs()).exp().ln_1p())
}

/// min(a, b) rounded where they differ by less than k; twice continuously differentiable.
pub(crate) fn smooth_min(a: f64, b: f64, k: f64) -> f64 {
    let h = (1.0 - (a - b).abs() / k).max(0.0);
    a.min(b) - h * h * h * k / 6.0
}
