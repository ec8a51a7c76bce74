//! The edges of fragments: how sharply the faces of a fracture and of a split meet the bone's surfaces.

use crate::fault::Fault;
use crate::rod::across;
use crate::{Bone, Field, Fracture, FractureQuantity, FractureSpec, GeometryError, Subject};
use bicolumn_base::Vec3;

/// Least angle between a face and the bone's outer or inner surface, degrees: the elements in a sharper edge
/// are no better than it is (what the mesher takes well).
const LEAST_DEG: f64 = 20.0;
/// Distance between the lines along which a face is searched, mm.
const STEP_MM: f64 = 0.5;

/// A plane that bounds fragments.
struct Face {
    point: Vec3,
    normal: Vec3,
    /// Is the edge that of the articular split, not of the supracondylar fracture?
    of_split: bool,
}

impl Face {
    /// Does the face reach a point of its plane? The split ends at the fracture.
    fn is_at(&self, fracture: &Fracture, x: Vec3) -> bool {
        !self.of_split || fracture.below(x) >= 0.0
    }
}

/// Where a face meets a surface of the bone at the smallest angle.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Edge {
    angle_deg: f64,
    at: Vec3,
    of_split: bool,
}

/// Refuses a fracture whose fragments would have edges too sharp to be meshed.
///
/// # Errors
/// [`GeometryError::Dimension`] with the angle, its place and what would be accepted.
pub(crate) fn check(bone: &Bone, fracture: &Fracture) -> Result<(), Fault> {
    match sharpest(bone, fracture, STEP_MM).filter(|e| e.angle_deg < LEAST_DEG) {
        None => Ok(()),
        Some(edge) => Err(refusal(bone, &fracture.spec, &edge)),
    }
}

/// The fault of an edge, with the nearest values that would do.
fn refusal(bone: &Bone, spec: &FractureSpec, edge: &Edge) -> Fault {
    use FractureQuantity as Q;
    let tried = match (&spec.split, edge.of_split) {
        (Some(split), true) => vec![
            (Q::SplitInclination, split.inclination_deg, 0.5),
            (Q::SplitOffset, split.offset_mm, 0.5),
        ],
        _ => vec![
            (Q::Level, spec.level_mm, 0.5),
            (Q::Inclination, spec.inclination_deg, 1.0),
        ],
    };
    let with = |quantity: Q, value: f64| {
        let mut other = spec.clone();
        match (quantity, &mut other.split) {
            (Q::SplitInclination, Some(split)) => split.inclination_deg = value,
            (Q::SplitOffset, Some(split)) => split.offset_mm = value,
            (Q::Inclination, _) => other.inclination_deg = value,
            _ => other.level_mm = value,
        }
        other
    };
    let is_open = |quantity: Q, value: f64| {
        let Ok(placed) = Fracture::place(bone, &with(quantity, value)) else {
            return false;
        };
        let is_open =
            |step, least| sharpest(bone, &placed, step).is_some_and(|e| e.angle_deg >= least);
        // Most values that do not serve are ruled out on a coarse grid, whose angles are off by a degree or two.
        is_open(4.0 * STEP_MM, LEAST_DEG - 4.0) && is_open(STEP_MM, LEAST_DEG)
    };
    let nearest = |(quantity, value, step): (Q, f64, f64)| {
        let both = |k: i32| [-1.0, 1.0].map(|sign| value + sign * step * f64::from(k));
        // Rounded, so that the value told is the one tried.
        let tried = (1..=40).flat_map(both).map(|v| (10.0 * v).round() / 10.0);
        let mut tried = tried.filter(|v| quantity.range().contains(*v));
        tried.find(|v| is_open(quantity, *v))
    };
    let found: Vec<(Q, f64)> = tried
        .iter()
        .filter_map(|t| Some((t.0, nearest(*t)?)))
        .collect();
    let (quantity, value, _) = tried[0];
    let unit = quantity.unit();
    let (at, angle) = (edge.at, edge.angle_deg);
    let mut instead: Vec<String> = Vec::new();
    for (q, v) in &found {
        instead.push(match *q == quantity {
            true => format!("{v:.1} {unit}, the nearest that was found"),
            false => format!("a {} of {v:.1} {}", q.name(), q.unit()),
        });
    }
    let instead = match instead.is_empty() {
        true => "another place of the fracture".to_string(),
        false => instead.join(", or "),
    };
    let error = GeometryError::Dimension {
        subject: Subject::Fracture(quantity),
        value,
        unit,
        accepted: format!(
            "{instead}; with this one a face meets the bone's surface at {angle:.1} degrees near ({:.1}, {:.1}, {:.1}) mm, and a fragment's edge needs {LEAST_DEG} to be meshed",
            at.x, at.y, at.z
        ),
        bounds: None,
    };
    let cures = found.into_iter().map(|(q, v)| (Subject::Fracture(q), v));
    Fault::from(error).or_by(cures)
}

