//! Sampled designs: points in the unit cube, drawn at random, by a Latin hypercube or by a scrambled Halton sequence.

use statrs::distribution::{ContinuousCDF, Normal};

/// Generator of uniform numbers: SplitMix64 (Steele, Lea, Flood 2014, OOPSLA, figure 14; constants from memory, checked
/// against its published first numbers). The same seed gives the same numbers everywhere.
struct Uniform(u64);

impl Uniform {
    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = self.0;
        let z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Number from 0 to below 1.
    fn number(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Permutation of 0 to below `count`, each equally likely (Fisher and Yates).
    fn permutation(&mut self, count: usize) -> Vec<usize> {
        let mut order: Vec<usize> = (0..count).collect();
        for last in (1..count).rev() {
            let other = (self.number() * (last + 1) as f64) as usize;
            order.swap(last, other);
        }
        order
    }
}

/// Independent uniform points: row by point, column by factor. More points keep the first ones.
pub fn random_points(points: usize, factors: usize, seed: u64) -> Vec<Vec<f64>> {
    let mut uniform = Uniform(seed);
    let row = |_| (0..factors).map(|_| uniform.number()).collect();
    (0..points).map(row).collect()
}

/// A Latin hypercube: each factor once in each of as many equal intervals as there are points (McKay, Beckman, Conover
/// 1979, Technometrics 21:239). Another number of points gives other points.
pub fn latin_hypercube(points: usize, factors: usize, seed: u64) -> Vec<Vec<f64>> {
    let mut uniform = Uniform(seed);
    let mut rows = vec![vec![]; points];
    for _ in 0..factors {
        let order = uniform.permutation(points);
        for (row, cell) in rows.iter_mut().zip(order) {
            row.push((cell as f64 + uniform.number()) / points as f64);
        }
    }
    rows
}

/// Bases of the Halton sequence: the first primes, one a factor.
const PRIMES: [u64; 16] = [2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53];

/// Most factors of a [`halton`] sequence.
pub const MOST_SEQUENCED: usize = PRIMES.len();

/// A Halton sequence (Halton 1960, Numer Math 2:84) whose digits are permuted at random, one permutation a base: it
/// fills the cube evenly, and more points keep the first ones. `None` beyond [`MOST_SEQUENCED`] factors.
pub fn halton(points: usize, factors: usize, seed: u64) -> Option<Vec<Vec<f64>>> {
    let bases = PRIMES.get(..factors)?;
    let mut uniform = Uniform(seed);
    // Zero stays zero: the digits that a number does not have are zeros without end.
    let digits: Vec<Vec<u64>> = bases
        .iter()
        .map(|base| {
            let order = uniform.permutation(*base as usize - 1);
            std::iter::once(0)
                .chain(order.into_iter().map(|d| d as u64 + 1))
                .collect()
        })
        .collect();
    let inverse = |index: u64, base: u64, digits: &[u64]| {
        let (mut left, mut scale, mut sum) = (index, 1.0, 0.0);
        while left > 0 {
            scale /= base as f64;
            sum += scale * digits[(left % base) as usize] as f64;
            left /= base;
        }
        sum
    };
    let row = |n: usize| {
        let axes = bases.iter().zip(&digits);
        axes.map(|(base, d)| inverse(n as u64 + 1, *base, d))
            .collect()
    };
    Some((0..points).map(row).collect())
}

/// Distribution of a number between two ends, as places from 0, the lower end, to 1, the upper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Between {
    /// Uniform.
    Uniform,
    /// Normal, cut off at the ends.
    Normal(CutNormal),
    /// Lognormal, cut off at the ends: the logarithm is normal.
    Lognormal(CutNormal),
}

/// Normal distribution cut off at two ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CutNormal {
    whole: Normal,
    ends: [f64; 2],
    /// Distribution function of the whole at the ends.
    below: [f64; 2],
}

/// Least probability of the whole distribution that must lie between the ends (a choice of this program).
const LEAST_INSIDE: f64 = 0.01;

impl CutNormal {
    fn new(mean: f64, sd: f64, ends: [f64; 2]) -> Option<CutNormal> {
        let whole = Normal::new(mean, sd).ok()?;
        let below = ends.map(|x| whole.cdf(x));
        let is_wide = ends.iter().all(|x| x.is_finite()) && below[1] - below[0] >= LEAST_INSIDE;
        is_wide.then_some(CutNormal { whole, ends, below })
    }

