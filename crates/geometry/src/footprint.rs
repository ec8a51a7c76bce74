//! The outline of a plate as a wall that stands on the bone.

use crate::bone::{first_crossing, step};
use crate::centre_line::CentreLine;
use crate::redistance::redistance;
use crate::spline_grid::{Lattice, SplineGrid};
use crate::{Bone, Field};
use bicolumn_base::{Aabb, Vec3};

/// Grid step of the outline's field, mm.
const GRID: f64 = 0.8;
/// How far round the outline the grid reaches, mm.
const MARGIN: f64 = 6.0;
/// The wall ends this far below the line's tangent plane, so that it does not reappear on the far side
/// of the bone, mm.
const DEPTH: f64 = 7.0;
/// It also ends where the bone turns away: at this cosine between the bone's normal and the line's.
pub(crate) const FACING: f64 = 0.2;

/// Widths of a plate along its line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Widths {
    /// Width of the shaft part and of the distal end, mm.
    pub(crate) shaft_mm: f64,
    pub(crate) distal_mm: f64,
    /// Arc lengths between which the one goes over into the other.
    pub(crate) change_mm: [f64; 2],
}

impl Widths {
    /// Half the width at an arc length from the distal end, mm.
    pub(crate) fn half(&self, along: f64) -> f64 {
        let [from, to] = self.change_mm;
        let shaft = step(from, to, along);
        0.5 * (self.distal_mm + (self.shaft_mm - self.distal_mm) * shaft)
    }

    /// The larger of the two, mm.
    pub(crate) fn widest_mm(&self) -> f64 {
        self.shaft_mm.max(self.distal_mm)
    }
}

/// A stadium in (along, across) carried out along the bone's normals: the zero set is the plate's side.
/// Stored as a distance on a grid, for speed and a unit gradient.
pub(crate) struct Footprint {
    field: SplineGrid,
    bounds: Aabb,
}

impl Footprint {
    pub(crate) fn new(bone: &Bone, line: &CentreLine, widths: &Widths, top: f64) -> Footprint {
        let half = 0.5 * widths.widest_mm();
        let frames = || {
            let n = (line.length() / 2.0).ceil() as usize;
            (0..=n).map(move |i| line.frame(line.length() * i as f64 / n as f64))
        };
        let mut bounds = Aabb::EMPTY;
        for (p, t, n) in frames() {
            let across = t.cross(&n);
            // Across, the surface falls away from the tangent plane by up to half a width.
            for corner in [across * half, across * -half] {
                let edge = p + corner;
                let below = edge - n * DEPTH;
                bounds = bounds.including(below).including(edge + n * top);
                let outward = bone.outer().gradient(below).normalize();
                bounds = bounds.including(edge + outward * top);
            }
        }
        let lattice = Lattice::covering(&bounds.grown(MARGIN), GRID);
        let mut values = Vec::with_capacity(lattice.len());
        let [columns, rows, deep] = lattice.size;
        let z: Vec<f64> = (0..deep).map(|k| lattice.node([0, 0, k]).z).collect();
        for (i, j) in (0..columns).flat_map(|i| (0..rows).map(move |j| (i, j))) {
            let near = line.nearest_knots(lattice.node([i, j, 0]), &z);
            for (k, (square, knot)) in near.into_iter().enumerate() {
                // Far off, any large distance does.
                let rough = square.sqrt() - half;
                values.push(match rough > top + MARGIN + 3.0 {
                    true => rough,
                    false => stadium(bone, line, widths, lattice.node([i, j, k]), knot),
                });
            }
        }
        Footprint {
            field: redistance(lattice, values),
            bounds,
        }
    }
}

/// A point's place under a line: footprint coordinates, and how far the bone there faces the line's way.
struct Place {
    along: f64,
    across: f64,
    /// Cosine between the bone's normal under the point and the line's.
    facing: f64,
    /// Depth of the point below the line's tangent plane.
    depth: f64,
}

fn place(bone: &Bone, line: &CentreLine, x: Vec3, near: usize) -> Place {
    let distance = bone.outer().value(x);
    let outward = bone.outer().gradient(x).normalize();
    // Deep in the bone, where the nearest surface may be another one, points stay where they are.
    let shallow = if distance < 0.0 {
        step(-2.4, -0.5, distance)
    } else {
        1.0
    };
    let under = x - outward * (distance.min(12.0) * shallow);
    let along = line.foot(under, near);
    let (p, tangent, normal) = line.frame(along);
    Place {
        along,
        across: (under - p).dot(&tangent.cross(&normal)),
        facing: 1.0 + (outward.dot(&normal) - 1.0) * shallow,
        depth: -(x - p).dot(&normal),
    }
}

/// Footprint coordinates of a point: those of the bone surface under it.
pub(crate) fn locate(bone: &Bone, line: &CentreLine, x: Vec3) -> (f64, f64) {
    let place = place(bone, line, x, 0);
    (place.along, place.across)
}

/// The widest shaft part, up to the one asked for, of a plate of the same proportions that the bone along a line
/// carries: its edges must still face the plate's way.
pub(crate) fn widest(bone: &Bone, line: &CentreLine, widths: &Widths) -> f64 {
    let n = (line.length() / 3.0).ceil() as usize;
    let carries = |share: f64| {
        let ends = [0.0, line.length()].map(|along| share * widths.half(along));
        (0..=n).all(|i| {
            let reach = line.length() - ends[0] - ends[1];
            let along = ends[0] + reach * i as f64 / n as f64;
            let (p, tangent, normal) = line.frame(along);
            let side = tangent.cross(&normal) * (share * widths.half(along));
            [side, -side]
                .into_iter()
                .all(|side| edge_facing(bone, p + side, normal) > FACING + 0.15)
        })
    };
    let asked = 0.5 * widths.shaft_mm;
    let mut half = asked;
    while half > 1.0 && !carries(half / asked) {
        half -= 0.125;
    }
    2.0 * half
}

/// Cosine between the bone's normal under a point of a plate's edge, in the line's tangent plane, and the line's; -1
/// where no bone is near under it.
pub(crate) fn edge_facing(bone: &Bone, edge: Vec3, normal: Vec3) -> f64 {
    let from = edge + normal * 3.0;
    let drop = first_crossing(bone.outer(), from, -normal);
    if drop >= 3.0 + DEPTH - 2.0 {
        return -1.0;
    }
    let outward = bone.outer().gradient(from - normal * drop).normalize();
    outward.dot(&normal)
}

fn stadium(bone: &Bone, line: &CentreLine, widths: &Widths, x: Vec3, near: usize) -> f64 {
    let place = place(bone, line, x, near);
    let half = widths.half(place.along);
    let middle = 0.5 * line.length();
    let beyond = ((place.along - middle).abs() - (middle - half)).max(0.0);
    let outline = beyond.hypot(place.across) - half;
    outline
        .max(place.depth - DEPTH)
        .max(8.0 * (FACING - place.facing))
}

impl Field for Footprint {
    fn value(&self, x: Vec3) -> f64 {
        // Below level 0 of its own grid nothing of a plate exists, nor above it.
        let above = x.y - self.field.bounds_of_grid().max.y;
        if above > 0.0 {
            self.field.value(x).max(0.0) + above
        } else {
            self.field.value(x)
        }
    }

    fn gradient(&self, x: Vec3) -> Vec3 {
        if x.y > self.field.bounds_of_grid().max.y {
            Vec3::y()
        } else {
            self.field.gradient(x)
        }
    }

    fn bounds(&self) -> Aabb {
        self.bounds
    }
}
