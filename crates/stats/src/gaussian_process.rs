//! Gaussian process: a response as one draw of a random function, known at the points.

use crate::nelder_mead::nelder_mead;
use crate::space::{Axis, Prediction, Predictor, Space};
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Covariance that a Gaussian process assumes of its response.
#[derive(Debug, Clone, PartialEq)]
pub struct Covariance {
    /// One a factor. Of a number: the distance over which the response loses its likeness, in parts of the range. Of a word: the
    /// correlation of two of its levels, from 0 to 1.
    pub reach: Vec<f64>,
    /// Variance of what differs from mesh to mesh, over that of the function.
    pub nugget: f64,
}

/// A fitted Gaussian process of constant mean (Sacks, Welch, Mitchell and Wynn 1989, Stat Sci 4:409).
#[derive(Debug, Clone)]
pub struct GaussianProcess {
    space: Space,
    covariance: Covariance,
    /// Points, numbers scaled.
    points: Vec<Vec<f64>>,
    values: DVector<f64>,
    /// Factor of R + g I.
    factor: Cholesky<f64, Dyn>,
    /// Mean β, by generalised least squares.
    mean: f64,
    /// Variance of the function, σ².
    variance: f64,
    /// (R + g I)⁻¹ (y − β 1).
    weights: DVector<f64>,
    /// (R + g I)⁻¹ 1, and its sum.
    of_ones: (DVector<f64>, f64),
}

/// Least nugget: keeps the matrix of close points definite.
const LEAST_NUGGET: f64 = 1e-8;
/// Largest nugget: beyond it nothing is left of the function.
const MOST_NUGGET: f64 = 1.0;
/// Reaches of numbers in parts of their range.
const REACHES: [f64; 2] = [0.05, 20.0];

/// Correlation over a scaled distance, Matérn's with ν = 5/2: (1 + √5 h + 5 h²/3) exp(−√5 h) (Rasmussen and Williams 2006, equation
/// 4.17).
fn matern(h: f64) -> f64 {
    let s = 5f64.sqrt() * h;
    (1.0 + s + s * s / 3.0) * (-s).exp()
}

/// Correlation of two scaled points: a product over the factors, of words the same between any two levels (Qian, Wu and Wu 2008,
/// Technometrics 50:383, exchangeable).
fn correlation(space: &Space, reach: &[f64], a: &[f64], b: &[f64]) -> f64 {
    let of_axis = |(k, axis): (usize, &Axis)| match axis {
        Axis::Number { .. } => matern((a[k] - b[k]).abs() / reach[k]),
        Axis::Word { .. } if a[k] == b[k] => 1.0,
        Axis::Word { .. } => reach[k],
    };
    space.axes().iter().enumerate().map(of_axis).product()
}

impl GaussianProcess {
    /// Fits reach and nugget by the greatest likelihood (mean and variance profiled out; three starts of a simplex search), no
    /// nugget below `noise_sd`, the standard deviation that is known to differ from mesh to mesh. `None` for less than four points,
    /// or where the response does not vary.
    pub fn fit(
        space: &Space,
        points: &[Vec<f64>],
        values: &[f64],
        noise_sd: f64,
    ) -> Option<GaussianProcess> {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let spread = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / values.len() as f64;
        if points.len() < 4 || points.len() != values.len() || spread <= 0.0 {
            return None;
        }
        let least = (noise_sd * noise_sd / spread).clamp(LEAST_NUGGET, MOST_NUGGET);
        // Free variables of the search, each mapped into its bounds.
        let between = |t: f64, [low, high]: [f64; 2]| low + (high - low) / (1.0 + (-t).exp());
        let logs = |bounds: [f64; 2]| bounds.map(f64::ln);
        let unpacked = |t: &[f64]| {
            let reach = space.axes().iter().zip(t).map(|(a, t)| match a {
                Axis::Number { .. } => between(*t, logs(REACHES)).exp(),
                Axis::Word { .. } => between(*t, [0.0, 1.0 - 1e-6]),
            });
            Covariance {
                reach: reach.collect(),
                nugget: between(t[t.len() - 1], logs([0.999 * least, MOST_NUGGET])).exp(),
            }
        };
        let scaled: Vec<Vec<f64>> = points.iter().map(|p| space.scaled(p)).collect();
        let y = DVector::from_column_slice(values);
        let cost = |t: &[f64]| {
            let built = GaussianProcess::of_scaled(space, scaled.clone(), y.clone(), unpacked(t));
            built.map_or(f64::INFINITY, |g| g.minus_log_likelihood())
        };
        let starts = [0.0, -1.5, 1.5].map(|of_reach| {
            let mut start = vec![of_reach; space.axes().len()];
            start.push(-4.0);
            nelder_mead(cost, &start, 1.0)
        });
        let best = starts.into_iter().min_by(|a, b| a.1.total_cmp(&b.1))?;
        GaussianProcess::of_scaled(space, scaled, y, unpacked(&best.0))
    }

