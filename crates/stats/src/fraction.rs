//! Regular two-level fractional factorial designs by resolution.
//!
//! With m basic factors there are 2^m runs; each further factor follows the product of some basic ones. Columns of
//! levels −1, +1 multiply as bit sets add (mod 2), so a design of k factors is k non-zero bit sets of m bits. Its
//! resolution is the least number of columns whose product is constant: with III no main effect is aliased with
//! another, with IV none with an interaction of two, with V no interaction of two with another (Box and Hunter 1961,
//! Technometrics 3:311).

use crate::Term;
use std::collections::BTreeMap;
use thiserror::Error;

/// Factors of a fraction at most: the search for its generators is exhaustive.
pub const MOST_FACTORS: usize = 12;

/// Error of a fraction that does not exist.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum FractionError {
    /// The whole factorial is the least design of that resolution.
    #[error(
        "no fraction of {factors} factors has resolution {resolution}: the least design is the full factorial of {} points",
        1_u64 << factors
    )]
    NoFraction {
        /// Factors.
        factors: usize,
        /// Resolution asked for.
        resolution: usize,
    },
    /// More factors than are searched for.
    #[error("{factors} factors; fractions of at most {MOST_FACTORS} are made")]
    TooMany {
        /// Factors.
        factors: usize,
    },
}

/// A regular fraction of a two-level factorial.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fraction {
    /// Basic factors.
    basic: usize,
    /// Column of each factor, as the bit set of the basic factors whose product it is.
    columns: Vec<u32>,
}

impl Fraction {
    /// The fraction of so many factors with the fewest points that has a resolution of 3, 4 or 5, or a higher one.
    ///
    /// # Errors
    /// [`FractionError`].
    pub fn of(factors: usize, resolution: usize) -> Result<Fraction, FractionError> {
        if factors > MOST_FACTORS {
            return Err(FractionError::TooMany { factors });
        }
        for basic in 1..factors {
            let mut columns: Vec<u32> = (0..basic).map(|b| 1 << b).collect();
            if extend(&mut columns, factors, basic, resolution, 1) {
                return Ok(Fraction { basic, columns });
            }
        }
        Err(FractionError::NoFraction {
            factors,
            resolution,
        })
    }

    /// Level of each factor, 0 or 1, by point; the first factor varies fastest.
    pub fn points(&self) -> Vec<Vec<usize>> {
        let level = |run: u32, column: u32| {
            // An even number of basic factors has +1 where an even number of them is low.
            let low = (!run & column).count_ones();
            usize::from(low.is_multiple_of(2))
        };
        (0..1 << self.basic)
            .map(|run| self.columns.iter().map(|c| level(run, *c)).collect())
            .collect()
    }

    /// Resolution: the shortest word of the defining relation.
    pub fn resolution(&self) -> usize {
        let words = self.defining_words();
        words.iter().map(|w| w.len()).min().unwrap_or(usize::MAX)
    }

    /// Words of the defining relation: sets of factors whose product is constant.
    fn defining_words(&self) -> Vec<Vec<usize>> {
        let factors = self.columns.len();
        let is_word = |set: &u32| {
            let members = (0..factors).filter(|f| set >> f & 1 == 1);
            members.fold(0, |product, f| product ^ self.columns[f]) == 0
        };
        (1_u32..1 << factors)
            .filter(is_word)
            .map(|set| (0..factors).filter(|f| set >> f & 1 == 1).collect())
            .collect()
    }

    /// Main effects and interactions of two that cannot be told apart: classes of two terms or more, in the order of
    /// their first.
    pub fn aliases(&self) -> Vec<Vec<Term>> {
        let factors = self.columns.len();
        let mains = (0..factors).map(Term::Main);
        let pairs = (0..factors).flat_map(|a| (a + 1..factors).map(move |b| Term::Pair(a, b)));
        let mut classes: BTreeMap<u32, Vec<Term>> = BTreeMap::new();
        let mut order: Vec<u32> = Vec::new();
        for term in mains.chain(pairs) {
            let column = match term {
                Term::Main(f) => self.columns[f],
                Term::Pair(a, b) => self.columns[a] ^ self.columns[b],
            };
            if !classes.contains_key(&column) {
                order.push(column);
            }
            classes.entry(column).or_default().push(term);
        }
        let found = order.into_iter().filter_map(|c| classes.remove(&c));
        found.filter(|class| class.len() > 1).collect()
    }
}

