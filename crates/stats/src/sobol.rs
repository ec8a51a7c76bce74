//! Sobol indices: the shares of a response's variance that the factors carry, over a whole space.

use crate::sampling::{Between, random_points};
use crate::space::{Axis, Predictor};

/// An index with an interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Index {
    /// Estimate; sampling may take a small one below 0.
    pub value: f64,
    /// Its 5 and 95 % quantiles over bootstrap samples.
    pub interval: [f64; 2],
}

/// Indices of a factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Indices {
    /// Share that the factor carries alone.
    pub first: Index,
    /// Share that it carries alone and with others.
    pub total: Index,
}

/// Rows of each of the two samples.
const ROWS: usize = 4096;
/// Bootstrap samples.
const RESAMPLES: usize = 200;
const SEED: u64 = 1;

/// First-order and total Sobol indices of a model's mean by factor: numbers as `spread` says of each between the ends of the model's
/// space, uniform beyond its length; levels equally likely. From two samples of 4096 rows by the estimators of Jansen (1999, Comput Phys Commun 117:35; Saltelli and others 2010, 181:259, table 2),
/// with intervals of 200 bootstrap samples: of the sampling, not of the model. `None` where the model does not vary.
pub fn sobol_indices(model: &dyn Predictor, spread: &[Between]) -> Option<Vec<Indices>> {
    let space = model.space();
    let factors = space.axes().len();
    let pairs = random_points(ROWS, 2 * factors, SEED);
    let at = |row: &[f64]| {
        let place = |(f, u): (usize, &f64)| match space.axes()[f] {
            Axis::Number { .. } => spread.get(f).map_or(*u, |s| s.quantile(*u)),
            Axis::Word { .. } => *u,
        };
        let row: Vec<f64> = row.iter().enumerate().map(place).collect();
        model.predict(&space.from_unit(&row)).mean
    };
    let own: Vec<f64> = pairs.iter().map(|r| at(&r[..factors])).collect();
    let other: Vec<f64> = pairs.iter().map(|r| at(&r[factors..])).collect();
    // The first sample with one factor's column of the second.
    let exchanged: Vec<Vec<f64>> = (0..factors)
        .map(|f| {
            let mixed = |r: &Vec<f64>| {
                let mut row = r[..factors].to_vec();
                row[f] = r[factors + f];
                at(&row)
            };
            pairs.iter().map(mixed).collect()
        })
        .collect();
    let estimate = |rows: &[usize]| -> Option<Vec<[f64; 2]>> {
        let n = rows.len() as f64;
        let both = || rows.iter().flat_map(|r| [own[*r], other[*r]]);
        let mean = both().sum::<f64>() / (2.0 * n);
        let variance = both().map(|v| (v - mean).powi(2)).sum::<f64>() / (2.0 * n);
        let halved = |a: &[f64], b: &[f64]| {
            let squares = rows.iter().map(|r| (a[*r] - b[*r]).powi(2));
            squares.sum::<f64>() / (2.0 * n * variance)
        };
        let of_factor = |e: &Vec<f64>| [1.0 - halved(&other, e), halved(&own, e)];
        (variance > 1e-20 * mean * mean).then(|| exchanged.iter().map(of_factor).collect())
    };
    let all: Vec<usize> = (0..ROWS).collect();
    let values = estimate(&all)?;
    let draws = random_points(RESAMPLES, ROWS, SEED + 1);
    let mut resampled: Vec<Vec<[f64; 2]>> = vec![];
    for draw in draws {
        let rows: Vec<usize> = draw.iter().map(|u| (u * ROWS as f64) as usize).collect();
        resampled.push(estimate(&rows)?);
    }
    let index = |f: usize, kind: usize| {
        let mut found: Vec<f64> = resampled.iter().map(|r| r[f][kind]).collect();
        found.sort_by(f64::total_cmp);
        Index {
            value: values[f][kind],
            interval: [found[RESAMPLES / 20], found[RESAMPLES - 1 - RESAMPLES / 20]],
        }
    };
    let of_factor = |f| Indices {
        first: index(f, 0),
        total: index(f, 1),
    };
    Some((0..factors).map(of_factor).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::{Axis, Prediction, Space};
    use std::f64::consts::PI;

    struct Law(Space, fn(&[f64]) -> f64);

    impl Predictor for Law {
        fn space(&self) -> &Space {
            &self.0
        }
        fn predict(&self, point: &[f64]) -> Prediction {
            Prediction {
                mean: (self.1)(point),
                sd: 0.0,
            }
        }
    }

    /// Ishigami and Homma 1990: sin x + 7 sin² y + 0.1 z⁴ sin x over (−π, π)³, whose indices have a closed form.
    #[test]
    fn indices_of_a_known_function_are_those_of_its_closed_form() {
        let axis = Axis::Number { low: -PI, high: PI };
        let space = Space::new(vec![axis; 3]).unwrap();
        let law = Law(space, |x| {
            x[0].sin() + 7.0 * x[1].sin().powi(2) + 0.1 * x[2].powi(4) * x[0].sin()
        });
        let (a, b) = (7.0f64, 0.1f64);
        let first = 0.5 * (1.0 + b * PI.powi(4) / 5.0).powi(2);
        let second = a * a / 8.0;
        let with_third = b * b * PI.powi(8) * (1.0 / 18.0 - 1.0 / 50.0);
        let all = first + second + with_third;
        let expected = [
            [first / all, (first + with_third) / all],
            [second / all, second / all],
            [0.0, with_third / all],
        ];
        let found = sobol_indices(&law, &[]).unwrap();
        for (found, [first, total]) in found.iter().zip(expected) {
            assert!(
                (found.first.value - first).abs() < 0.03,
                "{found:?} {first}"
            );
            assert!(
                (found.total.value - total).abs() < 0.03,
                "{found:?} {total}"
            );
            for (index, exact) in [(found.first, first), (found.total, total)] {
                let [low, high] = index.interval;
                assert!(low <= index.value && index.value <= high);
                assert!(low - 0.02 < exact && exact < high + 0.02, "{index:?}");
                assert!(high - low < 0.1);
            }
        }
    }

    #[test]
    fn a_word_carries_what_its_levels_differ_by_and_a_constant_has_no_shares() {
        let number = Axis::Number {
            low: 0.0,
            high: 1.0,
        };
        let space = Space::new(vec![number, Axis::Word { levels: 2 }]).unwrap();
        // Variances 1/12 and 1/4.
        let law = Law(space.clone(), |x| x[0] + x[1]);
        let found = sobol_indices(&law, &[]).unwrap();
        assert!((found[1].first.value - 0.75).abs() < 0.02, "{found:?}");
        assert!((found[0].total.value - 0.25).abs() < 0.02);
        assert!(sobol_indices(&Law(space.clone(), |_| 3.0), &[]).is_none());
    }

    #[test]
    fn a_factor_of_a_narrower_distribution_carries_a_smaller_share() {
        let axis = Axis::Number {
            low: 10.0,
            high: 14.0,
        };
        let space = Space::new(vec![axis; 2]).unwrap();
        let law = Law(space, |x| x[0] + x[1]);
        let normal = Between::normal(12.0, 0.4, [10.0, 14.0]).unwrap();
        let found = sobol_indices(&law, &[normal, Between::Uniform]).unwrap();
        // Variances 0.4² (five standard deviations to the ends) and 4²/12.
        let share = 0.16 / (0.16 + 16.0 / 12.0);
        assert!((found[0].total.value - share).abs() < 0.01, "{found:?}");
        assert!(
            (found[1].first.value - (1.0 - share)).abs() < 0.03,
            "{found:?}"
        );
    }
}
