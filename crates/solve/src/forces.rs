//! Nodal forces of an element from its nodal displacements, without its matrix.
//!
//! By barycentric coordinates the gradient of a ten-node tetrahedron's displacement is linear, whatever its edges: at
//! corner k it is 3 u_k along l_k and 4 u_km − u_m along every other l_m, and its values at the quadrature points (four,
//! with curved edges five or eight) are sums of those. There follow stress and, turned round, forces. The assembled
//! matrix would take 370 multiplications an element, each with a number of its own to be fetched.

use crate::element::{Inverted, slopes_from};
use crate::quadrature::{EIGHT, FIVE, FOUR, OTHER_OF_FIVE, OTHER_OF_FOUR, OTHERS_OF_EIGHT, Point};
use crate::shape::derivatives;
use bicolumn_base::{Mat3, Vec3};
use bicolumn_model::{Along, Elasticity};
use bicolumn_sparse::Aligned;
use bicolumn_sparse::kernel::Real;
use bicolumn_sparse::lanes::Lanes;

/// What an element's forces need of it, by `S` sets of gradients: one of a straight element, whose gradients are the
/// same at all its four quadrature points; five or eight with edges curved gently or strongly, one a point. Zero for
/// no element.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Shape<T, const S: usize> {
    /// √(|w| det J / 6) ∇l_m, m = 1, 2, 3, each with the point's [`share`]: `[set][m][axis]`.
    slopes: [[[T; 3]; 3]; S],
    lambda: T,
    mu: T,
}

/// What an axis of transverse isotropy adds.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Axis<T> {
    axis: [T; 3],
    alpha: T,
    shear: T,
    beta: T,
}

/// The quadrature rule that goes with so many sets of gradients.
fn rule<const S: usize>() -> &'static [Point] {
    match S {
        1 => &FOUR,
        5 => &FIVE,
        _ => &EIGHT,
    }
}

/// The fours of points towards the corners in a rule, by their coordinate of the other corners.
const fn fours<const S: usize>() -> &'static [f64] {
    match S {
        1 => &[OTHER_OF_FOUR],
        5 => &[OTHER_OF_FIVE],
        _ => &OTHERS_OF_EIGHT,
    }
}

/// Has the rule a point in the middle? It is the last, and its weight is negative.
const fn has_middle<const S: usize>() -> bool {
    S == 5
}

/// What the sums of corner values in [`Pack::slopes`] are to be multiplied with at a point.
fn share<const S: usize>(point: usize) -> f64 {
    let others = fours::<S>();
    others
        .get(point / 4)
        .map_or(0.25, |other| 1.0 - 4.0 * other)
}

/// Points at most.
const POINTS: usize = 8;

impl<T: Real, const S: usize> Shape<T, S> {
    /// No element.
    pub(crate) fn none() -> Self {
        Shape {
            slopes: [[[T::default(); 3]; 3]; S],
            lambda: T::default(),
            mu: T::default(),
        }
    }

    /// In another precision.
    pub(crate) fn rounded<U: Real>(&self) -> Shape<U, S> {
        let round = |v: T| U::from_f64(v.to_f64());
        Shape {
            slopes: self.slopes.map(|q| q.map(|m| m.map(round))),
            lambda: round(self.lambda),
            mu: round(self.mu),
        }
    }
}

/// How much an element's edges bend it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Curvature {
    /// Not at all.
    Straight,
    /// So little that the stiffness by [`FIVE`] points is positive.
    Gentle,
    /// More.
    Strong,
}

/// Up to which change of the Jacobian from the middle to the other four points of [`FIVE`], ‖J J₀⁻¹ − I‖, edges count as
/// gently curved. Over 110,000 elements of two constructs the energy of no deformation fell below 0.47 of what
/// [`FOURTEEN`](crate::quadrature::FOURTEEN) points give up to there; from 0.2 on some became negative.
const GENTLE: f64 = 0.15;

impl Curvature {
    /// Of an element.
    pub(crate) fn of(nodes: &[Vec3; 10]) -> Self {
        if crate::element::is_straight(nodes) {
            return Curvature::Straight;
        }
        let at = |(l, _): &Point| crate::element::jacobian(nodes, *l);
        let middle = at(&FIVE[4]).try_inverse();
        let change = |p: &Point| middle.map_or(f64::MAX, |m| (at(p) * m - Mat3::identity()).norm());
        if FIVE[..4].iter().all(|p| change(p) <= GENTLE) {
            Curvature::Gentle
        } else {
            Curvature::Strong
        }
    }
}

