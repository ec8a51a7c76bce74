//! Fields that are multiples of one another, found once.

use bicolumn_base::Vec3;

/// Relative difference up to which two fields are multiples of each other: rounding, no more.
const SAME: f64 = 1e-12;
/// Sine of an angle that rounding does not make.
const ASKEW: f64 = 1e-6;

/// The different ones among some fields, and each field as a multiple of one of them.
#[derive(Debug, Clone, PartialEq)]
pub struct Distinct {
    /// Indices of the different fields, in order of first appearance.
    pub first: Vec<usize>,
    /// For each field: place in `first`, and factor; a field of zeros has the factor 0.
    pub of: Vec<(usize, f64)>,
}

impl Distinct {
    /// Among fields of one length.
    pub fn of(fields: &[&[Vec3]]) -> Self {
        let mut found = Distinct {
            first: vec![],
            of: vec![],
        };
        for (k, field) in fields.iter().enumerate() {
            let before = found.first.iter().enumerate();
            let multiple = before
                .filter_map(|(place, f)| Some((place, multiple_of(fields[*f], field)?)))
                .next();
            found.of.push(multiple.unwrap_or_else(|| {
                found.first.push(k);
                (found.first.len() - 1, 1.0)
            }));
        }
        found
    }
}

/// The factor with b = factor · a, if there is one.
pub fn multiple_of(a: &[Vec3], b: &[Vec3]) -> Option<f64> {
    // Multiples are parallel at every node: most pairs differ at the first that is not still.
    let moved = |(x, y): &(&Vec3, &Vec3)| **x != Vec3::zeros() || **y != Vec3::zeros();
    if let Some((x, y)) = a.iter().zip(b).find(moved)
        && x.cross(y).norm() > ASKEW * x.norm() * y.norm()
    {
        return None;
    }
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        ab += x.dot(y);
        aa += x.norm_squared();
        bb += y.norm_squared();
    }
    if bb == 0.0 || aa == 0.0 {
        return (bb == 0.0).then_some(0.0);
    }
    let factor = ab / aa;
    let rest = a
        .iter()
        .zip(b)
        .map(|(x, y)| (y - x * factor).norm_squared());
    (rest.sum::<f64>() <= SAME * SAME * bb).then_some(factor)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn multiples_are_found_and_others_told_apart() {
        let a = [Vec3::x(), Vec3::new(1.0, 2.0, 3.0)];
        let b = a.map(|v| v * -2.5);
        let c = [Vec3::x(), Vec3::new(1.0, 2.0, 3.0 + 1e-9)];
        let zero = [Vec3::zeros(); 2];
        let found = Distinct::of(&[&a, &b, &c, &zero]);
        assert_eq!(found.first, [0, 2]);
        assert_eq!(found.of, [(0, 1.0), (0, -2.5), (1, 1.0), (0, 0.0)]);
    }
}
