//! Designs that show curvature: Box and Behnken's, and central composites, face-centred ones among them.
//!
//! The centre is run once: a computed response repeats itself.

use crate::factorial::full_factorial;
use crate::fraction::Fraction;

/// Blocks of factors that move together in the design of six factors of Box and Behnken (1960, Technometrics 2:455; from
/// memory, held by a test of balance).
const TRIPLES_OF_SIX: [[usize; 3]; 6] = [
    [0, 1, 3],
    [1, 2, 4],
    [2, 3, 5],
    [0, 3, 4],
    [1, 4, 5],
    [0, 2, 5],
];
/// The same of seven factors.
const TRIPLES_OF_SEVEN: [[usize; 3]; 7] = [
    [3, 4, 5],
    [0, 5, 6],
    [1, 4, 6],
    [0, 1, 3],
    [2, 3, 6],
    [0, 2, 4],
    [1, 2, 5],
];

/// Level of each factor (0 low, 1 middle, 2 high), by point, of the Box-Behnken design of three to seven factors; `None`
/// for other numbers.
pub fn box_behnken(factors: usize) -> Option<Vec<Vec<usize>>> {
    let blocks: Vec<Vec<usize>> = match factors {
        3..=5 => (0..factors)
            .flat_map(|a| (a + 1..factors).map(move |b| vec![a, b]))
            .collect(),
        6 => TRIPLES_OF_SIX.iter().map(|b| b.to_vec()).collect(),
        7 => TRIPLES_OF_SEVEN.iter().map(|b| b.to_vec()).collect(),
        _ => return None,
    };
    let centre = vec![1; factors];
    let mut points = Vec::new();
    for block in blocks {
        for corner in 0..1_usize << block.len() {
            let mut point = centre.clone();
            for (k, f) in block.iter().enumerate() {
                point[*f] = 2 * (corner >> k & 1);
            }
            points.push(point);
        }
    }
    points.push(centre);
    Some(points)
}

/// Factorial part of a central composite design.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Core {
    /// All corners of the cube.
    Full,
    /// Corners of the smallest fraction of resolution V, from five factors on; below there is none.
    Fraction,
}

/// A central composite design (Box and Wilson 1951, J R Stat Soc B 13:1): corners of a cube, two axial points a factor, and the
/// centre, last.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CentralComposite {
    /// Level of each factor, by point: 0 axial low, 1 low, 2 centre, 3 high, 4 axial high.
    pub points: Vec<Vec<usize>>,
    /// Points of the core.
    pub corners: usize,
}

impl CentralComposite {
    /// The design of two to ten factors; `None` for other numbers.
    pub fn of(factors: usize, core: Core) -> Option<CentralComposite> {
        if !(2..=10).contains(&factors) {
            return None;
        }
        let corners = match (core, Fraction::of(factors, 5)) {
            (Core::Fraction, Ok(fraction)) => fraction.points(),
            _ => full_factorial(&vec![2; factors]),
        };
        let mut points: Vec<Vec<usize>> = corners
            .into_iter()
            .map(|p| p.into_iter().map(|level| 2 * level + 1).collect())
            .collect();
        let corners = points.len();
        let centre = vec![2; factors];
        for f in 0..factors {
            for level in [0, 4] {
                let mut point = centre.clone();
                point[f] = level;
                points.push(point);
            }
        }
        points.push(centre);
        Some(CentralComposite { points, corners })
    }

    /// Distance of the axial points from the centre, in half widths of the cube, at which a quadratic is known as well in all
    /// directions: the fourth root of the number of corners (Box and Hunter 1957, Ann Math Stat 28:195).
    pub fn rotatable_distance(&self) -> f64 {
        (self.corners as f64).powf(0.25)
    }
}