    fn quantile(&self, probability: f64) -> f64 {
        let [low, high] = self.below;
        let wanted = low + probability.clamp(0.0, 1.0) * (high - low);
        let [lower, upper] = self.ends;
        self.whole.inverse_cdf(wanted).clamp(lower, upper)
    }
}

impl Between {
    /// Normal of a mean and standard deviation before it is cut off at the ends; `None` where the ends are not in order, the
    /// deviation is not positive, or less than a hundredth of it lies between them.
    pub fn normal(mean: f64, sd: f64, ends: [f64; 2]) -> Option<Between> {
        let width = ends[1] - ends[0];
        (width > 0.0).then_some(())?;
        let cut = CutNormal::new((mean - ends[0]) / width, sd / width, [0.0, 1.0])?;
        Some(Between::Normal(cut))
    }

    /// Lognormal of a mean and standard deviation, both of the number itself before it is cut off at the ends; `None` as for
    /// [`Between::normal`], and where the lower end or the mean is not positive.
    pub fn lognormal(mean: f64, sd: f64, ends: [f64; 2]) -> Option<Between> {
        (ends[0] > 0.0 && ends[1] > ends[0] && mean > 0.0 && sd > 0.0).then_some(())?;
        // Variance and mean of the logarithm (closed form of the lognormal's moments).
        let variance = (1.0 + (sd / mean).powi(2)).ln();
        let middle = mean.ln() - 0.5 * variance;
        CutNormal::new(middle, variance.sqrt(), ends.map(f64::ln)).map(Between::Lognormal)
    }

