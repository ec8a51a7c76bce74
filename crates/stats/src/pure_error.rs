//! Pure error: the scatter of replicates, and what a mean square is worth against it.

use crate::Rest;
use statrs::function::beta::beta_reg;

/// Scatter of a response over points of equal place: sum of squares about their means, with its degrees of freedom; `None`
/// without replicates. Its share is that of the total about the mean of all points.
pub fn pure_error<P: PartialEq>(places: &[P], values: &[f64]) -> Option<Rest> {
    let mut cells: Vec<(&P, Vec<f64>)> = vec![];
    for (place, value) in places.iter().zip(values) {
        match cells.iter_mut().find(|c| c.0 == place) {
            Some(cell) => cell.1.push(*value),
            None => cells.push((place, vec![*value])),
        }
    }
    let about_mean = |v: &[f64]| {
        let mean = v.iter().sum::<f64>() / v.len() as f64;
        v.iter().map(|x| (x - mean).powi(2)).sum::<f64>()
    };
    let freedom = values.len().min(places.len()) - cells.len();
    let squares = cells.iter().map(|c| about_mean(&c.1)).sum();
    let total = about_mean(values);
    (freedom > 0).then(|| Rest {
        freedom,
        squares,
        share: if total > 0.0 { squares / total } else { 0.0 },
    })
}

/// Probability that a ratio of two mean squares is at least `f` where both are of the same normal scatter, of so many degrees of
/// freedom above and below: I_x(d₂/2, d₁/2) at x = d₂/(d₂ + d₁ f) (Fisher's F).
pub fn f_probability(f: f64, above: usize, below: usize) -> f64 {
    let (d1, d2) = (above as f64, below as f64);
    if !f.is_finite() || f <= 0.0 || above == 0 || below == 0 {
        return if f > 0.0 { 0.0 } else { 1.0 };
    }
    beta_reg(0.5 * d2, 0.5 * d1, d2 / (d2 + d1 * f))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Design, analyse};

    /// Silicon resistivity, five instruments by five replicates (NIST StRD, analysis of variance, SiRstv; data and certified
    /// values from memory, which agree with each other).
    #[test]
    fn certified_mean_squares_of_replicates_are_reached() {
        const INSTRUMENTS: [[f64; 5]; 5] = [
            [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
            [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
            [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
            [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
            [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
        ];
        let points = (0..25).map(|k| vec![k / 5]).collect();
        let values = INSTRUMENTS.concat();
        let design = Design::new(vec![5], points).unwrap();
        let between = &analyse(&design, &values).unwrap().lines[0];
        let within = pure_error(design.points(), &values).unwrap();
        assert_eq!((between.freedom, within.freedom), (4, 20));
        assert!((between.squares / 5.114_626_16e-2 - 1.0).abs() < 1e-8);
        assert!((within.squares / 2.166_365_60e-1 - 1.0).abs() < 1e-8);
        let f = between.squares / 4.0 / (within.squares / 20.0);
        assert!((f / 1.180_462_374_402_55 - 1.0).abs() < 1e-8, "{f}");
    }

    /// Upper 5 and 1 % points of F (NIST/SEMATECH e-Handbook, table 1.3.6.7.3; from memory), and closed forms: of (2, d)
    /// (1 + 2 f/d)^(−d/2), of (1, 1) 1 − 2/π arctan √f.
    #[test]
    fn probabilities_of_f_are_those_of_tables_and_closed_forms() {
        for (f, above, below, p) in [
            (4.965, 1, 10, 0.05),
            (3.326, 5, 10, 0.05),
            (2.348, 10, 20, 0.05),
            (10.044, 1, 10, 0.01),
        ] {
            assert!((f_probability(f, above, below) / p - 1.0).abs() < 5e-3);
        }
        for f in [0.1f64, 1.0, 7.0, 400.0] {
            let closed = (1.0 + 2.0 * f / 9.0).powf(-4.5);
            assert!((f_probability(f, 2, 9) / closed - 1.0).abs() < 1e-9);
            let closed = 1.0 - 2.0 / std::f64::consts::PI * f.sqrt().atan();
            assert!((f_probability(f, 1, 1) - closed).abs() < 1e-9);
        }
        assert_eq!(f_probability(0.0, 2, 3), 1.0);
        assert_eq!(f_probability(f64::INFINITY, 2, 3), 0.0);
    }

    #[test]
    fn points_without_replicates_have_no_pure_error() {
        let design = Design::new(vec![2], vec![vec![0], vec![1]]).unwrap();
        assert_eq!(pure_error(design.points(), &[1.0, 2.0]), None);
    }
}
