//! Improvement: better shapes without leaving the surfaces, curves and corners.
//!
//! Five local operations, each made only if the worst shape around it rises (Klingner and Shewchuk
//! 2007, Proc 16th Int Meshing Roundtable: worst first, topological moves and smoothing in turn):
//! collapse an edge, remove an edge by re-triangulating its ring, swap an edge of an interface, flip
//! two tetrahedra to three, move a vertex within its surfaces. Only tetrahedra below a threshold are
//! looked at, so a good lattice stays as it is.

mod collapse;
mod edge_removal;
mod flip;
mod improver;
mod smooth;

pub(crate) use smooth::place_in_star;

use crate::complex::{Complex, REMOVED};
use crate::surfaces::{PINNED, Surfaces};
use crate::tet::EDGES;
use bicolumn_base::Vec3;
use improver::Improver;

/// Shapes below this are worth smoothing.
const SMOOTH_BELOW: f64 = 0.5;
/// Shapes below this are worth a collapse.
const COLLAPSE_BELOW: f64 = 0.36;

/// Tries to bring vertices onto their surfaces at the price of shape.
const PROJECTION_ROUNDS: usize = 6;
/// Least shape that may cost: the sine of 10 degrees and a little.
const LEAST_SHAPE_ON_SURFACE: f64 = 0.18;
/// Least shape that the way there may cost: the sine of 20 degrees and a little.
const GOOD_SHAPE: f64 = 0.36;

/// Improves the complex. `finest` and `coarsest` are the lattice's cell sizes, mm.
pub(crate) fn improve(mesh: &mut Complex, surfaces: &Surfaces<'_>, finest: f64, coarsest: f64) {
    let mut work = Improver {
        mesh,
        surfaces,
        finest,
        longest: 2.2 * coarsest,
    };
    work.settle(0.5);
    for pass in 0..6 {
        let first = pass == 0;
        let mut changes = work.collapse_pass(if first { 0.30 } else { COLLAPSE_BELOW });
        changes += work.flip_pass(0.5);
        work.smooth_pass(if first { 0.40 } else { SMOOTH_BELOW });
        changes += work.flip_pass(0.42);
        if pass >= 3 && changes == 0 {
            break;
        }
    }
    for _ in 0..2 {
        work.smooth_pass(SMOOTH_BELOW);
        work.flip_pass(0.42);
        work.collapse_pass(COLLAPSE_BELOW);
    }
    work.smooth_pass(SMOOTH_BELOW);
    work.settle(0.3);
    work.project_onto_surfaces();
}

/// Smooths the vertices of the tetrahedra from number `first` on.
pub(crate) fn smooth_new(mesh: &mut Complex, surfaces: &Surfaces<'_>, first: usize) {
    let mut vertices: Vec<u32> = mesh.tets[first..].iter().flatten().copied().collect();
    vertices.sort_unstable();
    vertices.dedup();
    let mut work = Improver {
        mesh,
        surfaces,
        finest: 0.0,
        longest: 0.0,
    };
    for v in vertices {
        work.smooth(v as usize);
    }
}

impl Improver<'_, '_> {
    /// Moves vertices that are marked as on surfaces but a little off them onto those surfaces, if
    /// the shapes keep the given share.
    fn settle(&mut self, share: f64) {
        for v in 0..self.mesh.position.len() {
            let on = self.mesh.on[v];
            if on == 0 || on & PINNED != 0 || self.mesh.star[v].is_empty() {
                continue;
            }
            let at = self.mesh.position[v];
            if self.surfaces.residual(on, at) > 1e-8
                && let Some(p) = self.surfaces.project(on, at)
            {
                self.mesh.try_move(v as u32, p, |before, after| {
                    after >= share * before.min(0.5)
                });
            }
        }
    }

    /// Moves vertices that are still off their surfaces there at the price of shape, and smooths the
    /// neighbours, which may make room for the next try: a vertex in a chord across a thin screw has far to go.
    fn project_onto_surfaces(&mut self) {
        for _ in 0..PROJECTION_ROUNDS {
            let astray: Vec<(u32, Vec3)> = (0..self.mesh.position.len())
                .filter_map(|v| {
                    let on = self.mesh.on[v];
                    let at = self.mesh.position[v];
                    let is_astray = !self.mesh.star[v].is_empty()
                        && on & PINNED == 0
                        && self.surfaces.residual(on, at) > 1e-8;
                    let home = is_astray.then(|| self.surfaces.project(on, at))?;
                    Some((v as u32, home?))
                })
                .collect();
            for (v, home) in &astray {
                let at = self.mesh.position[*v as usize];
                // A part of the way is worth no bad shape.
                let stops = [
                    (1.0, LEAST_SHAPE_ON_SURFACE),
                    (0.5, GOOD_SHAPE),
                    (0.2, GOOD_SHAPE),
                ];
                let moved = stops.into_iter().any(|(way, floor)| {
                    let stop = at + way * (home - at);
                    self.mesh.try_move(*v, stop, |_, after| after >= floor)
                });
                if !moved {
                    continue;
                }
                let star = self.mesh.star[*v as usize].clone();
                let mut around: Vec<u32> = star
                    .iter()
                    .flat_map(|t| self.mesh.tets[*t as usize])
                    .collect();
                around.sort_unstable();
                around.dedup();
                for w in around {
                    self.smooth(w as usize);
                }
            }
            if astray.is_empty() {
                break;
            }
        }
    }

    /// Tries `change` on each live tetrahedron below `limit`, worst first; it says whether it changed
    /// the mesh. Returns how often it did.
    fn worst_first(&mut self, limit: f64, mut change: impl FnMut(&mut Self, u32) -> bool) -> usize {
        let mut changes = 0;
        for (shape, t) in self.mesh.worse_than(limit) {
            let alive = self.mesh.label[t as usize] != REMOVED;
            if alive && self.mesh.shape[t as usize] == shape && change(self, t) {
                changes += 1;
            }
        }
        changes
    }

    fn flip_pass(&mut self, limit: f64) -> usize {
        self.worst_first(limit, |work, t| {
            let tet = work.mesh.tets[t as usize];
            EDGES
                .iter()
                .any(|[i, j]| work.remove_edge(tet[*i], tet[*j]))
                || (0..4).any(|i| work.flip_face(t, i))
        })
    }

    fn collapse_pass(&mut self, limit: f64) -> usize {
        self.worst_first(limit, |work, t| work.collapse_an_edge_of(t))
    }
}
