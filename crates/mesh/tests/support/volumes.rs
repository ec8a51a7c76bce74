//! Volumes of bone and plates from the construct's surfaces alone, to hold a mesh's against.
//!
//! Integrated over parallel lines on a square grid, along each by where a signed function crosses zero.

use crate::figures::distance;
use bicolumn_base::{Aabb, Vec3};
use bicolumn_geometry::{Construct, Head, Plate, Screw};
use bicolumn_mesh::SurfaceName;

/// Distance of the lines, and of the samples along them, mm.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Lines {
    pub(crate) apart_mm: f64,
    pub(crate) step_mm: f64,
}

pub(crate) const FOR_BONE: Lines = Lines {
    apart_mm: 0.5,
    step_mm: 0.1,
};
pub(crate) const FOR_PLATES: Lines = Lines {
    apart_mm: 0.4,
    step_mm: 0.1,
};

/// Bone of all fragments, mm³.
pub(crate) fn bone_volume(c: &Construct, lines: Lines) -> f64 {
    let mut bounds = c.bone.outer().bounds();
    bounds.max.y = c.bone.spec().potting_level_mm;
    // Askew to the shaft and to every plane, so that no face lies along the lines or across them all.
    let along = Vec3::new(0.37, 0.83, 0.42).normalize();
    let across = along.cross(&Vec3::x()).normalize();
    let axes = [across, across.cross(&along), along];
    integral(&bounds, axes, lines, |x| outside_bone(c, x))
}

/// A plate without its holes and the screws in them, mm³.
pub(crate) fn plate_volume(c: &Construct, plate: &Plate, lines: Lines) -> f64 {
    let (_, tangent, normal) = plate.centre_line(0.5 * plate.length_mm);
    let axes = [tangent, tangent.cross(&normal), normal];
    integral(&plate.outline().bounds(), axes, lines, |x| {
        outside_plate(c, plate, x)
    })
}

/// Volume where a function is negative, over lines along the last of three axes. The function grows no
/// faster than distance.
fn integral(bounds: &Aabb, axes: [Vec3; 3], lines: Lines, outside: impl Fn(Vec3) -> f64) -> f64 {
    let middle = 0.5 * (bounds.min + bounds.max);
    let half = 0.5 * (bounds.max - bounds.min);
    let reach = axes.map(|a| a.abs().dot(&half));
    let count = |i: usize, apart: f64| (reach[i] / apart).ceil() as i32;
    let centred = |i: i32, apart: f64| (f64::from(i) + 0.5) * apart;
    let (m, n) = (count(0, lines.apart_mm), count(1, lines.apart_mm));
    let mut length = 0.0;
    for i in -m..m {
        for j in -n..n {
            let foot = middle
                + axes[0] * centred(i, lines.apart_mm)
                + axes[1] * centred(j, lines.apart_mm)
                - axes[2] * reach[2];
            let at = |t: f64| outside(foot + axes[2] * t);
            let (mut t, mut here) = (0.0, at(0.0));
            while t < 2.0 * reach[2] {
                // Far from the surface, as far as is safe; else a step, linear between its ends.
                let step = (0.9 * here.abs()).max(lines.step_mm);
                let there = at(t + step);
                length += step
                    * match (here < 0.0, there < 0.0) {
                        (true, true) => 1.0,
                        (false, false) => 0.0,
                        (true, false) => here / (here - there),
                        (false, true) => there / (there - here),
                    };
                (t, here) = (t + step, there);
            }
        }
    }
    length * lines.apart_mm * lines.apart_mm
}

/// Negative in bone that canal, fracture, split and screws leave.
fn outside_bone(c: &Construct, x: Vec3) -> f64 {
    let skin = c
        .bone
        .outer()
        .value(x)
        .max(x.y - c.bone.spec().potting_level_mm);
    if skin > 1.0 {
        return skin;
    }
    let inner = c.bone.inner().value(x);
    let mut d = skin;
    let mut without = |void: f64| d = d.max(-void);
    let mut canal_from = f64::NEG_INFINITY;
    if let Some(floor) = &c.canal_floor {
        canal_from = x.y - floor.level_at(x);
    }
    if let Some(f) = &c.fracture {
        let (above, below) = (f.above(x), f.below(x));
        let touching = f.step.map(|s| (x - s.point).dot(&s.touching));
        let bridged = touching.map_or(f64::NEG_INFINITY, |t| t.min(-below));
        if c.canal_floor.is_none() {
            canal_from = above.max(bridged);
        }
        if !f.is_reduced() {
            let gap = above.max(below);
            without(touching.map_or(gap, |t| gap.max(t)));
        }
        if let Some(split) = &f.split {
            without((split.lateral_of(x).abs() - 0.5 * split.spec.gap_mm).max(-below));
        }
    }
    without(inner.max(-canal_from));
    for s in &c.screws {
        without(outside_shank(s, x, s.length_mm));
    }
    d
}

/// Negative in a plate.
fn outside_plate(c: &Construct, plate: &Plate, x: Vec3) -> f64 {
    let height = c.bone.outer().value(x) - plate.stand_off_mm;
    let layer = (-height).max(height - plate.thickness_mm);
    if layer > 1.0 {
        return layer;
    }
    let mut d = layer.max(plate.outline().value(x));
    let mut without = |void: f64| d = d.max(-void);
    for (i, hole) in plate.holes.iter().enumerate() {
        let screw = c.screws.iter().find(|s| Some(s.number) == hole.screw);
        match screw.map(|s| (s, s.head)) {
            None => without(distance(
                c,
                SurfaceName::HoleWall(plate.site, i as u8 + 1),
                x,
            )),
            Some((s, Head::Seated { .. })) => {
                without(distance(
                    c,
                    SurfaceName::HoleWall(plate.site, i as u8 + 1),
                    x,
                ));
                without(distance(c, SurfaceName::HeadSeat(s.number), x));
            }
            Some((s, _)) => without(outside_shank(s, x, 4.0)),
        }
    }
    d
}

/// Negative in a screw's shank up to a distance along it from its entry.
fn outside_shank(s: &Screw, x: Vec3, end: f64) -> f64 {
    let v = x - s.entry;
    let t = v.dot(&s.direction);
    let off = (v - s.direction * t).norm();
    (off - 0.5 * s.diameter_mm).max(t - end).max(-t - 8.0)
}
