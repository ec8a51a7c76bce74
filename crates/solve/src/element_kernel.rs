//! Element kernel: the nodal forces f = K u of a ten-node tetrahedron without its stiffness matrix.
//!
//! The derivatives of the displacement by the barycentric coordinates λ₁, λ₂, λ₃ (with λ₀ = 1 − λ₁ − λ₂ − λ₃) are linear
//! over the element, whatever its edges, and therefore follow from their values at the four corners k. As if the four
//! coordinates were independent,
//!
//! ```text
//! ∂u/∂λ_m at corner k  =  3 u_k           m = k
//!                         4 u_km − u_m    m ≠ k, u_km of the midside node between k and m
//! D_k[c][m]  =  ∂u_c/∂λ_m − ∂u_c/∂λ₀ at corner k,   m = 1, 2, 3
//! ```
//!
//! Quadrature points come in orbits of four, one towards each corner, with barycentric coordinates (1 − 3b, b, b, b) and
//! its permutations, and perhaps one in the middle (b = 1/4). There
//!
//! ```text
//! D_q  =  (1 − 4b) D_k + b Σ_j D_j                     interpolation       D = G u
//! g    =  D_q ∇λ,  ε = (g + gᵀ)/2                      displacement gradient, strain
//! σ    =  λ tr(ε) I + 2 μ ε (+ terms of an axis)       Hooke's law
//! F_q  =  w_q det J / 6 · σ ∇λᵀ                        forces that work on D_q
//! f    =  Gᵀ F                                         the same interpolation transposed
//! ```
//!
//! so that f = Gᵀ W G u. The weight goes by its root into ∇λ on either side of σ, and so does 1 − 4b, which leaves
//! D_k + b/(1 − 4b) Σ_j D_j to be formed at a point. A stored matrix would take 370 multiplications an element, each
//! with a number of its own to be fetched.
//!
//! The kernel is loops over nodes, corners and points, once for all curvatures: written out for each of them, widths and
//! instruction sets it took the compiler eight minutes.

use crate::element::{Inverted, slopes_from};
use crate::quadrature::{EIGHT, FIVE, FOUR, OTHER_OF_FIVE, OTHER_OF_FOUR, OTHERS_OF_EIGHT, Point};
use crate::shape::derivatives;
use bicolumn_base::{Mat3, Vec3};
use bicolumn_model::{Along, Elasticity};
use bicolumn_sparse::Aligned;
use bicolumn_sparse::kernel::Real;
use bicolumn_sparse::lanes::Lanes;
use std::ops::Range;

/// Quadrature points of an element at most.
const POINTS: usize = 8;

/// Bend of an element's edges, which decides its quadrature.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Curvature {
    /// Straight edges: one set of gradients serves all points of [`FOUR`].
    Straight,
    /// Edges bent so little that the stiffness by [`FIVE`] points is positive.
    Gentle,
    /// Edges bent more: [`EIGHT`] points.
    Strong,
}

/// Bound of the Jacobian's change from the middle to the other four points of [`FIVE`], ‖J J₀⁻¹ − I‖, for gently curved
/// edges. Over 110,000 elements of two constructs the energy of no deformation fell below 0.47 of what
/// [`FOURTEEN`](crate::quadrature::FOURTEEN) points give up to there; from 0.2 on some became negative.
const GENTLE: f64 = 0.15;

impl Curvature {
    /// Curvature of an element with nodes at these positions.
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

