//! Two-level screening designs of Plackett and Burman.
//!
//! A first row, turned about cyclically, and a row of low levels make N runs for up to N − 1 factors whose main effects
//! are orthogonal (Plackett and Burman 1946, Biometrika 33:305; rows from memory, held by a test of orthogonality). Where
//! N is no power of two an interaction of two is spread over all other main effects, none of which stands for it alone.

/// First rows by their number of runs.
const ROWS: [(usize, &str); 3] = [
    (12, "++-+++---+-"),
    (20, "++--++++-+-+----++-"),
    (24, "+++++-+-++--++--+-+----"),
];

/// Factors at most.
pub const MOST_SCREENED: usize = 23;

/// Level of each factor, 0 or 1, by point, of the least design for so many factors; `None` for more than
/// [`MOST_SCREENED`].
pub fn plackett_burman(factors: usize) -> Option<Vec<Vec<usize>>> {
    let (runs, row) = ROWS.iter().find(|(runs, _)| factors < *runs)?;
    let signs: Vec<usize> = row.bytes().map(|b| usize::from(b == b'+')).collect();
    let cycled = |run: usize| -> Vec<usize> {
        (0..factors)
            .map(|f| signs[(f + runs - 1 - run) % (runs - 1)])
            .collect()
    };
    let mut points: Vec<Vec<usize>> = (0..runs - 1).map(cycled).collect();
    points.push(vec![0; factors]);
    Some(points)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn main_effects_are_balanced_and_orthogonal() {
        for (factors, runs) in [(2, 12), (11, 12), (12, 20), (19, 20), (20, 24), (23, 24)] {
            let points = plackett_burman(factors).unwrap();
            assert_eq!(points.len(), runs);
            let sign = |p: &[usize], f: usize| 2 * p[f] as i32 - 1;
            for a in 0..factors {
                assert_eq!(points.iter().map(|p| sign(p, a)).sum::<i32>(), 0);
                for b in 0..a {
                    let dot: i32 = points.iter().map(|p| sign(p, a) * sign(p, b)).sum();
                    assert_eq!(dot, 0, "{factors}: {a} {b}");
                }
            }
        }
        assert_eq!(plackett_burman(24), None);
    }
}
