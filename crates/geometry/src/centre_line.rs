//! The line on the bone along which a plate lies.
//!
//! Points of the surface, one every few millimetres of level, joined by a natural cubic spline in each
//! coordinate over arc length: twice continuously differentiable, so a plate bends without kinks.

use crate::Bone;
use crate::footprint::{FACING, edge_facing};
use bicolumn_base::{PlateSite, Vec3};

/// Spacing of the surface points, mm of level.
const SPACING: f64 = 2.0;
/// The posterolateral plate faces backwards, turned this far to the lateral side, degrees (judgement:
/// keeps its medial edge off the olecranon fossa).
const POSTEROLATERAL_TURN: f64 = 15.0;

/// Steps in which the line is moved aside, mm, and how many either way.
const SHIFT_STEP: f64 = 0.25;
const SHIFT_STEPS: i32 = 16;
/// Levels over which a shift is held before it is smoothed, either way.
const HELD_LEVELS: usize = 3;
/// Least cosine between the bone's normal under an edge and the line's for which a line is not moved aside; a little
/// more than a plate needs.
const FACING_AT_EDGE: f64 = FACING + 0.2;

/// A ray to the surface starts at least this deep in bone, mm.
const IN_BONE: f64 = 1.0;
/// Steps from a column's axis to its border in which the start is looked for.
const STARTS: i32 = 8;

/// A natural cubic spline of a vector over a scalar.
#[derive(Debug, Clone)]
struct Spline {
    at: Vec<f64>,
    value: Vec<Vec3>,
    /// Second derivatives at the knots.
    bend: Vec<Vec3>,
}

impl Spline {
    fn through(at: Vec<f64>, value: Vec<Vec3>) -> Spline {
        let n = at.len();
        let mut bend = vec![Vec3::zeros(); n];
        let mut upper = vec![0.0; n];
        // Thomas algorithm on the tridiagonal system of the natural spline.
        for i in 1..n - 1 {
            let (left, right) = (at[i] - at[i - 1], at[i + 1] - at[i]);
            let jump = (value[i + 1] - value[i]) / right - (value[i] - value[i - 1]) / left;
            let pivot = 2.0 * (left + right) - left * upper[i - 1];
            upper[i] = right / pivot;
            bend[i] = (jump * 6.0 - bend[i - 1] * left) / pivot;
        }
        for i in (1..n - 1).rev() {
            bend[i] = bend[i] - bend[i + 1] * upper[i];
        }
        Spline { at, value, bend }
    }

    fn segment(&self, s: f64) -> usize {
        let last = self.at.len() - 1;
        // Knots are nearly evenly spaced.
        let (first, end) = (self.at[0], self.at[last]);
        let guess = ((s - first) / (end - first) * last as f64) as usize;
        let guess = guess.min(last - 1);
        if self.at[guess] <= s && s < self.at[guess + 1] {
            return guess;
        }
        self.at.partition_point(|a| *a <= s).clamp(1, last) - 1
    }

    /// Value and first and second derivative; beyond the ends the end tangent goes on.
    fn jet(&self, s: f64) -> (Vec3, Vec3, Vec3) {
        let (first, last) = (self.at[0], self.at[self.at.len() - 1]);
        let inside = s.clamp(first, last);
        let i = self.segment(inside);
        let h = self.at[i + 1] - self.at[i];
        let (b, a) = ((inside - self.at[i]) / h, (self.at[i + 1] - inside) / h);
        let (p, q, m, n) = (
            self.value[i],
            self.value[i + 1],
            self.bend[i],
            self.bend[i + 1],
        );
        let value = p * a + q * b + (m * (a * a * a - a) + n * (b * b * b - b)) * (h * h / 6.0);
        let slope = (q - p) / h + (n * (3.0 * b * b - 1.0) - m * (3.0 * a * a - 1.0)) * (h / 6.0);
        let bend = if s == inside {
            m * a + n * b
        } else {
            Vec3::zeros()
        };
        (value + slope * (s - inside), slope, bend)
    }
}

/// The line with the outward normals along it. Its parameter is arc length from the distal tip, mm.
#[derive(Debug, Clone)]
pub(crate) struct CentreLine {
    path: Spline,
    normals: Spline,
    length: f64,
    /// Largest distance between neighbouring knots, mm.
    spacing: f64,
}

