//! Sums of squares and sizes of main effects and of interactions of two factors.

use crate::fit::{Fit, fit};
use crate::{Design, DesignError};

/// Term of the linear model: a factor or an interaction of two.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Term {
    /// One factor, by its index.
    Main(usize),
    /// Two factors together, beyond what each does by itself; the lower index first.
    Pair(usize, usize),
}

/// Effect of a term.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// The term.
    pub term: Term,
    /// Degrees of freedom.
    pub freedom: usize,
    /// How much the sum of squares left over grows when the model does without the term (type III with effects
    /// that add up to zero; Yates 1934, J Am Stat Assoc 29:51). In a complete factorial this is the classical sum of
    /// squares.
    pub squares: f64,
    /// `squares` over the total sum of squares about the mean; of a complete factorial the shares of all lines and of
    /// the rest add up to one.
    pub share: f64,
    /// Effects: of a factor at each of its levels; of a pair at each pair of levels, the second factor's running
    /// faster. In the response's unit, about its mean over all levels.
    pub effects: Vec<f64>,
}

impl Line {
    /// Indices of the smallest and of the largest effect; the first of equal ones.
    pub fn ends(&self) -> [usize; 2] {
        let mut ends = [0, 0];
        for (k, effect) in self.effects.iter().enumerate() {
            if *effect < self.effects[ends[0]] {
                ends[0] = k;
            }
            if *effect > self.effects[ends[1]] {
                ends[1] = k;
            }
        }
        ends
    }

    /// Largest effect minus smallest, in the response's unit: of a factor what it moves the response by.
    pub fn swing(&self) -> f64 {
        let [least, most] = self.ends();
        self.effects[most] - self.effects[least]
    }
}

/// Residual of the terms: interactions of more factors, and the scatter of repeated points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rest {
    /// Degrees of freedom.
    pub freedom: usize,
    /// Sum of squares.
    pub squares: f64,
    /// Over the total sum of squares.
    pub share: f64,
}

/// The variation of a response over a design.
#[derive(Debug, Clone, PartialEq)]
pub struct Variation {
    /// Mean over all levels: of a complete factorial the mean of all points.
    pub mean: f64,
    /// Sum of squares about the points' mean.
    pub total: f64,
    /// Main effects, then pairs; of factors with two levels or more.
    pub lines: Vec<Line>,
    /// Residual of the terms.
    pub rest: Rest,
    /// Has the design too few points, or too few combinations, for the pairs? They are part of the rest then.
    pub without_pairs: bool,
}

impl Variation {
    /// Mean square of a line over that of the rest; `None` if nothing is left.
    pub fn ratio(&self, line: &Line) -> Option<f64> {
        let of_rest = self.rest.squares / self.rest.freedom as f64;
        (self.rest.freedom > 0 && of_rest > 0.0)
            .then(|| line.squares / line.freedom as f64 / of_rest)
    }
}

/// Main effects and interactions of two factors of a response given at each point of a design.
///
/// # Errors
/// [`DesignError::Values`]; [`DesignError::Confounded`] when even the main effects cannot be told apart.
pub fn analyse(design: &Design, values: &[f64]) -> Result<Variation, DesignError> {
    let points = design.points().len();
    if values.len() != points {
        return Err(DesignError::Values {
            values: values.len(),
            points,
        });
    }
    let varied = design.varied();
    let mains = || varied.iter().map(|f| Term::Main(*f));
    let pairs = varied
        .iter()
        .enumerate()
        .flat_map(|(k, a)| varied[k + 1..].iter().map(|b| Term::Pair(*a, *b)));
    let all: Vec<Term> = mains().chain(pairs).collect();
    let (terms, whole) = match fitted(design, &all, values) {
        Some(fit) => (all, fit),
        None => {
            let mains: Vec<Term> = mains().collect();
            let fit = fitted(design, &mains, values).ok_or(DesignError::Confounded {
                points,
                factors: varied.len(),
            })?;
            (mains, fit)
        }
    };
    let mean = values.iter().sum::<f64>() / points as f64;
    let total: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    let share = |squares: f64| if total > 0.0 { squares / total } else { 0.0 };
    let mut lines = vec![];
    let mut first = 1;
    for (k, term) in terms.iter().enumerate() {
        let mut others = terms.clone();
        others.remove(k);
        let freedom = freedom(design, *term);
        // Fewer independent columns are independent, too.
        let without = fitted(design, &others, values).map_or(whole.left, |f| f.left);
        let squares = (without - whole.left).max(0.0);
        lines.push(Line {
            term: *term,
            freedom,
            squares,
            share: share(squares),
            effects: effects(design, *term, &whole.coefficients[first..first + freedom]),
        });
        first += freedom;
    }
    // Where no degree of freedom is left, what is left is rounding.
    let left = if points > first { whole.left } else { 0.0 };
    Ok(Variation {
        mean: whole.coefficients.first().copied().unwrap_or(mean),
        total,
        without_pairs: varied.len() > 1 && lines.len() == varied.len(),
        lines,
        rest: Rest {
            freedom: points - first,
            squares: left,
            share: share(left),
        },
    })
}

