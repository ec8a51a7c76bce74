//! Wanted edge lengths on a regular grid, from outside the mesher: an error estimate writes them.

use bicolumn_base::{Aabb, Vec3};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::hash::{DefaultHasher, Hash, Hasher};
use thiserror::Error;

/// Least edge that may be asked for, mm.
pub const LEAST_EDGE_MM: f64 = 0.1;

/// Most grid points: 64 MiB of sizes.
const MOST_POINTS: usize = 1 << 24;

/// Wanted edge length, mm, on a regular grid along the bone's axes.
///
/// In [`crate::Sizing`] it takes the place of the sizes by feature (`finest_mm` and its multiples).
/// What a valid mesh needs still binds: no cell wider than [`crate::Sizing::wall_ratio`] of a wall,
/// [`crate::Sizing::screw_ratio`] of a screw, a share of a plate's thickness or of a filled gap; and
/// the size grows no faster than [`crate::Sizing::growth`] from one point to the next. Lattice cells are
/// [`crate::Sizing::finest_mm`] times powers of two, so that an edge is up to twice as short as asked for.
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Plain", into = "Plain")]
pub struct SizeField {
    plain: Plain,
}

/// The field as files hold it.
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Plain {
    /// The first grid point.
    origin_mm: [f64; 3],
    /// Distance of neighbours, the same along all axes.
    spacing_mm: f64,
    /// Grid points along each axis.
    counts: [usize; 3],
    /// Wanted edge at each point, the first axis running fastest.
    sizes_mm: Vec<f32>,
}

/// Why a size field cannot be taken.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum SizeFieldError {
    /// Not a number, or a spacing that is not positive.
    #[error("a size field needs finite origins and a positive spacing, not {0} mm")]
    Grid(f64),
    /// Too few or too many points.
    #[error("a size field needs 2 points or more along each axis and at most {MOST_POINTS}, not {} x {} x {}", .0[0], .0[1], .0[2])]
    Counts([usize; 3]),
    /// Another number of sizes than of points.
    #[error("a size field of {points} points holds {sizes} sizes")]
    Length {
        /// Grid points.
        points: usize,
        /// Sizes.
        sizes: usize,
    },
    /// A size out of range.
    #[error("size {value} mm at point {at} of a size field: must be {LEAST_EDGE_MM} mm or more")]
    Size {
        /// Its number.
        at: usize,
        /// Value found.
        value: f32,
    },
}

impl SizeField {
    /// A field on a grid; `sizes_mm` run along the first axis fastest.
    ///
    /// # Errors
    /// [`SizeFieldError`]: what is wrong with the grid or a size.
    pub fn new(
        origin_mm: [f64; 3],
        spacing_mm: f64,
        counts: [usize; 3],
        sizes_mm: Vec<f32>,
    ) -> Result<SizeField, SizeFieldError> {
        Plain {
            origin_mm,
            spacing_mm,
            counts,
            sizes_mm,
        }
        .try_into()
    }

    /// A field that covers a box, each size asked at its grid point.
    ///
    /// # Errors
    /// As [`SizeField::new`].
    pub fn over(
        bounds: Aabb,
        spacing_mm: f64,
        mut size: impl FnMut(Vec3) -> f64,
    ) -> Result<SizeField, SizeFieldError> {
        let extent = bounds.max - bounds.min;
        let whole = |i: usize| (extent[i] / spacing_mm).ceil().max(1.0) as usize + 1;
        let counts = [0, 1, 2].map(whole);
        // Asked before any size: a grid that cannot be must not be walked.
        point_count(counts)?;
        let mut sizes = Vec::new();
        for k in 0..counts[2] {
            for j in 0..counts[1] {
                for i in 0..counts[0] {
                    let steps = Vec3::new(i as f64, j as f64, k as f64);
                    sizes.push(size(bounds.min + spacing_mm * steps) as f32);
                }
            }
        }
        SizeField::new(bounds.min.into(), spacing_mm, counts, sizes)
    }

    /// The box that the grid spans.
    pub fn bounds(&self) -> Aabb {
        let Plain {
            origin_mm,
            spacing_mm,
            counts,
            ..
        } = &self.plain;
        let min = Vec3::from(*origin_mm);
        let steps = Vec3::from(counts.map(|n| (n - 1) as f64));
        Aabb {
            min,
            max: min + *spacing_mm * steps,
        }
    }

    /// Distance of neighbouring grid points, mm.
    pub fn spacing_mm(&self) -> f64 {
        self.plain.spacing_mm
    }

