//! An imported surface in the bone frame: the unit of its file, its frame by landmarks, its plausible size.

use super::stl::TriangleSurface;
use super::surface_error::SurfaceError;
use bicolumn_base::{Aabb, Mat3, Vec3, Word};
use serde::{Deserialize, Serialize};

/// Unit of the numbers in a surface's file.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum SurfaceUnit {
    /// Millimetre.
    #[default]
    Millimetre,
    /// Centimetre.
    Centimetre,
    /// Metre.
    Metre,
    /// Inch.
    Inch,
    /// Micrometre.
    Micrometre,
}

bicolumn_base::words! { SurfaceUnit {
    Millimetre = "mm": "millimetres",
    Centimetre = "cm": "centimetres",
    Metre = "m": "metres",
    Inch = "inch": "inches of 25.4 mm",
    Micrometre = "um": "micrometres",
} }

impl SurfaceUnit {
    /// One of it in millimetres.
    pub fn mm(self) -> f64 {
        match self {
            SurfaceUnit::Millimetre => 1.0,
            SurfaceUnit::Centimetre => 10.0,
            SurfaceUnit::Metre => 1000.0,
            SurfaceUnit::Inch => 25.4,
            SurfaceUnit::Micrometre => 0.001,
        }
    }
}

/// Landmarks of an imported surface in the coordinates of its file: the shaft's axis and the epicondylar line.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SurfaceFrame {
    /// A lower point of the shaft's axis.
    pub shaft_distal: [f64; 3],
    /// A higher point of the shaft's axis.
    pub shaft_proximal: [f64; 3],
    /// Tip of the medial epicondyle.
    pub medial_epicondyle: [f64; 3],
    /// Tip of the lateral epicondyle.
    pub lateral_epicondyle: [f64; 3],
}

impl SurfaceFrame {
    /// The landmarks of the mirror image in the plane Z = 0.
    pub(crate) fn mirrored(self) -> SurfaceFrame {
        let mirror = |[x, y, z]: [f64; 3]| [x, y, -z];
        SurfaceFrame {
            shaft_distal: mirror(self.shaft_distal),
            shaft_proximal: mirror(self.shaft_proximal),
            medial_epicondyle: mirror(self.medial_epicondyle),
            lateral_epicondyle: mirror(self.lateral_epicondyle),
        }
    }
}

/// Length, width and depth of a surface that may be a humerus or its distal end, mm: between these for each extent of its
/// bounding box, in descending order. Generous about the card's ranges; a humerus is about 300 long.
const EXTENTS: [[f64; 2]; 3] = [[80.0, 500.0], [35.0, 200.0], [12.0, 200.0]];
/// Box in the bone frame that a surface must lie in, mm: it bounds the grid.
const ROOM: Aabb = Aabb {
    min: Vec3::new(-120.0, -80.0, -120.0),
    max: Vec3::new(120.0, 520.0, 120.0),
};
/// How far outside a surface's bounding box the middle of the joint may lie before the frame is said to be another, mm:
/// nearer, the landmark of the card that does not fit is named.
const NEAR_JOINT: f64 = 30.0;
/// Least distance between the two points of the shaft's axis, mm.
const LEAST_SHAFT: f64 = 10.0;
/// How far outside a surface's bounding box a landmark may lie, mm.
const BESIDE: f64 = 10.0;

/// A bounding box in words: `X -30.1 to 25.0, Y ..., Z ... mm`.
pub(crate) fn box_in_words(bounds: &Aabb, unit: &str) -> String {
    let [x, y, z] = [0, 1, 2].map(|i| {
        let number = |v: f64| match v.abs() {
            a if a == 0.0 || (0.01..1e6).contains(&a) => format!("{v:.2}"),
            _ => format!("{v:.2e}"),
        };
        format!("{} to {}", number(bounds.min[i]), number(bounds.max[i]))
    });
    format!("X {x}, Y {y}, Z {z} {unit}")
}

