//! What an interface does at one point: traction and its slope for a given jump of displacement.

use bicolumn_base::{Mat3, Vec3};
use serde::{Deserialize, Serialize};

/// Law of one interface.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Law {
    /// No jump.
    Bonded,
    /// Pressure only; shear up to μ times the pressure.
    Frictional {
        /// Coefficient of friction.
        mu: f64,
    },
    /// Pressure only, no shear.
    Frictionless,
    /// Nothing is transmitted.
    Apart,
}

impl Law {
    /// Coefficient of friction; zero where there is none.
    pub fn friction(self) -> f64 {
        match self {
            Law::Frictional { mu } => mu,
            _ => 0.0,
        }
    }
}

/// What a point does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Contact {
    #[default]
    Open,
    Stuck,
    Slipping,
}

/// Memory of a point: multipliers, friction bound, where it started.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Memory {
    /// Pressure multiplier, MPa; positive presses.
    pub(crate) pressure: f64,
    /// Shear multiplier: traction on side b, MPa.
    pub(crate) shear: Vec3,
    /// Largest shear, MPa; infinite while no pressure is known and the sides touch.
    pub(crate) bound: f64,
    /// Jump at the start of the increment (frictional) or of the bond, mm.
    pub(crate) start: Vec3,
}

impl Default for Memory {
    fn default() -> Self {
        Memory {
            pressure: 0.0,
            shear: Vec3::zeros(),
            bound: f64::INFINITY,
            start: Vec3::zeros(),
        }
    }
}

/// Traction at a point and its slope.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Response {
    pub(crate) contact: Contact,
    /// Pressure, MPa.
    pub(crate) pressure: f64,
    /// Shear traction on side b, MPa.
    pub(crate) shear: Vec3,
    /// −d traction(b) / d jump, MPa/mm; symmetric, never negative.
    pub(crate) slope: Mat3,
}

impl Response {
    const OPEN: Response = Response {
        contact: Contact::Open,
        pressure: 0.0,
        shear: Vec3::new(0.0, 0.0, 0.0),
        slope: Mat3::new(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
    };

    /// Traction on side b.
    pub(crate) fn traction(&self, normal: Vec3) -> Vec3 {
        normal * self.pressure + self.shear
    }
}

/// The traction of a law for a jump u_b − u_a.
///
/// With gap g = g₀ + n·jump and slip s, the part of jump − start across n: pressure
/// p = max(0, λ − ε g), trial shear τ = λ_t − ε s, cut back to the bound where it is larger. The bound
/// does not follow the pressure here: with both fixed by turns, each is the derivative of a convex
/// energy. Bonded: the same without max and bound, with the jump itself for the gap.
pub(crate) fn respond(
    law: Law,
    memory: &Memory,
    stiffness: f64,
    normal: Vec3,
    gap: f64,
    jump: Vec3,
) -> Response {
    let moved = jump - memory.start;
    let across = normal * normal.transpose();
    let along = Mat3::identity() - across;
    let trial = memory.shear - along * moved * stiffness;
    if law == Law::Bonded {
        return Response {
            contact: Contact::Stuck,
            pressure: memory.pressure - stiffness * normal.dot(&moved),
            shear: trial,
            slope: Mat3::identity() * stiffness,
        };
    }
    let mut out = Response::OPEN;
    if law == Law::Apart {
        return out;
    }
    let pressure = memory.pressure - stiffness * (gap + normal.dot(&jump));
    let pressed = pressure >= 0.0;
    if pressed {
        out.contact = Contact::Slipping;
        out.pressure = pressure;
        out.slope = across * stiffness;
    }
    if law.friction() == 0.0 || memory.bound == 0.0 {
        return out;
    }
    let size = trial.norm();
    if size <= memory.bound {
        out.shear = trial;
        out.slope += along * stiffness;
        if pressed {
            out.contact = Contact::Stuck;
        }
    } else {
        let direction = trial / size;
        out.shear = direction * memory.bound;
        out.slope +=
            (along - direction * direction.transpose()) * (stiffness * memory.bound / size);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    const N: Vec3 = Vec3::new(0.0, 0.0, 1.0);

    fn traction(law: Law, m: &Memory, jump: Vec3) -> Vec3 {
        respond(law, m, 50.0, N, 0.01, jump).traction(N)
    }

    #[test]
    fn slope_is_the_derivative_of_the_traction() {
        let memory = Memory {
            pressure: 2.0,
            shear: Vec3::new(0.3, -0.2, 0.0),
            bound: 0.8,
            start: Vec3::new(0.001, 0.0, 0.0),
        };
        let jumps = [
            Vec3::new(0.0, 0.0, 0.0),
            Vec3::new(0.02, -0.03, -0.01),
            Vec3::new(0.001, 0.0, 0.2),
        ];
        for law in [
            Law::Bonded,
            Law::Frictional { mu: 0.3 },
            Law::Frictionless,
            Law::Apart,
        ] {
            for jump in jumps {
                let slope = respond(law, &memory, 50.0, N, 0.01, jump).slope;
                assert!((slope - slope.transpose()).norm() < 1e-12);
                for c in 0..3 {
                    let mut step = Vec3::zeros();
                    step[c] = 1e-7;
                    let change = (traction(law, &memory, jump - step)
                        - traction(law, &memory, jump + step))
                        / 2e-7;
                    assert!((change - slope.column(c)).norm() < 1e-5, "{law:?} {jump}");
                }
            }
        }
    }

    #[test]
    fn shear_never_exceeds_the_bound_and_opposes_the_slip() {
        let memory = Memory {
            bound: 0.5,
            ..Memory::default()
        };
        let slip = Vec3::new(0.1, 0.2, -0.05);
        let r = respond(Law::Frictional { mu: 0.2 }, &memory, 50.0, N, 0.01, slip);
        assert_eq!(r.contact, Contact::Slipping);
        assert!((r.shear.norm() - 0.5).abs() < 1e-12);
        assert!(r.shear.dot(&slip) < 0.0 && r.shear.z == 0.0);
        assert!((r.pressure - 50.0 * 0.04).abs() < 1e-12);
    }

    #[test]
    fn an_open_point_does_nothing() {
        let m = Memory {
            bound: 0.0,
            ..Memory::default()
        };
        let with_friction = Law::Frictional { mu: 0.3 };
        let r = respond(with_friction, &m, 50.0, N, 0.01, Vec3::x());
        assert_eq!(r, Response::OPEN);
        let r = respond(Law::Frictionless, &m, 50.0, N, 0.01, Vec3::zeros());
        assert_eq!(r, Response::OPEN);
        let bonded = respond(Law::Bonded, &m, 50.0, N, 0.01, Vec3::z() * 0.001);
        assert!((bonded.pressure + 0.05).abs() < 1e-12);
    }
}
