//! A scalar field stored as tricubic B-spline coefficients on a regular grid.
//!
//! f(x) = Σ c_ijk B(u−i) B(v−j) B(w−k), with B the uniform cubic B-spline: twice continuously
//! differentiable, local (64 coefficients) and cheap. Interpolating coefficients come from the
//! recursive prefilter of Unser, Aldroubi and Eden (1993, IEEE Trans Signal Process 41:821), with
//! pole z = √3 − 2.

use crate::Field;
use crate::wide::{Kernel, Processor};
use bicolumn_base::{Aabb, Mat3, Vec3};

/// Geometry of a grid: nodes at `origin + step · (i, j, k)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Lattice {
    pub(crate) origin: Vec3,
    pub(crate) step: f64,
    pub(crate) size: [usize; 3],
}

impl Lattice {
    /// The grid of the given step that covers a box.
    pub(crate) fn covering(bounds: &Aabb, step: f64) -> Lattice {
        let extent = bounds.max - bounds.min;
        let size = std::array::from_fn(|i| (extent[i] / step).ceil() as usize + 1);
        Lattice {
            origin: bounds.min,
            step,
            size,
        }
    }

    pub(crate) fn len(&self) -> usize {
        self.size.iter().product()
    }

    pub(crate) fn index(&self, i: [usize; 3]) -> usize {
        (i[0] * self.size[1] + i[1]) * self.size[2] + i[2]
    }

    /// Distances in index between neighbours along the axes.
    pub(crate) fn strides(&self) -> [usize; 3] {
        [self.size[1] * self.size[2], self.size[2], 1]
    }

    #[inline(always)]
    pub(crate) fn at(&self, index: usize) -> [usize; 3] {
        let k = index % self.size[2];
        let ij = index / self.size[2];
        [ij / self.size[1], ij % self.size[1], k]
    }

    #[inline(always)]
    pub(crate) fn node(&self, i: [usize; 3]) -> Vec3 {
        self.origin + Vec3::from_fn(|a, _| i[a] as f64) * self.step
    }
}

/// The spline. Outside its grid the value is that of the nearest grid point plus the distance to it,
/// except beyond the far end of Y, where the field goes on unchanged (the shaft goes on).
pub(crate) struct SplineGrid {
    lattice: Lattice,
    /// Coefficients, f32 to halve the memory traffic; the field they define is evaluated in f64.
    coefficients: Vec<f32>,
    inner: Aabb,
    /// Mirror the Z axis: the grid is that of a right bone, asked for a left one.
    mirror: bool,
    processor: Processor,
}

/// Value and gradient of a grid's spline at a point inside it.
struct ValueAt<'a>(&'a SplineGrid, Vec3);
struct GradientAt<'a>(&'a SplineGrid, Vec3);

impl Kernel for ValueAt<'_> {
    type Output = f64;
    #[inline(always)]
    fn run(self) -> f64 {
        self.0.raw_value(self.1)
    }
}

impl Kernel for GradientAt<'_> {
    type Output = Vec3;
    #[inline(always)]
    fn run(self) -> Vec3 {
        self.0.raw_gradient(self.1)
    }
}

impl SplineGrid {
    /// The spline through values at the nodes (Z fastest).
    pub(crate) fn interpolating(lattice: Lattice, mut values: Vec<f64>) -> SplineGrid {
        for axis in 0..3 {
            for_each_line(&lattice, axis, &mut values, prefilter);
        }
        Self::from_coefficients(lattice, values)
    }

    fn from_coefficients(lattice: Lattice, values: Vec<f64>) -> SplineGrid {
        // The outermost cell on each side lacks a full set of neighbours.
        let margin = Vec3::repeat(1.001 * lattice.step);
        let top = lattice.node(lattice.size.map(|n| n - 1));
        SplineGrid {
            lattice,
            coefficients: values.into_iter().map(|v| v as f32).collect(),
            inner: Aabb {
                min: lattice.origin + margin,
                max: top - margin,
            },
            mirror: false,
            processor: Processor::found(),
        }
    }

    /// The same field mirrored in the plane Z = 0.
    pub(crate) fn mirrored(self) -> SplineGrid {
        SplineGrid {
            mirror: !self.mirror,
            ..self
        }
    }

