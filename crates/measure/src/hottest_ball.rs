//! The ball with the largest mean stress, without filling every ball.
//!
//! Bounds come first. Inside a tetrahedron the recovered stress is quadratic, Σ Bₐ(λ) cₐ with its ten Bernstein
//! coefficients cₐ (corner values, and 2 m − (a + b)/2 on an edge with middle m and ends a, b; Farin 1986, Comput
//! Aided Geom Des 3:83), and von Mises stress is a seminorm: at no point does it exceed Σ |Bₐ| σ_v(cₐ). Two bounds of
//! a ball's mean follow:
//!
//! - unfilled: a ball reaches a tetrahedron up to largest barycentric coordinates, hence up to largest Bₐ; the most that
//!   the sum can be with these, the Bₐ being one together, is a sum by the largest coefficients first;
//! - filled: the mean of Bₐ over the ball's points in each tetrahedron, one sum for all load cases.
//!
//! Balls are filled from the largest bound down, interpolated where the second bound still reaches the best mean, until
//! no bound left does.

use crate::ball::{BallFiller, Found, RADIUS_MM};
use crate::locator::Locator;
use crate::recovered::RecoveredStress;
use crate::shape::EDGES;
use bicolumn_base::Vec3;
use bicolumn_solve::StressField;

/// Room for rounding.
const SLACK: f64 = 1.0 + 1e-6;

/// Value and centre of the ball with the largest mean, by load case, of balls whose size is that of the standard one
/// scaled.
pub(crate) fn hottest_places(
    locator: &mut Locator,
    stress: &RecoveredStress,
    centres: &[Vec3],
    scale: f64,
) -> Vec<Option<Found>> {
    hottest_places_above(locator, stress, centres, scale, &[])
}

/// The same where means below a floor, one for each load case, need not be found: some or none is given in their place.
pub(crate) fn hottest_places_above(
    locator: &mut Locator,
    stress: &RecoveredStress,
    centres: &[Vec3],
    scale: f64,
    floors: &[f64],
) -> Vec<Option<Found>> {
    let hot = hottest_balls(locator, stress, centres, scale, floors).into_iter();
    hot.map(|h| h.map(|(i, value)| (value, centres[i])))
        .collect()
}

/// Index and value of the ball with the largest mean, by load case; the first wins a tie.
///
/// The same as filling all balls and taking the hottest of them.
fn hottest_balls(
    locator: &mut Locator,
    stress: &RecoveredStress,
    centres: &[Vec3],
    scale: f64,
    floors: &[f64],
) -> Vec<Option<(usize, f64)>> {
    let (distinct, of_case) = up_to_sign(&stress.fields);
    let fields: Vec<&StressField> = distinct.iter().map(|k| &stress.fields[*k]).collect();
    let mut coefficients = Coefficients::new(stress, &fields);
    let mut bounds: Vec<Vec<f64>> = centres
        .iter()
        .map(|c| coefficients.unfilled_bound(locator, *c, RADIUS_MM * scale))
        .collect();
    let mut filler = BallFiller::scaled(locator, stress, scale);
    let mut is_filled = vec![false; centres.len()];
    let mut means: Vec<Option<Vec<f64>>> = vec![None; centres.len()];
    let hottest: Vec<Option<(usize, f64)>> = (0..fields.len())
        .map(|field| {
            let floor = floors.get(distinct[field]).copied();
            let mut order: Vec<(usize, f64)> =
                bounds.iter().map(|b| b[field]).enumerate().collect();
            order.sort_by(|a, b| b.1.total_cmp(&a.1));
            let mut best: Option<(usize, f64)> = None;
            for (i, bound) in order {
                let is_less = |bound: f64| {
                    best.map(|b| b.1)
                        .or(floor)
                        .is_some_and(|b| bound * SLACK < b)
                };
                if is_less(bound) {
                    break;
                }
                if !std::mem::replace(&mut is_filled[i], true) {
                    bounds[i] = coefficients.filled_bound(filler.points(centres[i]));
                    if is_less(bounds[i][field]) {
                        continue;
                    }
                    means[i] = filler.mean_of(&fields).mises_mpa;
                } else if means[i].is_none() {
                    filler.points(centres[i]);
                    means[i] = filler.mean_of(&fields).mises_mpa;
                }
                if let Some(m) = &means[i]
                    && best.is_none_or(|b| m[field] > b.1 || (m[field] == b.1 && i < b.0))
                {
                    best = Some((i, m[field]));
                }
            }
            best
        })
        .collect();
    of_case.into_iter().map(|k| hottest[k]).collect()
}