impl CentreLine {
    /// Lays a line for a plate of a width at a site between two levels; `None` if the surface does not reach down to
    /// the lower. The line keeps to the middle of the column, but where an edge of the plate would overhang there, it
    /// lies as far aside as brings that edge back onto bone.
    pub(crate) fn lay(
        bone: &Bone,
        site: PlateSite,
        width: f64,
        [from, to]: [f64; 2],
    ) -> Option<CentreLine> {
        let (below, above) = (1.0, 6.0);
        let count = ((to - from + below + above) / SPACING).ceil() as usize + 1;
        let step = (to - from + below + above) / (count - 1) as f64;
        let mut points = Vec::with_capacity(count);
        let mut normals = Vec::with_capacity(count);
        let levels: Vec<f64> = (0..count).map(|i| from - below + step * i as f64).collect();
        let shifts = shifts(bone, site, 0.5 * width, &levels);
        for (level, shift) in levels.into_iter().zip(shifts) {
            let (p, n) = surface_point(bone, site, level, shift)?;
            points.push(p);
            normals.push(n);
        }
        let mut at = vec![0.0; count];
        for i in 1..count {
            at[i] = at[i - 1] + (points[i] - points[i - 1]).norm();
        }
        let mut path = Spline::through(at, points);
        for _ in 0..3 {
            path = by_arc_length(path);
        }
        let normals = Spline::through(path.at.clone(), normals);
        let gaps = path.value.windows(2).map(|w| (w[1] - w[0]).norm());
        let spacing = 1.001 * gaps.fold(0.0, f64::max);
        let mut line = CentreLine {
            path,
            normals,
            length: 0.0,
            spacing,
        };
        let start = line.at_level(from);
        for at in line.path.at.iter_mut().chain(line.normals.at.iter_mut()) {
            *at -= start;
        }
        line.length = line.at_level(to);
        Some(line)
    }

    /// Starts the line elsewhere: the parameter's origin moves up by `by`.
    pub(crate) fn restart(&mut self, by: f64) {
        for at in self.path.at.iter_mut().chain(self.normals.at.iter_mut()) {
            *at -= by;
        }
        self.length -= by;
    }

    pub(crate) fn length(&self) -> f64 {
        self.length
    }

    /// Parameter at which the line reaches a level.
    pub(crate) fn at_level(&self, level: f64) -> f64 {
        let n = self.path.at.len();
        let (mut low, mut high) = (self.path.at[0] - 20.0, self.path.at[n - 1] + 20.0);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if self.path.jet(middle).0.y < level {
                low = middle
            } else {
                high = middle
            }
        }
        0.5 * (low + high)
    }

    /// Point, unit tangent towards proximal, unit outward normal at right angles to it.
    pub(crate) fn frame(&self, s: f64) -> (Vec3, Vec3, Vec3) {
        let (point, slope, _) = self.path.jet(s);
        let tangent = slope.normalize();
        let normal = self
            .normals
            .jet(s.clamp(self.normals.at[0], self.length + 3.0))
            .0;
        let normal = (normal - tangent * normal.dot(&tangent)).normalize();
        (point, tangent, normal)
    }

    /// For points of a line along Z, the same x and y and the z given, the squared distance to the nearest knot and
    /// that knot: the root is too large for the distance to the line by no more than half the knots' spacing.
    pub(crate) fn nearest_knots(&self, x: Vec3, z: &[f64]) -> Vec<(f64, usize)> {
        let mut nearest = vec![(f64::MAX, 0); z.len()];
        for (k, p) in self.path.value.iter().enumerate() {
            let (dx, dy) = (p.x - x.x, p.y - x.y);
            let level = dx * dx + dy * dy;
            for (best, z) in nearest.iter_mut().zip(z) {
                let dz = p.z - z;
                let square = level + dz * dz;
                if square < best.0 {
                    *best = (square, k);
                }
            }
        }
        nearest
    }

    /// The knot nearest to a point, of two alike the first; `near` is one that may be near.
    fn nearest_knot(&self, x: Vec3, near: usize) -> usize {
        let knots = &self.path.value;
        let square = |k: usize| (knots[k] - x).norm_squared();
        let (mut best, mut nearest) = (square(near), near);
        let mut k = 0;
        while k < knots.len() {
            let here = square(k);
            if here < best || (here == best && k < nearest) {
                (best, nearest) = (here, k);
            }
            // From knot to knot the distance changes by no more than their spacing.
            let surplus = 0.999 * here.sqrt() - best.sqrt();
            k += 1 + (surplus / self.spacing).max(0.0) as usize;
        }
        nearest
    }

    /// Parameter of the point of the line at which its normal plane holds x, near the nearest point; `near` is a knot
    /// that may be near.
    pub(crate) fn foot(&self, x: Vec3, near: usize) -> f64 {
        let path = &self.path;
        let nearest = self.nearest_knot(x, near);
        let mut s = path.at[nearest];
        for _ in 0..8 {
            let (c, slope, bend) = path.jet(s);
            let off = x - c;
            // Near a centre of curvature the slope vanishes: a bounded step keeps to the nearest branch.
            let change = off.dot(&bend) - slope.norm_squared();
            let step = (-off.dot(&slope) / change.min(-0.25)).clamp(-SPACING, SPACING);
            s += step;
            if step.abs() < 1e-10 {
                break;
            }
        }
        s
    }
}