fn extents(bounds: &Aabb) -> [f64; 3] {
    let mut extents: [f64; 3] = (bounds.max - bounds.min).into();
    extents.sort_by(|a, b| b.total_cmp(a));
    extents
}

/// Is a surface of these extents, mm, of the size of a humerus?
fn is_plausible(extents: [f64; 3]) -> bool {
    let mut pairs = extents.iter().zip(EXTENTS);
    pairs.all(|(x, [least, most])| (least..=most).contains(x))
}

/// Refuses a surface that is no humerus in the unit that its file is said to have.
///
/// # Errors
/// [`SurfaceError::Size`] with the bounding box and the units that would make it one.
pub(crate) fn check_size(surface: &TriangleSurface, unit: SurfaceUnit) -> Result<(), SurfaceError> {
    let bounds = Aabb::around(&surface.vertices);
    let extents = extents(&bounds);
    if is_plausible(extents.map(|x| x * unit.mm())) {
        return Ok(());
    }
    let would_do = |u: &&SurfaceUnit| is_plausible(extents.map(|x| x * u.mm()));
    let likely: Vec<&SurfaceUnit> = SurfaceUnit::ALL.iter().filter(would_do).collect();
    let hint = match &likely[..] {
        [] => format!(
            "in no unit is it a humerus or its distal end, which is {:.0} to {:.0} mm long and {:.0} to {:.0} mm wide",
            EXTENTS[0][0], EXTENTS[0][1], EXTENTS[1][0], EXTENTS[1][1]
        ),
        likely => {
            let words = likely
                .iter()
                .map(|u| format!("surface_unit = \"{}\"", u.word()));
            let words: Vec<String> = words.collect();
            format!(
                "its numbers are likely {}: set {}",
                likely[0].doc(),
                words.join(" or ")
            )
        }
    };
    Err(SurfaceError::Size {
        bounds: box_in_words(&bounds, unit.word()),
        hint,
    })
}

/// A right bone's surface in the bone frame, mm. `tips` are those of the medial and of the lateral epicondyle on the card's
/// bone, `shaft_x` the place of its shaft's axis.
///
/// # Errors
/// [`SurfaceError::Misplaced`]: landmarks that make no frame or do not lie at the surface, a surface outside the frame.
pub(crate) fn placed(
    mut surface: TriangleSurface,
    unit: SurfaceUnit,
    frame: Option<SurfaceFrame>,
    (tips, shaft_x): ([Vec3; 2], f64),
) -> Result<TriangleSurface, SurfaceError> {
    if unit != SurfaceUnit::Millimetre {
        for v in &mut surface.vertices {
            *v *= unit.mm();
        }
    }
    if let Some(frame) = frame {
        let landmark = |p: [f64; 3]| Vec3::from(p) * unit.mm();
        let shaft = [frame.shaft_distal, frame.shaft_proximal].map(landmark);
        let line = [frame.medial_epicondyle, frame.lateral_epicondyle].map(landmark);
        at_surface(&surface, &[shaft, line].concat(), unit)?;
        let (turn, shift) = motion(shaft, line, (tips, shaft_x))?;
        for v in &mut surface.vertices {
            *v = turn * *v + shift;
        }
    }
    let bounds = Aabb::around(&surface.vertices);
    let is_inside = ROOM.contains(bounds.min) && ROOM.contains(bounds.max);
    if is_inside && bounds.grown(NEAR_JOINT).contains(Vec3::zeros()) {
        return Ok(surface);
    }
    let longest = ["X", "Y", "Z"][(bounds.max - bounds.min).imax()];
    Err(SurfaceError::Misplaced {
        why: format!(
            "its bounding box is {}, longest along {longest}, and does not hold the joint at the origin with the shaft along Y",
            box_in_words(&bounds, "mm")
        ),
        hint: match frame {
            None => BY_LANDMARKS.into(),
            Some(_) => "see the four landmarks: which is which, and their coordinates".into(),
        },
    })
}