/// Indices of the fields that are neither equal nor opposite to one before, and for each field its place among them:
/// von Mises stress is the same, to the last bit.
fn up_to_sign(fields: &[StressField]) -> (Vec<usize>, Vec<usize>) {
    let mut distinct: Vec<usize> = Vec::new();
    let of_field = fields.iter().enumerate().map(|(k, field)| {
        let is_like = |other: &usize| {
            let pairs = || fields[*other].values.iter().zip(&field.values);
            pairs().all(|(a, b)| a == b) || pairs().all(|(a, b)| *a == *b * -1.0)
        };
        distinct.iter().position(is_like).unwrap_or_else(|| {
            distinct.push(k);
            distinct.len() - 1
        })
    });
    let of_field = of_field.collect();
    (distinct, of_field)
}

/// Von Mises stress of the Bernstein coefficients of one field in one tetrahedron.
#[derive(Clone, Copy)]
struct OfTet {
    /// In node order.
    mises: [f64; 10],
    /// Nodes from the largest down.
    order: [u8; 10],
}

/// Bernstein coefficients of some fields, worked out as tetrahedra are asked for.
struct Coefficients<'a> {
    stress: &'a RecoveredStress,
    fields: &'a [&'a StressField],
    /// Place of each tetrahedron's first row in `rows`.
    of_tet: Vec<Option<u32>>,
    rows: Vec<OfTet>,
    /// Sums of the Bernstein polynomials over the points of a ball, by tetrahedron.
    sums: Vec<(u32, [f64; 10])>,
}