impl<const S: usize> Shape<f64, S> {
    /// From the nodes' positions.
    ///
    /// # Errors
    /// [`Inverted`] when det J is not positive at a quadrature point.
    pub(crate) fn new(nodes: &[Vec3; 10], elasticity: &Elasticity) -> Result<Self, Inverted> {
        let mut slopes = [[[0.0; 3]; 3]; S];
        for (q, (to, (l, weight))) in slopes.iter_mut().zip(rule::<S>()).enumerate() {
            let (gradients, det) = slopes_from(&crate::element::jacobian(nodes, *l));
            if det.is_nan() || det <= 0.0 {
                return Err(Inverted);
            }
            let scale = share::<S>(q) * (weight.abs() * det / 6.0).sqrt();
            *to = gradients.map(|g| (g * scale).into());
        }
        Ok(Shape {
            slopes,
            lambda: elasticity.lambda,
            mu: elasticity.mu,
        })
    }

    /// The law it follows, given what its axis adds.
    pub(crate) fn elasticity(&self, along: Option<Along>) -> Elasticity {
        Elasticity {
            lambda: self.lambda,
            mu: self.mu,
            along,
        }
    }

    /// Gradients of the ten shape functions at the quadrature points.
    #[inline(always)]
    pub(crate) fn gradients(&self) -> Gradients {
        let mut points = [[Vec3::zeros(); 10]; POINTS];
        for (q, (to, (l, _))) in points.iter_mut().zip(rule::<S>()).enumerate() {
            let set = if S == 1 { 0 } else { q };
            let slopes = self.slopes[set].map(|s| Vec3::from(s) / share::<S>(q));
            *to = derivatives(*l)
                .map(|d| (1..4).map(|m| slopes[m - 1] * (d[m] - d[0])).sum::<Vec3>());
        }
        Gradients {
            points,
            count: rule::<S>().len(),
            has_middle: has_middle::<S>(),
        }
    }
}

/// Gradients of the ten shape functions at an element's quadrature points, each times √(|w| det J / 6).
pub(crate) struct Gradients {
    points: [[Vec3; 10]; POINTS],
    count: usize,
    has_middle: bool,
}

impl Gradients {
    /// Point by point, with the sign of the point's weight.
    #[inline(always)]
    pub(crate) fn signed(&self) -> impl Iterator<Item = (f64, &[Vec3; 10])> + Clone {
        let points = self.points[..self.count].iter().enumerate();
        let negative = if self.has_middle {
            self.count - 1
        } else {
            POINTS
        };
        points.map(move |(q, g)| (if q == negative { -1.0 } else { 1.0 }, g))
    }

    /// Of functions a and b, times the sign.
    #[inline(always)]
    pub(crate) fn pairs(&self, a: usize, b: usize) -> impl Iterator<Item = (Vec3, Vec3)> {
        self.signed().map(move |(sign, g)| (sign * g[a], g[b]))
    }
}

impl Axis<f64> {
    pub(crate) fn new(along: &Along) -> Self {
        Axis {
            axis: along.axis.into(),
            alpha: along.alpha,
            shear: along.shear,
            beta: along.beta,
        }
    }

    pub(crate) fn along(&self) -> Along {
        Along {
            axis: self.axis.into(),
            alpha: self.alpha,
            shear: self.shear,
            beta: self.beta,
        }
    }

    /// Rounded.
    pub(crate) fn single(&self) -> Axis<f32> {
        Axis {
            axis: self.axis.map(|v| v as f32),
            alpha: self.alpha as f32,
            shear: self.shear as f32,
            beta: self.beta as f32,
        }
    }
}

/// The node between two corners, a corner itself where both are one.
const BETWEEN: [[usize; 4]; 4] = [[0, 4, 6, 7], [4, 1, 5, 8], [6, 5, 2, 9], [7, 8, 9, 3]];

/// Some elements, as many as fill the lanes.
pub(crate) struct Pack<'a, T, F, const S: usize> {
    pub(crate) shapes: &'a [Shape<T, S>],
    /// Of elements with an axis; none: isotropic ones.
    pub(crate) axes: Option<&'a [Axis<T>]>,
    /// Place in the vectors of an element's node.
    pub(crate) place: F,
}

/// Elements that fill lanes of so many numbers with pieces of `W`.
pub(crate) const fn pack_of<T, L: Lanes<T>, const W: usize>() -> usize {
    if W < L::N { L::N / W } else { 1 }
}