    /// Least and greatest size, mm.
    pub fn range_mm(&self) -> [f64; 2] {
        let sizes = self.plain.sizes_mm.iter().map(|s| f64::from(*s));
        sizes.fold([f64::INFINITY, 0.0], |[least, most], s| {
            [least.min(s), most.max(s)]
        })
    }

    /// Wanted edge at a point, mm: linear between the eight grid points round it, beyond the grid as at
    /// its boundary.
    pub fn at(&self, x: Vec3) -> f64 {
        let p = &self.plain;
        let mut low = [0usize; 3];
        let mut share = [0.0; 3];
        for i in 0..3 {
            let last = (p.counts[i] - 1) as f64;
            let place = ((x[i] - p.origin_mm[i]) / p.spacing_mm).clamp(0.0, last);
            low[i] = (place as usize).min(p.counts[i] - 2);
            share[i] = place - low[i] as f64;
        }
        (0..8).fold(0.0, |sum, corner| {
            let up: [usize; 3] = std::array::from_fn(|i| corner >> i & 1);
            let weight: f64 = (0..3)
                .map(|i| if up[i] == 1 { share[i] } else { 1.0 - share[i] })
                .product();
            let [i, j, k] = std::array::from_fn(|i| low[i] + up[i]);
            let at = i + p.counts[0] * (j + p.counts[1] * k);
            sum + weight * f64::from(p.sizes_mm[at])
        })
    }

    /// All sizes by one factor, but none below [`LEAST_EDGE_MM`].
    pub fn scaled(&self, factor: f64) -> SizeField {
        let mut plain = self.plain.clone();
        for size in &mut plain.sizes_mm {
            *size = (*size * factor as f32).max(LEAST_EDGE_MM as f32);
        }
        SizeField { plain }
    }

    /// The field lowered until no size exceeds a neighbour's by more than `growth` mm a mm, the
    /// neighbours being the 26 round a point.
    pub fn limited(&self, growth: f64) -> SizeField {
        let mut plain = self.plain.clone();
        let counts = plain.counts.map(|n| n as isize);
        let index = |c: [isize; 3]| (c[0] + counts[0] * (c[1] + counts[1] * c[2])) as usize;
        let steps: Vec<([isize; 3], f32)> = (0..27)
            .map(|k| [k % 3 - 1, k / 3 % 3 - 1, k / 9 - 1])
            .filter(|d| *d != [0; 3])
            .map(|d| {
                let length = d.iter().map(|c| (c * c) as f64).sum::<f64>().sqrt();
                (d, (growth * plain.spacing_mm * length) as f32)
            })
            .collect();
        let sizes = &mut plain.sizes_mm;
        let mut forward = true;
        let mut still = 0;
        // Sweeps to and fro carry a small size through the grid; most fields settle after two.
        while still < 2 {
            let mut changed = false;
            for n in 0..sizes.len() as isize {
                let n = if forward {
                    n
                } else {
                    sizes.len() as isize - 1 - n
                };
                let at = [
                    n % counts[0],
                    n / counts[0] % counts[1],
                    n / (counts[0] * counts[1]),
                ];
                for (d, rise) in &steps {
                    let other: [isize; 3] = std::array::from_fn(|i| at[i] + d[i]);
                    if (0..3).any(|i| other[i] < 0 || other[i] >= counts[i]) {
                        continue;
                    }
                    let most = sizes[index(other)] + rise;
                    if sizes[n as usize] > most {
                        sizes[n as usize] = most;
                        changed = true;
                    }
                }
            }
            still = if changed { 0 } else { still + 1 };
            forward = !forward;
        }
        SizeField { plain }
    }
}

fn point_count(counts: [usize; 3]) -> Result<usize, SizeFieldError> {
    let product = counts.iter().try_fold(1usize, |n, c| n.checked_mul(*c));
    product
        .filter(|n| *n <= MOST_POINTS && counts.iter().all(|c| *c >= 2))
        .ok_or(SizeFieldError::Counts(counts))
}

impl TryFrom<Plain> for SizeField {
    type Error = SizeFieldError;

    fn try_from(plain: Plain) -> Result<SizeField, SizeFieldError> {
        let numbers = plain.origin_mm.iter().chain([&plain.spacing_mm]);
        if let Some(bad) = numbers.copied().find(|x| !x.is_finite()) {
            return Err(SizeFieldError::Grid(bad));
        }
        if plain.spacing_mm <= 0.0 {
            return Err(SizeFieldError::Grid(plain.spacing_mm));
        }
        let points = point_count(plain.counts)?;
        if plain.sizes_mm.len() != points {
            return Err(SizeFieldError::Length {
                points,
                sizes: plain.sizes_mm.len(),
            });
        }
        let fits = |s: f32| s.is_finite() && s >= LEAST_EDGE_MM as f32;
        match plain.sizes_mm.iter().position(|s| !fits(*s)) {
            Some(at) => Err(SizeFieldError::Size {
                at,
                value: plain.sizes_mm[at],
            }),
            None => Ok(SizeField { plain }),
        }
    }
}

