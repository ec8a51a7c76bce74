//! The least or greatest response of a model, and how far its place is known.

use crate::sampling::halton;
use crate::space::{Axis, Prediction, Predictor};

/// Places tried; more than 16 factors are not searched.
const TRIED: usize = 4000;
/// Standard deviations of an interval.
const WIDE: f64 = 2.0;

/// Least or greatest response of a model.
#[derive(Debug, Clone, PartialEq)]
pub struct Optimum {
    /// Its place.
    pub point: Vec<f64>,
    /// Prediction there.
    pub prediction: Prediction,
    /// By factor, the least and the greatest coordinate of the places whose interval of two standard deviations reaches into that of
    /// the optimum: none of these can be told from it.
    pub not_told_apart: Vec<[f64; 2]>,
}

/// The least (`sign` 1) or greatest (−1) mean of a model over its space: of 4000 places of a Halton sequence and the ends and middles
/// of all numbers. `None` beyond 16 factors.
pub fn optimum(model: &dyn Predictor, sign: f64) -> Option<Optimum> {
    let space = model.space();
    let mut places: Vec<Vec<f64>> = halton(TRIED, space.axes().len(), 1)?
        .iter()
        .map(|u| space.from_unit(u))
        .collect();
    places.extend(lattice(space.axes()));
    let predicted: Vec<Prediction> = places.iter().map(|p| model.predict(p)).collect();
    let (best, prediction) = predicted
        .iter()
        .enumerate()
        .min_by(|a, b| (sign * a.1.mean).total_cmp(&(sign * b.1.mean)))?;
    let reach = sign * prediction.mean + WIDE * prediction.sd;
    let alike = || {
        let all = places.iter().zip(&predicted);
        all.filter(move |(_, p)| sign * p.mean - WIDE * p.sd <= reach)
    };
    let ends = |f: usize| {
        alike().fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], (x, _)| {
            [low.min(x[f]), high.max(x[f])]
        })
    };
    Some(Optimum {
        point: places[best].clone(),
        prediction: *prediction,
        not_told_apart: (0..space.axes().len()).map(ends).collect(),
    })
}

/// Ends and middles of numbers with all levels of words; none where they are more than 4000.
fn lattice(axes: &[Axis]) -> Vec<Vec<f64>> {
    let levels = axes.iter().map(|a| match *a {
        Axis::Number { low, high } => vec![low, 0.5 * (low + high), high],
        Axis::Word { levels } => (0..levels).map(|k| k as f64).collect(),
    });
    let levels: Vec<Vec<f64>> = levels.collect();
    let count = levels
        .iter()
        .try_fold(1usize, |n, l| n.checked_mul(l.len()));
    if count.is_none_or(|n| n > TRIED) {
        return vec![];
    }
    levels.iter().fold(vec![vec![]], |rows, own| {
        let longer = |row: Vec<f64>| {
            own.iter().map(move |x| {
                let mut row = row.clone();
                row.push(*x);
                row
            })
        };
        rows.into_iter().flat_map(longer).collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gaussian_process::GaussianProcess;
    use crate::space::Space;

    #[test]
    fn the_bottom_of_a_bowl_is_found_with_the_range_that_cannot_be_told_from_it() {
        let number = Axis::Number {
            low: -20.0,
            high: 20.0,
        };
        let space = Space::new(vec![number, Axis::Word { levels: 2 }]).unwrap();
        let points: Vec<Vec<f64>> = (0..18)
            .map(|k| vec![-20.0 + 5.0 * f64::from(k % 9), f64::from(k / 9)])
            .collect();
        let values: Vec<f64> = points
            .iter()
            .map(|p| 3.0 + 0.01 * (p[0] - 6.0).powi(2) + p[1])
            .collect();
        let model = GaussianProcess::fit(&space, &points, &values, 0.02).unwrap();
        let least = optimum(&model, 1.0).unwrap();
        assert!((least.point[0] - 6.0).abs() < 1.0, "{least:?}");
        assert_eq!(least.point[1], 0.0);
        let [low, high] = least.not_told_apart[0];
        assert!(low < 6.0 && 6.0 < high && high - low < 10.0, "{least:?}");
        assert_eq!(least.not_told_apart[1], [0.0, 0.0]);
        let greatest = optimum(&model, -1.0).unwrap();
        assert_eq!(greatest.point, [-20.0, 1.0]);
    }
}
