//! Turns any smooth implicit function into a signed distance on a grid.
//!
//! Nodes beside the zero set get their closest point by Newton steps; closest points then spread
//! from node to neighbour (vector distance transform, Danielsson 1980, Comput Graph Image Process
//! 14:227), and those within [`REFINED`] mm are polished by Newton's method on
//! min |p − x|² subject to f(p) = 0. The signed distances are interpolated by a tricubic spline.

use crate::spline_grid::{Lattice, SplineGrid};
use bicolumn_base::Vec3;
use nalgebra::{Matrix4, Vector4};

/// Distances up to here are exact up to interpolation; farther ones to some hundredths of a grid step.
const REFINED: f64 = 7.0;

/// The signed distance to the zero set of the spline through `values`, as a spline on the same grid.
pub(crate) fn redistance(lattice: Lattice, values: Vec<f64>) -> SplineGrid {
    let spline = SplineGrid::interpolating(lattice, values.clone());
    let mut closest = seeds(&lattice, &values, &spline);
    spread(&lattice, &mut closest);
    let distances = closest
        .iter()
        .zip(&values)
        .enumerate()
        .map(|(i, (p, value))| {
            let x = lattice.node(lattice.at(i));
            let Some(p) = *p else { return *value };
            let mut distance = (x - p).norm();
            if distance < REFINED {
                distance = distance.min(polish(&spline, x, p).map_or(distance, |q| (x - q).norm()));
            }
            distance.copysign(*value)
        })
        .collect();
    SplineGrid::interpolating(lattice, distances)
}

/// Closest points of the nodes that have a neighbour of the other sign.
fn seeds(lattice: &Lattice, values: &[f64], spline: &SplineGrid) -> Vec<Option<Vec3>> {
    (0..lattice.len())
        .map(|index| {
            let i = lattice.at(index);
            let beside = (0..3).any(|axis| {
                [-1isize, 1].iter().any(|&step| {
                    neighbour(lattice, i, axis_step(axis, step))
                        .is_some_and(|n| (values[n] < 0.0) != (values[index] < 0.0))
                })
            });
            if !beside {
                return None;
            }
            let x = lattice.node(i);
            let p = project(spline, x)?;
            Some(polish(spline, x, p).unwrap_or(p))
        })
        .collect()
}

fn axis_step(axis: usize, step: isize) -> [isize; 3] {
    let mut s = [0; 3];
    s[axis] = step;
    s
}

fn neighbour(lattice: &Lattice, i: [usize; 3], step: [isize; 3]) -> Option<usize> {
    let mut n = [0; 3];
    for a in 0..3 {
        n[a] = i[a].checked_add_signed(step[a])?;
        if n[a] >= lattice.size[a] {
            return None;
        }
    }
    Some(lattice.index(n))
}

/// A point of the zero set near x, by Newton steps along the gradient.
fn project(spline: &SplineGrid, x: Vec3) -> Option<Vec3> {
    let mut p = x;
    for _ in 0..12 {
        let (value, gradient, _) = spline.jet(p);
        if value.abs() < 1e-9 {
            return Some(p);
        }
        p -= gradient * (value / gradient.norm_squared().max(1e-6));
    }
    (spline.jet(p).0.abs() < 1e-6).then_some(p)
}

/// The stationary point of the distance from x near p, if Newton's method finds one no farther than p.
fn polish(spline: &SplineGrid, x: Vec3, start: Vec3) -> Option<Vec3> {
    let mut p = start;
    let gradient = spline.jet(p).1;
    let mut multiplier = (x - p).dot(&gradient) / gradient.norm_squared().max(1e-12);
    for _ in 0..6 {
        let (value, g, hessian) = spline.jet(p);
        let mut system = Matrix4::zeros();
        let block = nalgebra::Matrix3::identity() + hessian * multiplier;
        system.fixed_view_mut::<3, 3>(0, 0).copy_from(&block);
        system.fixed_view_mut::<3, 1>(0, 3).copy_from(&g);
        system
            .fixed_view_mut::<1, 3>(3, 0)
            .copy_from(&g.transpose());
        let r = p - x + g * multiplier;
        let step = system.lu().solve(&Vector4::new(-r.x, -r.y, -r.z, -value))?;
        let move_by = Vec3::new(step.x, step.y, step.z);
        if move_by.norm() > 2.0 {
            return None;
        }
        p += move_by;
        multiplier += step.w;
        if move_by.norm() < 1e-7 {
            break;
        }
    }
    let on_surface = spline.jet(p).0.abs() < 1e-6;
    (on_surface && (p - x).norm() <= (start - x).norm() + 1e-9).then_some(p)
}

/// Spreads closest points outwards until no node finds a nearer one at a neighbour.
fn spread(lattice: &Lattice, closest: &mut [Option<Vec3>]) {
    let mut front: Vec<usize> = (0..closest.len())
        .filter(|&i| closest[i].is_some())
        .collect();
    let mut distance: Vec<f64> = (0..closest.len())
        .map(|i| {
            closest[i].map_or(f64::INFINITY, |p| {
                (lattice.node(lattice.at(i)) - p).norm_squared()
            })
        })
        .collect();
    let mut queued = vec![false; closest.len()];
    while !front.is_empty() {
        let mut next = Vec::new();
        for &index in &front {
            queued[index] = false;
            let Some(p) = closest[index] else { continue };
            let i = lattice.at(index);
            for step in STEPS {
                let Some(n) = neighbour(lattice, i, step) else {
                    continue;
                };
                let d = (lattice.node(lattice.at(n)) - p).norm_squared();
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
        front = next;
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
