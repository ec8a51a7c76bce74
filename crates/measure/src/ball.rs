//! Mean von Mises stress over small balls of material: the hot-spot measure.
//!
//! The ball has the radius [`RADIUS_MM`]: centred on a flat free surface, its inner half holds
//! exactly 1 mm³ of material. It is filled with a fixed cubic pattern of points, 0.2 mm apart and
//! fixed to the bone frame; the points that lie in a tetrahedron of the asked part carry equal
//! volumes, the others (void, other parts) carry none. The mean is over the former, so the volume
//! averaged over is the ball's content of that part, and does not depend on the size of the
//! tetrahedra. Balls that hold less than [`LEAST_VOLUME_MM3`] are not counted.

use crate::locator::Locator;
use crate::recovered::RecoveredStress;
use bicolumn_base::{SymTensor, Vec3};
use bicolumn_solve::StressField;
use bicolumn_solve::shape::values;
use std::collections::BTreeMap;

/// Radius of the ball: (3 / 2π)^⅓ mm.
pub(crate) const RADIUS_MM: f64 = 0.781_592_641_796_772;
/// A ball with less material than this, mm³, says nothing.
pub(crate) const LEAST_VOLUME_MM3: f64 = 0.25;
/// Spacing of the points in the ball, mm.
const SPACING_MM: f64 = 0.2;

/// A value, MPa or a ratio, and the place where it was found.
pub(crate) type Found = (f64, Vec3);

/// Mean stress in one ball.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct BallMean {
    /// Volume of the part inside the ball, mm³.
    pub(crate) volume_mm3: f64,
    /// Mean von Mises stress by load case, MPa; `None` where the ball holds too little.
    pub(crate) mises_mpa: Option<Vec<f64>>,
}

/// Points of the cube round a ball, along each of its edges.
const ACROSS: usize = 2 * (RADIUS_MM / SPACING_MM + 1.0) as usize;

/// A coordinate of the pattern's points, relative to the centre, mm.
fn coordinate(index: usize) -> f64 {
    (index as f64 + 0.5 - 0.5 * ACROSS as f64) * SPACING_MM
}

/// The points that fill a ball, by their indices in the cube round it, in fixed order.
pub(crate) fn pattern() -> Vec<[usize; 3]> {
    let mut points = Vec::new();
    for i in 0..ACROSS {
        for j in 0..ACROSS {
            for k in 0..ACROSS {
                if point([i, j, k]).norm() < RADIUS_MM {
                    points.push([i, j, k]);
                }
            }
        }
    }
    points
}

/// A point of the pattern, relative to the centre, mm.
pub(crate) fn point(index: [usize; 3]) -> Vec3 {
    Vec3::from(index.map(coordinate))
}

fn place([i, j, k]: [usize; 3]) -> usize {
    (i * ACROSS + j) * ACROSS + k
}

/// Indices of the coordinates from `low` to `high`, relative to the centre, with room for rounding.
fn within(low: f64, high: f64) -> std::ops::Range<usize> {
    let index = |x: f64| x / SPACING_MM + 0.5 * ACROSS as f64 - 0.5;
    let from = (index(low) - 1e-6).ceil().max(0.0) as usize;
    let to = (index(high) + 1e-6).floor() + 1.0;
    from..(to.max(0.0) as usize).min(ACROSS)
}

/// Points that a ball is filled with.
#[derive(Clone, Copy, PartialEq)]
enum Points {
    /// Points of the pattern alone.
    Pattern,
    /// All points of the cube round it.
    Cube,
}

/// Fills balls of one set of tetrahedra with points and averages all stress fields over them.
pub(crate) struct BallFiller<'a> {
    locator: &'a mut Locator,
    stress: &'a RecoveredStress,
    pattern: Vec<[usize; 3]>,
    /// For each point of the cube: whether it is one of the pattern.
    is_of_pattern: Vec<bool>,
    /// For each point of the cube: the tetrahedron it lies in and where.
    found: Vec<Option<(u32, [f64; 4])>>,
    /// Size of the ball over that of the standard one.
    scale: f64,
    /// Tetrahedron and barycentric coordinates of each point inside the present ball.
    inside: Vec<(u32, [f64; 4])>,
}

impl<'a> BallFiller<'a> {
    pub(crate) fn new(locator: &'a mut Locator, stress: &'a RecoveredStress) -> Self {
        Self::scaled(locator, stress, 1.0)
    }