/// Adds columns, in ascending order from `first`, until there are enough; false, and the columns as they were, where
/// that cannot be done.
fn extend(
    columns: &mut Vec<u32>,
    factors: usize,
    basic: usize,
    resolution: usize,
    first: u32,
) -> bool {
    if columns.len() == factors {
        return true;
    }
    for column in first..1 << basic {
        if keeps(columns, column, resolution) {
            columns.push(column);
            if extend(columns, factors, basic, resolution, column + 1) {
                return true;
            }
            columns.pop();
        }
    }
    false
}

/// Is no product of the new column with up to `resolution` − 2 of the others constant?
fn keeps(columns: &[u32], column: u32, resolution: usize) -> bool {
    fn makes(columns: &[u32], target: u32, most: usize) -> bool {
        if target == 0 {
            return true;
        }
        most > 0
            && columns
                .iter()
                .enumerate()
                .any(|(i, c)| makes(&columns[i + 1..], target ^ c, most - 1))
    }
    !makes(columns, column, resolution - 2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fractions_have_the_published_numbers_of_points() {
        // NIST/SEMATECH e-Handbook of Statistical Methods, section 5.3.3.4.7, table of fractional designs (from memory).
        for (factors, resolution, points) in [
            (3, 3, 4),
            (4, 4, 8),
            (5, 3, 8),
            (5, 5, 16),
            (6, 3, 8),
            (6, 4, 16),
            (6, 5, 32),
            (7, 3, 8),
            (7, 4, 16),
            (7, 5, 64),
            (8, 4, 16),
            (8, 5, 64),
            (9, 3, 16),
            (9, 4, 32),
            (9, 5, 128),
            (10, 4, 32),
            (10, 5, 128),
            (11, 4, 32),
            (11, 5, 128),
            (12, 4, 32),
        ] {
            let fraction = Fraction::of(factors, resolution).unwrap();
            assert_eq!(
                fraction.points().len(),
                points,
                "{factors} factors, {resolution}"
            );
            assert!(fraction.resolution() >= resolution);
        }
    }

    #[test]
    fn columns_are_balanced_and_orthogonal_and_products_show_the_aliases() {
        let fraction = Fraction::of(8, 4).unwrap();
        let points = fraction.points();
        let sign = |p: &Vec<usize>, t: Term| -> i32 {
            let of = |f: usize| 2 * p[f] as i32 - 1;
            match t {
                Term::Main(f) => of(f),
                Term::Pair(a, b) => of(a) * of(b),
            }
        };
        let product = |a, b| -> i32 { points.iter().map(|p| sign(p, a) * sign(p, b)).sum() };
        let terms: Vec<Term> = (0..8)
            .map(Term::Main)
            .chain((0..8).flat_map(|a| (a + 1..8).map(move |b| Term::Pair(a, b))))
            .collect();
        let classes = fraction.aliases();
        for (i, a) in terms.iter().enumerate() {
            for b in &terms[i + 1..] {
                let told = classes.iter().any(|c| c.contains(a) && c.contains(b));
                let dot = product(*a, *b);
                assert_eq!(dot.abs() == 16, told, "{a:?} {b:?}");
                assert!(told || dot == 0);
            }
        }
        // Four pairs to each of seven columns, and no main effect among them.
        assert!(classes.iter().all(|c| c.len() == 4));
        assert_eq!(classes.len(), 7);
    }

    #[test]
    fn what_is_no_fraction_is_refused() {
        let told = Fraction::of(4, 5).unwrap_err().to_string();
        assert!(told.contains("full factorial of 16 points"), "{told}");
        assert!(Fraction::of(2, 3).is_err() && Fraction::of(13, 4).is_err());
    }
}