/// Derivatives by l₁, l₂, l₃ at the quadrature points: `[point][m][component]`.
type AtPoints<V> = [[[V; 3]; 3]; POINTS];

impl<T: Real, F: Fn(usize, usize) -> usize, const S: usize> Pack<'_, T, F, S> {
    /// y += K x of these elements.
    #[inline(always)]
    pub(crate) fn add_forces<L: Lanes<T>, const W: usize>(
        &self,
        l: L,
        x: &[Aligned<T, W>],
        y: &mut [Aligned<T, W>],
    ) {
        // Load cases beyond the lanes' number take another pass.
        for pass in 0..(W / L::N).max(1) {
            let mut d = self.slopes::<L, W>(l, x, pass);
            self.stresses::<L, W>(l, &mut d);
            self.add::<L, W>(l, &d, y, pass);
        }
    }

    /// A number of each element, for its lanes.
    #[inline(always)]
    fn each<L: Lanes<T>, const W: usize>(&self, l: L, number: impl Fn(usize) -> T) -> L::V {
        if W >= L::N {
            l.splat(number(0))
        } else {
            l.load::<W>(|e| [number(e); W], 0)
        }
    }

    /// What the sum of all corners' values counts beside the near one's in a four of points.
    #[inline(always)]
    fn beside<L: Lanes<T>>(l: L, four: usize) -> L::V {
        let other = fours::<S>()[four];
        l.splat(T::from_f64(other / (1.0 - 4.0 * other)))
    }

    /// Derivatives of the displacement by l₁, l₂, l₃ (with l₀ = 1 − the rest) at the quadrature points, over each
    /// point's [`share`].
    #[inline(always)]
    fn slopes<L: Lanes<T>, const W: usize>(
        &self,
        l: L,
        x: &[Aligned<T, W>],
        pass: usize,
    ) -> AtPoints<L::V> {
        let [zero, three, four] = [0.0, 3.0, 4.0].map(|v| l.splat(T::from_f64(v)));
        let mut d = [[[zero; 3]; 3]; POINTS];
        for c in 0..3 {
            let u: [L::V; 10] =
                std::array::from_fn(|a| l.load::<W>(|e| x[(self.place)(e, a)].0[c], pass));
            let own: [L::V; 4] = std::array::from_fn(|k| l.mul(three, u[k]));
            let middles: [L::V; 10] = std::array::from_fn(|a| l.mul(four, u[a]));
            let mut corner = [[zero; 3]; 4];
            for k in 0..4 {
                // By l_m as if the four were independent: 3 u_k, 4 u_km − u_m.
                let by = |m: usize| {
                    if m == k {
                        own[k]
                    } else {
                        l.sub(middles[BETWEEN[k][m]], u[m])
                    }
                };
                let by_first = by(0);
                corner[k] = std::array::from_fn(|m| l.sub(by(m + 1), by_first));
            }
            for m in 0..3 {
                let pair = |i: usize, j: usize| l.add(corner[i][m], corner[j][m]);
                let sum = l.add(pair(0, 1), pair(2, 3));
                for four in 0..fours::<S>().len() {
                    let beside = l.mul(Self::beside(l, four), sum);
                    for k in 0..4 {
                        d[4 * four + k][m][c] = l.add(corner[k][m], beside);
                    }
                }
                if has_middle::<S>() {
                    d[4][m][c] = sum;
                }
            }
        }
        d
    }

    /// From derivatives of the displacement to forces that work on them, in place; in the middle with the opposite
    /// sign.
    #[inline(always)]
    fn stresses<L: Lanes<T>, const W: usize>(&self, l: L, d: &mut AtPoints<L::V>) {
        let lambda = self.each::<L, W>(l, |e| self.shapes[e].lambda);
        let mu = self.each::<L, W>(l, |e| self.shapes[e].mu);
        let twice = l.add(mu, mu);
        let set = |q: usize| -> [[L::V; 3]; 3] {
            std::array::from_fn(|m| {
                std::array::from_fn(|r| self.each::<L, W>(l, |e| self.shapes[e].slopes[q][m][r]))
            })
        };
        let first = set(0);
        let points = 4 * fours::<S>().len() + usize::from(has_middle::<S>());
        for (q, d) in d[..points].iter_mut().enumerate() {
            let slopes = if S == 1 || q == 0 { first } else { set(q) };
            let mut g = [[lambda; 3]; 3];
            for c in 0..3 {
                for r in 0..3 {
                    let mut sum = l.mul(slopes[0][r], d[0][c]);
                    sum = l.mul_add(slopes[1][r], d[1][c], sum);
                    g[c][r] = l.mul_add(slopes[2][r], d[2][c], sum);
                }
            }
            let trace = l.add(l.add(g[0][0], g[1][1]), g[2][2]);
            let pressure = l.mul(lambda, trace);
            let mut stress = [[pressure; 3]; 3];
            for c in 0..3 {
                stress[c][c] = l.mul_add(twice, g[c][c], pressure);
            }
            for (a, b) in [(0, 1), (0, 2), (1, 2)] {
                stress[a][b] = l.mul(mu, l.add(g[a][b], g[b][a]));
                stress[b][a] = stress[a][b];
            }
            if let Some(axes) = self.axes {
                self.add_axis::<L, W>(l, axes, &g, trace, &mut stress);
            }
            for c in 0..3 {
                for m in 0..3 {
                    let mut sum = l.mul(slopes[m][0], stress[c][0]);
                    sum = l.mul_add(slopes[m][1], stress[c][1], sum);
                    d[m][c] = l.mul_add(slopes[m][2], stress[c][2], sum);
                }
            }
        }
    }

    /// What the axis a adds to the stress: α ((a·εa) I + tr ε a⊗a) + 2 m (a⊗εa + εa⊗a) + β (a·εa) a⊗a.
    #[inline(always)]
    fn add_axis<L: Lanes<T>, const W: usize>(
        &self,
        l: L,
        axes: &[Axis<T>],
        g: &[[L::V; 3]; 3],
        trace: L::V,
        stress: &mut [[L::V; 3]; 3],
    ) {
        let a: [L::V; 3] = std::array::from_fn(|c| self.each::<L, W>(l, |e| axes[e].axis[c]));
        let alpha = self.each::<L, W>(l, |e| axes[e].alpha);
        let shear = self.each::<L, W>(l, |e| axes[e].shear);
        let beta = self.each::<L, W>(l, |e| axes[e].beta);
        // 2 εa.
        let pulled: [L::V; 3] = std::array::from_fn(|r| {
            let twice = |c: usize| l.mul(a[c], l.add(g[r][c], g[c][r]));
            l.add(l.add(twice(0), twice(1)), twice(2))
        });
        let twice = l.add(
            l.add(l.mul(a[0], pulled[0]), l.mul(a[1], pulled[1])),
            l.mul(a[2], pulled[2]),
        );
        let stretch = l.mul(l.splat(T::from_f64(0.5)), twice);
        let pressure = l.mul(alpha, stretch);
        let along = l.mul_add(alpha, trace, l.mul(beta, stretch));
        for r in 0..3 {
            // (α tr ε + β a·εa) a_r a_c + m (p_r a_c + a_r p_c) with p = 2 εa.
            let own = l.mul_add(along, a[r], l.mul(shear, pulled[r]));
            let sheared = l.mul(shear, a[r]);
            for c in 0..3 {
                let sum = l.mul_add(own, a[c], l.mul(sheared, pulled[c]));
                stress[r][c] = l.add(stress[r][c], sum);
            }
            stress[r][r] = l.add(stress[r][r], pressure);
        }
    }

    /// Adds the forces of [`Pack::stresses`] to the nodes: [`Pack::slopes`] turned round.
    #[inline(always)]
    fn add<L: Lanes<T>, const W: usize>(
        &self,
        l: L,
        d: &AtPoints<L::V>,
        y: &mut [Aligned<T, W>],
        pass: usize,
    ) {
        let [zero, three, four] = [0.0, 3.0, 4.0].map(|v| l.splat(T::from_f64(v)));
        for c in 0..3 {
            let mut by = [[zero; 4]; 4];
            for m in 0..3 {
                let mut all = zero;
                for four in 0..fours::<S>().len() {
                    let at = |k: usize| d[4 * four + k][m][c];
                    let sum = l.add(l.add(at(0), at(1)), l.add(at(2), at(3)));
                    let beside = Self::beside(l, four);
                    all = if four > 0 {
                        l.mul_add(beside, sum, all)
                    } else if has_middle::<S>() {
                        l.mul_sub(beside, sum, d[4][m][c])
                    } else {
                        l.mul(beside, sum)
                    };
                    for k in 0..4 {
                        by[k][m + 1] = if four > 0 {
                            l.add(by[k][m + 1], at(k))
                        } else {
                            at(k)
                        };
                    }
                }
                for by in &mut by {
                    by[m + 1] = l.add(by[m + 1], all);
                }
            }
            for by in &mut by {
                by[0] = l.sub(zero, l.add(l.add(by[1], by[2]), by[3]));
            }
            let mut f = [zero; 10];
            for m in 0..4 {
                let [i, j, k] = [[1, 2, 3], [0, 2, 3], [0, 1, 3], [0, 1, 2]][m];
                let others = l.add(l.add(by[i][m], by[j][m]), by[k][m]);
                f[m] = l.mul_sub(three, by[m][m], others);
                for k in 0..m {
                    f[BETWEEN[k][m]] = l.mul(four, l.add(by[k][m], by[m][k]));
                }
            }
            for (a, f) in f.into_iter().enumerate() {
                for e in 0..pack_of::<T, L, W>() {
                    let to = &mut y[(self.place)(e, a)].0[c];
                    for k in 0..W.min(L::N) {
                        to[pass * L::N + k] += l.get(f, e * W + k);
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::element::{Element, forces, stiffness_from};
    use crate::shape::EDGES;
    use bicolumn_model::TransverseIsotropy;
    use bicolumn_sparse::lanes::{InLanes, Laned};

    fn nodes(bend: f64) -> [Vec3; 10] {
        let corners = [
            Vec3::new(0.1, 0.0, -0.2),
            Vec3::new(1.3, 0.2, 0.1),
            Vec3::new(0.2, 0.9, 0.3),
            Vec3::new(0.4, 0.3, 1.6),
        ];
        let mut n = [Vec3::zeros(); 10];
        n[..4].copy_from_slice(&corners);
        for (k, [i, j]) in EDGES.into_iter().enumerate() {
            let off = Vec3::new((k as f64).sin(), 0.3, (2.0 * k as f64).cos());
            n[4 + k] = 0.5 * (corners[i] + corners[j]) + bend * off;
        }
        n
    }

    struct Check<'a, const S: usize>(
        &'a [Shape<f64, S>; 4],
        Option<&'a [Axis<f64>; 4]>,
        &'a mut [Vec3; 10],
    );

    impl<const S: usize> InLanes<f64> for Check<'_, S> {
        fn run<L: Lanes<f64>>(self, l: L) {
            let x: Vec<Aligned<f64, 1>> = (0..10)
                .map(|a| Aligned([[u(a).x], [u(a).y], [u(a).z]]))
                .collect();
            let mut y = vec![Aligned([[0.0; 1]; 3]); 40];
            let mut long = x.clone();
            for _ in 0..3 {
                long.extend(x.iter().copied());
            }
            let pack = pack_of::<f64, L, 1>();
            Pack {
                shapes: &self.0[..pack],
                axes: self.1.map(|a| &a[..pack]),
                place: |e: usize, a: usize| 10 * e + a,
            }
            .add_forces::<L, 1>(l, &long, &mut y);
            for (a, f) in self.2.iter_mut().enumerate() {
                *f = Vec3::new(y[a].0[0][0], y[a].0[1][0], y[a].0[2][0]);
            }
        }
    }

    fn u(a: usize) -> Vec3 {
        Vec3::new((a as f64).sin(), (2.0 * a as f64).cos(), 0.1 * a as f64)
    }

    fn check<const S: usize>(bend: f64, law: &Elasticity) {
        let nodes = nodes(bend);
        let shape = Shape::<f64, S>::new(&nodes, law).unwrap();
        let exact = stiffness_from(&shape.gradients(), law);
        let exact = forces(&exact, &std::array::from_fn(u));
        let axis = law.along.as_ref().map(|a| [Axis::new(a); 4]);
        let mut got = [Vec3::zeros(); 10];
        f64::in_lanes::<1>(Check(&[shape; 4], axis.as_ref(), &mut got));
        let size = exact.iter().map(Vec3::norm).fold(0.0, f64::max);
        for (got, exact) in got.iter().zip(&exact) {
            assert!((got - exact).norm() < 1e-13 * size, "{got} {exact}");
        }
    }

    #[test]
    fn forces_are_those_of_the_element_s_matrix() {
        let bone = TransverseIsotropy::cortical().along(Vec3::new(0.3, -1.0, 0.5));
        for law in [Elasticity::isotropic(1000.0, 0.3), bone] {
            check::<1>(0.0, &law);
            check::<5>(0.05, &law);
            check::<8>(0.05, &law);
        }
    }

    #[test]
    fn all_rules_give_a_straight_element_the_same_stiffness() {
        let (nodes, law) = (nodes(0.0), Elasticity::isotropic(1000.0, 0.3));
        fn by<const S: usize>(nodes: &[Vec3; 10], law: &Elasticity) -> crate::element::Stiffness {
            stiffness_from(&Shape::<f64, S>::new(nodes, law).unwrap().gradients(), law)
        }
        let exact = by::<1>(&nodes, &law);
        for other in [by::<5>(&nodes, &law), by::<8>(&nodes, &law)] {
            for (a, b) in exact
                .as_flattened()
                .as_flattened()
                .iter()
                .zip(other.as_flattened().as_flattened())
            {
                assert!((a - b).abs() < 1e-11 * 1000.0, "{a} {b}");
            }
        }
    }

    /// Least and largest energy of a deformation by `S` points, over that by fourteen.
    fn energies<const S: usize>(nodes: &[Vec3; 10]) -> (f64, f64) {
        use nalgebra::DMatrix;
        let law = Elasticity::isotropic(1000.0, 0.3);
        let dense = |k: &crate::element::Stiffness| {
            DMatrix::from_fn(30, 30, |r, c| {
                let (a, b) = (r / 3, c / 3);
                let block = |a, b| k[crate::element::place(a, b)];
                if a <= b {
                    block(a, b)[r % 3][c % 3]
                } else {
                    block(b, a)[c % 3][r % 3]
                }
            })
        };
        let mut exact = DMatrix::<f64>::zeros(30, 30);
        for (l, w) in crate::quadrature::FOURTEEN {
            let (g, det) = Element::new(*nodes).gradients(l);
            for a in 0..10 {
                for b in 0..10 {
                    let pair = [(g[a] * (w * det / 6.0), g[b])];
                    let block = crate::element::block_of(pair.into_iter(), &law);
                    for r in 0..3 {
                        for c in 0..3 {
                            exact[(3 * a + r, 3 * b + c)] += block[r][c];
                        }
                    }
                }
            }
        }
        let shape = Shape::<f64, S>::new(nodes, &law).unwrap();
        let own = dense(&stiffness_from(&shape.gradients(), &law));
        let modes = exact.symmetric_eigen();
        let top = modes.eigenvalues.max();
        let deforming: Vec<usize> = (0..30)
            .filter(|k| modes.eigenvalues[*k] > 1e-9 * top)
            .collect();
        assert_eq!(deforming.len(), 24);
        let basis: DMatrix<f64> = DMatrix::from_fn(30, 24, |r, k| {
            let k = deforming[k];
            modes.eigenvectors[(r, k)] / f64::sqrt(modes.eigenvalues[k])
        });
        let share: nalgebra::DVector<f64> =
            (basis.transpose() * own * basis).symmetric_eigenvalues();
        (share.min(), share.max())
    }

    #[test]
    fn curved_elements_are_as_stiff_as_by_fourteen_points_or_nearly() {
        let mut state = 1u64;
        let mut random = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (state >> 40) as f64 / (1u64 << 23) as f64 - 1.0
        };
        let (mut gentle, mut strong) = (0, 0);
        for _ in 0..300 {
            let corners = [[0.0; 3], [1.0, 0.0, 0.0], [0.5, 0.9, 0.0], [0.5, 0.3, 0.8]];
            let corners =
                corners.map(|x| Vec3::from(x) + 0.25 * Vec3::new(random(), random(), random()));
            let mut nodes = [Vec3::zeros(); 10];
            nodes[..4].copy_from_slice(&corners);
            let bend = 0.1 * random().abs();
            for (k, [i, j]) in EDGES.into_iter().enumerate() {
                let off = bend * Vec3::new(random(), random(), random());
                nodes[4 + k] = 0.5 * (corners[i] + corners[j]) + off;
            }
            let dets = crate::quadrature::FOURTEEN.map(|(l, _)| Element::new(nodes).gradients(l).1);
            if dets.into_iter().fold(f64::MAX, f64::min) < 0.1 {
                continue;
            }
            let ((least, most), count, lowest, highest) = match Curvature::of(&nodes) {
                Curvature::Gentle => (energies::<5>(&nodes), &mut gentle, 0.4, 1.1),
                _ => (energies::<8>(&nodes), &mut strong, 0.2, 3.0),
            };
            *count += 1;
            assert!(least > lowest && most < highest, "{least} {most} {nodes:?}");
        }
        assert!(gentle > 50 && strong > 50, "{gentle} {strong}");
    }
}
