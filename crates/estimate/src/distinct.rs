//! Fields that are multiples of one another, found once.

use bicolumn_base::Vec3;

/// Relative difference up to which two fields are multiples of each other: rounding, no more.
const SAME: f64 = 1e-12;

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
                .filter_map(|(place, f)| Some((place, factor(fields[*f], field)?)))
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
fn factor(a: &[Vec3], b: &[Vec3]) -> Option<f64> {
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