/// Remedy for a surface in another frame, such as a scanner's.
pub(crate) const BY_LANDMARKS: &str = "of a surface in a scanner's frame give the shaft's axis and the epicondylar line in the \
     file's coordinates: surface_shaft_distal, surface_shaft_proximal, surface_medial_epicondyle, \
     surface_lateral_epicondyle; or move it (origin in the middle of the flexion axis, Y proximal, X anterior, Z lateral)";

/// Do landmarks lie at a surface's bounding box?
fn at_surface(
    surface: &TriangleSurface,
    landmarks: &[Vec3],
    unit: SurfaceUnit,
) -> Result<(), SurfaceError> {
    const NAMES: [&str; 4] = [
        "lower point of the shaft's axis",
        "upper point of the shaft's axis",
        "medial epicondyle",
        "lateral epicondyle",
    ];
    let bounds = Aabb::around(&surface.vertices);
    for (at, name) in landmarks.iter().zip(NAMES) {
        let away = bounds.distance(*at);
        if away > BESIDE {
            let in_file = Aabb {
                min: bounds.min / unit.mm(),
                max: bounds.max / unit.mm(),
            };
            return Err(SurfaceError::Misplaced {
                why: format!(
                    "the {name} lies {away:.1} mm outside the surface's bounding box, which is {} in the file",
                    box_in_words(&in_file, unit.word())
                ),
                hint: "give the landmarks in the coordinates and the unit of the file".into(),
            });
        }
    }
    Ok(())
}

/// The rigid motion that takes the shaft's axis and the epicondylar line to those of the card: the axis onto the axis, the
/// line's middle to its level, its direction across the axis to its direction.
fn motion(
    [distal, proximal]: [Vec3; 2],
    line: [Vec3; 2],
    (tips, shaft_x): ([Vec3; 2], f64),
) -> Result<(Mat3, Vec3), SurfaceError> {
    let wrong = |why: String| SurfaceError::Misplaced {
        why,
        hint:
            "give two points of the shaft's axis some 50 mm apart, and the tips of both epicondyles"
                .into(),
    };
    let along = proximal - distal;
    if along.norm() < LEAST_SHAFT {
        return Err(wrong(format!(
            "the two points of the shaft's axis are {:.1} mm apart, at least {LEAST_SHAFT} mm are needed",
            along.norm()
        )));
    }
    let up = along.normalize();
    // Axes (forwards, up, laterally) across a direction and along a line.
    let axes = |up: Vec3, [medial, lateral]: [Vec3; 2]| -> Option<Mat3> {
        let line = lateral - medial;
        let across = line - up * line.dot(&up);
        let z = across.try_normalize(0.5 * line.norm().max(1e-9))?;
        Some(Mat3::from_columns(&[up.cross(&z), up, z]))
    };
    let from = axes(up, line)
        .ok_or_else(|| wrong("the epicondylar line does not lie across the shaft's axis".into()))?;
    let to = axes(Vec3::y(), tips)
        .ok_or_else(|| wrong("the card's epicondyles lie along the shaft".into()))?;
    let turn = to * from.transpose();
    let middle = |[a, b]: [Vec3; 2]| 0.5 * (a + b);
    let (at, level) = (turn * distal, (turn * middle(line)).y);
    if at.y < level {
        return Err(wrong(format!(
            "the lower point of the shaft's axis lies {:.1} mm below the epicondylar line",
            level - at.y
        )));
    }
    let shift = Vec3::new(shaft_x - at.x, middle(tips).y - level, -at.z);
    Ok((turn, shift))
}

#[cfg(test)]
mod tests {
    use super::super::shapes::ball;
    use super::*;

    /// An egg of the size of a distal humerus: 60 mm wide, 170 mm long, its lower end below the origin.
    fn egg() -> TriangleSurface {
        let mut surface = ball(Vec3::zeros(), 1.0, 3);
        for v in &mut surface.vertices {
            *v = Vec3::new(20.0 * v.x, 70.0 + 85.0 * v.y, 30.0 * v.z);
        }
        surface
    }

