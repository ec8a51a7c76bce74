//! Laws of interfaces: bond, Signorini contact, Coulomb friction, thread.

use bicolumn_base::{UnitVec3, Vec3};

/// Law of one interface: relation between its jump and its traction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Law {
    /// Bilateral tie: no jump.
    Bonded,
    /// Signorini contact with Coulomb friction: pressure only; shear up to μ times the pressure.
    Frictional {
        /// Coefficient of friction.
        mu: f64,
    },
    /// Signorini contact: pressure only, no shear.
    Frictionless,
    /// Traction-free: no force is transmitted.
    Apart,
    /// Thread of a screw whose mantle is meshed as a smooth cylinder. Along the normal there is pressure
    /// only. Along the axis, as far as it lies in the surface, nothing moves, whether the sides press or not: an
    /// opening of micrometres does not disengage a thread (common practice, no source). Round the axis there is
    /// friction up to μ times the pressure.
    ///
    /// Where the normal is within 60 degrees of the axis, on the tip and its rim, there is no thread: it is plain
    /// friction.
    Threaded {
        /// Coefficient of friction.
        mu: f64,
        /// Axis of the screw; either way.
        axis: UnitVec3,
    },
}

/// Largest axial component of a unit normal where there is thread.
const LARGEST_AXIAL: f64 = 0.5;

impl Law {
    /// Coefficient of friction; zero where there is none.
    pub fn friction(self) -> f64 {
        match self {
            Law::Frictional { mu } | Law::Threaded { mu, .. } => mu,
            Law::Bonded | Law::Frictionless | Law::Apart => 0.0,
        }
    }

    /// Law that acts at a place of this unit normal: friction in place of a thread on a screw's tip.
    pub fn at(self, normal: Vec3) -> Self {
        match self {
            Law::Threaded { mu, axis } if normal.dot(&axis).abs() > LARGEST_AXIAL => {
                Law::Frictional { mu }
            }
            law => law,
        }
    }

    /// Two tangents: unit vectors orthogonal to a normal and each other; where there is thread the first lies along it.
    pub(crate) fn tangents(self, normal: Vec3) -> [Vec3; 2] {
        let first = match self.at(normal) {
            Law::Threaded { axis, .. } => axis.into_inner() - normal * normal.dot(&axis),
            _ if normal.x.abs() < 0.6 => normal.cross(&Vec3::x()),
            _ => normal.cross(&Vec3::y()),
        };
        let first = first.normalize();
        [first, normal.cross(&first)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mantle_is_threaded_and_a_tip_is_not() {
        let axis = UnitVec3::new_normalize(Vec3::new(1.0, 2.0, -2.0));
        let law = Law::Threaded { mu: 0.3, axis };
        let off = UnitVec3::new_normalize(Vec3::new(2.0, 1.0, 2.0)).into_inner();
        let leaning = |degrees: f64| {
            let (s, c) = degrees.to_radians().sin_cos();
            axis.into_inner() * c + off * s
        };
        for degrees in [0.0, 45.0, 59.0, 121.0, 180.0] {
            assert_eq!(law.at(leaning(degrees)), Law::Frictional { mu: 0.3 });
        }
        for degrees in [61.0, 90.0, 119.0] {
            let normal = leaning(degrees);
            assert_eq!(law.at(normal), law);
            let [along, round] = law.tangents(normal);
            let unit = [along.norm(), round.norm()];
            assert!(unit.iter().all(|u| (u - 1.0).abs() < 1e-12));
            let square = [along.dot(&normal), round.dot(&normal), along.dot(&round)];
            assert!(square.iter().all(|s| s.abs() < 1e-12), "{square:?}");
            assert!(round.dot(&axis).abs() < 1e-12 && along.dot(&axis) > 0.86);
        }
    }
}