    /// Quantile of a probability from 0 to 1: a place from 0, the lower end, to 1, the upper.
    pub fn quantile(self, probability: f64) -> f64 {
        match self {
            Between::Uniform => probability,
            Between::Normal(cut) => cut.quantile(probability),
            Between::Lognormal(cut) => {
                let [low, high] = cut.ends.map(f64::exp);
                let place = (cut.quantile(probability).exp() - low) / (high - low);
                place.clamp(0.0, 1.0)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_generator_gives_its_published_numbers() {
        // First numbers of seed 1234567, as implementations of SplitMix64 list them (from memory).
        let mut uniform = Uniform(1_234_567);
        let first: Vec<u64> = (0..3).map(|_| uniform.bits()).collect();
        let published = [
            6_457_827_717_110_365_317,
            3_203_168_211_198_807_973,
            9_817_491_932_198_370_423,
        ];
        assert_eq!(first, published);
    }

    #[test]
    fn a_latin_hypercube_has_every_interval_once_in_every_factor() {
        let rows = latin_hypercube(17, 4, 5);
        for factor in 0..4 {
            let mut cells: Vec<usize> = rows.iter().map(|r| (r[factor] * 17.0) as usize).collect();
            cells.sort_unstable();
            assert_eq!(cells, (0..17).collect::<Vec<_>>());
        }
        assert_ne!(rows, latin_hypercube(17, 4, 6));
    }

    #[test]
    fn sequences_grow_and_fill_the_cube_better_than_chance() {
        let short = halton(10, 6, 3).unwrap();
        let long = halton(512, 6, 3).unwrap();
        assert_eq!(long[..10], short[..]);
        assert_eq!(random_points(50, 6, 3)[..10], random_points(10, 6, 3)[..]);
        assert!(halton(5, MOST_SEQUENCED + 1, 0).is_none());
        // Mean of the product of 12 x² (1 − x) over the factors; its integral is 1.
        let mean = |rows: &[Vec<f64>]| {
            let of = |row: &Vec<f64>| {
                row.iter()
                    .map(|x| 12.0 * x * x * (1.0 - x))
                    .product::<f64>()
            };
            rows.iter().map(of).sum::<f64>() / rows.len() as f64
        };
        let error = |rows: &[Vec<f64>]| (mean(rows) - 1.0).abs();
        let by_chance: f64 = (0..20).map(|s| error(&random_points(512, 6, s))).sum();
        let by_sequence: f64 = (0..20).map(|s| error(&halton(512, 6, s).unwrap())).sum();
        assert!(by_sequence < 0.5 * by_chance, "{by_sequence} {by_chance}");
    }

    /// Mean and variance over the midpoints of 20 000 equal probabilities.
    fn moments(between: Between, [low, high]: [f64; 2]) -> [f64; 2] {
        let n = 20_000;
        let values = (0..n).map(|i| {
            let p = (f64::from(i) + 0.5) / f64::from(n);
            low + (high - low) * between.quantile(p)
        });
        let values: Vec<f64> = values.collect();
        let mean = values.iter().sum::<f64>() / f64::from(n);
        let squares = values.iter().map(|v| (v - mean).powi(2));
        [mean, squares.sum::<f64>() / f64::from(n)]
    }

    #[test]
    fn a_normal_factor_has_its_quantiles() {
        let normal = Between::normal(19.0, 1.0, [17.0, 21.0]).unwrap();
        assert!(normal.quantile(0.0).abs() < 1e-12 && (normal.quantile(1.0) - 1.0).abs() < 1e-12);
        assert!((normal.quantile(0.5) - 0.5).abs() < 1e-12);
        // A quarter of the way is one standard deviation below the middle: Φ(1) and Φ(2) of a handbook (Abramowitz and
        // Stegun 1964, table 26.1).
        let (one, two) = (0.841_344_746_068_543, 0.977_249_868_051_821);
        let below = (two - one) / (2.0 * two - 1.0);
        assert!((normal.quantile(below) - 0.25).abs() < 1e-10);
        assert_eq!(Between::Uniform.quantile(0.3), 0.3);
    }

    #[test]
    fn distributions_that_are_cut_off_have_the_moments_of_their_closed_forms() {
        use std::f64::consts::PI;
        let density = |z: f64| (-0.5 * z * z).exp() / (2.0 * PI).sqrt();
        let standard = Normal::new(0.0, 1.0).unwrap();
        let below = |z: f64| standard.cdf(z);
        // Truncated normal (Johnson, Kotz, Balakrishnan 1994, Continuous Univariate Distributions 1, 13.10; from memory).
        for (mean, sd, ends) in [(19.0, 1.2, [17.5, 22.0]), (16.0, 2.0, [17.0, 21.0])] {
            let [a, b] = ends.map(|x| (x - mean) / sd);
            let inside = below(b) - below(a);
            let shift = (density(a) - density(b)) / inside;
            let spread = 1.0 + (a * density(a) - b * density(b)) / inside - shift * shift;
            let wanted = [mean + sd * shift, sd * sd * spread];
            let found = moments(Between::normal(mean, sd, ends).unwrap(), ends);
            assert!((found[0] - wanted[0]).abs() < 1e-4, "{found:?} {wanted:?}");
            assert!(
                (found[1] / wanted[1] - 1.0).abs() < 1e-3,
                "{found:?} {wanted:?}"
            );
        }
        // Moments of a lognormal between its ends: E[x^k] = exp(kμ + k²s²/2) (Φ(b − ks) − Φ(a − ks)) / (Φ(b) − Φ(a)).
        let (mean, sd, ends): (f64, f64, _) = (17_000.0, 4000.0, [11_000.0, 26_000.0]);
        let s = (1.0 + (sd / mean).powi(2)).ln().sqrt();
        let mu = mean.ln() - 0.5 * s * s;
        let [a, b] = ends.map(|x: f64| (x.ln() - mu) / s);
        let raw = |k: f64| {
            let inside = (below(b - k * s) - below(a - k * s)) / (below(b) - below(a));
            (k * mu + 0.5 * k * k * s * s).exp() * inside
        };
        let wanted = [raw(1.0), raw(2.0) - raw(1.0).powi(2)];
        let found = moments(Between::lognormal(mean, sd, ends).unwrap(), ends);
        for (found, wanted) in found.iter().zip(wanted) {
            assert!((found / wanted - 1.0).abs() < 1e-3, "{found} {wanted}");
        }
    }

    #[test]
    fn distributions_that_cannot_be_are_none() {
        assert!(
            Between::normal(10.0, 1.0, [17.0, 21.0]).is_none(),
            "nothing lies between"
        );
        assert!(Between::normal(19.0, 0.0, [17.0, 21.0]).is_none());
        assert!(Between::normal(19.0, 1.0, [21.0, 17.0]).is_none());
        assert!(Between::lognormal(19.0, 1.0, [0.0, 21.0]).is_none());
    }
}
