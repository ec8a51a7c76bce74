//! Bone stress at a plate's last screw: as a function of the distance from the screw's wall, and extrapolated to it.
//!
//! The stress at the wall of a bonded screw grows as the mesh is refined (its edge at the bone's surface is singular),
//! and a maximum sought outside a collar lies on the collar's edge. So the stress is read on the bone's surface at two
//! stated distances from the wall and extrapolated linearly to it, the rule for structural hot-spot stress at welds
//! (Hobbacher 2016, IIW Recommendations for Fatigue Design of Welded Joints and Components, section on structural
//! hot-spot stress, from memory): from 0.4 t and 1.0 t, t the thickness of the wall; quadratically from 0.4, 0.9 and
//! 1.4 t. The largest over all directions round the screw is taken, and a closed ring has no edge. Directions whose place
//! lies within another screw are passed, for no bone is there; those that lead between two screws count.

use crate::ball::BallFiller;
use crate::collar::{COLLAR_MM, from_bonded_edge_mm, from_wall_mm};
use crate::hot_stress::HotStress;
use crate::locator::Locator;
use crate::recovered::Recovered;
use crate::section::first_entry;
use crate::severity::Severity;
use crate::shaft::OuterCortex;
use bicolumn_base::{SymTensor, Vec3};
use bicolumn_geometry::{Bone, Plate, Screw, ScrewRow};
use bicolumn_response::{Choice, Edge};

/// Directions round the screw.
const DIRECTIONS: usize = 72;
/// Distances that the profile is read at, mm from the wall.
pub(crate) const PROFILE_MM: [f64; 9] = [0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0];
/// Distances of the linear rule, in wall thicknesses.
const LINEAR: [f64; 2] = [0.4, 1.0];
/// Distances of the quadratic rule.
const QUADRATIC: [f64; 3] = [0.4, 0.9, 1.4];
/// How far above and below the level of its entry the surface round a screw is sought along its axis, mm.
const REACH_MM: f64 = 12.0;

/// Stress at the last screw of a plate, for all load cases.
pub(crate) struct LastScrew {
    /// Found stress by load case; `None` where no direction can be read.
    pub(crate) hot: Vec<Option<HotStress>>,
    /// Largest stress over the directions at each of [`PROFILE_MM`], by load case.
    pub(crate) profile: Vec<Vec<Option<f64>>>,
    /// The screw.
    pub(crate) screw: Screw,
}