    /// Quadrature rule of the stiffness.
    pub(crate) fn rule(self) -> &'static [Point] {
        match self {
            Curvature::Straight => &FOUR,
            Curvature::Gentle => &FIVE,
            Curvature::Strong => &EIGHT,
        }
    }

    /// Number of sets of gradients ∇λ stored for an element: one, or one a point.
    pub(crate) const fn sets(self) -> usize {
        match self {
            Curvature::Straight => 1,
            Curvature::Gentle => 5,
            Curvature::Strong => 8,
        }
    }

    /// Coordinate b of each orbit of four points.
    const fn orbits(self) -> &'static [f64] {
        match self {
            Curvature::Straight => &[OTHER_OF_FOUR],
            Curvature::Gentle => &[OTHER_OF_FIVE],
            Curvature::Strong => &OTHERS_OF_EIGHT,
        }
    }

    /// Whether the rule's last point lies in the middle; its weight is negative.
    const fn has_middle(self) -> bool {
        matches!(self, Curvature::Gentle)
    }

    /// Factor 1 − 4b of a point's orbit, folded into its gradients; 1/4 in the middle, where D is a quarter of the sum.
    fn orbit_scale(self, point: usize) -> f64 {
        let b = self.orbits().get(point / 4);
        b.map_or(0.25, |b| 1.0 - 4.0 * b)
    }

    /// Weight b / (1 − 4b) of the corners' sum in the derivatives at the points of an orbit.
    fn sum_weight(self, orbit: usize) -> f64 {
        let b = self.orbits()[orbit.min(self.orbits().len() - 1)];
        b / (1.0 - 4.0 * b)
    }

    /// Corner next to each point; 4, where zeros stand, for the middle.
    const fn nearest(self) -> &'static [usize] {
        match self {
            Curvature::Straight => &[0, 1, 2, 3],
            Curvature::Gentle => &[0, 1, 2, 3, 4],
            Curvature::Strong => &[0, 1, 2, 3, 0, 1, 2, 3],
        }
    }
}

/// Scaled gradients of λ₁, λ₂, λ₃ at a point, √(|w| det J / 6) (1 − 4b) ∇λ_m: `[m][axis]`.
type GradientSet<T> = [[T; 3]; 3];

/// Data of the element kernel: gradients and Lamé's constants of elements of one curvature, one after another. Zeros
/// stand for no element.
#[derive(Debug)]
pub(crate) struct KernelData<T> {
    curvature: Curvature,
    gradients: Vec<GradientSet<T>>,
    /// λ, μ.
    lame: Vec<[T; 2]>,
}

/// Terms that an axis of transverse isotropy adds to Hooke's law.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Axis<T> {
    axis: [T; 3],
    alpha: T,
    shear: T,
    beta: T,
}

/// Scaled gradient sets of an element.
///
/// # Errors
/// [`Inverted`] when det J is not positive at a quadrature point.
fn gradient_sets(
    curvature: Curvature,
    nodes: &[Vec3; 10],
) -> Result<[GradientSet<f64>; POINTS], Inverted> {
    let mut sets = [[[0.0; 3]; 3]; POINTS];
    let points = curvature.rule().iter().take(curvature.sets());
    for (q, (to, (l, weight))) in sets.iter_mut().zip(points).enumerate() {
        let (gradients, det) = slopes_from(&crate::element::jacobian(nodes, *l));
        if det.is_nan() || det <= 0.0 {
            return Err(Inverted);
        }
        let scale = curvature.orbit_scale(q) * (weight.abs() * det / 6.0).sqrt();
        *to = gradients.map(|g| (g * scale).into());
    }
    Ok(sets)
}

impl<T> KernelData<T> {
    /// No element yet.
    pub(crate) fn new(curvature: Curvature) -> Self {
        KernelData {
            curvature,
            gradients: vec![],
            lame: vec![],
        }
    }

    /// Number of elements.
    pub(crate) fn len(&self) -> usize {
        self.lame.len()
    }

    /// Numbers that so many elements of a curvature take.
    pub(crate) fn numbers(curvature: Curvature, elements: usize) -> usize {
        (9 * curvature.sets() + 2) * elements
    }

    /// Numbers for which memory is held.
    pub(crate) fn numbers_held(&self) -> usize {
        9 * self.gradients.capacity() + 2 * self.lame.capacity()
    }

    /// Adds empty elements up to `count`.
    pub(crate) fn fill(&mut self, count: usize)
    where
        T: Real,
    {
        let sets = self.curvature.sets();
        self.gradients.resize(sets * count, [[T::default(); 3]; 3]);
        self.lame.resize(count, [T::default(); 2]);
    }

