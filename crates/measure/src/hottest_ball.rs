//! The ball with the largest mean stress, without filling every ball.
//!
//! A bound comes first: inside a tetrahedron the recovered stress is quadratic, so it is a convex
//! combination of its ten Bernstein coefficients (corner values, and 2 m − (a + b)/2 on an edge with
//! middle m and ends a, b; Farin 1986, Comput Aided Geom Des 3:83), and von Mises stress is convex: no
//! mean over a ball exceeds the largest coefficient of the tetrahedra it touches. Balls are filled from
//! the largest bound down until no bound left reaches the best mean.

use crate::ball::{BallFiller, BallMean, Found, RADIUS_MM};
use crate::locator::{Candidate, Locator};
use crate::recovered::RecoveredStress;
use crate::shape::EDGES;
use bicolumn_base::Vec3;

/// Room for the locator's slack: points just outside a tetrahedron count as inside.
const SLACK: f64 = 1.0 + 1e-6;

/// Value and centre of the ball with the largest mean, by load case, of balls whose size is that of the standard one
/// scaled.
pub(crate) fn hottest_places(
    locator: &mut Locator<'_>,
    stress: &RecoveredStress,
    centres: &[Vec3],
    scale: f64,
) -> Vec<Option<Found>> {
    let hot = hottest_balls(locator, stress, centres, scale).into_iter();
    hot.map(|h| h.map(|(i, value)| (value, centres[i])))
        .collect()
}

/// Index and value of the ball with the largest mean, by load case; the first wins a tie.
///
/// The same as filling all balls and taking the hottest of them.
fn hottest_balls(
    locator: &mut Locator<'_>,
    stress: &RecoveredStress,
    centres: &[Vec3],
    scale: f64,
) -> Vec<Option<(usize, f64)>> {
    let cases = stress.fields.len();
    let mut of_tet: Vec<Option<u32>> = vec![None; stress.part_nodes.of_tet.len()];
    let mut tet_bounds: Vec<Vec<f64>> = Vec::new();
    let bounds: Vec<Vec<f64>> = centres
        .iter()
        .map(|c| {
            let mut bound = vec![0.0f64; cases];
            locator.open(*c, RADIUS_MM * scale);
            for t in locator.candidates().iter().map(Candidate::tet) {
                let k = *of_tet[t].get_or_insert_with(|| {
                    tet_bounds.push(tet_bound(stress, t));
                    tet_bounds.len() as u32 - 1
                });
                for (b, of_tet) in bound.iter_mut().zip(&tet_bounds[k as usize]) {
                    *b = b.max(*of_tet);
                }
            }
            bound
        })
        .collect();
    let mut filler = BallFiller::scaled(locator, stress, scale);
    let mut filled: Vec<Option<BallMean>> = vec![None; centres.len()];
    (0..cases)
        .map(|case| {
            let mut order: Vec<usize> = (0..centres.len()).collect();
            order.sort_by(|a, b| bounds[*b][case].total_cmp(&bounds[*a][case]));
            let mut best: Option<(usize, f64)> = None;
            for i in order {
                if best.is_some_and(|b| bounds[i][case] * SLACK < b.1) {
                    break;
                }
                let ball = filled[i].get_or_insert_with(|| filler.mean(centres[i]));
                if let Some(m) = &ball.mises_mpa
                    && best.is_none_or(|b| m[case] > b.1 || (m[case] == b.1 && i < b.0))
                {
                    best = Some((i, m[case]));
                }
            }
            best
        })
        .collect()
}

/// The largest von Mises stress of a tetrahedron's Bernstein coefficients, by load case.
fn tet_bound(stress: &RecoveredStress, tet: usize) -> Vec<f64> {
    let nodes = &stress.part_nodes.of_tet[tet];
    stress
        .fields
        .iter()
        .map(|field| {
            let at = |i: usize| field.values[nodes[i] as usize];
            let corners = (0..4).map(|i| at(i).von_mises());
            let edges = EDGES.into_iter().enumerate().map(|(e, [i, j])| {
                let coefficient = at(4 + e) * 2.0 - (at(i) + at(j)) * 0.5;
                coefficient.von_mises()
            });
            corners.chain(edges).fold(0.0, f64::max)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_mesh::gap_of_boxes;
    use bicolumn_base::SymTensor;
    use bicolumn_solve::{PartNodes, StressField};
    use proptest::prelude::*;

    /// Means over the balls round `centres`, in order, for all stress fields.
    fn ball_means(
        locator: &mut Locator<'_>,
        stress: &RecoveredStress,
        centres: impl Iterator<Item = Vec3>,
    ) -> Vec<BallMean> {
        let mut filler = BallFiller::new(locator, stress);
        centres.map(|c| filler.mean(c)).collect()
    }

    /// Index and value of the ball with the largest mean in one load case, of those `counted` accepts.
    /// The first wins a tie.
    fn hottest(
        balls: &[BallMean],
        case: usize,
        counted: impl Fn(usize) -> bool,
    ) -> Option<(usize, f64)> {
        let mut best: Option<(usize, f64)> = None;
        for (i, ball) in balls.iter().enumerate() {
            if let Some(m) = &ball.mises_mpa
                && counted(i)
                && best.is_none_or(|b| m[case] > b.1)
            {
                best = Some((i, m[case]));
            }
        }
        best
    }

    #[test]
    fn hottest_takes_the_largest_counted_ball() {
        let ball = |m: Option<f64>| BallMean {
            volume_mm3: 1.0,
            mises_mpa: m.map(|m| vec![m]),
        };
        let balls = [
            ball(Some(1.0)),
            ball(Some(5.0)),
            ball(None),
            ball(Some(3.0)),
        ];
        assert_eq!(hottest(&balls, 0, |_| true), Some((1, 5.0)));
        assert_eq!(hottest(&balls, 0, |i| i != 1), Some((3, 3.0)));
        assert_eq!(hottest(&balls, 0, |i| i == 2), None);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(12))]

        #[test]
        fn agrees_with_filling_every_ball(seed in 0u32..1000) {
            let mesh = gap_of_boxes(1.0);
            let part_nodes = PartNodes::of(&mesh);
            let field = |k: f64| StressField {
                values: (0..part_nodes.node.len())
                    .map(|i| {
                        let wave = |c: f64| (f64::from(seed) + 1.7 * i as f64 * c + k).sin();
                        SymTensor::new(wave(1.0), wave(2.0), wave(3.0), wave(4.0), wave(5.0), 9.0 * wave(6.0).powi(5))
                    })
                    .collect(),
            };
            let fields = vec![field(0.0), field(2.0)];
            let stress = RecoveredStress { part_nodes, fields };
            // Some centres lie outside all material, some twice at one place.
            let centres: Vec<Vec3> = (0..60)
                .map(|i| Vec3::new(f64::from(i % 7) - 3.2, f64::from(i % 5) - 2.3, f64::from(i % 9) - 4.1))
                .chain([Vec3::zeros(), Vec3::zeros()])
                .collect();
            let mut locator = Locator::new(&mesh, |_| true);
            let found = hottest_balls(&mut locator, &stress, &centres, 1.0);
            let all = ball_means(&mut locator, &stress, centres.iter().copied());
            for (case, found) in found.into_iter().enumerate() {
                prop_assert_eq!(found, hottest(&all, case, |_| true));
            }
        }
    }
}