    /// Process of a covariance that is known, as one that was stored; `None` where its matrix is not definite.
    pub fn with(
        space: &Space,
        points: &[Vec<f64>],
        values: &[f64],
        covariance: Covariance,
    ) -> Option<GaussianProcess> {
        let scaled = points.iter().map(|p| space.scaled(p)).collect();
        let y = DVector::from_column_slice(values);
        GaussianProcess::of_scaled(space, scaled, y, covariance)
    }

    fn of_scaled(
        space: &Space,
        points: Vec<Vec<f64>>,
        values: DVector<f64>,
        covariance: Covariance,
    ) -> Option<GaussianProcess> {
        let n = points.len();
        let mut matrix = DMatrix::from_fn(n, n, |i, j| {
            correlation(space, &covariance.reach, &points[i], &points[j])
        });
        for i in 0..n {
            matrix[(i, i)] += covariance.nugget;
        }
        let factor = Cholesky::new(matrix)?;
        let ones = factor.solve(&DVector::from_element(n, 1.0));
        let sum = ones.sum();
        let mean = ones.dot(&values) / sum;
        let centred = values.add_scalar(-mean);
        let weights = factor.solve(&centred);
        let variance = centred.dot(&weights) / n as f64;
        (variance > 0.0).then_some(GaussianProcess {
            space: space.clone(),
            covariance,
            points,
            values,
            factor,
            mean,
            variance,
            weights,
            of_ones: (ones, sum),
        })
    }

    /// −log likelihood with mean and variance profiled out, without constants: n/2 log σ² + ½ log |R + g I|.
    fn minus_log_likelihood(&self) -> f64 {
        let n = self.points.len() as f64;
        let diagonal = self.factor.l_dirty().diagonal();
        0.5 * n * self.variance.ln() + diagonal.iter().map(|d| d.ln()).sum::<f64>()
    }

    /// Its covariance, from which [`GaussianProcess::with`] builds it again.
    pub fn covariance(&self) -> &Covariance {
        &self.covariance
    }

    /// Standard deviation of what differs from mesh to mesh, as fitted.
    pub fn noise_sd(&self) -> f64 {
        (self.covariance.nugget * self.variance).sqrt()
    }

    /// Predictions of each point without itself, mean and variance of the function fitted, reach and nugget kept (Dubrule 1983, Math
    /// Geol 15:687); with the noise of a new point.
    pub fn left_out(&self) -> Vec<Prediction> {
        let inverse = self.factor.inverse();
        let (ones, sum) = &self.of_ones;
        let b = &inverse - ones * ones.transpose() / *sum;
        let errors = &b * &self.values;
        let of_point = |i: usize| Prediction {
            mean: self.values[i] - errors[i] / b[(i, i)],
            sd: (self.variance / b[(i, i)]).sqrt(),
        };
        (0..self.values.len()).map(of_point).collect()
    }

    /// Share of the variation that is predicted of points left out one at a time, Q² = 1 − Σ e²/Σ (yᵢ − ȳ)².
    pub fn q2(&self) -> f64 {
        let mean = self.values.mean();
        let total: f64 = self.values.iter().map(|v| (v - mean).powi(2)).sum();
        let off = self.left_out();
        let off = off.iter().zip(self.values.iter());
        1.0 - off.map(|(p, v)| (p.mean - v).powi(2)).sum::<f64>() / total
    }
}

impl Predictor for GaussianProcess {
    fn space(&self) -> &Space {
        &self.space
    }