    /// Balls whose radius, spacing of points and least content are those of the standard ball scaled.
    pub(crate) fn scaled(
        locator: &'a mut Locator,
        stress: &'a RecoveredStress,
        scale: f64,
    ) -> Self {
        let pattern = pattern();
        let mut is_of_pattern = vec![false; ACROSS * ACROSS * ACROSS];
        pattern.iter().for_each(|p| is_of_pattern[place(*p)] = true);
        BallFiller {
            locator,
            stress,
            scale,
            pattern,
            is_of_pattern,
            found: vec![None; ACROSS * ACROSS * ACROSS],
            inside: Vec::new(),
        }
    }

    /// How the mean round a centre changes with the stress at part-nodes, by part-node: it grows by
    /// Σ G : δσ. Tensors G of no unit, those of 3 s / (2 σ_v) of the points, s the deviator and σ_v the von Mises
    /// stress of a field.
    pub(crate) fn slope(&mut self, centre: Vec3, case: usize) -> Vec<(u32, SymTensor)> {
        self.fill(centre, Points::Pattern);
        let values = &self.stress.fields[case].values;
        let mut slope: BTreeMap<u32, SymTensor> = BTreeMap::new();
        for (nodes, weights) in self.nodes_inside() {
            let s = stress_at(values, &nodes, &weights);
            let (mises, p) = (s.von_mises(), s.trace() / 3.0);
            if mises == 0.0 {
                continue;
            }
            let deviator = s - SymTensor::new(p, p, p, 0.0, 0.0, 0.0);
            let own = deviator * (1.5 / mises / self.inside.len() as f64);
            for (n, w) in nodes.into_iter().zip(weights) {
                let at = slope.entry(n).or_insert_with(SymTensor::zeros);
                *at = *at + own * w;
            }
        }
        slope.into_iter().collect()
    }

    /// Part-nodes and their weights at each point inside the present ball.
    fn nodes_inside(&self) -> impl Iterator<Item = ([u32; 10], [f64; 10])> {
        let of_tet = &self.stress.part_nodes.of_tet;
        let points = self.inside.iter();
        points.map(|(tet, l)| (of_tet[*tet as usize], values(*l)))
    }

    /// Finds the points inside the ball. Costs a test of each point against the tetrahedra whose boxes hold it.
    fn fill(&mut self, centre: Vec3, points: Points) {
        self.inside.clear();
        self.found.fill(None);
        let scale = self.scale;
        let radius = RADIUS_MM * scale;
        self.locator.open(centre, radius);
        for candidate in self.locator.candidates() {
            if points == Points::Pattern && candidate.reached(centre, radius).is_none() {
                continue;
            }
            let [x, y, z] = [0, 1, 2].map(|c| {
                let bounds = candidate.bounds();
                let [low, high] = [bounds.min[c], bounds.max[c]].map(|x| (x - centre[c]) / scale);
                within(low, high)
            });
            for i in x {
                for j in y.clone() {
                    let first = centre + point([i, j, 0]) * scale;
                    let (low, high) = candidate.along_z(first, SPACING_MM * scale);
                    let from = (low - 1e-6).ceil().max(z.start as f64) as usize;
                    let to = ((high + 1e-6).floor() + 1.0).min(z.end as f64) as usize;
                    for k in from..to {
                        let at = place([i, j, k]);
                        let is_wanted = points == Points::Cube || self.is_of_pattern[at];
                        let found = &mut self.found[at];
                        if is_wanted && found.is_none() {
                            *found = candidate.holds(centre + point([i, j, k]) * scale);
                        }
                    }
                }
            }
        }
        let of_pattern = self.pattern.iter().map(|p| self.found[place(*p)]);
        self.inside.extend(of_pattern.flatten());
    }

    /// Mean in the ball round a centre. Costs one interpolation for each point inside and each field.
    pub(crate) fn mean(&mut self, centre: Vec3) -> BallMean {
        let fields: Vec<&StressField> = self.stress.fields.iter().collect();
        self.fill(centre, Points::Pattern);
        self.mean_of(&fields)
    }