fn freedom(design: &Design, term: Term) -> usize {
    let of = |f: usize| design.levels()[f] - 1;
    match term {
        Term::Main(f) => of(f),
        Term::Pair(a, b) => of(a) * of(b),
    }
}

fn fitted(design: &Design, terms: &[Term], values: &[f64]) -> Option<Fit> {
    let mut columns = vec![vec![1.0; values.len()]];
    for term in terms {
        let rows: Vec<Vec<f64>> = design
            .points()
            .iter()
            .map(|point| match *term {
                Term::Main(f) => code(design.levels()[f], point[f]),
                Term::Pair(a, b) => {
                    let other = code(design.levels()[b], point[b]);
                    let one = code(design.levels()[a], point[a]);
                    one.iter()
                        .flat_map(|x| other.iter().map(move |y| x * y))
                        .collect()
                }
            })
            .collect();
        let width = freedom(design, *term);
        columns.extend((0..width).map(|c| rows.iter().map(|r| r[c]).collect()));
    }
    fit(&columns, values)
}

/// Effects of all levels from the coefficients: those of the last levels follow, since effects add up to zero.
fn effects(design: &Design, term: Term, coefficients: &[f64]) -> Vec<f64> {
    let sum = |codes: Vec<f64>| codes.iter().zip(coefficients).map(|(x, c)| x * c).sum();
    match term {
        Term::Main(f) => {
            let levels = design.levels()[f];
            (0..levels).map(|l| sum(code(levels, l))).collect()
        }
        Term::Pair(a, b) => {
            let (m, n) = (design.levels()[a], design.levels()[b]);
            let pairs = (0..m).flat_map(|i| (0..n).map(move |j| (i, j)));
            pairs
                .map(|(i, j)| {
                    let other = code(n, j);
                    let codes = code(m, i);
                    sum(codes
                        .iter()
                        .flat_map(|x| other.iter().map(move |y| x * y))
                        .collect())
                })
                .collect()
        }
    }
}