/// The same path with its knots at their arc lengths.
fn by_arc_length(path: Spline) -> Spline {
    // Gauss-Legendre nodes and weights on [0, 1], three points.
    let offset = 0.5 * 0.6f64.sqrt();
    let gauss = [
        (0.5 - offset, 5.0 / 18.0),
        (0.5, 8.0 / 18.0),
        (0.5 + offset, 5.0 / 18.0),
    ];
    let mut at = vec![0.0; path.at.len()];
    for i in 1..at.len() {
        let (a, h) = (path.at[i - 1], path.at[i] - path.at[i - 1]);
        let arc: f64 = gauss
            .iter()
            .map(|(t, w)| w * path.jet(a + t * h).1.norm())
            .sum();
        at[i] = at[i - 1] + h * arc;
    }
    Spline::through(at, path.value)
}

/// Where a site faces, horizontally, and the direction across it.
fn directions(bone: &Bone, site: PlateSite) -> [Vec3; 2] {
    let turn = POSTEROLATERAL_TURN.to_radians();
    let outward = match site {
        PlateSite::Medial => -Vec3::z(),
        PlateSite::Lateral => Vec3::z(),
        PlateSite::Posterolateral => Vec3::new(-turn.cos(), 0.0, turn.sin()),
    };
    // Of a right bone, then mirrored: a left bone's plate is the image of a right one's.
    [outward, Vec3::y().cross(&outward)].map(|v| bone.mirrored(v))
}

/// How far aside of the column's middle the line lies at each level, mm: the least that brings both edges onto bone,
/// held over a few levels and smoothed along the line.
fn shifts(bone: &Bone, site: PlateSite, half: f64, levels: &[f64]) -> Vec<f64> {
    let n = levels.len();
    // The ends are round: there the plate is narrower.
    let (first, last) = (levels[0] + half, levels[n - 1] - half);
    let needed: Vec<f64> = levels
        .iter()
        .map(|level| least_shift(bone, site, half, level.clamp(first, last.max(first))))
        .collect();
    let mut shift: Vec<f64> = (0..n)
        .map(|i| {
            let near = &needed[i.saturating_sub(HELD_LEVELS)..(i + HELD_LEVELS + 1).min(n)];
            near.iter()
                .fold(0.0, |m: f64, s| if s.abs() > m.abs() { *s } else { m })
        })
        .collect();
    for _ in 0..HELD_LEVELS {
        let before = shift.clone();
        for i in 1..n - 1 {
            shift[i] = 0.25 * before[i - 1] + 0.5 * before[i] + 0.25 * before[i + 1];
        }
    }
    shift
}

/// The least shift at a level with both edges on bone; where there is none, the one whose worse edge faces most the
/// plate's way.
fn least_shift(bone: &Bone, site: PlateSite, half: f64, level: f64) -> f64 {
    let across = directions(bone, site)[1];
    let facing = |shift: f64| -> f64 {
        let Some((p, normal)) = surface_point(bone, site, level, shift) else {
            return -1.0;
        };
        [across * half, across * -half]
            .into_iter()
            .map(|side| edge_facing(bone, p + side, normal))
            .fold(1.0, f64::min)
    };
    let mut best = (facing(0.0), 0.0);
    for i in 1..=SHIFT_STEPS {
        if best.0 > FACING_AT_EDGE {
            break;
        }
        for shift in [SHIFT_STEP, -SHIFT_STEP].map(|s| s * f64::from(i)) {
            let worse = facing(shift);
            // A farther shift must be worth it.
            if worse > best.0 + 0.01 && best.0 <= FACING_AT_EDGE {
                best = (worse, shift);
            }
        }
    }
    best.1
}

