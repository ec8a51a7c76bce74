//! Nodal forces of an element from its nodal displacements, without its matrix.
//!
//! By barycentric coordinates the gradient of a ten-node tetrahedron's displacement is linear, whatever its edges: at
//! corner k it is 3 u_k along l_k and 4 u_km − u_m along every other l_m, and its values at the quadrature points (four
//! or, with curved edges, eight) are sums of those. There follow stress and, turned round, forces: with four points 889
//! additions and multiplications for each load case, in some 560 instructions for as many as a vector holds. The
//! assembled matrix would take 370 multiplications an element, each with a number of its own to be fetched.

use crate::element::Inverted;
use crate::quadrature::{A, B, EIGHT, FOUR, Point};
use crate::shape::derivatives;
use bicolumn_base::Vec3;
use bicolumn_model::{Along, Elasticity};
use bicolumn_sparse::Aligned;
use bicolumn_sparse::kernel::Real;
use bicolumn_sparse::lanes::Lanes;

/// What an element's forces need of it. Zero for no element.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Shape<T, const Q: usize> {
    /// √(w det J / 6) ∇l_m, m = 1, 2, 3, at the `Q` quadrature points, each with the point's [`share`]:
    /// `[point][m][axis]`.
    slopes: [[[T; 3]; 3]; Q],
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

/// The rule of four points or of eight.
fn rule<const Q: usize>() -> &'static [Point] {
    if Q == 4 { &FOUR } else { &EIGHT }
}

/// What the sums of corner values in [`Pack::slopes`] are to be multiplied with at a point.
fn share<const Q: usize>(point: usize) -> f64 {
    match (Q, point) {
        (4, _) => A - B,
        (_, 0..4) => 1.0,
        _ => 1.0 / 3.0,
    }
}

impl<T: Real, const Q: usize> Shape<T, Q> {
    /// No element.
    pub(crate) fn none() -> Self {
        Shape {
            slopes: [[[T::default(); 3]; 3]; Q],
            lambda: T::default(),
            mu: T::default(),
        }
    }

    /// In another precision.
    pub(crate) fn rounded<U: Real>(&self) -> Shape<U, Q> {
        let round = |v: T| U::from_f64(v.to_f64());
        Shape {
            slopes: self.slopes.map(|q| q.map(|m| m.map(round))),
            lambda: round(self.lambda),
            mu: round(self.mu),
        }
    }
}

impl Shape<f64, 4> {
    /// A straight element by eight points: its gradients are the same at all.
    pub(crate) fn as_eight(&self) -> Shape<f64, 8> {
        let (weight, other) = (FOUR[0].1, share::<4>(0));
        let slopes = std::array::from_fn(|q| {
            let scale = share::<8>(q) / other * (EIGHT[q].1 / weight).sqrt();
            self.slopes[0].map(|m| m.map(|v| v * scale))
        });
        Shape {
            slopes,
            lambda: self.lambda,
            mu: self.mu,
        }
    }
}

