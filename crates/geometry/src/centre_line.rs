//! The line on the bone along which a plate lies.
//!
//! Points of the surface, one every few millimetres of level, joined by a natural cubic spline in each
//! coordinate over arc length: twice continuously differentiable, so a plate bends without kinks.

use crate::Bone;
use bicolumn_base::{PlateSite, Vec3};

/// Spacing of the surface points, mm of level.
const SPACING: f64 = 2.0;
/// The posterolateral plate faces backwards, turned this far to the lateral side, degrees (judgement:
/// keeps its medial edge off the olecranon fossa).
const POSTEROLATERAL_TURN: f64 = 15.0;

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
        self.at
            .partition_point(|a| *a <= s)
            .clamp(1, self.at.len() - 1)
            - 1
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
}

impl CentreLine {
    /// Lays a line at a site between two levels; `None` if the surface does not reach down to the lower.
    pub(crate) fn lay(bone: &Bone, site: PlateSite, from: f64, to: f64) -> Option<CentreLine> {
        let (below, above) = (1.0, 6.0);
        let count = ((to - from + below + above) / SPACING).ceil() as usize + 1;
        let step = (to - from + below + above) / (count - 1) as f64;
        let mut points = Vec::with_capacity(count);
        let mut normals = Vec::with_capacity(count);
        for i in 0..count {
            let (p, n) = surface_point(bone, site, from - below + step * i as f64)?;
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
        let mut line = CentreLine {
            path,
            normals,
            length: 0.0,
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

    /// Distance from a point to the line, too large by no more than half the knots' spacing, mm.
    pub(crate) fn rough_distance(&self, x: Vec3) -> f64 {
        let squares = self.path.value.iter().map(|p| (p - x).norm_squared());
        squares.fold(f64::MAX, f64::min).sqrt()
    }

    /// Parameter of the point of the line at which its normal plane holds x, near the nearest point.
    pub(crate) fn foot(&self, x: Vec3) -> f64 {
        let path = &self.path;
        let nearest = (0..path.at.len())
            .min_by(|&i, &j| {
                let d = |k: usize| (path.value[k] - x).norm_squared();
                d(i).total_cmp(&d(j))
            })
            .unwrap_or(0);
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

/// Point of the outer surface at a site and level, with its normal.
fn surface_point(bone: &Bone, site: PlateSite, level: f64) -> Option<(Vec3, Vec3)> {
    let medial = site == PlateSite::Medial;
    let (centre, _) = bone.column(medial, level);
    let turn = POSTEROLATERAL_TURN.to_radians();
    let outward = bone.mirrored(match site {
        PlateSite::Medial => -Vec3::z(),
        PlateSite::Lateral => Vec3::z(),
        PlateSite::Posterolateral => Vec3::new(-turn.cos(), 0.0, turn.sin()),
    });
    if bone.outer().value(centre) > -1.0 {
        return None;
    }
    let p = centre + outward * crate::bone::first_crossing(bone.outer(), centre, outward);
    Some((p, bone.outer().gradient(p).normalize()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bone::tests::mean_bone;

    #[test]
    fn the_line_lies_on_the_bone_and_its_parameter_is_arc_length() {
        let bone = mean_bone();
        for site in [
            PlateSite::Medial,
            PlateSite::Lateral,
            PlateSite::Posterolateral,
        ] {
            let line = CentreLine::lay(&bone, site, 4.0, 90.0).unwrap();
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
                assert!((line.foot(p + normal * 3.0) - s).abs() < 1e-6);
            }
            assert!(
                (length - line.length()).abs() < 1e-3 * length,
                "{length} {}",
                line.length()
            );
        }
    }
}
