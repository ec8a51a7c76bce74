//! Cuts of a plate: underside, top, outline, empty holes.

use crate::program::label::{self, is_void};
use crate::program::level_sets::{Borrowed, Slot};
use crate::program::writer::Writer;
use crate::{CutStep, Label, SurfaceName};
use bicolumn_base::{Aabb, Vec3};
use bicolumn_geometry::{Construct, Hole, Plate};

pub(crate) fn cut<'a>(
    w: &mut Writer<'a>,
    construct: &'a Construct,
    plate: &'a Plate,
    own: u8,
    margin: f64,
) {
    let outer = construct.bone.outer();
    let outline = plate.outline();
    let bounds = outline.bounds().grown(margin);
    let top = plate.stand_off_mm + plate.thickness_mm;
    // Another plate's slit must not be taken for this plate's room: each has what is nearer to it.
    let near = move |x: Vec3| {
        let off = outline.value(x);
        let is_own = |p: &Plate| {
            let other = p.outline();
            p.site == plate.site || other.bounds().distance(x) > off || off <= other.value(x)
        };
        off < margin && outer.value(x) < top + margin && construct.plates.iter().all(is_own)
    };
    if plate.stand_off_mm > 0.0 {
        let name = SurfaceName::PlateUnderside(plate.site);
        let surface = w.shell(name, outer, plate.stand_off_mm);
        w.steps.push(CutStep {
            surface,
            bounds,
            within: Box::new(move |l, x| is_void(l) && near(x)),
            relabel: Box::new(|_, above, _| if above { Label::VOID } else { label::UNDER }),
        });
    }
    let surface = w.shell(SurfaceName::PlateTop(plate.site), outer, top);
    w.steps.push(CutStep {
        surface,
        bounds,
        within: Box::new(move |l, x| l == Label::VOID && near(x)),
        relabel: Box::new(|_, above, _| if above { Label::VOID } else { label::SLAB }),
    });
    w.cut(
        SurfaceName::PlateSide(plate.site),
        Box::new(Borrowed(outline)),
        bounds,
        Box::new(|l, _| l == label::SLAB),
        Box::new(move |_, outside, _| if outside { Label::VOID } else { Label(own) }),
    );
    for (i, hole) in plate
        .holes
        .iter()
        .enumerate()
        .filter(|(_, h)| h.screw.is_none())
    {
        let wall = hole_wall(hole, top + 1.0);
        let bounds = wall.bounds.grown(margin);
        w.cut(
            SurfaceName::HoleWall(plate.site, i as u8 + 1),
            Box::new(wall),
            bounds,
            Box::new(move |l, _| l == Label(own)),
            Box::new(|l, outside, _| if outside { l } else { Label::VOID }),
        );
    }
}

/// The wall of an empty hole, round or drawn out along the plate.
fn hole_wall(hole: &Hole, depth_mm: f64) -> Slot {
    let radius_mm = 0.5 * hole.diameter_mm;
    let half = 0.5 * hole.slot_mm;
    let along = (hole.along - hole.axis * hole.along.dot(&hole.axis)).normalize();
    let mut bounds = Aabb::EMPTY;
    for end in [-half, half] {
        let centre = hole.centre + along * end;
        bounds = bounds
            .including(centre - hole.axis * depth_mm)
            .including(centre + hole.axis);
    }
    Slot {
        centre: hole.centre,
        axis: hole.axis,
        along,
        half_mm: half,
        radius_mm,
        bounds: bounds.grown(radius_mm),
    }
}