    /// Moves all elements of `other` behind these.
    pub(crate) fn append(&mut self, other: &mut Self) {
        self.gradients.append(&mut other.gradients);
        self.lame.append(&mut other.lame);
    }

    pub(crate) fn shrink_to_fit(&mut self) {
        self.gradients.shrink_to_fit();
        self.lame.shrink_to_fit();
    }

    /// Range of gradient sets of a range of elements.
    fn sets(&self, elements: &Range<usize>) -> Range<usize> {
        let sets = self.curvature.sets();
        sets * elements.start..sets * elements.end
    }
}

impl KernelData<f64> {
    /// Adds an element.
    ///
    /// # Errors
    /// [`Inverted`] when det J is not positive at a quadrature point.
    pub(crate) fn push(
        &mut self,
        nodes: &[Vec3; 10],
        elasticity: &Elasticity,
    ) -> Result<(), Inverted> {
        let sets = gradient_sets(self.curvature, nodes)?;
        self.gradients
            .extend_from_slice(&sets[..self.curvature.sets()]);
        self.lame.push([elasticity.lambda, elasticity.mu]);
        Ok(())
    }

    /// Adds element `e` of `from`, which has the same curvature.
    pub(crate) fn push_from(&mut self, from: &Self, e: usize) {
        self.gradients
            .extend_from_slice(&from.gradients[from.sets(&(e..e + 1))]);
        self.lame.push(from.lame[e]);
    }

    /// Hooke's law of an element, given the terms of its axis.
    pub(crate) fn elasticity(&self, e: usize, along: Option<Along>) -> Elasticity {
        let [lambda, mu] = self.lame[e];
        Elasticity { lambda, mu, along }
    }

    /// Gradients of an element's ten shape functions at the quadrature points.
    pub(crate) fn gradients(&self, e: usize) -> Gradients {
        Gradients::from_sets(self.curvature, &self.gradients[self.sets(&(e..e + 1))])
    }

