//! Turns any smooth implicit function into a signed distance on a grid.
//!
//! Nodes beside the zero set get their closest point by Newton steps; closest points then spread
//! from node to neighbour (vector distance transform, Danielsson 1980, Comput Graph Image Process
//! 14:227), and those within [`REFINED`] mm are polished by Newton's method on
//! min |p − x|² subject to f(p) = 0. The signed distances are interpolated by a tricubic spline.

use crate::spline_grid::{Lattice, SplineGrid};
use crate::wide::{Kernel, Processor};
use bicolumn_base::Vec3;

/// Distances up to here are exact up to interpolation; farther ones to some hundredths of a grid step.
const REFINED: f64 = 7.0;

/// The signed distance to the zero set of the spline through `values`, as a spline on the same grid.
pub(crate) fn redistance(lattice: Lattice, values: Vec<f64>) -> SplineGrid {
    let spline = SplineGrid::interpolating(lattice, values.clone());
    let distances = Processor::found().run(Distances {
        lattice: &lattice,
        values: &values,
        spline: &spline,
    });
    SplineGrid::interpolating(lattice, distances)
}

/// Signed distances of the nodes.
struct Distances<'a> {
    lattice: &'a Lattice,
    values: &'a [f64],
    spline: &'a SplineGrid,
}

impl Kernel for Distances<'_> {
    type Output = Vec<f64>;

    #[inline(always)]
    fn run(self) -> Vec<f64> {
        let Distances {
            lattice,
            values,
            spline,
        } = self;
        let mut closest = seeds(lattice, values, spline);
        spread(lattice, &mut closest);
        let mut distances = Vec::with_capacity(values.len());
        for (i, value) in values.iter().enumerate() {
            let x = lattice.node(lattice.at(i));
            distances.push(match closest[i] {
                None => *value,
                Some(p) => {
                    let mut distance = (x - p).norm();
                    if distance < REFINED {
                        let polished = polish(spline, x, p).map_or(distance, |q| (x - q).norm());
                        distance = distance.min(polished);
                    }
                    distance.copysign(*value)
                }
            });
        }
        distances
    }
}

/// Closest points of the nodes that have a neighbour of the other sign.
#[inline(always)]
fn seeds(lattice: &Lattice, values: &[f64], spline: &SplineGrid) -> Vec<Option<Vec3>> {
    let mut closest = vec![None; lattice.len()];
    let strides = lattice.strides();
    for (index, closest) in closest.iter_mut().enumerate() {
        let i = lattice.at(index);
        let is_inside = values[index] < 0.0;
        let mut beside = false;
        for a in 0..3 {
            beside |= i[a] > 0 && (values[index - strides[a]] < 0.0) != is_inside;
            beside |= i[a] + 1 < lattice.size[a] && (values[index + strides[a]] < 0.0) != is_inside;
        }
        if beside {
            let x = lattice.node(i);
            *closest = project(spline, x).map(|p| polish(spline, x, p).unwrap_or(p));
        }
    }
    closest
}

/// A point of the zero set near x, by Newton steps along the gradient.
#[inline(always)]
fn project(spline: &SplineGrid, x: Vec3) -> Option<Vec3> {
    let mut p = x;
    for _ in 0..12 {
        let (value, gradient, _) = spline.jet(p);
        if value.abs() < 1e-9 {
            return Some(p);
        }
        p -= gradient * (value / gradient.norm_squared().max(1e-6));
    }
    (spline.value_inside(p).abs() < 1e-6).then_some(p)
}

/// The stationary point of the distance from x near p, if Newton's method finds one no farther than p.
#[inline(always)]
fn polish(spline: &SplineGrid, x: Vec3, start: Vec3) -> Option<Vec3> {
    let mut p = start;
    let mut jet = spline.jet(p);
    let mut multiplier = (x - p).dot(&jet.1) / jet.1.norm_squared().max(1e-12);
    for step in 0..6 {
        if step > 0 {
            jet = spline.jet(p);
        }
        let (value, g, hessian) = jet;
        let mut rows = [[0.0; 5]; 4];
        for i in 0..3 {
            for k in 0..3 {
                let identity = if i == k { 1.0 } else { 0.0 };
                rows[i][k] = identity + hessian[(i, k)] * multiplier;
            }
            rows[i][3] = g[i];
            rows[3][i] = g[i];
        }
        let r = p - x + g * multiplier;
        for i in 0..3 {
            rows[i][4] = -r[i];
        }
        rows[3][4] = -value;
        let step = solve(rows)?;
        let move_by = Vec3::new(step[0], step[1], step[2]);
        if move_by.norm() > 2.0 {
            return None;
        }
        p += move_by;
        multiplier += step[3];
        if move_by.norm() < 1e-7 {
            break;
        }
    }
    let is_nearer = (p - x).norm() <= (start - x).norm() + 1e-9;
    (is_nearer && spline.value_inside(p).abs() < 1e-6).then_some(p)
}

