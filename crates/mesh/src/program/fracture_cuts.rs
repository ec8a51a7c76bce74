//! Cuts of a fracture and of a split articular block.

use crate::SurfaceName;
use crate::program::label;
use crate::program::level_sets::Plane;
use crate::program::writer::Writer;
use bicolumn_base::Aabb;
use bicolumn_geometry::{Fracture, Split};

/// Cuts a reduced fracture once, a gap twice; where one column is in contact, a third cut at the
/// step gives that column's share of the gap back to the proximal fragment.
/// With `open_canal` the proximal fragment keeps no cancellous bone: the canal ends at the fracture.
pub(crate) fn cut(w: &mut Writer<'_>, fracture: &Fracture, open_canal: bool) {
    if fracture.is_reduced() {
        part(w, fracture, open_canal);
    } else {
        open(w, fracture, open_canal);
    }
    if let Some(split) = &fracture.split {
        divide(w, split);
    }
}

fn open(w: &mut Writer<'_>, fracture: &Fracture, open_canal: bool) {
    let half = 0.5 * fracture.spec.gap_mm;
    w.cut(
        SurfaceName::FractureProximal,
        Box::new(face(fracture, half)),
        Aabb::EVERYWHERE,
        Box::new(|l, _| l == label::CORTICAL || l == label::INSIDE),
        Box::new(move |l, above, _| match (above, l) {
            (true, label::INSIDE) if open_canal => label::CANAL,
            (true, l) => l,
            (false, label::CORTICAL) => label::BELOW_CORTICAL,
            (false, _) => label::BELOW_INSIDE,
        }),
    );
    let bridged = fracture.step.is_some();
    w.cut(
        SurfaceName::FractureDistal,
        Box::new(face(fracture, -half)),
        Aabb::EVERYWHERE,
        Box::new(|l, _| l == label::BELOW_CORTICAL || l == label::BELOW_INSIDE),
        Box::new(move |l, above, _| match (above, l) {
            (true, label::BELOW_CORTICAL) if bridged => label::BETWEEN_CORTICAL,
            (true, _) if bridged => label::BETWEEN_INSIDE,
            (true, _) => label::GAP,
            (false, label::BELOW_CORTICAL) => label::DISTAL_CORTICAL,
            (false, _) => label::DISTAL_INSIDE,
        }),
    );
    if let Some(step) = fracture.step {
        let step = Plane {
            point: step.point,
            normal: step.touching,
        };
        w.cut(
            SurfaceName::FractureStep,
            Box::new(step),
            Aabb::EVERYWHERE,
            Box::new(|l, _| l == label::BETWEEN_CORTICAL || l == label::BETWEEN_INSIDE),
            Box::new(move |l, touches, _| match (touches, l) {
                (false, _) => label::GAP,
                (true, label::BETWEEN_CORTICAL) => label::CORTICAL,
                (true, _) if open_canal => label::CANAL,
                (true, _) => label::INSIDE,
            }),
        );
    }
}

/// One plane, shared by both fragments. Each side's facets get their own name afterwards.
fn part(w: &mut Writer<'_>, fracture: &Fracture, open_canal: bool) {
    w.cut(
        SurfaceName::FractureDistal,
        Box::new(face(fracture, 0.0)),
        Aabb::EVERYWHERE,
        Box::new(|l, _| l == label::CORTICAL || l == label::INSIDE),
        Box::new(move |l, above, _| match (above, l) {
            (true, label::INSIDE) if open_canal => label::CANAL,
            (true, l) => l,
            (false, label::CORTICAL) => label::DISTAL_CORTICAL,
            (false, _) => label::DISTAL_INSIDE,
        }),
    );
}

fn face(fracture: &Fracture, height_mm: f64) -> Plane {
    Plane {
        point: fracture.centre + fracture.normal * height_mm,
        normal: fracture.normal,
    }
}

/// The sagittal split, last: the lateral face, then, where bone is missing, the medial one.
fn divide(w: &mut Writer<'_>, split: &Split) {
    let plane = |shift_mm: f64| Plane {
        point: split.centre + split.normal * shift_mm,
        normal: split.normal,
    };
    let half = 0.5 * split.spec.gap_mm;
    w.cut(
        SurfaceName::SplitLateral,
        Box::new(plane(half)),
        Aabb::EVERYWHERE,
        Box::new(|l, _| l == label::DISTAL_CORTICAL || l == label::DISTAL_INSIDE),
        Box::new(|l, lateral, _| match (lateral, l) {
            (false, l) => l,
            (true, label::DISTAL_CORTICAL) => label::LATERAL_CORTICAL,
            (true, _) => label::LATERAL_INSIDE,
        }),
    );
    if split.spec.gap_mm > 0.0 {
        w.cut(
            SurfaceName::SplitMedial,
            Box::new(plane(-half)),
            Aabb::EVERYWHERE,
            Box::new(|l, _| l == label::DISTAL_CORTICAL || l == label::DISTAL_INSIDE),
            Box::new(|l, lateral, _| if lateral { label::GAP } else { l }),
        );
    }
}