/// Point of the outer surface at a site and level, so far aside of the column's middle, with its normal.
fn surface_point(bone: &Bone, site: PlateSite, level: f64, shift: f64) -> Option<(Vec3, Vec3)> {
    let medial = site == PlateSite::Medial;
    let (middle, radius) = bone.column(medial, level);
    let [outward, across] = directions(bone, site);
    let centre = middle + across * shift;
    // A wide fossa may open the column at its axis: bone lies between there and the border.
    let reach = if site == PlateSite::Posterolateral {
        0.0
    } else {
        radius
    };
    let within = (0..=STARTS)
        .map(|i| centre + outward * (reach * f64::from(i) / f64::from(STARTS)))
        .find(|from| bone.outer().value(*from) <= -IN_BONE)?;
    let p = within + outward * crate::bone::first_crossing(bone.outer(), within, outward);
    Some((p, bone.outer().gradient(p).normalize()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bone::tests::mean_bone;

    #[test]
    fn the_line_leaves_the_middle_of_the_column_only_where_an_edge_would_overhang() {
        let levels: Vec<f64> = (0..40).map(|i| 4.0 + 2.0 * f64::from(i)).collect();
        let bone = mean_bone();
        for site in [PlateSite::Medial, PlateSite::Lateral] {
            let narrow = shifts(&bone, site, 4.0, &levels);
            assert!(narrow.iter().all(|s| *s == 0.0), "{site}: {narrow:?}");
        }
        let wide = shifts(&bone, PlateSite::Medial, 5.5, &levels);
        let moved = wide.iter().filter(|s| **s != 0.0).count();
        assert!(moved > 0 && moved < levels.len(), "{wide:?}");
        for w in wide.windows(2) {
            assert!((w[1] - w[0]).abs() < 1.0, "no kink: {wide:?}");
        }
    }

    #[test]
    fn the_line_on_a_left_bone_moves_aside_as_on_a_right_one() {
        let spec = crate::BoneSpec {
            medial_column_angle_deg: 52.0,
            ..crate::BoneSpec::mean_adult()
        };
        let levels: Vec<f64> = (0..40).map(|i| 4.0 + 2.0 * f64::from(i)).collect();
        let moved = |left| {
            let bone = Bone::build(&crate::BoneSpec {
                left,
                ..spec.clone()
            })
            .unwrap();
            shifts(&bone, PlateSite::Medial, 5.0, &levels)
        };
        let [right, left] = [false, true].map(moved);
        assert!(right.iter().any(|s| s.abs() > 0.5), "{right:?}");
        for (r, l) in right.iter().zip(&left) {
            assert!((r - l).abs() < 1e-9, "{right:?} {left:?}");
        }
    }

    #[test]
    fn the_line_lies_on_the_bone_and_its_parameter_is_arc_length() {
        let bone = mean_bone();
        for site in [
            PlateSite::Medial,
            PlateSite::Lateral,
            PlateSite::Posterolateral,
        ] {
            let line = CentreLine::lay(&bone, site, 8.0, [4.0, 90.0]).unwrap();
            assert!((line.frame(0.0).0.y - 4.0).abs() < 1e-9);
            assert!((line.frame(line.length()).0.y - 90.0).abs() < 1e-9);
            let mut length = 0.0;
            let n = 4000;
            for i in 0..n {
                let s = line.length() * f64::from(i) / f64::from(n);
                let (p, t, normal) = line.frame(s);
                let (q, _, _) = line.frame(s + line.length() / f64::from(n));
                length += (q - p).norm();
                assert!(
                    bone.outer().value(p).abs() < 0.06,
                    "{site} {s}: {}",
                    bone.outer().value(p)
                );
                assert!(t.dot(&normal).abs() < 1e-9);
                assert!((line.foot(p + normal * 3.0, 0) - s).abs() < 1e-6);
            }
            assert!(
                (length - line.length()).abs() < 1e-3 * length,
                "{length} {}",
                line.length()
            );
        }
    }
}
