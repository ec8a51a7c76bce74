//! Parts of the labels, and the bodies that must come out whole.

use crate::program::distance::top_of_plate;
use crate::program::label;
use crate::{Body, Label};
use bicolumn_base::{Fragment, Part, Tissue, Vec3};
use bicolumn_geometry::{Construct, Head, Hole, Plate, Screw};

/// Part of each label; `None` where tetrahedra are dropped.
pub(crate) fn parts(construct: &Construct) -> Vec<Option<Part>> {
    let mut parts = vec![None; label::SCREW as usize + construct.screws.len()];
    let mut set = |l: Label, p: Part| parts[l.0 as usize] = Some(p);
    set(
        label::CORTICAL,
        Part::Bone(Fragment::Proximal, Tissue::Cortical),
    );
    set(
        label::INSIDE,
        Part::Bone(Fragment::Proximal, Tissue::Cancellous),
    );
    let split = construct
        .fracture
        .as_ref()
        .is_some_and(|f| f.split.is_some());
    let distal = if split {
        Fragment::DistalMedial
    } else {
        Fragment::Distal
    };
    for (fragment, cortical, inside) in [
        (distal, label::DISTAL_CORTICAL, label::DISTAL_INSIDE),
        (
            Fragment::DistalLateral,
            label::LATERAL_CORTICAL,
            label::LATERAL_INSIDE,
        ),
    ] {
        set(cortical, Part::Bone(fragment, Tissue::Cortical));
        set(inside, Part::Bone(fragment, Tissue::Cancellous));
    }
    if construct.fracture.as_ref().is_some_and(|f| f.spec.filled) {
        set(label::GAP, Part::GapTissue);
    }
    for (i, p) in construct.plates.iter().enumerate() {
        set(Label(label::PLATE + i as u8), Part::Plate(p.site));
    }
    for (i, s) in construct.screws.iter().enumerate() {
        set(Label(label::SCREW + i as u8), Part::Screw(s.number));
    }
    parts
}

/// Fragments, plates and screws: each must come out in one piece, screws and plates with about the
/// volume of their shapes.
pub(crate) fn bodies(construct: &Construct) -> Vec<Body> {
    let fragment = |f: Fragment| Body {
        name: format!("bone.{}", f.name()),
        parts: [Tissue::Cortical, Tissue::Cancellous]
            .map(|t| Part::Bone(f, t))
            .to_vec(),
        volume_mm3: None,
    };
    let mut out = vec![fragment(Fragment::Proximal)];
    match &construct.fracture {
        Some(f) if f.split.is_some() => {
            out.extend([Fragment::DistalMedial, Fragment::DistalLateral].map(fragment));
        }
        Some(_) => out.push(fragment(Fragment::Distal)),
        None => {}
    }
    for p in &construct.plates {
        out.push(Body {
            name: Part::Plate(p.site).to_string(),
            parts: vec![Part::Plate(p.site)],
            volume_mm3: Some(plate_volume(p)),
        });
    }
    for s in &construct.screws {
        out.push(Body {
            name: s.number.to_string(),
            parts: vec![Part::Screw(s.number)],
            volume_mm3: Some(screw_volume(construct, s)),
        });
    }
    out
}

/// Volume of a plate by counting points a millimetre apart, its empty holes taken off, mm3.
fn plate_volume(plate: &Plate) -> f64 {
    let b = plate.outline().bounds();
    let size = (b.max - b.min).map(|v| v.ceil() as usize);
    let mut count = 0;
    for i in 0..size.x {
        for j in 0..size.y {
            for k in 0..size.z {
                let at = Vec3::new(i as f64, j as f64, k as f64).add_scalar(0.5);
                count += usize::from(plate.value(b.min + at) < 0.0);
            }
        }
    }
    let holes = plate.holes.iter().filter(|h| h.screw.is_none());
    let area = |h: &Hole| {
        let d = h.diameter_mm;
        std::f64::consts::FRAC_PI_4 * d * d + d * h.slot_mm
    };
    count as f64 - holes.map(area).sum::<f64>() * plate.thickness_mm
}

/// Volume of a screw with its head, mm³: smooth cylinders and caps, faces taken as flat.
fn screw_volume(construct: &Construct, screw: &Screw) -> f64 {
    use std::f64::consts::{FRAC_PI_3, FRAC_PI_4};
    let round = |diameter: f64| FRAC_PI_4 * diameter * diameter;
    let top = top_of_plate(construct, screw);
    let (head, shank) = match screw.head {
        Head::Locked => (0.0, screw.length_mm + top),
        Head::Seated {
            centre, radius_mm, ..
        } => {
            let above = (centre - screw.entry).norm() - top;
            let cap = radius_mm - above;
            let volume = FRAC_PI_3 * cap * cap * (3.0 * radius_mm - cap);
            (volume, screw.length_mm + top - cap)
        }
        Head::OnBone {
            diameter_mm,
            height_mm,
        } => (round(diameter_mm) * height_mm, screw.length_mm),
    };
    head + round(screw.diameter_mm) * shank
}