    /// Copy in single precision.
    pub(crate) fn single(&self) -> KernelData<f32> {
        let round = |v: f64| v as f32;
        KernelData {
            curvature: self.curvature,
            gradients: self
                .gradients
                .iter()
                .map(|g| g.map(|m| m.map(round)))
                .collect(),
            lame: self.lame.iter().map(|l| l.map(round)).collect(),
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
    /// Gradients in an element whose nodes are at these positions.
    ///
    /// # Errors
    /// [`Inverted`] when det J is not positive at a quadrature point.
    pub(crate) fn new(curvature: Curvature, nodes: &[Vec3; 10]) -> Result<Self, Inverted> {
        let sets = gradient_sets(curvature, nodes)?;
        Ok(Gradients::from_sets(curvature, &sets[..curvature.sets()]))
    }

    fn from_sets(curvature: Curvature, sets: &[GradientSet<f64>]) -> Self {
        let mut points = [[Vec3::zeros(); 10]; POINTS];
        for (q, (to, (l, _))) in points.iter_mut().zip(curvature.rule()).enumerate() {
            let set = sets[q.min(sets.len() - 1)];
            let slopes = set.map(|s| Vec3::from(s) / curvature.orbit_scale(q));
            *to = derivatives(*l)
                .map(|d| (1..4).map(|m| slopes[m - 1] * (d[m] - d[0])).sum::<Vec3>());
        }
        Gradients {
            points,
            count: curvature.rule().len(),
            has_middle: curvature.has_middle(),
        }
    }

    /// Gradients point by point, with the sign of the point's weight.
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

    /// Pairs of gradients of functions a and b, the first times the sign.
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

    /// Copy in single precision.
    pub(crate) fn single(&self) -> Axis<f32> {
        Axis {
            axis: self.axis.map(|v| v as f32),
            alpha: self.alpha as f32,
            shear: self.shear as f32,
            beta: self.beta as f32,
        }
    }
}

/// Slot of the node between corners k and m among the multiplied displacements, [`Workspace::u`]; of corner k itself,
/// four times, where both are one: less u_k, it is the 3 u_k that belongs there.
const BETWEEN: [[usize; 4]; 4] = [[10, 4, 6, 7], [4, 11, 5, 8], [6, 5, 12, 9], [7, 8, 9, 13]];

/// Derivatives of three components by λ₁, λ₂, λ₃, or forces that work on them: `[component][m]`.
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

/// Arrays between the kernel's loops, made once for many elements: an array cleared at each was a tenth of the time.
struct Workspace<V> {
    /// Displacement components of the ten nodes, at midside nodes four times, then of the corners four times; in the
    /// end nodal forces.
    u: [[V; 14]; 3],
    /// D_k of the four corners, then zeros.
    corners: [Nine<V>; 5],
    /// Share of the corners' sum at the points of each orbit; in the middle the sum itself.
    shares: [Nine<V>; 2],
    /// Forces at the points, in the end at the corners.
    forces: [Nine<V>; POINTS],
}

impl<V: Copy> Workspace<V> {
    #[inline(always)]
    fn new(zero: V) -> Self {
        Workspace {
            u: [[zero; 14]; 3],
            corners: [[[zero; 3]; 3]; 5],
            shares: [[[zero; 3]; 3]; 2],
            forces: [[[zero; 3]; 3]; POINTS],
        }
    }
}

/// Lamé's constants of a batch, in lanes.
struct Law<V> {
    lambda: V,
    mu: V,
}

/// Number of elements that fill vectors of lanes with pieces of `W` numbers.
pub(crate) const fn batch_of<T, L: Lanes<T>, const W: usize>() -> usize {
    if W < L::N { L::N / W } else { 1 }
}

/// Elements that fill the lanes: a batch.
struct Batch<'a, T, P> {
    curvature: Curvature,
    /// Weight of the corners' sum in the derivatives at the points of each orbit; 1 in the middle.
    sum_weights: [T; 2],
    /// Gradient sets, element after element.
    gradients: &'a [GradientSet<T>],
    lame: &'a [[T; 2]],
    /// Axes of transverse isotropy; none: isotropic elements.
    axes: Option<&'a [Axis<T>]>,
    /// Slots of the elements' nodes in the vectors.
    slots: &'a [[P; 10]],
}

/// y += K x over a range of elements, batch by batch; `axes` if they have such, `slots` of their nodes in x and y.
#[inline(always)]
pub(crate) fn add_products<T: Real, L: Lanes<T>, P: Into<u32> + Copy, const W: usize>(
    l: L,
    data: &KernelData<T>,
    elements: Range<usize>,
    axes: Option<&[Axis<T>]>,
    slots: &[[P; 10]],
    x: &[Aligned<T, W>],
    y: &mut [Aligned<T, W>],
) {
    let size = batch_of::<T, L, W>();
    let gradients = &data.gradients[data.sets(&elements)];
    let lame = &data.lame[elements];
    let sets = data.curvature.sets();
    let far = if data.curvature.has_middle() {
        1.0
    } else {
        data.curvature.sum_weight(1)
    };
    let sum_weights = [data.curvature.sum_weight(0), far].map(T::from_f64);
    let mut work = Workspace::new(l.splat(T::default()));
    for first in (0..lame.len()).step_by(size) {
        let range = first..first + size;
        let batch = Batch {
            curvature: data.curvature,
            sum_weights,
            gradients: &gradients[sets * first..sets * (first + size)],
            lame: &lame[range.clone()],
            axes: axes.map(|axes| &axes[range.clone()]),
            slots: &slots[range],
        };
        // Load cases beyond the lanes' number take another pass.
        for pass in 0..(W / L::N).max(1) {
            batch.gather::<L, W>(l, &mut work, x, pass);
            batch.corner_derivatives(l, &mut work);
            batch.forces_at_points::<L, W>(l, &mut work);
            batch.forces_at_corners(l, &mut work);
            batch.nodal_forces(l, &mut work);
            batch.scatter::<L, W>(l, &work, y, pass);
        }
    }
}

/// Sum of four.
#[inline(always)]
fn sum_of<T: Real, L: Lanes<T>>(l: L, of: &[Nine<L::V>]) -> Nine<L::V> {
    nine!(
        l,
        i,
        m,
        l.add(
            l.add(of[0][i][m], of[1][i][m]),
            l.add(of[2][i][m], of[3][i][m])
        )
    )
}

impl<T: Real, P: Into<u32> + Copy> Batch<'_, T, P> {
    #[inline(always)]
    fn slot(&self, e: usize, node: usize) -> usize {
        self.slots[e][node].into() as usize
    }