impl LastScrew {
    /// Reads the stress round the shaft screw of a plate that enters the bone most proximally; `None` for a plate
    /// without shaft screws and where the shaft is nowhere an empty tube.
    pub(crate) fn of(
        plate: &Plate,
        cortex: &OuterCortex,
        model: &Recovered<'_>,
        locator: &mut Locator,
    ) -> Option<Self> {
        let construct = model.solved.construct;
        let own = construct.screws.iter();
        let own = own.filter(|s| s.plate == Some(plate.site) && s.row == ScrewRow::Shaft);
        let screw = own.max_by(|a, b| a.entry.y.total_cmp(&b.entry.y))?;
        let thickness = wall_mm(cortex, model, screw.entry.y)?;
        let ring = Ring::of(screw, &construct.bone);
        let others: Vec<&Screw> = construct
            .screws
            .iter()
            .filter(|s| s.number != screw.number)
            .collect();
        // Within another screw is no bone; beside a bonded edge the stress is not this screw's.
        let is_clear = |x: &Vec3| {
            others.iter().all(|s| from_wall_mm(*x, s) >= 0.0)
                && from_bonded_edge_mm(*x, &construct.plates, COLLAR_MM) >= COLLAR_MM
        };
        let at = |distance: f64| -> Vec<Option<Vec3>> {
            (0..DIRECTIONS)
                .map(|k| ring.point(k, distance).filter(is_clear))
                .collect()
        };
        let cases = model.solved.problem.cases().len();
        let mut read = |distance: f64, scale: f64| -> RingMeans {
            let mut filler = BallFiller::scaled(locator, model.stress, scale);
            let points = at(distance).into_iter();
            points.map(|x| filler.mean(x?).mises_mpa).collect()
        };
        let linear = LINEAR.map(|k| read(k * thickness, 1.0));
        // Both rules begin at the same distance.
        let [middle, far] = [QUADRATIC[1], QUADRATIC[2]].map(|k| read(k * thickness, 1.0));
        let half = LINEAR.map(|k| read(k * thickness, 0.5));
        let double = LINEAR.map(|k| read(k * thickness, 2.0));
        let along: Vec<_> = PROFILE_MM.map(|d| read(d, 1.0)).into();

        let weights = weights_at_zero(&LINEAR);
        let three = weights_at_zero(&QUADRATIC);
        let [near, end] = &linear;
        let both = [near, end];
        let by_line = |rows: [&RingMeans; 2], case: usize| {
            largest((0..DIRECTIONS).map(|k| extrapolated(&rows, &weights, case, k)))
        };
        let by_parabola = |case: usize| {
            let rows = [near, &middle, &far];
            largest((0..DIRECTIONS).map(|k| extrapolated(&rows, &three, case, k)))
        };
        let at_distance = |mm: f64, case: usize| {
            let place = PROFILE_MM.iter().position(|d| *d == mm)?;
            let values = along[place].iter();
            Some(largest(values.map(|v| of_case(v, case)))?.1)
        };

        let mut filler = BallFiller::new(locator, model.stress);
        let hot = (0..cases).map(|case| {
            let (k, value) = by_line(both, case)?;
            let beside = [(k + 1) % DIRECTIONS, (k + DIRECTIONS - 1) % DIRECTIONS];
            let is_closed = beside
                .iter()
                .all(|b| extrapolated(&both, &weights, case, *b).is_some());
            let balls: Vec<(f64, Vec3)> = weights
                .iter()
                .zip(LINEAR)
                .map(|(w, d)| Some((*w, ring.point(k, d * thickness)?)))
                .collect::<Option<_>>()?;
            let mut tensor = SymTensor::zeros();
            let mut tet = 0;
            for (weight, centre) in &balls {
                let (mean, of) = filler.tensor(*centre, case)?;
                tensor = tensor + mean * *weight;
                tet = of;
            }
            let at = ring.point(k, 0.0).unwrap_or(balls[0].1);
            let elasticity = model.solved.problem.elasticity_of(tet);
            Some(HotStress {
                value_mpa: value,
                at,
                edge: (!is_closed).then_some(Edge::Ring),
                beam_mpa: cortex.beam_at(model, at.y, case),
                severity: Severity::of(&tensor, &elasticity),
                balls,
                under: vec![
                    (Choice::AtHalfMm, at_distance(0.5, case)),
                    (Choice::AtOneMm, at_distance(1.0, case)),
                    (Choice::AtTwoMm, at_distance(2.0, case)),
                    (Choice::Quadratic, by_parabola(case).map(|q| q.1)),
                    (
                        Choice::HalfBall,
                        by_line(half.each_ref(), case).map(|q| q.1),
                    ),
                    (
                        Choice::DoubleBall,
                        by_line(double.each_ref(), case).map(|q| q.1),
                    ),
                ],
            })
        });
        Some(LastScrew {
            hot: hot.collect(),
            profile: (0..cases)
                .map(|case| PROFILE_MM.map(|mm| at_distance(mm, case)).into())
                .collect(),
            screw: screw.clone(),
        })
    }
}

/// Mean thickness of the shaft's wall at a level, or at the lowest level above at which it is an empty tube, mm.
pub(crate) fn wall_mm(cortex: &OuterCortex, model: &Recovered<'_>, level_mm: f64) -> Option<f64> {
    let from = level_mm.max(cortex.tube_floor_mm);
    let mut levels = (0..40).map(|i| from + f64::from(i));
    levels.find_map(|level| Some(cortex.section(model, level)?.wall_mm()))
}

/// Ball means round the screw at one distance, by direction and load case; `None` where a direction cannot be read.
type RingMeans = Vec<Option<Vec<f64>>>;