    /// Mean and standard deviation of the function itself, without the noise of a mesh.
    fn predict(&self, point: &[f64]) -> Prediction {
        let x = self.space.scaled(point);
        let reach = &self.covariance.reach;
        let r = self
            .points
            .iter()
            .map(|p| correlation(&self.space, reach, p, &x));
        let r = DVector::from_iterator(self.points.len(), r);
        let (ones, sum) = &self.of_ones;
        let unexplained = 1.0 - ones.dot(&r);
        let left = 1.0 - r.dot(&self.factor.solve(&r)) + unexplained * unexplained / sum;
        Prediction {
            mean: self.mean + r.dot(&self.weights),
            sd: (self.variance * left.max(0.0)).sqrt(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sampling::{halton, random_points};

    fn unit(numbers: usize) -> Space {
        let axis = Axis::Number {
            low: 0.0,
            high: 1.0,
        };
        Space::new(vec![axis; numbers]).unwrap()
    }

    #[test]
    fn a_process_passes_through_its_points_and_knows_how_little_it_knows_between_them() {
        let space = unit(1);
        let law = |x: f64| (6.0 * x).sin() + 0.5 * x;
        let points: Vec<Vec<f64>> = (0..9).map(|k| vec![f64::from(k) / 8.0]).collect();
        let values: Vec<f64> = points.iter().map(|p| law(p[0])).collect();
        let process = GaussianProcess::fit(&space, &points, &values, 0.0).unwrap();
        for (p, v) in points.iter().zip(&values) {
            let at = process.predict(p);
            assert!((at.mean - v).abs() < 1e-3 && at.sd < 1e-3, "{at:?} {v}");
        }
        let between = process.predict(&[0.44]);
        assert!((between.mean - law(0.44)).abs() < 0.02, "{between:?}");
        assert!(between.sd > process.predict(&[0.5]).sd);
        assert!(process.q2() > 0.95, "{}", process.q2());
    }

    /// Left out by the formula and by processes of the other points with the same covariance.
    #[test]
    fn points_left_out_are_predicted_as_by_processes_without_them() {
        let space = Space::new(vec![
            Axis::Number {
                low: 0.0,
                high: 1.0,
            },
            Axis::Word { levels: 2 },
        ])
        .unwrap();
        let points: Vec<Vec<f64>> = random_points(12, 2, 3)
            .iter()
            .map(|u| space.from_unit(u))
            .collect();
        let values: Vec<f64> = points
            .iter()
            .map(|p| (4.0 * p[0]).cos() + p[1] * (1.0 + p[0]))
            .collect();
        let covariance = Covariance {
            reach: vec![0.4, 0.6],
            nugget: 0.01,
        };
        let process = GaussianProcess::with(&space, &points, &values, covariance.clone()).unwrap();
        let of_all = process.variance;
        for (i, left) in process.left_out().iter().enumerate() {
            let (mut p, mut v) = (points.clone(), values.clone());
            p.remove(i);
            v.remove(i);
            let other = GaussianProcess::with(&space, &p, &v, covariance.clone()).unwrap();
            let found = other.predict(&points[i]);
            assert!((found.mean - left.mean).abs() < 1e-10, "{i}");
            // The formula keeps the variance of all points, and adds the noise of a new one.
            let variance = of_all * (found.sd.powi(2) / other.variance + 0.01);
            assert!((variance.sqrt() / left.sd - 1.0).abs() < 1e-9, "{i}");
        }
    }

    #[test]
    fn noise_is_told_from_the_function_and_known_noise_is_kept() {
        let space = unit(2);
        let points = halton(60, 2, 1).unwrap();
        let noise = random_points(60, 1, 9);
        let values: Vec<f64> = points
            .iter()
            .zip(&noise)
            .map(|(p, n)| (3.0 * p[0]).sin() + p[1] * p[1] + 0.2 * (n[0] - 0.5))
            .collect();
        let process = GaussianProcess::fit(&space, &points, &values, 0.0).unwrap();
        // Uniform noise of width 0.2 has a standard deviation of 0.2/√12 = 0.058.
        let found = process.noise_sd();
        assert!((0.03..0.09).contains(&found), "{found}");
        let smooth: Vec<f64> = points.iter().map(|p| p[0] + p[1]).collect();
        let kept = GaussianProcess::fit(&space, &points, &smooth, 0.05).unwrap();
        assert!(kept.covariance().nugget >= 0.99 * 0.05f64.powi(2) / 0.2);
    }

    #[test]
    fn levels_that_are_alike_share_what_they_know_and_others_do_not() {
        let axes = vec![
            Axis::Number {
                low: 0.0,
                high: 1.0,
            },
            Axis::Word { levels: 2 },
        ];
        let space = Space::new(axes).unwrap();
        let points: Vec<Vec<f64>> = (0..16)
            .map(|k| vec![f64::from(k) / 15.0, f64::from(k % 2)])
            .collect();
        let alike: Vec<f64> = points
            .iter()
            .map(|p| (5.0 * p[0]).sin() + 0.01 * p[1])
            .collect();
        let other: Vec<f64> = points
            .iter()
            .map(|p| match p[1] {
                0.0 => (5.0 * p[0]).sin(),
                _ => (9.0 * p[0] + 2.0).cos(),
            })
            .collect();
        let reach = |v: &[f64]| {
            let fitted = GaussianProcess::fit(&space, &points, v, 0.0).unwrap();
            fitted.covariance().reach[1]
        };
        assert!(reach(&alike) > 0.9, "{}", reach(&alike));
        assert!(reach(&other) < 0.5, "{}", reach(&other));
    }

    #[test]
    fn nothing_is_fitted_to_a_constant_or_to_three_points() {
        let points: Vec<Vec<f64>> = (0..5).map(|k| vec![f64::from(k) / 4.0]).collect();
        assert!(GaussianProcess::fit(&unit(1), &points, &[2.0; 5], 0.0).is_none());
        assert!(GaussianProcess::fit(&unit(1), &points[..3], &[1.0, 2.0, 3.0], 0.0).is_none());
    }
}