    /// The box inside which the spline itself answers, unmirrored.
    pub(crate) fn bounds_of_grid(&self) -> &Aabb {
        &self.inner
    }

    #[inline(always)]
    fn clamp(&self, x: Vec3) -> Vec3 {
        x.sup(&self.inner.min).inf(&self.inner.max)
    }

    /// Index of the first coefficient and fractional position in its cell.
    #[inline(always)]
    fn cell(&self, x: Vec3) -> (usize, Vec3) {
        let u = (x - self.lattice.origin) / self.lattice.step;
        let i: [usize; 3] =
            std::array::from_fn(|a| (u[a] as usize).clamp(1, self.lattice.size[a] - 3));
        let t = Vec3::from_fn(|a, _| u[a] - i[a] as f64);
        (self.lattice.index(i.map(|i| i - 1)), t)
    }

    #[inline(always)]
    fn row(&self, base: usize) -> [f64; 4] {
        match self.coefficients.get(base..base + 4) {
            Some(&[a, b, c, d]) => [a, b, c, d].map(f64::from),
            _ => [0.0; 4],
        }
    }

    fn mirror_point(&self, x: Vec3) -> Vec3 {
        if self.mirror {
            Vec3::new(x.x, x.y, -x.z)
        } else {
            x
        }
    }

    /// Value at a point of the grid's box, unmirrored; a point outside is moved to its border.
    #[inline(always)]
    pub(crate) fn value_inside(&self, x: Vec3) -> f64 {
        self.raw_value(self.clamp(x))
    }

    #[inline(always)]
    fn raw_value(&self, x: Vec3) -> f64 {
        let (first, t) = self.cell(x);
        let (line, plane) = (
            self.lattice.size[2],
            self.lattice.size[1] * self.lattice.size[2],
        );
        let [wx, wy, wz] = [weights(t.x), weights(t.y), weights(t.z)];
        let mut sum = [0.0; 4];
        for (a, wa) in wx.iter().enumerate() {
            for (b, wb) in wy.iter().enumerate() {
                let w = wa * wb;
                let row = self.row(first + a * plane + b * line);
                for c in 0..4 {
                    sum[c] += w * row[c];
                }
            }
        }
        dot(&sum, &wz)
    }

    #[inline(always)]
    fn raw_gradient(&self, x: Vec3) -> Vec3 {
        let (first, t) = self.cell(x);
        let (line, plane) = (
            self.lattice.size[2],
            self.lattice.size[1] * self.lattice.size[2],
        );
        let [wx, wy, wz] = [weights(t.x), weights(t.y), weights(t.z)];
        let [dx, dy, dz] = [slopes(t.x), slopes(t.y), slopes(t.z)];
        let (mut sum, mut sum_x, mut sum_y) = ([0.0; 4], [0.0; 4], [0.0; 4]);
        for a in 0..4 {
            for b in 0..4 {
                let row = self.row(first + a * plane + b * line);
                let (w, w_x, w_y) = (wx[a] * wy[b], dx[a] * wy[b], wx[a] * dy[b]);
                for c in 0..4 {
                    sum[c] += w * row[c];
                    sum_x[c] += w_x * row[c];
                    sum_y[c] += w_y * row[c];
                }
            }
        }
        Vec3::new(dot(&sum_x, &wz), dot(&sum_y, &wz), dot(&sum, &dz)) / self.lattice.step
    }