/// Solution of four equations, the right-hand side in the last column, by elimination with partial pivoting; `None` where
/// the matrix is singular.
#[inline(always)]
fn solve(mut rows: [[f64; 5]; 4]) -> Option<[f64; 4]> {
    for i in 0..4 {
        let mut pivot = i;
        for k in i + 1..4 {
            if rows[k][i].abs() > rows[pivot][i].abs() {
                pivot = k;
            }
        }
        if rows[pivot][i] == 0.0 {
            return None;
        }
        rows.swap(i, pivot);
        let inverse = 1.0 / rows[i][i];
        for k in i + 1..4 {
            let factor = rows[k][i] * inverse;
            for c in i + 1..5 {
                rows[k][c] -= rows[i][c] * factor;
            }
        }
    }
    let mut solution = [0.0; 4];
    for i in (0..4).rev() {
        solution[i] = rows[i][4] / rows[i][i];
        for row in rows.iter_mut().take(i) {
            row[4] -= solution[i] * row[i];
        }
    }
    Some(solution)
}

/// Spreads closest points outwards until no node finds a nearer one at a neighbour.
#[inline(always)]
fn spread(lattice: &Lattice, closest: &mut [Option<Vec3>]) {
    let mut front: Vec<usize> = (0..closest.len())
        .filter(|&i| closest[i].is_some())
        .collect();
    let mut distance = vec![f64::INFINITY; closest.len()];
    for &i in &front {
        if let Some(p) = closest[i] {
            distance[i] = (lattice.node(lattice.at(i)) - p).norm_squared();
        }
    }
    let strides = lattice.strides();
    let steps: [([isize; 3], isize); 18] = STEPS.map(|step| {
        let by = (0..3).map(|a| step[a] * strides[a] as isize).sum();
        (step, by)
    });
    let mut queued = vec![false; closest.len()];
    let mut next = Vec::new();
    while !front.is_empty() {
        for &index in &front {
            queued[index] = false;
            let Some(p) = closest[index] else { continue };
            let i = lattice.at(index);
            let is_inner = (0..3).all(|a| i[a] > 0 && i[a] + 1 < lattice.size[a]);
            // Squares of the distances from p one step back, here and one step on, along each axis.
            let squares: [[f64; 3]; 3] = std::array::from_fn(|a| {
                [-1.0, 0.0, 1.0].map(|by| {
                    let off = lattice.origin[a] + (i[a] as f64 + by) * lattice.step - p[a];
                    off * off
                })
            });
            for (step, by) in &steps {
                if !is_inner {
                    let exists = |a: usize| {
                        let n = i[a].wrapping_add_signed(step[a]);
                        n < lattice.size[a]
                    };
                    if !(exists(0) && exists(1) && exists(2)) {
                        continue;
                    }
                }
                let n = index.wrapping_add_signed(*by);
                let square = |a: usize| squares[a][(step[a] + 1) as usize];
                let d = square(0) + square(1) + square(2);
                if d < distance[n] - 1e-9 {
                    distance[n] = d;
                    closest[n] = Some(p);
                    if !queued[n] {
                        queued[n] = true;
                        next.push(n);
                    }
                }
            }
        }
        std::mem::swap(&mut front, &mut next);
        next.clear();
    }
}

const STEPS: [[isize; 3]; 18] = [
    [-1, 0, 0],
    [1, 0, 0],
    [0, -1, 0],
    [0, 1, 0],
    [0, 0, -1],
    [0, 0, 1],
    [-1, -1, 0],
    [-1, 1, 0],
    [1, -1, 0],
    [1, 1, 0],
    [-1, 0, -1],
    [-1, 0, 1],
    [1, 0, -1],
    [1, 0, 1],
    [0, -1, -1],
    [0, -1, 1],
    [0, 1, -1],
    [0, 1, 1],
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Field;
    use bicolumn_base::Aabb;

    /// A torus: its distance is known, its defining function here is far from one.
    #[test]
    fn a_distorted_torus_becomes_a_distance() {
        let (ring, tube) = (12.0, 5.0);
        let exact = |x: Vec3| ((x.x.hypot(x.y) - ring).hypot(x.z)) - tube;
        let bounds = Aabb {
            min: Vec3::repeat(-24.0),
            max: Vec3::repeat(24.0),
        };
        let lattice = Lattice::covering(&bounds, 0.8);
        let values = (0..lattice.len())
            .map(|i| {
                let x = lattice.node(lattice.at(i));
                exact(x) * (1.7 + 0.3 * (0.3 * x.x).sin())
            })
            .collect();
        let field = redistance(lattice, values);
        let mut worst: f64 = 0.0;
        for i in 0..2000 {
            let a = i as f64 * 0.731;
            let b = i as f64 * 1.917;
            let d = -3.0 + 6.0 * (i % 13) as f64 / 12.0;
            let r = ring + (tube + d) * b.cos();
            let x = Vec3::new(r * a.cos(), r * a.sin(), (tube + d) * b.sin());
            worst = worst.max((field.value(x) - d).abs());
            assert!((field.gradient(x).norm() - 1.0).abs() < 0.03);
        }
        assert!(worst < 0.01, "{worst}");
    }
}
