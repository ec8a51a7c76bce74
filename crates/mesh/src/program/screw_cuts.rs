//! Cuts of screws: seat and bore of a head in a plate, head on bone, side, tip.

use crate::program::distance::Axis;
use crate::program::label::{self, is_bone, is_plate, is_void};
use crate::program::level_sets::{Cylinder, Offset, Plane};
use crate::program::writer::Writer;
use crate::{Label, SurfaceName};
use bicolumn_base::{Aabb, Vec3};
use bicolumn_geometry::head::Ball;
use bicolumn_geometry::{Construct, Head, Screw};

fn cylinder(axis: Axis, radius_mm: f64, bounds: Aabb) -> Cylinder {
    Cylinder {
        point: axis.entry,
        axis: axis.direction,
        radius_mm,
        bounds,
    }
}

/// How far above the bone a plate may reach along a screw, mm.
const ABOVE_MM: f64 = 8.0;

pub(crate) fn cut<'a>(
    w: &mut Writer<'a>,
    construct: &'a Construct,
    screw: &'a Screw,
    own: u8,
    margin: f64,
) {
    let axis = Axis::of(screw);
    match screw.head {
        Head::Locked => {}
        Head::Seated {
            centre,
            radius_mm,
            bore_mm,
        } => {
            bore(w, construct, screw, axis, 0.5 * bore_mm, margin);
            let ball = Ball { centre, radius_mm };
            seat(w, screw, axis, ball, own, margin);
        }
        Head::OnBone {
            diameter_mm,
            height_mm,
        } => disk(
            w,
            construct,
            screw,
            axis,
            [0.5 * diameter_mm, height_mm],
            own,
            margin,
        ),
    }
    side(w, screw, axis, own, margin);
}

/// The bore of a non-locking screw: plate becomes a ring of nothing that head and shank still cut.
fn bore<'a>(
    w: &mut Writer<'a>,
    construct: &Construct,
    screw: &'a Screw,
    axis: Axis,
    radius: f64,
    margin: f64,
) {
    let Some((site, number)) = construct.plates.iter().find_map(|p| {
        let hole = p.holes.iter().position(|h| h.screw == Some(screw.number))?;
        Some((p.site, hole as u8 + 1))
    }) else {
        return;
    };
    let start = axis.entry - axis.direction * ABOVE_MM;
    let end = axis.entry + axis.direction * 4.0;
    let bounds = Aabb::around(&[start, end]).grown(radius + margin);
    w.cut(
        SurfaceName::HoleWall(site, number),
        Box::new(cylinder(axis, radius, bounds)),
        bounds,
        Box::new(move |l, x| {
            is_plate(l)
                && axis.off(x) < radius + margin
                && (-ABOVE_MM..4.0).contains(&axis.along(x))
        }),
        Box::new(|l, outside, _| if outside { l } else { label::RING }),
    );
}

/// The head in its seat: what of plate and bore lies in the ball.
fn seat<'a>(w: &mut Writer<'a>, screw: &'a Screw, axis: Axis, ball: Ball, own: u8, margin: f64) {
    let bounds = Aabb::around(&[ball.centre]).grown(ball.radius_mm + margin);
    w.cut(
        SurfaceName::HeadSeat(screw.number),
        Box::new(ball),
        bounds,
        Box::new(move |l, x| {
            (is_plate(l) || l == label::RING)
                && (x - ball.centre).norm() < ball.radius_mm + margin
                && axis.along(x) > -ABOVE_MM
        }),
        Box::new(move |l, outside, _| if outside { l } else { Label(own) }),
    );
}

/// How far the bone under a head may curve away from a plane, as a share of the head's radius.
const CURVED_AWAY: f64 = 0.6;