    /// Value, gradient and second derivatives at a point inside the grid, unmirrored.
    #[inline(always)]
    pub(crate) fn jet(&self, x: Vec3) -> (f64, Vec3, Mat3) {
        let x = self.clamp(x);
        let (first, t) = self.cell(x);
        let [plane, line, _] = self.lattice.strides();
        let [wx, wy, wz] = [weights(t.x), weights(t.y), weights(t.z)];
        let [dx, dy, dz] = [slopes(t.x), slopes(t.y), slopes(t.z)];
        let [ex, ey, ez] = [bends(t.x), bends(t.y), bends(t.z)];
        // Orders in x and y: 00, 01, 02, 10, 11, 20; by place in z.
        let mut sums = [[0.0; 4]; 6];
        for a in 0..4 {
            let of_line = |of_x: f64, of_y: &[f64; 4]| -> [f64; 4] { of_y.map(|y| of_x * y) };
            let products = [
                of_line(wx[a], &wy),
                of_line(wx[a], &dy),
                of_line(wx[a], &ey),
                of_line(dx[a], &wy),
                of_line(dx[a], &dy),
                of_line(ex[a], &wy),
            ];
            for b in 0..4 {
                let row = self.row(first + a * plane + b * line);
                for (sum, products) in sums.iter_mut().zip(&products) {
                    for c in 0..4 {
                        sum[c] += products[b] * row[c];
                    }
                }
            }
        }
        let [s00, s01, s02, s10, s11, s20] = sums;
        let h = self.lattice.step;
        let gradient = Vec3::new(dot(&s10, &wz), dot(&s01, &wz), dot(&s00, &dz)) / h;
        let [xx, yy, zz] = [dot(&s20, &wz), dot(&s02, &wz), dot(&s00, &ez)];
        let [xy, yz, xz] = [dot(&s11, &wz), dot(&s01, &dz), dot(&s10, &dz)];
        (
            dot(&s00, &wz),
            gradient,
            Mat3::new(xx, xy, xz, xy, yy, yz, xz, yz, zz) / (h * h),
        )
    }
}

impl Field for SplineGrid {
    fn value(&self, x: Vec3) -> f64 {
        let x = self.mirror_point(x);
        let inside = self.clamp(x);
        let mut away = x - inside;
        away.y = away.y.min(0.0);
        let value = self.processor.run(ValueAt(self, inside));
        if away == Vec3::zeros() {
            value
        } else {
            value + away.norm()
        }
    }

    fn gradient(&self, x: Vec3) -> Vec3 {
        let right = self.mirror_point(x);
        let inside = self.clamp(right);
        let mut away = right - inside;
        away.y = away.y.min(0.0);
        let mut g = self.processor.run(GradientAt(self, inside));
        let distance = away.norm();
        if distance > 0.0 {
            g = away / distance;
        } else if right.y > inside.y {
            g.y = 0.0;
        }
        self.mirror_point(g)
    }

    fn bounds(&self) -> Aabb {
        let corners = [
            self.mirror_point(self.inner.min),
            self.mirror_point(self.inner.max),
        ];
        Aabb::around(&corners)
    }
}

#[inline(always)]
fn dot(a: &[f64; 4], b: &[f64; 4]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2] + a[3] * b[3]
}

/// The four cubic B-spline weights at fraction t of a cell.
#[inline(always)]
fn weights(t: f64) -> [f64; 4] {
    let (t2, t3, s) = (t * t, t * t * t, 1.0 - t);
    [
        s * s * s / 6.0,
        (3.0 * t3 - 6.0 * t2 + 4.0) / 6.0,
        (-3.0 * t3 + 3.0 * t2 + 3.0 * t + 1.0) / 6.0,
        t3 / 6.0,
    ]
}

/// Their first derivatives.
#[inline(always)]
fn slopes(t: f64) -> [f64; 4] {
    let s = 1.0 - t;
    [
        -0.5 * s * s,
        1.5 * t * t - 2.0 * t,
        -1.5 * t * t + t + 0.5,
        0.5 * t * t,
    ]
}

/// Their second derivatives.
#[inline(always)]
fn bends(t: f64) -> [f64; 4] {
    [1.0 - t, 3.0 * t - 2.0, 1.0 - 3.0 * t, t]
}

/// Values at one place of several grid lines side by side.
type Lanes = [f64; 8];

/// Applies `work` to every grid line along an axis, several lines at a time.
fn for_each_line(lattice: &Lattice, axis: usize, values: &mut [f64], work: fn(&mut [Lanes])) {
    const WIDTH: usize = 8;
    let n = lattice.size[axis];
    let (a, b) = match axis {
        0 => (1, 2),
        1 => (0, 2),
        _ => (0, 1),
    };
    let strides = lattice.strides();
    let mut lines = vec![[0.0; WIDTH]; n];
    for i in 0..lattice.size[a] {
        for from in (0..lattice.size[b]).step_by(WIDTH) {
            let side_by_side = WIDTH.min(lattice.size[b] - from);
            let first = i * strides[a] + from * strides[b];
            for (k, lanes) in lines.iter_mut().enumerate() {
                let at = first + k * strides[axis];
                for (lane, value) in lanes.iter_mut().enumerate().take(side_by_side) {
                    *value = values[at + lane * strides[b]];
                }
            }
            work(&mut lines);
            for (k, lanes) in lines.iter().enumerate() {
                let at = first + k * strides[axis];
                for (lane, value) in lanes.iter().enumerate().take(side_by_side) {
                    values[at + lane * strides[b]] = *value;
                }
            }
        }
    }
}