impl<'a> Coefficients<'a> {
    fn new(stress: &'a RecoveredStress, fields: &'a [&'a StressField]) -> Self {
        Coefficients {
            stress,
            fields,
            of_tet: vec![None; stress.part_nodes.of_tet.len()],
            rows: Vec::new(),
            sums: Vec::new(),
        }
    }

    /// Place of a tetrahedron's first row.
    fn place(&mut self, tet: usize) -> usize {
        if let Some(place) = self.of_tet[tet] {
            return place as usize;
        }
        let nodes = &self.stress.part_nodes.of_tet[tet];
        let place = self.rows.len();
        for field in self.fields {
            let at = |i: usize| field.values[nodes[i] as usize];
            let mises: [f64; 10] = std::array::from_fn(|a| match a.checked_sub(4) {
                None => at(a).von_mises(),
                Some(edge) => {
                    let [i, j] = EDGES[edge];
                    (at(a) * 2.0 - (at(i) + at(j)) * 0.5).von_mises()
                }
            });
            let mut order: [u8; 10] = std::array::from_fn(|a| a as u8);
            order.sort_by(|a, b| mises[usize::from(*b)].total_cmp(&mises[usize::from(*a)]));
            self.rows.push(OfTet { mises, order });
        }
        self.of_tet[tet] = Some(place as u32);
        place
    }

    /// Bound of a ball's mean by field, from the tetrahedra that it reaches.
    fn unfilled_bound(&mut self, locator: &mut Locator, centre: Vec3, radius_mm: f64) -> Vec<f64> {
        let mut bound = vec![0.0f64; self.fields.len()];
        locator.open(centre, radius_mm);
        for candidate in locator.candidates() {
            let Some(reached) = candidate.reached(centre, radius_mm) else {
                continue;
            };
            let place = self.place(candidate.tet());
            let rows = &self.rows[place..place + self.fields.len()];
            let mut most: Option<[f64; 10]> = None;
            for (bound, row) in bound.iter_mut().zip(rows) {
                if row.mises[usize::from(row.order[0])] > *bound {
                    let most = most.get_or_insert_with(|| most_of_bernstein(reached));
                    *bound = bound.max(row.most(most));
                }
            }
        }
        bound
    }

    /// Bound of a ball's mean by field, from its points.
    fn filled_bound(&mut self, points: &[(u32, [f64; 4])]) -> Vec<f64> {
        let mut sums = std::mem::take(&mut self.sums);
        sums.clear();
        let mut last = 0;
        for (tet, l) in points {
            if sums.get(last).is_none_or(|s| s.0 != *tet) {
                last = sums.iter().position(|s| s.0 == *tet).unwrap_or_else(|| {
                    sums.push((*tet, [0.0; 10]));
                    sums.len() - 1
                });
            }
            for (sum, b) in sums[last].1.iter_mut().zip(bernstein(*l)) {
                *sum += b.abs();
            }
        }
        let mut bound = vec![0.0f64; self.fields.len()];
        for (tet, sum) in &sums {
            let place = self.place(*tet as usize);
            for (bound, row) in bound.iter_mut().zip(&self.rows[place..]) {
                let terms = sum.iter().zip(row.mises);
                *bound += terms.map(|(s, m)| s * m).sum::<f64>();
            }
        }
        self.sums = sums;
        let count = points.len().max(1) as f64;
        bound.into_iter().map(|b| b / count).collect()
    }
}

impl OfTet {
    /// The most that Σ Bₐ σ_v(cₐ) can be with Σ Bₐ = 1 and no Bₐ beyond its own most.
    fn most(&self, most: &[f64; 10]) -> f64 {
        let (mut sum, mut left) = (0.0, 1.0);
        for node in self.order.map(usize::from) {
            let share = most[node].min(left);
            sum += share * self.mises[node];
            left -= share;
        }
        // Of rounding alone.
        sum + left * self.mises[usize::from(self.order[0])]
    }
}

/// The Bernstein polynomials of second degree: λᵢ² at corners, 2 λᵢλⱼ on edges.
fn bernstein(l: [f64; 4]) -> [f64; 10] {
    std::array::from_fn(|a| match a.checked_sub(4) {
        None => l[a] * l[a],
        Some(edge) => {
            let [i, j] = EDGES[edge];
            2.0 * l[i] * l[j]
        }
    })
}

/// Their largest values where no barycentric coordinate is beyond its own most.
fn most_of_bernstein(most: [f64; 4]) -> [f64; 10] {
    let mut b = bernstein(most);
    for (b, [i, j]) in b[4..].iter_mut().zip(EDGES) {
        if most[i] + most[j] > 1.0 {
            // On λᵢ + λⱼ = 1, as near to the middle as allowed.
            let li = 0.5f64.clamp(1.0 - most[j], most[i]);
            *b = 2.0 * li * (1.0 - li);
        }
    }
    b
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ball::BallMean;
    use crate::test_mesh::gap_of_boxes;
    use bicolumn_base::SymTensor;
    use bicolumn_solve::PartNodes;
    use proptest::prelude::*;

    /// Means over the balls round `centres`, in order, for all stress fields.
    fn ball_means(
        locator: &mut Locator,
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
            let opposite = |f: &StressField| StressField {
                values: f.values.iter().map(|s| *s * -1.0).collect(),
            };
            let fields = [field(0.0), field(2.0)];
            let fields = vec![fields[0].clone(), opposite(&fields[1]), fields[1].clone(), opposite(&fields[0])];
            prop_assert_eq!(up_to_sign(&fields), (vec![0, 1], vec![0, 1, 1, 0]));
            let stress = RecoveredStress { part_nodes, fields };
            // Some centres lie outside all material, some twice at one place.
            let centres: Vec<Vec3> = (0..60)
                .map(|i| Vec3::new(f64::from(i % 7) - 3.2, f64::from(i % 5) - 2.3, f64::from(i % 9) - 4.1))
                .chain([Vec3::zeros(), Vec3::zeros()])
                .collect();
            let mut locator = Locator::new(&mesh, |_| true);
            let found = hottest_balls(&mut locator, &stress, &centres, 1.0, &[]);
            let all = ball_means(&mut locator, &stress, centres.iter().copied());
            for (case, found) in found.iter().enumerate() {
                prop_assert_eq!(*found, hottest(&all, case, |_| true));
            }
            // No mean passes its bounds.
            let borrowed: Vec<&StressField> = stress.fields.iter().collect();
            let mut coefficients = Coefficients::new(&stress, &borrowed);
            for (centre, ball) in centres.iter().zip(&all) {
                let unfilled = coefficients.unfilled_bound(&mut locator, *centre, RADIUS_MM);
                let mut filler = BallFiller::new(&mut locator, &stress);
                let filled = coefficients.filled_bound(filler.points(*centre));
                for (case, m) in ball.mises_mpa.iter().flatten().enumerate() {
                    prop_assert!(*m <= filled[case] * SLACK && filled[case] <= unfilled[case] * SLACK);
                }
            }
            // A floor hides what is below it, no more.
            let floors: Vec<f64> = found.iter().map(|f| f.map_or(0.0, |f| f.1)).collect();
            prop_assert_eq!(&hottest_balls(&mut locator, &stress, &centres, 1.0, &floors), &found);
            let above = floors.iter().map(|f| 1e6 * f).collect::<Vec<f64>>();
            for found in hottest_balls(&mut locator, &stress, &centres, 1.0, &above) {
                prop_assert_eq!(found, None);
            }
        }
    }
}