    /// Spreads a number of each element over its lanes.
    #[inline(always)]
    fn each<L: Lanes<T>, const W: usize>(&self, l: L, number: impl Fn(usize) -> T) -> L::V {
        if W >= L::N {
            l.splat(number(0))
        } else {
            l.load::<W>(|e| [number(e); W], 0)
        }
    }

    /// Scaled gradients of one set, spread over the lanes.
    #[inline(always)]
    fn slopes<L: Lanes<T>, const W: usize>(&self, l: L, set: usize) -> Nine<L::V> {
        let sets = self.curvature.sets();
        let mut of = [&self.gradients[set]; 8];
        for e in 1..batch_of::<T, L, W>() {
            of[e] = &self.gradients[sets * e + set];
        }
        nine!(l, m, r, self.each::<L, W>(l, |e| of[e][m][r]))
    }

    /// Fetches the nodes' displacements.
    #[inline(always)]
    fn gather<L: Lanes<T>, const W: usize>(
        &self,
        l: L,
        work: &mut Workspace<L::V>,
        x: &[Aligned<T, W>],
        pass: usize,
    ) {
        let four = l.splat(T::from_f64(4.0));
        for a in 0..4 {
            for c in 0..3 {
                let u = l.load::<W>(|e| x[self.slot(e, a)].0[c], pass);
                work.u[c][a] = u;
                work.u[c][10 + a] = l.mul(four, u);
            }
        }
        for a in 4..10 {
            for c in 0..3 {
                let u = l.load::<W>(|e| x[self.slot(e, a)].0[c], pass);
                work.u[c][a] = l.mul(four, u);
            }
        }
    }

    /// D_k at the corners.
    #[inline(always)]
    fn corner_derivatives<L: Lanes<T>>(&self, l: L, work: &mut Workspace<L::V>) {
        for k in 0..4 {
            let between = &BETWEEN[k];
            for c in 0..3 {
                let u = &work.u[c];
                let by_first = l.sub(u[between[0]], u[0]);
                for m in 0..3 {
                    let by = l.sub(u[between[m + 1]], u[m + 1]);
                    work.corners[k][c][m] = l.sub(by, by_first);
                }
            }
        }
    }

    /// Forces at the points: derivatives there, over each point's 1 − 4b, stress, and what it does on them.
    #[inline(always)]
    fn forces_at_points<L: Lanes<T>, const W: usize>(&self, l: L, work: &mut Workspace<L::V>) {
        let sum = sum_of(l, &work.corners[..4]);
        let [near, far] = self.sum_weights;
        let (near, far) = (l.splat(near), l.splat(far));
        work.shares[0] = nine!(l, c, m, l.mul(near, sum[c][m]));
        work.shares[1] = nine!(l, c, m, l.mul(far, sum[c][m]));
        let law = Law {
            lambda: self.each::<L, W>(l, |e| self.lame[e][0]),
            mu: self.each::<L, W>(l, |e| self.lame[e][1]),
        };
        let sets = self.curvature.sets();
        let mut slopes = [[near; 3]; 3];
        for (point, corner) in self.curvature.nearest().iter().enumerate() {
            let (corner, share) = (&work.corners[*corner], &work.shares[point / 4]);
            let d = nine!(l, c, m, l.add(corner[c][m], share[c][m]));
            // Straight edges: one set serves all points.
            if point < sets {
                slopes = self.slopes::<L, W>(l, point);
            }
            work.forces[point] = self.forces::<L, W>(l, &law, &slopes, &d);
        }
    }