/// How far up its axis a head on bone may reach, mm: what of the bone rises beside or before it farther
/// up bears no head.
fn reach_of_disk(construct: &Construct, axis: Axis, [radius, height]: [f64; 2]) -> f64 {
    let normal = construct.bone.outer().gradient(axis.entry).normalize();
    let facing = (-normal.dot(&axis.direction)).clamp(0.5, 1.0);
    let slope = (1.0 - facing * facing).sqrt() / facing;
    height / facing + radius * (slope + CURVED_AWAY)
}

/// A head on bone: a disk whose underside is the bone's surface.
fn disk<'a>(
    w: &mut Writer<'a>,
    construct: &'a Construct,
    screw: &'a Screw,
    axis: Axis,
    [radius, height]: [f64; 2],
    own: u8,
    margin: f64,
) {
    let outer = construct.bone.outer();
    let reach = reach_of_disk(construct, axis, [radius, height]);
    let start = axis.entry - axis.direction * reach;
    let end = axis.entry + axis.direction * reach;
    let bounds = Aabb::around(&[start, end]).grown(radius + margin);
    let near = move |x: Vec3| {
        axis.off(x) < radius + margin
            && axis.along(x).abs() < reach + margin
            && outer.value(x) < height + margin
    };
    // The rim first: beside it, what lies in the slit of a plate keeps its label.
    w.cut(
        SurfaceName::HeadRim(screw.number),
        Box::new(cylinder(axis, radius, bounds)),
        bounds,
        Box::new(move |l, x| is_void(l) && near(x)),
        Box::new(|l, outside, _| if outside { l } else { label::SLAB }),
    );
    w.cut(
        SurfaceName::HeadTop(screw.number),
        Box::new(Plane {
            point: start,
            normal: -axis.direction,
        }),
        bounds,
        Box::new(|l, _| l == label::SLAB),
        Box::new(|l, beyond, _| if beyond { Label::VOID } else { l }),
    );
    w.cut(
        SurfaceName::HeadTop(screw.number),
        Box::new(Offset {
            of: outer,
            by_mm: height,
        }),
        bounds,
        Box::new(|l, _| l == label::SLAB),
        Box::new(move |_, above, _| if above { Label::VOID } else { Label(own) }),
    );
}

/// The shank, then its tip, which gives back what lies beyond.
fn side<'a>(w: &mut Writer<'a>, screw: &'a Screw, axis: Axis, own: u8, margin: f64) {
    let radius = 0.5 * screw.diameter_mm;
    let length = screw.length_mm;
    // The cylinder starts above any plate; what is not plate there is never offered to the cut.
    let start = axis.entry - axis.direction * ABOVE_MM;
    let bounds = Aabb::around(&[start, screw.tip()]).grown(radius + margin);
    let through_plate = screw.head == Head::Locked;
    // Void is screw only in the slit under the plate, in the plate's bore, beyond the far cortex.
    let may = move |l: Label, x: Vec3| {
        let is_plate_to_cut = through_plate && is_plate(l);
        let is_cut = is_void(l) || l == label::RING || is_bone(l) || is_plate_to_cut;
        if !is_cut || axis.off(x) >= radius + margin {
            return false;
        }
        let t = axis.along(x);
        let starts_here = match l {
            Label::VOID => t > 4.0,
            _ if is_plate_to_cut => t < 4.0,
            _ => true,
        };
        starts_here && t > -ABOVE_MM && t < length + margin
    };
    w.cut(
        SurfaceName::ScrewSide(screw.number),
        Box::new(cylinder(axis, radius, bounds)),
        bounds,
        Box::new(may),
        Box::new(|l, outside, _| {
            if outside {
                l
            } else {
                Label(l.0 | label::IN_CYLINDER)
            }
        }),
    );
    w.cut(
        SurfaceName::ScrewTip(screw.number),
        Box::new(Plane {
            point: screw.tip(),
            normal: axis.direction,
        }),
        bounds,
        Box::new(|l, _| l.0 & label::IN_CYLINDER != 0),
        Box::new(move |l, beyond, _| {
            Label(if beyond {
                l.0 & !label::IN_CYLINDER
            } else {
                own
            })
        }),
    );
}
