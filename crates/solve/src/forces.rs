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

/// What the sums of corner values in [`Pack::at_points`] are to be multiplied with at a point.
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

/// Nine vectors: of three components, each along l₁, l₂, l₃ or three axes.
type Nine<V> = [[V; 3]; 3];

/// Nine of an expression of two indices. A macro, since a closure may not be compiled for the lanes.
macro_rules! nine {
    ($l:ident, $c:ident, $m:ident, $value:expr) => {{
        let mut out = [[$l.splat(T::default()); 3]; 3];
        for $c in 0..3 {
            for $m in 0..3 {
                out[$c][$m] = $value;
            }
        }
        out
    }};
}

/// Sum of four.
#[inline(always)]
fn sum_of<T: Real, L: Lanes<T>>(l: L, of: &[Nine<L::V>; 4]) -> Nine<L::V> {
    let [a, b, c, d] = of;
    nine!(
        l,
        i,
        m,
        l.add(l.add(a[i][m], b[i][m]), l.add(c[i][m], d[i][m]))
    )
}

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
            let corners = self.corners::<L, W>(l, x, pass);
            let forces = self.at_points::<L, W>(l, &corners);
            self.add::<L, W>(l, &forces, y, pass);
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

    /// Derivatives of the displacement by l₁, l₂, l₃ (with l₀ = 1 − the rest) at the corners.
    #[inline(always)]
    fn corners<L: Lanes<T>, const W: usize>(
        &self,
        l: L,
        x: &[Aligned<T, W>],
        pass: usize,
    ) -> [Nine<L::V>; 4] {
        let u = [
            self.component::<L, W>(l, x, 0, pass),
            self.component::<L, W>(l, x, 1, pass),
            self.component::<L, W>(l, x, 2, pass),
        ];
        [
            self.corner::<L>(l, &u, 0),
            self.corner::<L>(l, &u, 1),
            self.corner::<L>(l, &u, 2),
            self.corner::<L>(l, &u, 3),
        ]
    }

    /// A component of the nodes' displacements: at corners as it is, in the middles of edges four times.
    #[inline(always)]
    fn component<L: Lanes<T>, const W: usize>(
        &self,
        l: L,
        x: &[Aligned<T, W>],
        c: usize,
        pass: usize,
    ) -> [L::V; 10] {
        let four = l.splat(T::from_f64(4.0));
        macro_rules! at {
            ($a:literal) => {
                l.load::<W>(|e| x[(self.place)(e, $a)].0[c], pass)
            };
        }
        [
            at!(0),
            at!(1),
            at!(2),
            at!(3),
            l.mul(four, at!(4)),
            l.mul(four, at!(5)),
            l.mul(four, at!(6)),
            l.mul(four, at!(7)),
            l.mul(four, at!(8)),
            l.mul(four, at!(9)),
        ]
    }

    /// At corner k.
    #[inline(always)]
    fn corner<L: Lanes<T>>(&self, l: L, u: &[[L::V; 10]; 3], k: usize) -> Nine<L::V> {
        nine!(
            l,
            c,
            m,
            l.sub(Self::by(l, &u[c], k, m + 1), Self::by(l, &u[c], k, 0))
        )
    }

    /// By l_m at corner k as if the four were independent: 3 u_k, 4 u_km − u_m.
    #[inline(always)]
    fn by<L: Lanes<T>>(l: L, u: &[L::V; 10], k: usize, m: usize) -> L::V {
        if m == k {
            l.mul(l.splat(T::from_f64(3.0)), u[k])
        } else {
            l.sub(u[BETWEEN[k][m]], u[m])
        }
    }

    /// What the sum of all corners' values counts beside the near one's in a four of points.
    #[inline(always)]
    fn beside<L: Lanes<T>>(l: L, four: usize) -> L::V {
        let other = fours::<S>()[four];
        l.splat(T::from_f64(other / (1.0 - 4.0 * other)))
    }

    /// From derivatives of the displacement at the corners to forces that work on them: the derivatives at the
    /// quadrature points, over each point's [`share`], stress, forces there, and their sums.
    #[inline(always)]
    fn at_points<L: Lanes<T>, const W: usize>(
        &self,
        l: L,
        corners: &[Nine<L::V>; 4],
    ) -> [Nine<L::V>; 4] {
        let sum = sum_of(l, corners);
        let first = self.four::<L, W>(l, corners, &sum, 0);
        let all = sum_of(l, &first);
        let beside = Self::beside(l, 0);
        if S == 8 {
            let second = self.four::<L, W>(l, corners, &sum, 1);
            let more = sum_of(l, &second);
            let beyond = Self::beside(l, 1);
            let all = nine!(
                l,
                c,
                m,
                l.mul_add(beside, all[c][m], l.mul(beyond, more[c][m]))
            );
            macro_rules! both {
                ($k:literal) => {
                    nine!(
                        l,
                        c,
                        m,
                        l.add(l.add(first[$k][c][m], second[$k][c][m]), all[c][m])
                    )
                };
            }
            return [both!(0), both!(1), both!(2), both!(3)];
        }
        let all = if has_middle::<S>() {
            // Its weight is negative.
            let middle = self.forces::<L, W>(l, 4, &sum);
            nine!(l, c, m, l.mul_sub(beside, all[c][m], middle[c][m]))
        } else {
            nine!(l, c, m, l.mul(beside, all[c][m]))
        };
        macro_rules! with {
            ($k:literal) => {
                nine!(l, c, m, l.add(first[$k][c][m], all[c][m]))
            };
        }
        [with!(0), with!(1), with!(2), with!(3)]
    }

    /// Forces at a four of points.
    #[inline(always)]
    fn four<L: Lanes<T>, const W: usize>(
        &self,
        l: L,
        corners: &[Nine<L::V>; 4],
        sum: &Nine<L::V>,
        four: usize,
    ) -> [Nine<L::V>; 4] {
        let beside = Self::beside(l, four);
        let sum = nine!(l, c, m, l.mul(beside, sum[c][m]));
        if S == 8 {
            // In a loop, and slower: few elements are so curved, and written out it takes the compiler long.
            let mut forces = *corners;
            for (k, to) in forces.iter_mut().enumerate() {
                let d = nine!(l, c, m, l.add(to[c][m], sum[c][m]));
                *to = self.forces::<L, W>(l, 4 * four + k, &d);
            }
            return forces;
        }
        macro_rules! at {
            ($k:literal) => {{
                let d = nine!(l, c, m, l.add(corners[$k][c][m], sum[c][m]));
                self.forces::<L, W>(l, $k, &d)
            }};
        }
        // Written out: a loop would clear an array at each element, a tenth of the time.
        [at!(0), at!(1), at!(2), at!(3)]
    }

    /// Forces at one point.
    #[inline(always)]
    fn forces<L: Lanes<T>, const W: usize>(
        &self,
        l: L,
        point: usize,
        d: &Nine<L::V>,
    ) -> Nine<L::V> {
        let lambda = self.each::<L, W>(l, |e| self.shapes[e].lambda);
        let mu = self.each::<L, W>(l, |e| self.shapes[e].mu);
        let twice = l.add(mu, mu);
        let set = if S == 1 { 0 } else { point };
        let slopes = nine!(
            l,
            m,
            r,
            self.each::<L, W>(l, |e| self.shapes[e].slopes[set][m][r])
        );
        let g = nine!(l, c, r, {
            let sum = l.mul(slopes[0][r], d[c][0]);
            let sum = l.mul_add(slopes[1][r], d[c][1], sum);
            l.mul_add(slopes[2][r], d[c][2], sum)
        });
        let trace = l.add(l.add(g[0][0], g[1][1]), g[2][2]);
        let pressure = l.mul(lambda, trace);
        let mut stress = nine!(l, a, b, {
            if a == b {
                l.mul_add(twice, g[a][b], pressure)
            } else {
                l.mul(mu, l.add(g[a][b], g[b][a]))
            }
        });
        if let Some(axes) = self.axes {
            self.add_axis::<L, W>(l, axes, &g, trace, &mut stress);
        }
        nine!(l, c, m, {
            let sum = l.mul(slopes[m][0], stress[c][0]);
            let sum = l.mul_add(slopes[m][1], stress[c][1], sum);
            l.mul_add(slopes[m][2], stress[c][2], sum)
        })
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
        let mut a = [trace; 3];
        for c in 0..3 {
            a[c] = self.each::<L, W>(l, |e| axes[e].axis[c]);
        }
        let alpha = self.each::<L, W>(l, |e| axes[e].alpha);
        let shear = self.each::<L, W>(l, |e| axes[e].shear);
        let beta = self.each::<L, W>(l, |e| axes[e].beta);
        // 2 εa.
        let mut pulled = [trace; 3];
        for r in 0..3 {
            let twice = |c: usize| l.mul(a[c], l.add(g[r][c], g[c][r]));
            pulled[r] = l.add(l.add(twice(0), twice(1)), twice(2));
        }
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

    /// Adds the forces to the nodes: [`Pack::corners`] turned round.
    #[inline(always)]
    fn add<L: Lanes<T>, const W: usize>(
        &self,
        l: L,
        forces: &[Nine<L::V>; 4],
        y: &mut [Aligned<T, W>],
        pass: usize,
    ) {
        let zero = l.splat(T::default());
        let three = l.splat(T::from_f64(3.0));
        let four = l.splat(T::from_f64(4.0));
        for c in 0..3 {
            macro_rules! by {
                ($k:literal) => {{
                    let [a, b, d] = forces[$k][c];
                    [l.sub(zero, l.add(l.add(a, b), d)), a, b, d]
                }};
            }
            let by = [by!(0), by!(1), by!(2), by!(3)];
            macro_rules! corner {
                ($m:literal, $i:literal, $j:literal, $k:literal) => {{
                    let others = l.add(l.add(by[$i][$m], by[$j][$m]), by[$k][$m]);
                    l.mul_sub(three, by[$m][$m], others)
                }};
            }
            macro_rules! middle {
                ($k:literal, $m:literal) => {
                    l.mul(four, l.add(by[$k][$m], by[$m][$k]))
                };
            }
            let f = [
                corner!(0, 1, 2, 3),
                corner!(1, 0, 2, 3),
                corner!(2, 0, 1, 3),
                corner!(3, 0, 1, 2),
                middle!(0, 1),
                middle!(1, 2),
                middle!(0, 2),
                middle!(0, 3),
                middle!(1, 3),
                middle!(2, 3),
            ];
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
    use crate::element::tests::dense;
    use crate::element::{Element, Stiffness, block_of, forces, stiffness_from};
    use crate::quadrature::FOURTEEN;
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
        fn by<const S: usize>(nodes: &[Vec3; 10], law: &Elasticity) -> Stiffness {
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
        let mut exact = DMatrix::<f64>::zeros(30, 30);
        for (l, w) in FOURTEEN {
            let (g, det) = Element::new(*nodes).gradients(l);
            for a in 0..10 {
                for b in 0..10 {
                    let pair = [(g[a] * (w * det / 6.0), g[b])];
                    let block = block_of(pair.into_iter(), &law);
                    for r in 0..3 {
                        for c in 0..3 {
                            exact[(3 * a + r, 3 * b + c)] += block[r][c];
                        }
                    }
                }
            }
        }
        let shape = Shape::<f64, S>::new(nodes, &law).unwrap();
        let own: DMatrix<f64> = dense(&stiffness_from(&shape.gradients(), &law));
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
            let dets = FOURTEEN.map(|(l, _)| Element::new(nodes).gradients(l).1);
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