    /// Forces at one point, F = σ ∇λᵀ with the scaled gradients.
    #[inline(always)]
    fn forces<L: Lanes<T>, const W: usize>(
        &self,
        l: L,
        law: &Law<L::V>,
        slopes: &Nine<L::V>,
        d: &Nine<L::V>,
    ) -> Nine<L::V> {
        let (lambda, mu) = (law.lambda, law.mu);
        let twice = l.add(mu, mu);
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

    /// Adds an axis a to the stress: α ((a·εa) I + tr ε a⊗a) + 2 m (a⊗εa + εa⊗a) + β (a·εa) a⊗a.
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

    /// Forces that work on D_k: those of the corner's points, and of every point by its share of the corners' sum.
    #[inline(always)]
    fn forces_at_corners<L: Lanes<T>>(&self, l: L, work: &mut Workspace<L::V>) {
        let [near, far] = self.sum_weights;
        let near = l.splat(near);
        let sum = sum_of(l, &work.forces[..4]);
        match self.curvature {
            Curvature::Straight => {
                let all = nine!(l, c, m, l.mul(near, sum[c][m]));
                for k in 0..4 {
                    let own = &work.forces[k];
                    work.forces[k] = nine!(l, c, m, l.add(own[c][m], all[c][m]));
                }
            }
            Curvature::Gentle => {
                // The weight of the point in the middle is negative.
                let middle = &work.forces[4];
                let all = nine!(l, c, m, l.mul_sub(near, sum[c][m], middle[c][m]));
                for k in 0..4 {
                    let own = &work.forces[k];
                    work.forces[k] = nine!(l, c, m, l.add(own[c][m], all[c][m]));
                }
            }
            Curvature::Strong => {
                let far = l.splat(far);
                let more = sum_of(l, &work.forces[4..]);
                let all = nine!(l, c, m, {
                    l.mul_add(near, sum[c][m], l.mul(far, more[c][m]))
                });
                for k in 0..4 {
                    let (first, second) = (&work.forces[k], &work.forces[4 + k]);
                    work.forces[k] = nine!(l, c, m, {
                        l.add(l.add(first[c][m], second[c][m]), all[c][m])
                    });
                }
            }
        }
    }

    /// Nodal forces: [`Batch::corner_derivatives`] transposed.
    #[inline(always)]
    fn nodal_forces<L: Lanes<T>>(&self, l: L, work: &mut Workspace<L::V>) {
        let zero = l.splat(T::default());
        let three = l.splat(T::from_f64(3.0));
        let four = l.splat(T::from_f64(4.0));
        for c in 0..3 {
            macro_rules! by {
                ($k:literal) => {{
                    let [a, b, d] = work.forces[$k][c];
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
            let f = &mut work.u[c];
            f[0] = corner!(0, 1, 2, 3);
            f[1] = corner!(1, 0, 2, 3);
            f[2] = corner!(2, 0, 1, 3);
            f[3] = corner!(3, 0, 1, 2);
            f[4] = middle!(0, 1);
            f[5] = middle!(1, 2);
            f[6] = middle!(0, 2);
            f[7] = middle!(0, 3);
            f[8] = middle!(1, 3);
            f[9] = middle!(2, 3);
        }
    }

    /// Adds the nodal forces to the nodes.
    #[inline(always)]
    fn scatter<L: Lanes<T>, const W: usize>(
        &self,
        l: L,
        work: &Workspace<L::V>,
        y: &mut [Aligned<T, W>],
        pass: usize,
    ) {
        for a in 0..10 {
            for e in 0..batch_of::<T, L, W>() {
                let to = &mut y[self.slot(e, a)].0;
                // Added in a copy: in place the compiler fears that `to` overlaps `work`.
                let mut sum = *to;
                for c in 0..3 {
                    for k in 0..W.min(L::N) {
                        sum[c][pass * L::N + k] += l.get(work.u[c][a], e * W + k);
                    }
                }
                *to = sum;
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

    struct Check<'a>(
        &'a KernelData<f64>,
        Option<&'a [Axis<f64>; 8]>,
        &'a mut [Vec3; 10],
    );

    impl InLanes<f64> for Check<'_> {
        fn run<L: Lanes<f64>>(self, l: L) {
            let x: Vec<Aligned<f64, 1>> = (0..10)
                .map(|a| Aligned([[u(a).x], [u(a).y], [u(a).z]]))
                .collect();
            let mut y = vec![Aligned([[0.0; 1]; 3]); 80];
            let long: Vec<_> = (0..80).map(|a| x[a % 10]).collect();
            let slots: [[u16; 10]; 8] =
                std::array::from_fn(|e| std::array::from_fn(|a| (10 * e + a) as u16));
            let axes = self.1.map(|a| &a[..]);
            add_products(l, self.0, 0..8, axes, &slots, &long, &mut y);
            for (a, y0) in y.iter().enumerate() {
                assert_eq!(y0.0, y[a % 10].0);
            }
            for (a, f) in self.2.iter_mut().enumerate() {
                *f = Vec3::new(y[a].0[0][0], y[a].0[1][0], y[a].0[2][0]);
            }
        }
    }

    fn u(a: usize) -> Vec3 {
        Vec3::new((a as f64).sin(), (2.0 * a as f64).cos(), 0.1 * a as f64)
    }

    fn check(curvature: Curvature, bend: f64, law: &Elasticity) {
        let nodes = nodes(bend);
        let mut data = KernelData::new(curvature);
        (0..8).for_each(|_| data.push(&nodes, law).unwrap());
        let exact = stiffness_from(&data.gradients(3), law);
        let exact = forces(&exact, &std::array::from_fn(u));
        let axis = law.along.as_ref().map(|a| [Axis::new(a); 8]);
        let mut got = [Vec3::zeros(); 10];
        f64::in_lanes::<1>(Check(&data, axis.as_ref(), &mut got));
        let size = exact.iter().map(Vec3::norm).fold(0.0, f64::max);
        for (got, exact) in got.iter().zip(&exact) {
            assert!((got - exact).norm() < 1e-13 * size, "{got} {exact}");
        }
    }

    #[test]
    fn forces_are_those_of_the_element_s_matrix() {
        let bone = TransverseIsotropy::cortical().along(Vec3::new(0.3, -1.0, 0.5));
        for law in [Elasticity::isotropic(1000.0, 0.3), bone] {
            check(Curvature::Straight, 0.0, &law);
            check(Curvature::Gentle, 0.05, &law);
            check(Curvature::Strong, 0.05, &law);
        }
    }

    #[test]
    fn all_rules_give_a_straight_element_the_same_stiffness() {
        let (nodes, law) = (nodes(0.0), Elasticity::isotropic(1000.0, 0.3));
        let by = |curvature| -> Stiffness {
            stiffness_from(&Gradients::new(curvature, &nodes).unwrap(), &law)
        };
        let exact = by(Curvature::Straight);
        for other in [by(Curvature::Gentle), by(Curvature::Strong)] {
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

    /// Least and largest energy of a deformation by a curvature's rule, over that by fourteen points.
    fn energies(curvature: Curvature, nodes: &[Vec3; 10]) -> (f64, f64) {
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
        let gradients = Gradients::new(curvature, nodes).unwrap();
        let own: DMatrix<f64> = dense(&stiffness_from(&gradients, &law));
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
            let curvature = Curvature::of(&nodes);
            let (least, most) = energies(curvature, &nodes);
            let (count, lowest, highest) = match curvature {
                Curvature::Gentle => (&mut gentle, 0.4, 1.1),
                _ => (&mut strong, 0.2, 3.0),
            };
            *count += 1;
            assert!(least > lowest && most < highest, "{least} {most} {nodes:?}");
        }
        assert!(gentle > 50 && strong > 50, "{gentle} {strong}");
    }
}
