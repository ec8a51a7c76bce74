//! Straight rods: what a screw is to the layout and the clash check.

use crate::{Field, Screw};
use bicolumn_base::Vec3;

/// Distance that a screw's tip keeps from the faces of a fracture, mm (what the mesher takes well).
const END_CLEARANCE: f64 = 0.8;
/// A screw crosses such a face at no less than this sine of the angle to it: 30 degrees (judgement).
const LEAST_CROSSING: f64 = 0.5;

/// A cylinder between two points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Rod {
    pub(crate) from: Vec3,
    pub(crate) to: Vec3,
    pub(crate) radius: f64,
}

impl Rod {
    /// A screw's shank from the bone's surface to its tip.
    pub(crate) fn in_bone(screw: &Screw) -> Rod {
        Rod {
            from: screw.entry,
            to: screw.tip(),
            radius: 0.5 * screw.diameter_mm,
        }
    }

    /// Distance between the surfaces of two rods (of capsules, to be exact); negative where they overlap.
    pub(crate) fn clearance(&self, other: &Rod) -> f64 {
        let (d, _) = nearest(self, other);
        d - self.radius - other.radius
    }

    /// Middle of the shortest connection to another rod.
    pub(crate) fn meeting_point(&self, other: &Rod) -> Vec3 {
        nearest(self, other).1
    }

    pub(crate) fn length(&self) -> f64 {
        (self.to - self.from).norm()
    }

    /// Points of the axis, at most a millimetre apart, both ends included.
    pub(crate) fn axis_points(&self) -> impl Iterator<Item = Vec3> + use<> {
        let (from, to) = (self.from, self.to);
        let n = (self.length().ceil() as usize).max(1);
        (0..=n).map(move |i| from + (to - from) * (i as f64 / n as f64))
    }

    /// With the faces of a fracture at ±`half` of a signed distance: does the near end keep `rim` off
    /// them, does the far end keep clear, and does the side cross them, if it does, at an open angle?
    pub(crate) fn crosses_openly(
        &self,
        distance: impl Fn(Vec3) -> f64,
        normal: Vec3,
        half: f64,
        rim: f64,
    ) -> bool {
        let from = distance(self.from);
        let (low, high) = self
            .tip_face()
            .iter()
            .map(|x| distance(*x))
            .fold((f64::MAX, f64::MIN), |(l, h), s| (l.min(s), h.max(s)));
        let keep = half + END_CLEARANCE;
        let clear_at_tip = low > keep || high < -keep;
        let crosses = (low > 0.0) != (from > 0.0);
        let sine = (self.to - self.from).normalize().dot(&normal).abs();
        clear_at_tip && from.abs() > half + rim && (!crosses || sine >= LEAST_CROSSING)
    }

    /// The end face's centre and eight points of its rim.
    pub(crate) fn tip_face(&self) -> [Vec3; 9] {
        let axis = (self.to - self.from).normalize();
        let (a, b) = across(axis);
        std::array::from_fn(|i| {
            if i == 8 {
                return self.to;
            }
            let angle = std::f64::consts::FRAC_PI_4 * i as f64;
            self.to + (a * angle.cos() + b * angle.sin()) * self.radius
        })
    }

    /// Least and greatest value of a field on the end face.
    pub(crate) fn tip_range(&self, field: &dyn Field) -> (f64, f64) {
        self.tip_face()
            .iter()
            .fold((f64::MAX, f64::MIN), |(low, high), p| {
                let v = field.value(*p);
                (low.min(v), high.max(v))
            })
    }
}

/// Two unit vectors at right angles to a unit vector and to each other.
pub(crate) fn across(axis: Vec3) -> (Vec3, Vec3) {
    let reference = if axis.y.abs() < 0.9 {
        Vec3::y()
    } else {
        Vec3::x()
    };
    let a = (reference - axis * reference.dot(&axis)).normalize();
    (a, axis.cross(&a))
}

/// Distance between two segments and the middle of the shortest connection (Ericson 2005, Real-Time
/// Collision Detection, section 5.1.9).
fn nearest(one: &Rod, two: &Rod) -> (f64, Vec3) {
    let (u, v, w) = (one.to - one.from, two.to - two.from, one.from - two.from);
    let (a, e, f) = (u.norm_squared(), v.norm_squared(), v.dot(&w));
    let (b, c) = (u.dot(&v), u.dot(&w));
    let clamp = |t: f64| t.clamp(0.0, 1.0);
    let denominator = a * e - b * b;
    let mut s = if denominator > 1e-9 {
        clamp((b * f - c * e) / denominator)
    } else {
        0.0
    };
    let mut t = (b * s + f) / e.max(1e-12);
    if !(0.0..=1.0).contains(&t) {
        t = clamp(t);
        s = clamp((b * t - c) / a.max(1e-12));
    }
    let (p, q) = (one.from + u * s, two.from + v * t);
    ((p - q).norm(), (p + q) * 0.5)
}

/// The first place along a ray, from t = `start`, where a field's value exceeds a bound; `limit` if none.
/// The ray is stepped by quarters of a millimetre, as many at a time as a field of distances cannot exceed the bound
/// within, then bisected.
pub(crate) fn rises_above(
    field: &dyn Field,
    origin: Vec3,
    direction: Vec3,
    start: f64,
    limit: f64,
    bound: f64,
) -> f64 {
    const STEP: f64 = 0.25;
    /// Share of a value that is surely a distance: gradients of the fields are a little more than one in places.
    const SURE: f64 = 0.7;
    let value = |t: f64| field.value(origin + direction * t);
    let above = |t: f64| value(t) > bound;
    let mut t = start;
    // Steps that may be taken without looking.
    let mut sure = 0.0;
    while t < limit {
        let next = (t + STEP).min(limit);
        if sure >= 1.0 {
            sure -= 1.0;
            t = next;
            continue;
        }
        let reached = value(next);
        sure = (SURE * (bound - reached) / STEP).floor();
        if reached > bound {
            let (mut low, mut high) = (t, next);
            for _ in 0..20 {
                let middle = 0.5 * (low + high);
                if above(middle) {
                    high = middle
                } else {
                    low = middle
                }
            }
            return low;
        }
        t = next;
    }
    limit
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn rod(p: [f64; 6]) -> Rod {
        Rod {
            from: Vec3::new(p[0], p[1], p[2]),
            to: Vec3::new(p[3], p[4], p[5]),
            radius: 1.0,
        }
    }

    proptest! {
        #[test]
        fn distance_agrees_with_sampling(a in prop::array::uniform6(-9.0..9.0f64),
                                         b in prop::array::uniform6(-9.0..9.0f64)) {
            let (a, b) = (rod(a), rod(b));
            prop_assume!(a.length() > 0.1 && b.length() > 0.1);
            let mut least = f64::MAX;
            for i in 0..=200 {
                let p = a.from + (a.to - a.from) * (f64::from(i) / 200.0);
                // Exact distance of a point from a segment.
                let v = b.to - b.from;
                let t = ((p - b.from).dot(&v) / v.norm_squared()).clamp(0.0, 1.0);
                least = least.min((p - b.from - v * t).norm());
            }
            let found = a.clearance(&b) + 2.0;
            prop_assert!(found <= least + 1e-9 && found > least - 0.5 * a.length() / 200.0 - 1e-9);
        }
    }
}