/// The sharpest edge that the faces have with the bone's surfaces, searched along lines `step` apart.
fn sharpest(bone: &Bone, fracture: &Fracture, step: f64) -> Option<Edge> {
    let reach = 0.5 * bone.spec().epicondylar_width_mm + 10.0;
    let lines = (reach / step).ceil() as i32;
    let side = (2 * lines + 1) as usize;
    let mut found: Option<Edge> = None;
    for face in faces(fracture) {
        let (u, v) = across(face.normal);
        let at = |k: i32| f64::from(k - lines) * step;
        let places: Vec<Vec3> = (0..2 * lines + 1)
            .flat_map(|i| (0..2 * lines + 1).map(move |j| (i, j)))
            .map(|(i, j)| face.point + u * at(i) + v * at(j))
            .collect();
        for surface in [bone.outer(), bone.inner()] {
            let known: Vec<Option<(Vec3, f64)>> = places
                .iter()
                .map(|&x| face.is_at(fracture, x).then(|| (x, surface.value(x))))
                .collect();
            // Lines of one direction alone could run along an edge and miss it.
            let along = (0..known.len())
                .filter(|k| (k + 1) % side != 0)
                .map(|k| (k, k + 1));
            let across = (0..known.len() - side).map(|k| (k, k + side));
            for (a, b) in along.chain(across) {
                let (Some(a), Some(b)) = (known[a], known[b]) else {
                    continue;
                };
                if (a.1 < 0.0) != (b.1 < 0.0) {
                    let edge = edge(&face, surface, a, b);
                    if found.is_none_or(|f| edge.angle_deg < f.angle_deg) {
                        found = Some(edge);
                    }
                }
            }
        }
    }
    found
}

/// The edge between two points of a face, on either side of a surface, given their values.
fn edge(face: &Face, surface: &dyn Field, a: (Vec3, f64), b: (Vec3, f64)) -> Edge {
    let at = a.0 + (b.0 - a.0) * (a.1 / (a.1 - b.1));
    let cosine = surface.gradient(at).normalize().dot(&face.normal).abs();
    Edge {
        angle_deg: cosine.min(1.0).acos().to_degrees(),
        at,
        of_split: face.of_split,
    }
}

fn faces(fracture: &Fracture) -> Vec<Face> {
    let pair = |centre: Vec3, normal: Vec3, gap_mm: f64, of_split: bool| {
        let shifts = if gap_mm > 0.0 {
            vec![-0.5 * gap_mm, 0.5 * gap_mm]
        } else {
            vec![0.0]
        };
        shifts.into_iter().map(move |shift| Face {
            point: centre + normal * shift,
            normal,
            of_split,
        })
    };
    let mut all: Vec<Face> = pair(
        fracture.centre,
        fracture.normal,
        fracture.spec.gap_mm,
        false,
    )
    .collect();
    if let Some(split) = &fracture.split {
        all.extend(pair(split.centre, split.normal, split.spec.gap_mm, true));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::SplitSpec;
    use crate::bone::tests::mean_bone;

    fn with_split(offset_mm: f64, inclination_deg: f64) -> FractureSpec {
        FractureSpec {
            split: Some(SplitSpec {
                gap_mm: 0.0,
                offset_mm,
                inclination_deg,
            }),
            ..FractureSpec::default()
        }
    }

    fn checked(spec: &FractureSpec) -> Result<(), GeometryError> {
        let bone = mean_bone();
        check(&bone, &Fracture::place(&bone, spec).unwrap()).map_err(|f| *f.error)
    }

    #[test]
    fn a_split_along_the_flank_of_the_groove_is_refused_with_one_that_would_do() {
        for spec in [with_split(0.0, 15.0), with_split(2.0, 18.0)] {
            checked(&spec).unwrap();
        }
        let error = checked(&with_split(0.0, 19.0)).unwrap_err();
        let GeometryError::Dimension {
            subject, accepted, ..
        } = &error
        else {
            panic!("{error}");
        };
        assert_eq!(
            *subject,
            Subject::Fracture(FractureQuantity::SplitInclination)
        );
        let told: f64 = accepted.split(' ').next().unwrap().parse().unwrap();
        assert!((10.0..19.0).contains(&told), "{error}");
        checked(&with_split(0.0, told)).unwrap();
        assert!(checked(&with_split(0.0, told + 0.5)).is_err(), "{error}");
    }

    #[test]
    fn a_face_that_grazes_the_top_of_a_fossa_is_refused_by_its_level() {
        let bone = mean_bone();
        let mut fracture = Fracture::place(&bone, &FractureSpec::default()).unwrap();
        check(&bone, &fracture).unwrap();
        // The lower face at the top of the coronoid fossa.
        fracture.spec.level_mm = 25.5;
        fracture.centre = bone.shaft_axis(25.5);
        let error = *check(&bone, &fracture).unwrap_err().error;
        let GeometryError::Dimension {
            subject, accepted, ..
        } = &error
        else {
            panic!("{error}");
        };
        assert_eq!(*subject, Subject::Fracture(FractureQuantity::Level));
        let told: f64 = accepted.split(' ').next().unwrap().parse().unwrap();
        checked(&FractureSpec {
            level_mm: told,
            ..FractureSpec::default()
        })
        .unwrap();
    }

    #[test]
    fn a_leaning_face_meets_the_shaft_at_the_complement_of_its_inclination() {
        let bone = mean_bone();
        // Above the flare the bone is a tube; the face is laid there past the check of levels.
        for inclination in [0.0f64, 25.0] {
            let mut fracture = Fracture::place(&bone, &FractureSpec::default()).unwrap();
            fracture.centre = bone.shaft_axis(120.0);
            let tilt = inclination.to_radians();
            fracture.normal = Vec3::new(0.0, tilt.cos(), -tilt.sin());
            let edge = sharpest(&bone, &fracture, STEP_MM).unwrap();
            let expected = 90.0 - inclination;
            assert!((edge.angle_deg - expected).abs() < 0.3, "{edge:?}");
        }
    }
}
