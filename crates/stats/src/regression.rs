//! Linear regression of a response on numerical factors, with the goodness of its fit and of its predictions.

use crate::space::Prediction;
use nalgebra::{DMatrix, DVector};

/// A coefficient with its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coefficient {
    /// Estimate, in units of the response a unit of the column.
    pub value: f64,
    /// Standard error; of a computed response it measures what the model leaves out.
    pub error: f64,
}

/// A fitted linear model y = b₀ + Σ bᵢ xᵢ.
#[derive(Debug, Clone, PartialEq)]
pub struct Regression {
    /// b₀, then one coefficient a column.
    pub coefficients: Vec<Coefficient>,
    /// Coefficients of the columns in standard deviations of the response a standard deviation of the column.
    pub standardised: Vec<f64>,
    /// Share of the variation that the fit explains, R².
    pub r2: f64,
    /// R² with degrees of freedom taken into account.
    pub adjusted_r2: f64,
    /// Share that is predicted of points left out one at a time, Q² = 1 − Σ (eᵢ/(1 − hᵢᵢ))²/Σ (yᵢ − ȳ)², h the diagonal of the
    /// hat matrix (Allen 1974, Technometrics 16:125, PRESS).
    pub q2: f64,
    /// Standard deviation of the residuals.
    pub residual_sd: f64,
    /// Mean and standard deviation of each column.
    scales: Vec<(f64, f64)>,
    /// Mean of the response.
    mean: f64,
    /// Number of points.
    points: usize,
    /// R⁻¹ of the scaled columns' QR.
    inverse: DMatrix<f64>,
}

impl Regression {
    /// Prediction of a new response: variance s² (1 + 1/n + |R⁻ᵀ z|²), z the centred and scaled columns there.
    pub(crate) fn predict(&self, columns: &[f64]) -> Prediction {
        let centred = columns.iter().zip(&self.scales);
        let z = DVector::from_iterator(columns.len(), centred.map(|(x, (m, s))| (x - m) / s));
        let slopes = self.coefficients.iter().skip(1);
        let rise: f64 = slopes
            .zip(columns.iter().zip(&self.scales))
            .map(|(b, (x, (m, _)))| b.value * (x - m))
            .sum();
        let leverage = 1.0 / self.points as f64 + self.inverse.tr_mul(&z).norm_squared();
        Prediction {
            mean: self.mean + rise,
            sd: self.residual_sd * (1.0 + leverage).sqrt(),
        }
    }
}

/// Least part of a column that the columns before it may leave of it, relative.
const INDEPENDENT: f64 = 1e-9;