impl From<SizeField> for Plain {
    fn from(field: SizeField) -> Plain {
        field.plain
    }
}

/// Digest of the field in a line: caches key meshes by it.
impl fmt::Debug for SizeField {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let p = &self.plain;
        let mut hasher = DefaultHasher::new();
        for size in &p.sizes_mm {
            size.to_bits().hash(&mut hasher);
        }
        write!(
            f,
            "SizeField({:?} {:?} {:?} {:016x})",
            p.origin_mm,
            p.spacing_mm,
            p.counts,
            hasher.finish()
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cube() -> Aabb {
        Aabb::around(&[Vec3::zeros(), Vec3::new(4.0, 6.0, 3.0)])
    }

    #[test]
    fn a_linear_size_is_met_everywhere_and_held_beyond_the_grid() {
        let linear = |x: Vec3| 1.0 + 0.25 * x.x + 0.5 * x.y + 0.125 * x.z;
        let field = SizeField::over(cube(), 1.5, linear).unwrap();
        assert_eq!(field.bounds().max, Vec3::new(4.5, 6.0, 3.0));
        for x in [
            Vec3::zeros(),
            Vec3::new(0.7, 5.9, 2.2),
            Vec3::new(4.5, 6.0, 3.0),
        ] {
            assert!((field.at(x) - linear(x)).abs() < 1e-6, "{x}");
        }
        let beyond = Vec3::new(-3.0, 7.0, 1.0);
        assert!((field.at(beyond) - linear(Vec3::new(0.0, 6.0, 1.0))).abs() < 1e-6);
        let [least, most] = field.range_mm();
        assert!((least - 1.0).abs() < 1e-6 && (most - 5.5).abs() < 1e-6);
    }

    #[test]
    fn a_small_size_spreads_at_the_growth_asked_for() {
        let spot = Vec3::new(1.0, 2.0, 1.0);
        let field = SizeField::over(cube(), 0.5, |x| if x == spot { 0.5 } else { 5.0 }).unwrap();
        let limited = field.limited(0.35);
        for (x, want) in [
            (spot, 0.5),
            (spot + Vec3::x(), 0.85),
            (spot + Vec3::repeat(1.0), 0.5 + 0.35 * 3f64.sqrt()),
            (Vec3::new(1.0, 6.0, 1.0), 0.5 + 0.35 * 4.0),
        ] {
            assert!(
                (limited.at(x) - want).abs() < 1e-5,
                "{x}: {}",
                limited.at(x)
            );
        }
        assert_eq!(limited.limited(0.35), limited);
    }

    #[test]
    fn what_is_no_field_is_refused() {
        let with =
            |spacing, counts, n, size| SizeField::new([0.0; 3], spacing, counts, vec![size; n]);
        assert!(with(1.0, [2, 2, 2], 8, 1.0).is_ok());
        assert!(matches!(
            with(0.0, [2, 2, 2], 8, 1.0),
            Err(SizeFieldError::Grid(_))
        ));
        assert!(matches!(
            with(f64::NAN, [2, 2, 2], 8, 1.0),
            Err(SizeFieldError::Grid(_))
        ));
        assert!(matches!(
            with(1.0, [2, 1, 2], 4, 1.0),
            Err(SizeFieldError::Counts(_))
        ));
        assert!(matches!(
            with(1.0, [usize::MAX, 2, 2], 4, 1.0),
            Err(SizeFieldError::Counts(_))
        ));
        assert!(matches!(
            with(1.0, [2, 2, 2], 7, 1.0),
            Err(SizeFieldError::Length { .. })
        ));
        for bad in [0.0, 0.05, -1.0, f32::NAN, f32::INFINITY] {
            assert!(matches!(
                with(1.0, [2, 2, 2], 8, bad),
                Err(SizeFieldError::Size { at: 0, .. })
            ));
        }
        let wide = Aabb::around(&[Vec3::zeros(), Vec3::repeat(1e9)]);
        assert!(SizeField::over(wide, 1.0, |_| 1.0).is_err());
    }

    #[test]
    fn another_size_shows_in_the_debug_form() {
        let of = |size| SizeField::over(cube(), 1.0, |_| size).unwrap();
        assert_eq!(format!("{:?}", of(1.0)), format!("{:?}", of(1.0)));
        assert_ne!(format!("{:?}", of(1.0)), format!("{:?}", of(1.25)));
    }
}
