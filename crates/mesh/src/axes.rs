//! Warping lattice vertices onto the axes of thin rods.
//!
//! A rod about as thick as a cell is cut into a polygon of six or so corners. With a vertex on its axis
//! the polygon is a fan, each triangle with one edge on the circle; without one it has over-constrained triangles
//! with two edges there: curved, such a triangle is flat at the corner between them, so its edges would have to stay
//! straight ([`crate::curved_edges`]).

use crate::complex::Complex;
use bicolumn_base::Vec3;

/// Vertices farther from the axis than this share of their shortest edge stay where they are.
const REACH_SHARE: f64 = 0.55;
/// Least shape that a move may leave (a lattice tetrahedron has 0.87 or, where sizes change, 0.7).
const LEAST_SHAPE: f64 = 0.34;

/// Moves vertices near the segments onto them, the nearest first. `finest` is the lattice's cell, mm.
/// Returns the number of vertices moved.
pub(crate) fn snap_to_axes(mesh: &mut Complex, axes: &[[Vec3; 2]], finest: f64) -> usize {
    let mut near: Vec<(f64, u32, Vec3)> = Vec::new();
    for [from, to] in axes {
        let along = (to - from).normalize();
        let length = (to - from).norm();
        for (v, p) in mesh.position.iter().enumerate() {
            let r = p - from;
            let t = r.dot(&along);
            let off = (r - along * t).norm();
            if t > -finest && t < length + finest && off < 4.0 * REACH_SHARE * finest {
                near.push((off, v as u32, from + along * t));
            }
        }
    }
    near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut moved = 0;
    for (off, v, foot) in near {
        let reach = REACH_SHARE * shortest_edge(mesh, v);
        let is_near = off < reach;
        moved += usize::from(is_near && mesh.try_move(v, foot, |_, after| after >= LEAST_SHAPE));
    }
    moved
}

fn shortest_edge(mesh: &Complex, v: u32) -> f64 {
    let star = mesh.star[v as usize].iter();
    star.flat_map(|t| mesh.tets[*t as usize])
        .filter(|w| *w != v)
        .map(|w| mesh.distance(v, w))
        .fold(f64::INFINITY, f64::min)
}