/// Fits a response by columns, by Householder QR of the centred and scaled columns; `None` where there are no more points
/// than coefficients, where the columns depend on one another, or where the response does not vary.
pub fn regress(columns: &[Vec<f64>], values: &[f64]) -> Option<Regression> {
    let (n, p) = (values.len(), columns.len());
    if n < p + 2 || columns.iter().any(|c| c.len() != n) {
        return None;
    }
    let mean = |v: &[f64]| v.iter().sum::<f64>() / n as f64;
    let sd = |v: &[f64], m: f64| {
        (v.iter().map(|x| (x - m).powi(2)).sum::<f64>() / (n - 1) as f64).sqrt()
    };
    let means: Vec<f64> = columns.iter().map(|c| mean(c)).collect();
    let scales: Vec<f64> = columns.iter().zip(&means).map(|(c, m)| sd(c, *m)).collect();
    let (y_mean, y_scale) = (mean(values), sd(values, mean(values)));
    if y_scale == 0.0 || scales.contains(&0.0) {
        return None;
    }
    let z = DMatrix::from_fn(n, p, |i, j| (columns[j][i] - means[j]) / scales[j]);
    let y = DVector::from_iterator(n, values.iter().map(|v| (v - y_mean) / y_scale));
    let qr = z.clone().qr();
    let (q, r) = (qr.q(), qr.r());
    if (0..p).any(|j| r[(j, j)].abs() <= INDEPENDENT * z.column(j).norm()) {
        return None;
    }
    let b = r.solve_upper_triangular(&q.tr_mul(&y))?;
    let residuals = &y - &z * &b;
    let left = residuals.norm_squared();
    let total = y.norm_squared();
    let freedom = (n - p - 1) as f64;
    let variance = left / freedom;
    let inverse = r.solve_upper_triangular(&DMatrix::identity(p, p))?;
    let spread: Vec<f64> = (0..p).map(|j| inverse.row(j).norm_squared()).collect();
    let predicted: f64 = (0..n)
        .map(|i| {
            let leverage = 1.0 / n as f64 + q.row(i).norm_squared();
            (residuals[i] / (1.0 - leverage)).powi(2)
        })
        .sum();
    let slopes: Vec<Coefficient> = (0..p)
        .map(|j| Coefficient {
            value: b[j] * y_scale / scales[j],
            error: (variance * spread[j]).sqrt() * y_scale / scales[j],
        })
        .collect();
    // b₀ = ȳ − Σ bᵢ x̄ᵢ; its variance is that of ȳ and of the slopes together.
    let shift = DVector::from_fn(p, |j, _| means[j] / scales[j]);
    let of_shift = inverse.tr_mul(&shift).norm_squared();
    let intercept = Coefficient {
        value: y_mean
            - slopes
                .iter()
                .zip(&means)
                .map(|(s, m)| s.value * m)
                .sum::<f64>(),
        error: (variance * (1.0 / n as f64 + of_shift)).sqrt() * y_scale,
    };
    Some(Regression {
        coefficients: std::iter::once(intercept).chain(slopes).collect(),
        standardised: b.iter().copied().collect(),
        r2: 1.0 - left / total,
        adjusted_r2: 1.0 - variance / (total / (n - 1) as f64),
        q2: 1.0 - predicted / total,
        residual_sd: variance.sqrt() * y_scale,
        scales: means.iter().copied().zip(scales.iter().copied()).collect(),
        mean: y_mean,
        points: n,
        inverse,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Longley's data: total employment, then the six columns (Longley 1967, J Am Stat Assoc 62:819; NIST StRD).
    const LONGLEY: [[f64; 7]; 16] = [
        [60323.0, 83.0, 234_289.0, 2356.0, 1590.0, 107_608.0, 1947.0],
        [61122.0, 88.5, 259_426.0, 2325.0, 1456.0, 108_632.0, 1948.0],
        [60171.0, 88.2, 258_054.0, 3682.0, 1616.0, 109_773.0, 1949.0],
        [61187.0, 89.5, 284_599.0, 3351.0, 1650.0, 110_929.0, 1950.0],
        [63221.0, 96.2, 328_975.0, 2099.0, 3099.0, 112_075.0, 1951.0],
        [63639.0, 98.1, 346_999.0, 1932.0, 3594.0, 113_270.0, 1952.0],
        [64989.0, 99.0, 365_385.0, 1870.0, 3547.0, 115_094.0, 1953.0],
        [63761.0, 100.0, 363_112.0, 3578.0, 3350.0, 116_219.0, 1954.0],
        [66019.0, 101.2, 397_469.0, 2904.0, 3048.0, 117_388.0, 1955.0],
        [67857.0, 104.6, 419_180.0, 2822.0, 2857.0, 118_734.0, 1956.0],
        [68169.0, 108.4, 442_769.0, 2936.0, 2798.0, 120_445.0, 1957.0],
        [66513.0, 110.8, 444_546.0, 4681.0, 2637.0, 121_950.0, 1958.0],
        [68655.0, 112.6, 482_704.0, 3813.0, 2552.0, 123_366.0, 1959.0],
        [69564.0, 114.2, 502_601.0, 3931.0, 2514.0, 125_368.0, 1960.0],
        [69331.0, 115.7, 518_173.0, 4806.0, 2572.0, 127_852.0, 1961.0],
        [70551.0, 116.9, 554_894.0, 4007.0, 2827.0, 130_081.0, 1962.0],
    ];

    #[test]
    fn certified_values_of_a_nearly_dependent_problem_are_reached() {
        let values: Vec<f64> = LONGLEY.iter().map(|r| r[0]).collect();
        let columns: Vec<Vec<f64>> = (1..7)
            .map(|j| LONGLEY.iter().map(|r| r[j]).collect())
            .collect();
        let fit = regress(&columns, &values).unwrap();
        // NIST StRD, linear regression, Longley: certified estimates and standard deviations.
        let certified = [
            (-3_482_258.634_595_82, 890_420.383_607_373),
            (15.061_872_271_373_3, 84.914_925_774_766_9),
            (-0.035_819_179_292_591, 0.033_491_007_772_243_2),
            (-2.020_229_803_816_83, 0.488_399_681_651_699),
            (-1.033_226_867_173_59, 0.214_274_163_161_675),
            (-0.051_104_105_653_580_7, 0.226_073_200_069_370),
            (1_829.151_464_613_55, 455.478_499_142_212),
        ];
        for (found, (value, error)) in fit.coefficients.iter().zip(certified) {
            assert!(
                (found.value / value - 1.0).abs() < 1e-9,
                "{found:?} {value}"
            );
            assert!(
                (found.error / error - 1.0).abs() < 1e-9,
                "{found:?} {error}"
            );
        }
        assert!((fit.r2 - 0.995_479_004_577_296).abs() < 1e-12);
        assert!((fit.residual_sd / 304.854_073_561_965 - 1.0).abs() < 1e-10);
    }

    #[test]
    fn the_prediction_of_points_left_out_is_that_of_fits_without_them() {
        let x: Vec<f64> = (0..9).map(f64::from).collect();
        let y: Vec<f64> = x.iter().map(|x| 3.0 + 2.0 * x + (x * 1.7).sin()).collect();
        let fit = regress(std::slice::from_ref(&x), &y).unwrap();
        let mean = y.iter().sum::<f64>() / 9.0;
        let total: f64 = y.iter().map(|v| (v - mean).powi(2)).sum();
        let mut off = 0.0;
        for out in 0..9 {
            let without =
                |v: &[f64]| -> Vec<f64> { (0..9).filter(|i| *i != out).map(|i| v[i]).collect() };
            let part = regress(&[without(&x)], &without(&y)).unwrap();
            let [a, b] = [0, 1].map(|k| part.coefficients[k].value);
            off += (y[out] - a - b * x[out]).powi(2);
        }
        assert!((fit.q2 - (1.0 - off / total)).abs() < 1e-12, "{}", fit.q2);
        assert!(fit.q2 < fit.r2 && fit.adjusted_r2 < fit.r2);
    }

    #[test]
    fn nothing_is_fitted_without_variation_or_with_too_few_points() {
        let x = vec![1.0, 2.0, 3.0, 4.0];
        assert!(regress(std::slice::from_ref(&x), &[5.0; 4]).is_none());
        assert!(
            regress(
                &[x.clone(), x.iter().map(|v| 2.0 * v).collect()],
                &[1.0, 2.0, 4.0, 8.0]
            )
            .is_none()
        );
        assert!(regress(&[x[..2].to_vec()], &[1.0, 2.0]).is_none());
    }
}
