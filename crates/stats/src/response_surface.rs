//! Response surface: a polynomial of the first or second degree in the factors, fitted by least squares.

use crate::regression::{Regression, regress};
use crate::space::{Axis, Prediction, Predictor, Space};

/// Degree of a response surface.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Degree {
    /// Each factor by itself.
    Linear,
    /// With squares of numbers and products of two factors (Box and Wilson 1951, J R Stat Soc B 13:1).
    Quadratic,
}

/// A fitted response surface: y = b₀ + Σ bᵢ xᵢ (+ Σ bᵢᵢ xᵢ² + Σ bᵢⱼ xᵢ xⱼ), numbers xᵢ from −1 to 1 between their ends, words as
/// indicators of each level but the first.
#[derive(Debug, Clone, PartialEq)]
pub struct ResponseSurface {
    space: Space,
    degree: Degree,
    fit: Regression,
}

impl ResponseSurface {
    /// Fits a surface to responses at points of a space; `None` where the points do not determine it with one degree of freedom
    /// left, or the response does not vary.
    pub fn fit(
        space: &Space,
        degree: Degree,
        points: &[Vec<f64>],
        values: &[f64],
    ) -> Option<ResponseSurface> {
        let rows: Vec<Vec<f64>> = points.iter().map(|p| terms(space, degree, p)).collect();
        let columns = rows.first()?.len();
        let column = |j: usize| rows.iter().map(|r| r[j]).collect();
        let columns: Vec<Vec<f64>> = (0..columns).map(column).collect();
        Some(ResponseSurface {
            space: space.clone(),
            degree,
            fit: regress(&columns, values)?,
        })
    }

    /// Its least-squares fit: coefficients of the terms in the order of the factors, then products.
    pub fn regression(&self) -> &Regression {
        &self.fit
    }
}

impl Predictor for ResponseSurface {
    fn space(&self) -> &Space {
        &self.space
    }

    fn predict(&self, point: &[f64]) -> Prediction {
        self.fit.predict(&terms(&self.space, self.degree, point))
    }
}

/// Terms of a surface at a point, without the constant.
fn terms(space: &Space, degree: Degree, point: &[f64]) -> Vec<f64> {
    let scaled = space.scaled(point);
    let of_axis = |(a, u): (&Axis, &f64)| match *a {
        Axis::Number { .. } => vec![2.0 * u - 1.0],
        Axis::Word { levels } => (1..levels)
            .map(|k| f64::from(u8::from(*u == k as f64)))
            .collect(),
    };
    let by_axis: Vec<Vec<f64>> = space.axes().iter().zip(&scaled).map(of_axis).collect();
    let mut all: Vec<f64> = by_axis.iter().flatten().copied().collect();
    if degree == Degree::Linear {
        return all;
    }
    for (i, own) in by_axis.iter().enumerate() {
        if matches!(space.axes()[i], Axis::Number { .. }) {
            all.push(own[0] * own[0]);
        }
        for other in &by_axis[i + 1..] {
            all.extend(own.iter().flat_map(|x| other.iter().map(move |y| x * y)));
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sampling::random_points;

    fn space() -> Space {
        let number = |low, high| Axis::Number { low, high };
        Space::new(vec![
            number(-20.0, 20.0),
            number(1.0, 5.0),
            Axis::Word { levels: 3 },
        ])
        .unwrap()
    }

    #[test]
    fn a_quadratic_law_is_found_with_the_levels_of_a_word() {
        let space = space();
        let law = |p: &[f64]| {
            let by_word = [0.0, 3.0, -1.0][p[2] as usize];
            2.0 + 0.1 * p[0] + 0.02 * p[0] * p[0] - 0.3 * p[0] * p[1] + by_word * (1.0 + 0.1 * p[1])
        };
        let points: Vec<Vec<f64>> = random_points(40, 3, 5)
            .iter()
            .map(|u| space.from_unit(u))
            .collect();
        let values: Vec<f64> = points.iter().map(|p| law(p)).collect();
        let surface = ResponseSurface::fit(&space, Degree::Quadratic, &points, &values).unwrap();
        assert!(surface.regression().q2 > 1.0 - 1e-9);
        for u in random_points(20, 3, 6) {
            let p = space.from_unit(&u);
            let found = surface.predict(&p);
            assert!((found.mean - law(&p)).abs() < 1e-8, "{found:?}");
            assert!(found.sd < 1e-8);
        }
        let linear = ResponseSurface::fit(&space, Degree::Linear, &points, &values).unwrap();
        assert!(linear.regression().q2 < 0.9);
        assert!(
            ResponseSurface::fit(&space, Degree::Quadratic, &points[..12], &values[..12]).is_none()
        );
    }

    /// A straight line: the standard deviation of a prediction is s √(1 + 1/n + (x − x̄)²/Σ(xᵢ − x̄)²)
    /// (Draper and Smith 1998, Applied regression analysis, equation 3.1.4; from memory).
    #[test]
    fn predictions_of_a_line_scatter_as_the_textbook_says() {
        let space = Space::new(vec![Axis::Number {
            low: 0.0,
            high: 8.0,
        }])
        .unwrap();
        let points: Vec<Vec<f64>> = (0..9).map(|k| vec![f64::from(k)]).collect();
        let values: Vec<f64> = points
            .iter()
            .map(|p| 3.0 + 2.0 * p[0] + (1.7 * p[0]).sin())
            .collect();
        let line = ResponseSurface::fit(&space, Degree::Linear, &points, &values).unwrap();
        let s = line.regression().residual_sd;
        for x in [0.0, 3.3, 8.0] {
            let expected = s * (1.0 + 1.0 / 9.0 + (x - 4.0f64).powi(2) / 60.0).sqrt();
            assert!((line.predict(&[x]).sd / expected - 1.0).abs() < 1e-12);
        }
    }
}
