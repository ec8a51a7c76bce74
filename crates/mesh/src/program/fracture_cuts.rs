//! The cuts of a fracture and of a split articular block, and the cells they want.

use super::{Plane, Sizing, Writer, label};
use crate::SurfaceName;
use bicolumn_base::{Aabb, Vec3};
use bicolumn_geometry::{Fracture, Split};

/// Cuts a reduced fracture once, a gap twice; where one column is in contact, a third cut at the
/// step gives that column's share of the gap back to the proximal fragment.
/// With `open_canal` the proximal fragment keeps no cancellous bone: the canal ends at the fracture.
pub(super) fn cut(w: &mut Writer<'_>, fracture: &Fracture, open_canal: bool) {
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

/// Distance to the nearer face of the fracture, mm.
pub(super) fn face_distance(fracture: &Fracture, x: Vec3) -> f64 {
    let from_middle = (x - fracture.centre).dot(&fracture.normal).abs();
    (from_middle - 0.5 * fracture.spec.gap_mm).abs()
}

/// Distance to the nearer face of the split, which ends at the fracture, mm.
pub(super) fn split_distance(fracture: &Fracture, split: &Split, x: Vec3) -> f64 {
    let from_face = (split.lateral_of(x).abs() - 0.5 * split.spec.gap_mm).abs();
    from_face.max(-fracture.below(x))
}

/// Wanted cell at a point: at the faces so many times `finest`, and no larger than a gap that is filled.
pub(super) fn wanted_size(fracture: &Fracture, sizing: &Sizing, finest: f64, x: Vec3) -> f64 {
    let from_face = face_distance(fracture, x);
    let mut at_face = finest * sizing.fracture_ratio;
    if fracture.spec.filled {
        at_face = at_face.min(fracture.spec.gap_mm);
    }
    let size = at_face + sizing.growth * from_face;
    match &fracture.split {
        Some(split) => size.min(at_split(fracture, split, sizing, finest, x)),
        None => size,
    }
}

fn at_split(fracture: &Fracture, split: &Split, sizing: &Sizing, finest: f64, x: Vec3) -> f64 {
    let away = split_distance(fracture, split, x);
    let mut at_face = finest * sizing.fracture_ratio;
    if fracture.spec.filled && split.spec.gap_mm > 0.0 {
        at_face = at_face.min(split.spec.gap_mm);
    }
    at_face + sizing.growth * away
}
