//! Three-level designs that show curvature: Box and Behnken's, and the face-centred central composite.
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

/// Level of each factor (0 low, 1 middle, 2 high), by point, of the central composite design whose axial points lie on
/// the faces (Box and Wilson 1951, J R Stat Soc B 13:1): corners of the cube, or those of a fraction of resolution V
/// where there is one, the middles of its faces, and the centre. `None` for less than two factors or more than ten.
pub fn face_centred(factors: usize) -> Option<Vec<Vec<usize>>> {
    if !(2..=10).contains(&factors) {
        return None;
    }
    let corners = match Fraction::of(factors, 5) {
        Ok(fraction) => fraction.points(),
        Err(_) => full_factorial(&vec![2; factors]),
    };
    let mut points: Vec<Vec<usize>> = corners
        .into_iter()
        .map(|p| p.into_iter().map(|level| 2 * level).collect())
        .collect();
    let centre = vec![1; factors];
    for f in 0..factors {
        for level in [0, 2] {
            let mut point = centre.clone();
            point[f] = level;
            points.push(point);
        }
    }
    points.push(centre);
    Some(points)
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