/// Level of each factor (0 low, 1 middle, 2 high), by point, of the central composite design whose axial points lie on the
/// faces, with a fraction for its core where there is one. `None` for less than two factors or more than ten.
pub fn face_centred(factors: usize) -> Option<Vec<Vec<usize>>> {
    let design = CentralComposite::of(factors, Core::Fraction)?;
    let on_faces = |point: Vec<usize>| point.iter().map(|level| [0, 0, 1, 2, 2][*level]).collect();
    Some(design.points.into_iter().map(on_faces).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::fit;

    #[test]
    fn designs_have_the_published_numbers_of_points_and_are_balanced() {
        // Box and Behnken 1960, table 4, without the repeats of the centre.
        for (factors, points, at_ends) in [
            (3, 12, 8),
            (4, 24, 12),
            (5, 40, 16),
            (6, 48, 24),
            (7, 56, 24),
        ] {
            let design = box_behnken(factors).unwrap();
            assert_eq!(design.len(), points + 1);
            for f in 0..factors {
                let count = |level| design.iter().filter(|p| p[f] == level).count();
                assert_eq!(
                    (count(0), count(2)),
                    (at_ends / 2, at_ends / 2),
                    "{factors}: {f}"
                );
            }
        }
        // Corners, faces, centre: 2^k + 2k + 1, from five factors on half or a quarter of the corners.
        for (factors, points) in [(2, 9), (3, 15), (4, 25), (5, 27), (6, 45), (7, 79), (8, 81)] {
            assert_eq!(face_centred(factors).unwrap().len(), points);
        }
        assert!(box_behnken(2).is_none() && box_behnken(8).is_none() && face_centred(1).is_none());
    }

    #[test]
    fn central_composites_have_the_published_distances_and_are_rotatable() {
        // NIST/SEMATECH e-Handbook of Statistical Methods, section 5.3.3.6.1, distances for rotatability (from memory).
        for (factors, core, corners, distance) in [
            (2, Core::Full, 4, 1.414),
            (3, Core::Full, 8, 1.682),
            (4, Core::Fraction, 16, 2.000),
            (5, Core::Fraction, 16, 2.000),
            (5, Core::Full, 32, 2.378),
            (6, Core::Fraction, 32, 2.378),
            (6, Core::Full, 64, 2.828),
        ] {
            let design = CentralComposite::of(factors, core).unwrap();
            assert_eq!(design.corners, corners);
            assert_eq!(design.points.len(), corners + 2 * factors + 1);
            let alpha = design.rotatable_distance();
            assert!((alpha - distance).abs() < 5e-4, "{factors}: {alpha}");
            // Rotatable to second order where Σ x⁴ = 3 Σ x² y² and odd moments vanish (Box and Hunter 1957).
            let places = [-alpha, -1.0, 0.0, 1.0, alpha];
            let placed = |p: &Vec<usize>| p.iter().map(|k| places[*k]).collect::<Vec<f64>>();
            let points: Vec<Vec<f64>> = design.points.iter().map(placed).collect();
            let sum = |of: &dyn Fn(&[f64]) -> f64| points.iter().map(|x| of(x)).sum::<f64>();
            for a in 0..factors {
                let fourth = sum(&|x| x[a].powi(4));
                for b in 0..a {
                    let mixed = sum(&|x| (x[a] * x[b]).powi(2));
                    assert!((fourth - 3.0 * mixed).abs() < 1e-9 * fourth);
                    assert!(sum(&|x| x[a].powi(3) * x[b]).abs() < 1e-9);
                }
            }
        }
        assert!(CentralComposite::of(11, Core::Full).is_none());
        assert!(CentralComposite::of(1, Core::Full).is_none());
    }

    #[test]
    fn no_point_stands_twice_and_a_full_quadratic_can_be_fitted() {
        let designs = (3..=7).map(|k| box_behnken(k).unwrap());
        for design in designs.chain((2..=7).map(|k| face_centred(k).unwrap())) {
            for (i, p) in design.iter().enumerate() {
                assert!(!design[..i].contains(p));
            }
            let factors = design[0].len();
            let x = |p: &Vec<usize>, f: usize| p[f] as f64 - 1.0;
            let mut columns = vec![vec![1.0; design.len()]];
            for a in 0..factors {
                columns.push(design.iter().map(|p| x(p, a)).collect());
                for b in 0..=a {
                    columns.push(design.iter().map(|p| x(p, a) * x(p, b)).collect());
                }
            }
            assert!(
                fit(&columns, &vec![0.0; design.len()]).is_some(),
                "{factors}"
            );
        }
    }
}