/// Stress extrapolated to the wall from some distances in one direction.
fn extrapolated(
    rows: &[&RingMeans],
    weights: &[f64],
    case: usize,
    direction: usize,
) -> Option<f64> {
    let values = rows.iter().map(|at| of_case(&at[direction], case));
    let values: Option<Vec<f64>> = values.collect();
    Some(values?.iter().zip(weights).map(|(v, w)| w * v).sum())
}

/// Mean of a ball in one load case.
fn of_case(mean: &Option<Vec<f64>>, case: usize) -> Option<f64> {
    mean.as_ref()?.get(case).copied()
}

/// Index and value of the largest; the first wins a tie.
fn largest(values: impl Iterator<Item = Option<f64>>) -> Option<(usize, f64)> {
    let mut best: Option<(usize, f64)> = None;
    for (k, value) in values.enumerate() {
        if let Some(v) = value
            && best.is_none_or(|b| v > b.1)
        {
            best = Some((k, v));
        }
    }
    best
}

/// Weights of values at some distances in the value at zero of the polynomial through them (Lagrange).
fn weights_at_zero<const N: usize>(distances: &[f64; N]) -> [f64; N] {
    std::array::from_fn(|i| {
        let others = distances.iter().enumerate().filter(|(j, _)| *j != i);
        others.map(|(_, d)| d / (d - distances[i])).product()
    })
}

/// Points of the bone's outer surface round a screw.
struct Ring<'a> {
    bone: &'a Bone,
    screw: &'a Screw,
    /// Across the axis: towards proximal, and the third axis.
    across: [Vec3; 2],
}

impl<'a> Ring<'a> {
    fn of(screw: &'a Screw, bone: &'a Bone) -> Self {
        let axis = screw.direction;
        let up = Vec3::y() - axis * axis.y;
        let up = up.try_normalize(1e-6).unwrap_or(Vec3::x());
        Ring {
            bone,
            screw,
            across: [up, axis.cross(&up)],
        }
    }

    /// The point in a direction at a distance from the wall of the screw's cylinder, where the line along the screw's
    /// axis enters the bone; `None` where it misses.
    fn point(&self, direction: usize, distance_mm: f64) -> Option<Vec3> {
        let (s, c) = (std::f64::consts::TAU * direction as f64 / DIRECTIONS as f64).sin_cos();
        let off = 0.5 * self.screw.diameter_mm + distance_mm;
        let axis = self.screw.direction;
        let start = self.screw.entry + (self.across[0] * c + self.across[1] * s) * off;
        let start = start - axis * REACH_MM;
        let along = first_entry(self.bone.outer(), start, axis, 2.0 * REACH_MM)?;
        Some(start + axis * along)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_are_those_of_the_published_rules() {
        // 1.67 and −0.67; 2.52, −2.24 and 0.72 (rounded in the source).
        let linear = weights_at_zero(&LINEAR);
        assert!((linear[0] - 1.67).abs() < 0.005 && (linear[1] + 0.67).abs() < 0.005);
        let quadratic = weights_at_zero(&QUADRATIC);
        for (own, told) in quadratic.iter().zip([2.52, -2.24, 0.72]) {
            assert!((own - told).abs() < 0.005, "{own} {told}");
        }
    }

    #[test]
    fn a_parabola_is_extrapolated_exactly_by_three_and_a_line_by_two() {
        let value = |d: f64| 7.0 - 3.0 * d + 0.5 * d * d;
        let three = weights_at_zero(&QUADRATIC);
        let at_zero: f64 = QUADRATIC
            .iter()
            .zip(three)
            .map(|(d, w)| value(*d) * w)
            .sum();
        assert!((at_zero - 7.0).abs() < 1e-12);
        let two = weights_at_zero(&LINEAR);
        let line: f64 = LINEAR
            .iter()
            .zip(two)
            .map(|(d, w)| (7.0 - 3.0 * d) * w)
            .sum();
        assert!((line - 7.0).abs() < 1e-12);
    }

    #[test]
    fn the_largest_is_the_first_of_equals_and_gaps_are_passed() {
        let values = [None, Some(1.0), Some(3.0), None, Some(3.0)];
        assert_eq!(largest(values.into_iter()), Some((2, 3.0)));
        assert_eq!(largest([None].into_iter()), None);
    }
}