    fn moved(surface: &TriangleSurface, by: impl Fn(Vec3) -> Vec3) -> TriangleSurface {
        TriangleSurface {
            vertices: surface.vertices.iter().map(|v| by(*v)).collect(),
            triangles: surface.triangles.clone(),
        }
    }

    const TIPS: [Vec3; 2] = [Vec3::new(-5.0, 10.0, -33.0), Vec3::new(-3.0, 8.0, 25.0)];
    const SHAFT_X: f64 = -9.0;

    #[test]
    fn a_wrong_unit_is_told_with_the_box_and_the_likely_one() {
        for (unit, told) in [
            (SurfaceUnit::Metre, "surface_unit = \"m\""),
            (SurfaceUnit::Centimetre, "surface_unit = \"cm\""),
            (SurfaceUnit::Micrometre, "surface_unit = \"um\""),
            (SurfaceUnit::Inch, "surface_unit = \"inch\""),
        ] {
            let in_unit = moved(&egg(), |v| v / unit.mm());
            let error = check_size(&in_unit, SurfaceUnit::Millimetre).unwrap_err();
            let text = error.to_string();
            assert!(text.contains(told), "{text}");
            assert!(
                text.contains("bounding box") && text.contains("Y "),
                "{text}"
            );
            assert!(check_size(&in_unit, unit).is_ok(), "{unit:?}");
        }
        let monstrous = moved(&egg(), |v| v * 1e34);
        let text = check_size(&monstrous, SurfaceUnit::Millimetre)
            .unwrap_err()
            .to_string();
        assert!(
            text.contains("e35") && text.contains("in no unit"),
            "{text}"
        );
    }

    #[test]
    fn landmarks_bring_a_surface_from_any_frame_to_the_card() {
        let turn = nalgebra::Rotation3::from_euler_angles(0.7, -1.1, 2.3);
        let away = Vec3::new(120.0, -340.0, 75.0);
        // A scan in centimetres.
        let to_file = |v: Vec3| (turn * v + away) / 10.0;
        let file = moved(&egg(), to_file);
        let at = |v: Vec3| -> [f64; 3] { to_file(v).into() };
        let frame = SurfaceFrame {
            shaft_distal: at(Vec3::new(SHAFT_X, 60.0, 0.0)),
            shaft_proximal: at(Vec3::new(SHAFT_X, 140.0, 0.0)),
            medial_epicondyle: at(TIPS[0]),
            lateral_epicondyle: at(TIPS[1]),
        };
        let of_card = (TIPS, SHAFT_X);
        let unit = SurfaceUnit::Centimetre;
        let found = placed(file.clone(), unit, Some(frame), of_card).unwrap();
        for (a, b) in found.vertices.iter().zip(&egg().vertices) {
            assert!((a - b).norm() < 1e-9, "{a:?} {b:?}");
        }
        let told = |frame| {
            placed(file.clone(), unit, frame, of_card)
                .unwrap_err()
                .to_string()
        };
        let without = told(None);
        assert!(
            without.contains("bounding box") && without.contains("surface_shaft_distal"),
            "{without}"
        );
        let swapped = told(Some(SurfaceFrame {
            shaft_distal: frame.shaft_proximal,
            shaft_proximal: frame.shaft_distal,
            ..frame
        }));
        assert!(swapped.contains("below the epicondylar line"), "{swapped}");
        let along = told(Some(SurfaceFrame {
            lateral_epicondyle: at(TIPS[0] + 20.0 * Vec3::y()),
            ..frame
        }));
        assert!(along.contains("does not lie across"), "{along}");
        let in_mm = told(Some(SurfaceFrame {
            medial_epicondyle: frame.medial_epicondyle.map(|x| 10.0 * x),
            ..frame
        }));
        assert!(
            in_mm.contains("the medial epicondyle lies") && in_mm.contains("unit of the file"),
            "{in_mm}"
        );
    }
}
