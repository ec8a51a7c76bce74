//! Cuts of the bone: outside, potting plane, endosteal surface, canal floor.

use crate::program::label;
use crate::program::level_sets::{Borrowed, Plane};
use crate::program::writer::Writer;
use crate::{Label, SurfaceName};
use bicolumn_base::{Aabb, Vec3};
use bicolumn_geometry::Construct;

/// Plane at which the bone ends proximally: that of the potting, or one inside it.
pub(crate) fn proximal_plane(construct: &Construct) -> Plane {
    Plane {
        point: construct
            .bone
            .shaft_axis(construct.bone.spec().top_level_mm()),
        normal: Vec3::y(),
    }
}

pub(crate) fn cut<'a>(w: &mut Writer<'a>, construct: &'a Construct) {
    let bone = &construct.bone;
    w.cut(
        SurfaceName::BoneOuter,
        Box::new(Borrowed(bone.outer())),
        Aabb::EVERYWHERE,
        Box::new(|_, _| true),
        Box::new(|_, outside, _| {
            if outside {
                Label::VOID
            } else {
                label::CORTICAL
            }
        }),
    );
    w.cut(
        SurfaceName::ProximalEnd,
        Box::new(proximal_plane(construct)),
        Aabb::EVERYWHERE,
        Box::new(|l, _| l == label::CORTICAL),
        Box::new(|l, above, _| if above { Label::VOID } else { l }),
    );
    w.cut(
        SurfaceName::BoneInner,
        Box::new(Borrowed(bone.inner())),
        Aabb::EVERYWHERE,
        Box::new(|l, _| l == label::CORTICAL),
        Box::new(|l, wall, _| if wall { l } else { label::INSIDE }),
    );
    let Some(floor) = &construct.canal_floor else {
        return;
    };
    w.cut(
        SurfaceName::CanalFloor,
        Box::new(Borrowed(floor)),
        Aabb::EVERYWHERE,
        Box::new(|l, _| l == label::INSIDE),
        Box::new(|l, above, _| if above { label::CANAL } else { l }),
    );
}
