//! Moving vertices within their surfaces.
//!
//! Each vertex descends on the sum of shape⁻⁴ over its star, which the worst tetrahedra rule. The
//! step is projected: freely inside, in the tangent plane on a surface, along a curve where two
//! surfaces meet; corners stay.

use crate::complex::REMOVED;
use crate::improve::improver::Improver;
use crate::quality::shape;
use crate::surfaces::{PINNED, Surfaces, bits};
use bicolumn_base::Vec3;

impl Improver<'_, '_> {
    /// Smooths every vertex of the tetrahedra below `limit`.
    pub(super) fn smooth_pass(&mut self, limit: f64) {
        let mut marked = vec![false; self.mesh.position.len()];
        for (t, tet) in self.mesh.tets.iter().enumerate() {
            if self.mesh.label[t] != REMOVED && self.mesh.shape[t] < limit {
                tet.iter().for_each(|v| marked[*v as usize] = true);
            }
        }
        for v in (0..marked.len()).filter(|v| marked[*v]) {
            self.smooth(v);
        }
    }

    pub(super) fn smooth(&mut self, v: usize) {
        let on = self.mesh.on[v];
        if on.count_ones() >= 3 || on & PINNED != 0 {
            return;
        }
        // Faces opposite v, so that (v, a, b, c) is positive: gathered once, read many times.
        let star: Vec<[Vec3; 3]> = self.mesh.star[v]
            .iter()
            .map(|t| {
                let tet = self.mesh.tets[*t as usize];
                let opposite = match tet.iter().position(|w| *w as usize == v) {
                    Some(0) => [1, 2, 3],
                    Some(1) => [0, 3, 2],
                    Some(2) => [0, 1, 3],
                    _ => [0, 2, 1],
                };
                opposite.map(|k| self.mesh.position[tet[k] as usize])
            })
            .collect();
        if let Some(at) = descend(self.surfaces, on, &star, self.mesh.position[v], 2) {
            self.mesh.position[v] = at;
            self.mesh.refresh_star(v as u32);
        }
    }
}

/// Where a vertex on the given surfaces fits best into a star, from a first guess, and the least shape
/// there; `None` when the guess leaves no positive star.
pub(crate) fn place_in_star(
    surfaces: &Surfaces<'_>,
    on: u128,
    star: &[[Vec3; 3]],
    start: Vec3,
) -> Option<(Vec3, f64)> {
    const STEPS: usize = 6;
    let at = if on.count_ones() < 3 {
        descend(surfaces, on, star, start, STEPS).unwrap_or(start)
    } else {
        start
    };
    let least = star
        .iter()
        .map(|[a, b, c]| shape(&[at, *a, *b, *c]))
        .fold(f64::INFINITY, f64::min);
    (least > 0.0).then_some((at, least))
}

/// Steps downhill on [`cost`] within the surfaces; `None` where the first one finds nothing better.
fn descend(
    surfaces: &Surfaces<'_>,
    on: u128,
    star: &[[Vec3; 3]],
    start: Vec3,
    steps: usize,
) -> Option<Vec3> {
    let mut at = start;
    let reach = star
        .iter()
        .flatten()
        .map(|p| (p - at).norm_squared())
        .fold(f64::INFINITY, f64::min)
        .sqrt();
    let mut here = cost(star, at);
    let mut moved = false;
    for _ in 0..steps {
        let Some(downhill) = downhill(surfaces, on, star, at, here, 1e-4 * reach) else {
            break;
        };
        let limit = here * (1.0 - 1e-4);
        let better = [0.3, 0.12, 0.04, 0.012].iter().find_map(|step| {
            let free = at + downhill * (step * reach);
            let place = surfaces.project(on, free)?;
            let c = cost_below(star, place, limit);
            (c < limit).then_some((place, c))
        });
        let Some((place, c)) = better else {
            break;
        };
        (at, here, moved) = (place, c, true);
    }
    moved.then_some(at)
}

/// Unit direction of steepest descent within the surfaces.
fn downhill(
    surfaces: &Surfaces<'_>,
    on: u128,
    star: &[[Vec3; 3]],
    at: Vec3,
    here: f64,
    h: f64,
) -> Option<Vec3> {
    let uphill = Vec3::from_fn(|i, _| {
        let mut shifted = at;
        shifted[i] += h;
        (cost(star, shifted) - here) / h
    });
    let mut own = bits(on);
    let within = match (own.next(), own.next()) {
        (None, _) => uphill,
        (Some(k), None) => {
            let n = surfaces.gradient(k, at);
            uphill - n * (uphill.dot(&n) / n.norm_squared())
        }
        (Some(k), Some(l)) => {
            let along = surfaces.gradient(k, at).cross(&surfaces.gradient(l, at));
            if along.norm_squared() < 1e-6 {
                return None;
            }
            along * (uphill.dot(&along) / along.norm_squared())
        }
    };
    let size = within.norm();
    (size > 0.0 && size.is_finite()).then(|| -within / size)
}

/// Sum of shape⁻⁴ over the tetrahedra between a point and the faces of its star.
fn cost(star: &[[Vec3; 3]], at: Vec3) -> f64 {
    cost_below(star, at, f64::INFINITY)
}

/// [`cost`], given up (with some value not below it) as soon as it reaches a limit.
fn cost_below(star: &[[Vec3; 3]], at: Vec3, limit: f64) -> f64 {
    let mut sum = 0.0;
    for [a, b, c] in star {
        let q = shape(&[at, *a, *b, *c]);
        if q <= 1e-4 {
            return 1e30;
        }
        let inverse_square = 1.0 / (q * q);
        sum += inverse_square * inverse_square;
        if sum >= limit {
            break;
        }
    }
    sum
}