    /// Mean in the present ball of some fields.
    pub(crate) fn mean_of(&self, fields: &[&StressField]) -> BallMean {
        let mises_mpa = self.holds_enough().then(|| {
            let mut sums = vec![0.0; fields.len()];
            for (nodes, weights) in self.nodes_inside() {
                for (sum, field) in sums.iter_mut().zip(fields) {
                    *sum += stress_at(&field.values, &nodes, &weights).von_mises();
                }
            }
            let count = self.inside.len() as f64;
            sums.into_iter().map(|sum| sum / count).collect()
        });
        BallMean {
            volume_mm3: self.volume_mm3(),
            mises_mpa,
        }
    }

    /// Fills the ball round a centre; gives tetrahedron and barycentric coordinates of each point inside, none where
    /// the ball holds too little.
    pub(crate) fn points(&mut self, centre: Vec3) -> &[(u32, [f64; 4])] {
        self.fill(centre, Points::Pattern);
        if self.holds_enough() {
            &self.inside
        } else {
            &[]
        }
    }

    /// Mean stress tensor in the ball round a centre in one load case, and a tetrahedron that holds part of the ball;
    /// `None` where the ball holds too little.
    pub(crate) fn tensor(&mut self, centre: Vec3, case: usize) -> Option<(SymTensor, usize)> {
        self.fill(centre, Points::Cube);
        if !self.holds_enough() {
            return None;
        }
        let values = &self.stress.fields[case].values;
        let points = self.nodes_inside();
        let sum = points.fold(SymTensor::zeros(), |s, (n, w)| {
            s + stress_at(values, &n, &w)
        });
        let tet = self.found.iter().flatten().next()?.0;
        Some((sum * (1.0 / self.inside.len() as f64), tet as usize))
    }

    fn volume_mm3(&self) -> f64 {
        let ball = 4.0 / 3.0 * std::f64::consts::PI * (RADIUS_MM * self.scale).powi(3);
        self.inside.len() as f64 * (ball / self.pattern.len() as f64)
    }

    fn holds_enough(&self) -> bool {
        self.volume_mm3() >= LEAST_VOLUME_MM3 * self.scale.powi(3)
    }
}

fn stress_at(values: &[SymTensor], nodes: &[u32; 10], weights: &[f64; 10]) -> SymTensor {
    let terms = nodes.iter().zip(weights);
    terms.fold(SymTensor::zeros(), |s, (&n, w)| s + values[n as usize] * *w)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_mesh::one_tet;
    use bicolumn_solve::PartNodes;

    #[test]
    fn the_mean_changes_as_its_slope_says() {
        let mesh = one_tet();
        let part_nodes = PartNodes::of(&mesh);
        let field = |k: f64| StressField {
            values: (0..10)
                .map(|n| {
                    let n = f64::from(n);
                    SymTensor::new(9.0, -2.0 * n, 4.0, n, 3.0, -1.0)
                        + SymTensor::new(n, 1.0, -n, 2.0, 0.5 * n, 3.0) * k
                })
                .collect(),
        };
        let stress = RecoveredStress {
            part_nodes,
            fields: vec![field(0.0), field(1e-5)],
        };
        let mut locator = Locator::new(&mesh, |_| true);
        let mut filler = BallFiller::new(&mut locator, &stress);
        let slope = filler.slope(Vec3::repeat(0.25), 0);
        let mean = |field: &StressField| {
            let points = filler.nodes_inside();
            let all = points.map(|(n, w)| stress_at(&field.values, &n, &w).von_mises());
            all.sum::<f64>() / filler.inside.len() as f64
        };
        let [before, after] = [0, 1].map(|k| &stress.fields[k]);
        let grown = mean(after) - mean(before);
        let told: f64 = slope
            .iter()
            .map(|(n, g)| {
                let by = after.values[*n as usize] - before.values[*n as usize];
                g.to_matrix().component_mul(&by.to_matrix()).sum()
            })
            .sum();
        assert!(
            grown.abs() > 1e-6 && (told / grown - 1.0).abs() < 1e-4,
            "{told} {grown}"
        );
    }

    #[test]
    fn half_the_ball_is_one_cubic_millimetre() {
        let volume = 4.0 / 3.0 * std::f64::consts::PI * RADIUS_MM.powi(3);
        assert!((volume - 2.0).abs() < 1e-12);
        let pattern = pattern();
        // The pattern is symmetric, so a plane through the centre halves it.
        let above = pattern.iter().filter(|p| point(**p).y > 0.0).count();
        assert_eq!(2 * above, pattern.len());
        assert!(pattern.len() > 200, "{}", pattern.len());
    }
}