/// A level among so many by numbers whose effects add up to zero.
fn code(levels: usize, level: usize) -> Vec<f64> {
    (0..levels - 1)
        .map(|c| match level {
            l if l == c => 1.0,
            l if l == levels - 1 => -1.0,
            _ => 0.0,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A complete factorial, `times` over; the last factor's levels run fastest.
    fn factorial(levels: &[usize], times: usize) -> Design {
        let mut points = vec![vec![]];
        for &count in levels {
            points = points
                .iter()
                .flat_map(|p: &Vec<usize>| {
                    (0..count).map(|l| p.iter().copied().chain([l]).collect())
                })
                .collect();
        }
        let repeated = points
            .iter()
            .flat_map(|p| std::iter::repeat_n(p.clone(), times));
        Design::new(levels.to_vec(), repeated.collect()).unwrap()
    }

    fn close(a: f64, b: f64, digits: f64) {
        assert!((a - b).abs() <= digits * b.abs().max(1e-12), "{a} {b}");
    }

    /// Life of a battery by material and temperature: Montgomery, Design and Analysis of Experiments, the example of
    /// the two-factor factorial (data and table from memory; they agree with each other to all digits).
    #[test]
    fn a_published_factorial_with_repetition_gives_its_table() {
        let life = [
            130.0, 155.0, 74.0, 180.0, 34.0, 40.0, 80.0, 75.0, 20.0, 70.0, 82.0, 58.0, // 1
            150.0, 188.0, 159.0, 126.0, 136.0, 122.0, 106.0, 115.0, 25.0, 70.0, 58.0,
            45.0, // 2
            138.0, 110.0, 168.0, 160.0, 174.0, 120.0, 150.0, 139.0, 96.0, 104.0, 82.0,
            60.0, // 3
        ];
        let found = analyse(&factorial(&[3, 3], 4), &life).unwrap();
        let expected = [
            (Term::Main(0), 2, 10_683.72, 7.91),
            (Term::Main(1), 2, 39_118.72, 28.97),
            (Term::Pair(0, 1), 4, 9_613.78, 3.56),
        ];
        assert_eq!(found.lines.len(), expected.len());
        for (line, (term, freedom, squares, ratio)) in found.lines.iter().zip(expected) {
            assert_eq!((line.term, line.freedom), (term, freedom));
            assert!((line.squares - squares).abs() < 0.006, "{line:?}");
            assert!((found.ratio(line).unwrap() - ratio).abs() < 0.006);
        }
        assert_eq!(found.rest.freedom, 27);
        assert!((found.rest.squares - 18_230.75).abs() < 0.006);
        assert!((found.total - 77_646.97).abs() < 0.006);
    }

    /// Resistivity of silicon by instrument: NIST Statistical Reference Datasets, SiRstv (data and certified values
    /// from memory; they agree with each other to all digits).
    #[test]
    fn a_certified_one_way_table_is_met() {
        let resistivity = [
            [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
            [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
            [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
            [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
            [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
        ];
        let found = analyse(&factorial(&[5], 5), resistivity.as_flattened()).unwrap();
        close(found.lines[0].squares, 5.114_626_16e-2, 1e-9);
        close(found.rest.squares, 2.166_365_6e-1, 1e-9);
        close(
            found.ratio(&found.lines[0]).unwrap(),
            1.180_462_374_402_55,
            1e-9,
        );
    }

    #[test]
    fn shares_of_a_factorial_that_leaves_nothing_add_up_to_one() {
        let design = factorial(&[2, 3], 1);
        let found = analyse(&design, &[5.4, 5.6, 6.7, 9.7, 8.7, 8.2]).unwrap();
        let shares: f64 = found.lines.iter().map(|l| l.share).sum();
        close(shares, 1.0, 1e-12);
        assert_eq!(found.rest.freedom, 0);
        assert!(found.rest.squares == 0.0 && !found.without_pairs);
        assert_eq!(found.ratio(&found.lines[0]), None);
        // By hand: means of the layouts 5.9 and 8.866…
        close(found.lines[0].swing(), 26.6 / 3.0 - 17.7 / 3.0, 1e-12);
    }

    #[test]
    fn too_few_points_give_main_effects_or_are_refused() {
        let one_at_a_time = vec![vec![0, 0], vec![1, 0], vec![0, 1], vec![0, 2]];
        let design = Design::new(vec![2, 3], one_at_a_time).unwrap();
        let found = analyse(&design, &[1.0, 3.0, 2.0, 5.0]).unwrap();
        assert!(found.without_pairs && found.lines.len() == 2);
        close(found.lines[0].swing(), 2.0, 1e-12);
        close(found.lines[1].swing(), 4.0, 1e-12);

        let tied = Design::new(vec![2, 2], vec![vec![0, 0], vec![1, 1]]).unwrap();
        let error = analyse(&tied, &[1.0, 2.0]).unwrap_err();
        assert_eq!(
            error.to_string(),
            "2 points do not tell the effects of 2 factors apart"
        );
        assert!(Design::new(vec![2], vec![vec![2]]).is_err());
        assert!(Design::new(vec![2], vec![vec![0, 0]]).is_err());
        assert!(analyse(&tied, &[1.0]).is_err());
    }

    #[test]
    fn a_constant_response_has_no_variation() {
        let found = analyse(&factorial(&[2, 2], 1), &[3.0; 4]).unwrap();
        assert!(
            found
                .lines
                .iter()
                .all(|l| l.share == 0.0 && l.swing() < 1e-12)
        );
        close(found.mean, 3.0, 1e-12);
    }

    proptest! {
        /// A response put together from effects comes apart again, also where a point is missing.
        #[test]
        fn effects_are_found_again(
            a in prop::array::uniform2(-5.0..5.0f64),
            b in prop::array::uniform3(-5.0..5.0f64),
            c in prop::array::uniform2(-5.0..5.0f64),
            mixed in -5.0..5.0f64,
            missing in prop::option::of(0..12usize),
        ) {
            let whole = factorial(&[2, 3, 2], 1);
            let mut points = whole.points().to_vec();
            if let Some(k) = missing {
                points.remove(k);
            }
            let sign = |l: usize| if l == 0 { 1.0 } else { -1.0 };
            let values: Vec<f64> = points
                .iter()
                .map(|p| 10.0 + a[p[0]] + b[p[1]] + c[p[2]] + mixed * sign(p[0]) * sign(p[2]))
                .collect();
            let design = Design::new(vec![2, 3, 2], points).unwrap();
            let found = analyse(&design, &values).unwrap();
            let line = |term| found.lines.iter().find(|l| l.term == term).unwrap();
            let swing = |of: &[f64]| {
                of.iter().fold(f64::MIN, |m, v| m.max(*v)) - of.iter().fold(f64::MAX, |m, v| m.min(*v))
            };
            prop_assert!((line(Term::Main(0)).swing() - swing(&a)).abs() < 1e-9);
            prop_assert!((line(Term::Main(1)).swing() - swing(&b)).abs() < 1e-9);
            prop_assert!((line(Term::Main(2)).swing() - swing(&c)).abs() < 1e-9);
            prop_assert!((line(Term::Pair(0, 2)).swing() - 2.0 * mixed.abs()).abs() < 1e-9);
            prop_assert!(line(Term::Pair(0, 1)).swing() < 1e-9);
            prop_assert!(found.rest.squares < 1e-18);
        }
    }
}
