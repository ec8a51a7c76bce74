//! Four-point bending: two noses press on one side of a bone between two supports on the other.
//!
//! Statics alone give the four forces, so the bend is a load in equilibrium with itself: no further support bears any of
//! it, and the travel that does its work is the noses' mean displacement seen from the supports.

use bicolumn_base::{Vec3, Word};
use bicolumn_response::Aspect;

/// Shares of a bend's force that are noses.
const NOSES: f64 = 2.0;

/// Four-point bend of the shaft in a plane through its axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FourPointBend {
    /// Force of both noses together, N; each presses with half of it.
    pub force_n: f64,
    /// Side of a right bone that the noses press on; the supports lie on the other.
    pub noses_on: Aspect,
    /// Levels of the noses, the distal one first, mm.
    pub noses_mm: [f64; 2],
    /// Levels of the supports, the distal one first, mm.
    pub supports_mm: [f64; 2],
    /// Length of a roller's contact along the shaft, mm.
    pub contact_mm: f64,
}

/// Force of one roller on the bone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Roller {
    /// Level, mm.
    pub level_mm: f64,
    /// Outward direction of the side of a right bone that it touches.
    pub outward: Vec3,
    /// Force that presses it on the bone, N.
    pub force_n: f64,
}

impl FourPointBend {
    /// Noses, then supports, each the distal one first. Forces and moments of the four add up to zero.
    pub fn rollers(&self) -> [Roller; 4] {
        let outward = self.noses_on.outward();
        let [lower, upper] = self.supports_mm;
        let each = self.force_n / NOSES;
        let upper_n: f64 = self
            .noses_mm
            .iter()
            .map(|nose| each * (nose - lower) / (upper - lower))
            .sum();
        let nose = |level_mm| Roller {
            level_mm,
            outward,
            force_n: each,
        };
        let support = |level_mm, force_n| Roller {
            level_mm,
            outward: -outward,
            force_n,
        };
        let [a, b] = self.noses_mm;
        [
            nose(a),
            nose(b),
            support(lower, self.force_n - upper_n),
            support(upper, upper_n),
        ]
    }

    /// The bend in words.
    pub fn told(&self) -> String {
        let ([a, b], [lower, upper]) = (self.noses_mm, self.supports_mm);
        let side = self.noses_on.word();
        let force = self.force_n;
        format!(
            "four-point bending: two noses press on the {side} side at levels {a} and {b} mm with {force} N together, between \
             supports at {lower} and {upper} mm"
        )
    }

    /// Flexural rigidity over stiffness of a uniform slender beam, mm³: EI = K times this, with K the noses' force over
    /// their mean travel. With equal spans h outside and a between the noses h² (2h + 3a) / 12, as in ASTM F382 (form from
    /// memory); here for any levels, by the simply supported beam's influence coefficients (Timoshenko, Strength of
    /// Materials, part I).
    pub fn rigidity_per_stiffness_mm3(&self) -> f64 {
        let [lower, upper] = self.supports_mm;
        let span = upper - lower;
        let places = self.noses_mm.map(|nose| nose - lower);
        // Deflection at x by a unit force at b, times EI.
        let influence = |x: f64, b: f64| {
            let (x, b) = if x <= b { (x, b) } else { (b, x) };
            let beyond = span - b;
            beyond * x * (span * span - beyond * beyond - x * x) / (6.0 * span)
        };
        let pairs = places.iter().flat_map(|x| places.map(|b| influence(*x, b)));
        pairs.sum::<f64>() / (NOSES * NOSES)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bend(noses_mm: [f64; 2]) -> FourPointBend {
        FourPointBend {
            force_n: 300.0,
            noses_on: Aspect::Anterior,
            noses_mm,
            supports_mm: [40.0, 240.0],
            contact_mm: 4.0,
        }
    }

    #[test]
    fn four_rollers_are_in_equilibrium() {
        for noses in [[100.0, 180.0], [60.0, 110.0]] {
            let rollers = bend(noses).rollers();
            let force: Vec3 = rollers.iter().map(|r| -r.outward * r.force_n).sum();
            let moment: Vec3 = rollers
                .iter()
                .map(|r| (Vec3::y() * r.level_mm).cross(&(-r.outward * r.force_n)))
                .sum();
            assert!(
                force.norm() < 1e-12 && moment.norm() < 1e-9,
                "{force} {moment}"
            );
            assert!(rollers.iter().all(|r| r.force_n > 0.0));
        }
    }

    #[test]
    fn equal_spans_give_the_formula_of_the_plate_standard() {
        let (h, a) = (60.0, 80.0);
        let found = bend([100.0, 180.0]).rigidity_per_stiffness_mm3();
        let formula = h * h * (2.0 * h + 3.0 * a) / 12.0;
        assert!((found / formula - 1.0).abs() < 1e-14, "{found} {formula}");
    }

    #[test]
    fn unequal_spans_give_the_work_of_the_bending_moment() {
        // Castigliano: F δ = ∫ M² dx / EI, by the midpoint rule over the diagram of moments.
        let bend = bend([60.0, 110.0]);
        let rollers = bend.rollers();
        let n = 200_000;
        let step = 200.0 / f64::from(n);
        let moment = |x: f64| {
            let up = [2, 3].map(|k| rollers[k].force_n * (x - rollers[k].level_mm).max(0.0));
            let down = [0, 1].map(|k| rollers[k].force_n * (x - rollers[k].level_mm).max(0.0));
            up[0] + up[1] - down[0] - down[1]
        };
        let works = (0..n).map(|k| moment(40.0 + step * (f64::from(k) + 0.5)).powi(2) * step);
        let travel = works.sum::<f64>() / bend.force_n;
        let found = bend.rigidity_per_stiffness_mm3() * bend.force_n;
        assert!((found / travel - 1.0).abs() < 1e-6, "{found} {travel}");
    }
}
