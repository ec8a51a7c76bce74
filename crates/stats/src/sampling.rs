//! Sampled designs: points in the unit cube, drawn at random, by a Latin hypercube or by a scrambled Halton sequence.

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

/// Distribution of a factor between two ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Between {
    /// Uniform.
    Uniform,
    /// Normal about the middle, with its ends two standard deviations off, and cut off there.
    Normal,
}

impl Between {
    /// Quantile of a probability from 0 to 1: a place from 0, the lower end, to 1, the upper.
    pub fn quantile(self, probability: f64) -> f64 {
        match self {
            Between::Uniform => probability,
            Between::Normal => {
                let ends = [-ENDS, ENDS].map(normal_below);
                let wanted = ends[0] + probability * (ends[1] - ends[0]);
                // The distribution function rises without end: 60 halvings are exact to the last bit.
                let (mut low, mut high) = (-ENDS, ENDS);
                for _ in 0..60 {
                    let middle = 0.5 * (low + high);
                    match normal_below(middle) < wanted {
                        true => low = middle,
                        false => high = middle,
                    }
                }
                0.5 + 0.25 * (low + high) / ENDS
            }
        }
    }
}

/// Ends of a normal factor, in standard deviations.
const ENDS: f64 = 2.0;

/// Standard normal distribution function, 1/2 + φ(z) Σ z^(2k+1)/(1·3·5···(2k+1)) (Abramowitz and Stegun 1964, 26.2.11);
/// for |z| up to some 5.
fn normal_below(z: f64) -> f64 {
    let (mut term, mut sum) = (z, z);
    for k in 1..200 {
        term *= z * z / f64::from(2 * k + 1);
        sum += term;
        if term.abs() < 1e-18 {
            break;
        }
    }
    let density = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
    0.5 + density * sum
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

    #[test]
    fn a_normal_factor_has_its_quantiles() {
        // Φ(1) and Φ(1.96), handbook values (Abramowitz and Stegun 1964, table 26.1).
        assert!((normal_below(1.0) - 0.841_344_746_068_543).abs() < 1e-14);
        assert!((normal_below(1.96) - 0.975_002_104_851_78).abs() < 1e-13);
        let normal = Between::Normal;
        assert!(normal.quantile(0.0).abs() < 1e-14 && (normal.quantile(1.0) - 1.0).abs() < 1e-14);
        assert!((normal.quantile(0.5) - 0.5).abs() < 1e-15);
        // A quarter of the way is one standard deviation below the middle.
        let below =
            (normal_below(-1.0) - normal_below(-2.0)) / (normal_below(2.0) - normal_below(-2.0));
        assert!((normal.quantile(below) - 0.25).abs() < 1e-12);
        assert_eq!(Between::Uniform.quantile(0.3), 0.3);
    }
}