/// Smooths values at the nodes: each pass adds half a grid step squared of variance along every axis.
pub(crate) fn smoothed(lattice: &Lattice, mut values: Vec<f64>, passes: usize) -> Vec<f64> {
    for _ in 0..passes {
        for axis in 0..3 {
            for_each_line(lattice, axis, &mut values, |line| {
                let mut before = line[0];
                for k in 1..line.len() - 1 {
                    let (here, on) = (line[k], line[k + 1]);
                    for (l, value) in line[k].iter_mut().enumerate() {
                        *value = 0.25 * before[l] + 0.5 * here[l] + 0.25 * on[l];
                    }
                    before = here;
                }
            });
        }
    }
    values
}

/// Interpolation coefficients of lines, mirror boundary.
fn prefilter(line: &mut [Lanes]) {
    let n = line.len();
    let pole = 3f64.sqrt() - 2.0;
    let horizon = n.min(30);
    let mut first = Lanes::default();
    let mut power = 1.0;
    for value in line.iter().take(horizon) {
        for (first, value) in first.iter_mut().zip(value) {
            *first += power * value;
        }
        power *= pole;
    }
    line[0] = first;
    for k in 1..n {
        let before = line[k - 1];
        for (value, before) in line[k].iter_mut().zip(before) {
            *value += pole * before;
        }
    }
    let before = line[n - 2];
    for (last, before) in line[n - 1].iter_mut().zip(before) {
        *last = pole / (pole * pole - 1.0) * (*last + pole * before);
    }
    for k in (0..n - 1).rev() {
        let on = line[k + 1];
        for (value, on) in line[k].iter_mut().zip(on) {
            *value = pole * (on - *value);
        }
    }
    for value in line.iter_mut().flatten() {
        *value *= 6.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample() -> (SplineGrid, fn(Vec3) -> f64) {
        fn f(x: Vec3) -> f64 {
            (0.3 * x.x).sin() + 0.1 * x.y * x.z + (0.2 * x.z).cos()
        }
        let bounds = Aabb {
            min: Vec3::repeat(-9.0),
            max: Vec3::new(9.0, 12.0, 10.0),
        };
        let lattice = Lattice::covering(&bounds, 0.8);
        let values = (0..lattice.len())
            .map(|i| f(lattice.node(lattice.at(i))))
            .collect();
        (SplineGrid::interpolating(lattice, values), f)
    }

    #[test]
    fn reproduces_a_smooth_function() {
        let (s, f) = sample();
        for x in [
            Vec3::new(0.1, 0.2, 0.3),
            Vec3::new(-3.3, 4.0, 5.1),
            Vec3::new(4.0, -2.5, -0.7),
        ] {
            assert!((s.value(x) - f(x)).abs() < 1e-3, "{} {}", s.value(x), f(x));
        }
    }

    #[test]
    fn gradient_and_jet_agree_with_differences() {
        let (s, _) = sample();
        for s in [s, sample().0.mirrored()] {
            let x = Vec3::new(1.3, -2.1, 3.7);
            let g = s.gradient(x);
            for i in 0..3 {
                let mut e = Vec3::zeros();
                e[i] = 1e-4;
                let difference = (s.value(x + e) - s.value(x - e)) / 2e-4;
                assert!(
                    (g[i] - difference).abs() < 1e-6,
                    "{i}: {} {difference}",
                    g[i]
                );
            }
        }
        let (s, _) = sample();
        let x = Vec3::new(1.3, -2.1, 3.7);
        let (value, gradient, hessian) = s.jet(x);
        assert!((value - s.value(x)).abs() < 1e-12 && (gradient - s.gradient(x)).norm() < 1e-12);
        let e = Vec3::new(0.0, 1e-4, 0.0);
        let difference = (s.gradient(x + e) - s.gradient(x - e)) / 2e-4;
        assert!((hessian.column(1) - difference).norm() < 1e-6);
    }
}