impl<const Q: usize> Shape<f64, Q> {
    /// From the nodes' positions.
    ///
    /// # Errors
    /// [`Inverted`] when det J is not positive at a quadrature point.
    pub(crate) fn new(nodes: &[Vec3; 10], elasticity: &Elasticity) -> Result<Self, Inverted> {
        let mut slopes = [[[0.0; 3]; 3]; Q];
        for (q, (l, weight)) in rule::<Q>().iter().enumerate() {
            let (gradients, det) = crate::element::slopes(nodes, *l);
            if det.is_nan() || det <= 0.0 {
                return Err(Inverted);
            }
            let scale = share::<Q>(q) * (weight * det / 6.0).sqrt();
            slopes[q] = gradients.map(|g| (g * scale).into());
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

    /// √(w det J / 6) ∇N of the ten shape functions at the quadrature points.
    #[inline(always)]
    pub(crate) fn gradients(&self) -> Gradients {
        let mut points = [[Vec3::zeros(); 10]; 8];
        for (q, (to, (l, _))) in points.iter_mut().zip(rule::<Q>()).enumerate() {
            let slopes = self.slopes[q].map(|s| Vec3::from(s) / share::<Q>(q));
            *to = derivatives(*l)
                .map(|d| (1..4).map(|m| slopes[m - 1] * (d[m] - d[0])).sum::<Vec3>());
        }
        Gradients { points, count: Q }
    }
}

/// Gradients of the ten shape functions at an element's quadrature points, each times √(w det J / 6).
pub(crate) struct Gradients {
    points: [[Vec3; 10]; 8],
    count: usize,
}

impl std::ops::Deref for Gradients {
    type Target = [[Vec3; 10]];
    fn deref(&self) -> &Self::Target {
        &self.points[..self.count]
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
pub(crate) struct Pack<'a, T, F, const Q: usize> {
    pub(crate) shapes: &'a [Shape<T, Q>],
    /// Of elements with an axis; none: isotropic ones.
    pub(crate) axes: Option<&'a [Axis<T>]>,
    /// Place in the vectors of an element's node.
    pub(crate) place: F,
}

/// Elements that fill lanes of so many numbers with pieces of `W`.
pub(crate) const fn pack_of<T, L: Lanes<T>, const W: usize>() -> usize {
    if W < L::N { L::N / W } else { 1 }
}

impl<T: Real, F: Fn(usize, usize) -> usize, const Q: usize> Pack<'_, T, F, Q> {
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

    /// Derivatives of the displacement by l₁, l₂, l₃ (with l₀ = 1 − the rest) at the quadrature points, over each
    /// point's [`share`]: `[point][m][component]`.
    #[inline(always)]
    fn slopes<L: Lanes<T>, const W: usize>(
        &self,
        l: L,
        x: &[Aligned<T, W>],
        pass: usize,
    ) -> [[[L::V; 3]; 3]; Q] {
        let [zero, three, four] = [0.0, 3.0, 4.0].map(|v| l.splat(T::from_f64(v)));
        let share = l.splat(T::from_f64(B / (A - B)));
        let mut d = [[[zero; 3]; 3]; Q];
        for c in 0..3 {
            let u: [L::V; 10] =
                std::array::from_fn(|a| l.load::<W>(|e| x[(self.place)(e, a)].0[c], pass));
            let mut corner = [[zero; 3]; 4];
            let mut sum = [zero; 3];
            for k in 0..4 {
                // By l_m as if the four were independent: 3 u_k, 4 u_km − u_m.
                let by = |m: usize| {
                    if m == k {
                        l.mul(three, u[k])
                    } else {
                        l.mul_sub(four, u[BETWEEN[k][m]], u[m])
                    }
                };
                let by_first = by(0);
                for m in 0..3 {
                    corner[k][m] = l.sub(by(m + 1), by_first);
                    sum[m] = if k == 0 {
                        corner[k][m]
                    } else {
                        l.add(sum[m], corner[k][m])
                    };
                }
            }
            for k in 0..4 {
                for m in 0..3 {
                    if Q == 4 {
                        d[k][m][c] = l.mul_add(share, sum[m], corner[k][m]);
                    } else {
                        d[k][m][c] = corner[k][m];
                        d[4 + k][m][c] = l.sub(sum[m], corner[k][m]);
                    }
                }
            }
        }
        d
    }

    /// From derivatives of the displacement to forces that work on them, in place.
    #[inline(always)]
    fn stresses<L: Lanes<T>, const W: usize>(&self, l: L, d: &mut [[[L::V; 3]; 3]; Q]) {
        let lambda = self.each::<L, W>(l, |e| self.shapes[e].lambda);
        let mu = self.each::<L, W>(l, |e| self.shapes[e].mu);
        let twice = l.add(mu, mu);
        for (q, d) in d.iter_mut().enumerate() {
            let slopes: [[L::V; 3]; 3] = std::array::from_fn(|m| {
                std::array::from_fn(|r| self.each::<L, W>(l, |e| self.shapes[e].slopes[q][m][r]))
            });
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
        d: &[[[L::V; 3]; 3]; Q],
        y: &mut [Aligned<T, W>],
        pass: usize,
    ) {
        let [zero, three, four] = [0.0, 3.0, 4.0].map(|v| l.splat(T::from_f64(v)));
        let share = l.splat(T::from_f64(B / (A - B)));
        for c in 0..3 {
            let mut by = [[zero; 4]; 4];
            for m in 0..3 {
                // Of all four points, or of the faces' middles.
                let at = |k: usize| d[Q - 4 + k][m][c];
                let sum = l.add(l.add(at(0), at(1)), l.add(at(2), at(3)));
                for k in 0..4 {
                    by[k][m + 1] = if Q == 4 {
                        l.mul_add(share, sum, d[k][m][c])
                    } else {
                        l.add(d[k][m][c], l.sub(sum, at(k)))
                    };
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
    use crate::element::{Element, forces};
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

    struct Check<'a, const Q: usize>(
        &'a [Shape<f64, Q>; 4],
        Option<&'a [Axis<f64>; 4]>,
        &'a mut [Vec3; 10],
    );

    impl<const Q: usize> InLanes<f64> for Check<'_, Q> {
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

    fn check<const Q: usize>(bend: f64, law: &Elasticity) {
        let nodes = nodes(bend);
        let exact = Element::new(nodes).stiffness_of(law).unwrap();
        let exact = forces(&exact, &std::array::from_fn(u));
        let shape = Shape::<f64, Q>::new(&nodes, law).unwrap();
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
            check::<4>(0.0, &law);
            check::<8>(0.0, &law);
            check::<8>(0.05, &law);
        }
    }
}
