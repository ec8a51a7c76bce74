//! Point location: the tetrahedron in which a point lies.

use bicolumn_base::{Aabb, Vec3};
use bicolumn_mesh::TetMesh;

/// Width of a grid cell, mm: about the size of a ball.
const CELL_MM: f64 = 1.6;
/// How far outside a tetrahedron (in barycentric coordinates) still counts as inside: rounding.
const SLACK: f64 = -1e-9;

/// Finds points in a chosen set of tetrahedra by a uniform grid.
///
/// Use: [`Locator::open`] a small ball, then ask its [`Locator::candidates`]. Tetrahedra are taken as
/// straight-sided: a point between a curved facet and its chord (hundredths of a millimetre) is
/// placed by the corners.
pub(crate) struct Locator<'a> {
    mesh: &'a TetMesh,
    origin: Vec3,
    size: [usize; 3],
    /// Tetrahedra of each cell, compressed: `members[start[c]..start[c + 1]]`.
    start: Vec<u32>,
    members: Vec<u32>,
    /// Tetrahedra near the open ball, ascending, and their barycentric maps.
    open: Vec<Candidate>,
    scratch: Vec<u32>,
}

/// A tetrahedron near the open ball: λ₁..λ₃ = rows · (x − corner 0).
pub(crate) struct Candidate {
    tet: u32,
    bounds: Aabb,
    corner: Vec3,
    rows: [Vec3; 3],
}

impl Candidate {
    fn of([a, b, c, d]: [Vec3; 4], tet: u32, bounds: Aabb) -> Self {
        let (e1, e2, e3) = (b - a, c - a, d - a);
        let det = e1.dot(&e2.cross(&e3));
        Candidate {
            tet,
            bounds,
            corner: a,
            rows: [
                e2.cross(&e3) / det,
                e3.cross(&e1) / det,
                e1.cross(&e2) / det,
            ],
        }
    }

    pub(crate) fn tet(&self) -> usize {
        self.tet as usize
    }

    /// A box round the tetrahedron.
    pub(crate) fn bounds(&self) -> &Aabb {
        &self.bounds
    }

    /// The tetrahedron with barycentric coordinates, if the point lies in it.
    #[inline]
    pub(crate) fn holds(&self, x: Vec3) -> Option<(u32, [f64; 4])> {
        let r = x - self.corner;
        let [l1, l2, l3] = [0, 1, 2].map(|k| self.rows[k].dot(&r));
        let l0 = 1.0 - l1 - l2 - l3;
        (l0 >= SLACK && l1 >= SLACK && l2 >= SLACK && l3 >= SLACK)
            .then_some((self.tet, [l0, l1, l2, l3]))
    }
}

impl<'a> Locator<'a> {
    /// A locator over the tetrahedra that `within` accepts.
    pub(crate) fn new(mesh: &'a TetMesh, within: impl Fn(usize) -> bool) -> Self {
        let chosen: Vec<u32> = (0..mesh.tets.len())
            .filter(|t| within(*t))
            .map(|t| t as u32)
            .collect();
        let boxes: Vec<Aabb> = chosen
            .iter()
            .map(|t| Aabb::around(&mesh.corners(*t as usize)))
            .collect();
        let all = boxes
            .iter()
            .fold(Aabb::EMPTY, |b, t| b.including(t.min).including(t.max));
        let origin = if chosen.is_empty() {
            Vec3::zeros()
        } else {
            all.min
        };
        let extent = if chosen.is_empty() {
            Vec3::zeros()
        } else {
            all.max - all.min
        };
        let size = [0, 1, 2].map(|i| (extent[i] / CELL_MM) as usize + 1);
        let mut locator = Locator {
            mesh,
            origin,
            size,
            start: vec![0; size[0] * size[1] * size[2] + 1],
            members: Vec::new(),
            open: Vec::new(),
            scratch: Vec::new(),
        };
        for b in &boxes {
            locator.each_cell(b, |start, c| start[c + 1] += 1);
        }
        for c in 1..locator.start.len() {
            locator.start[c] += locator.start[c - 1];
        }
        let mut fill = locator.start.clone();
        let mut members = vec![0; locator.start.last().copied().unwrap_or(0) as usize];
        for (t, b) in chosen.iter().zip(&boxes) {
            locator.each_cell(b, |_, c| {
                members[fill[c] as usize] = *t;
                fill[c] += 1;
            });
        }
        locator.members = members;
        locator
    }

    fn each_cell(&mut self, b: &Aabb, mut visit: impl FnMut(&mut Vec<u32>, usize)) {
        let Some((low, high)) = self.range(b) else {
            return;
        };
        for i in low[0]..=high[0] {
            for j in low[1]..=high[1] {
                for k in low[2]..=high[2] {
                    visit(&mut self.start, (i * self.size[1] + j) * self.size[2] + k);
                }
            }
        }
    }

    /// Cells that a box touches; `None` outside the grid.
    fn range(&self, b: &Aabb) -> Option<([usize; 3], [usize; 3])> {
        let (mut low, mut high) = ([0; 3], [0; 3]);
        for i in 0..3 {
            let l = ((b.min[i] - self.origin[i]) / CELL_MM).floor();
            let h = ((b.max[i] - self.origin[i]) / CELL_MM).floor();
            if h < 0.0 || l >= self.size[i] as f64 {
                return None;
            }
            low[i] = l.max(0.0) as usize;
            high[i] = (h as usize).min(self.size[i] - 1);
        }
        Some((low, high))
    }

    /// Gathers the tetrahedra near a ball.
    pub(crate) fn open(&mut self, centre: Vec3, radius_mm: f64) {
        self.open.clear();
        let ball = Aabb::around(&[centre]).grown(radius_mm);
        let Some((low, high)) = self.range(&ball) else {
            return;
        };
        self.scratch.clear();
        for i in low[0]..=high[0] {
            for j in low[1]..=high[1] {
                for k in low[2]..=high[2] {
                    let c = (i * self.size[1] + j) * self.size[2] + k;
                    let cell = self.start[c] as usize..self.start[c + 1] as usize;
                    self.scratch.extend_from_slice(&self.members[cell]);
                }
            }
        }
        self.scratch.sort_unstable();
        self.scratch.dedup();
        for t in &self.scratch {
            let corners = self.mesh.corners(*t as usize);
            let b = Aabb::around(&corners);
            if (0..3).all(|i| b.min[i] <= ball.max[i] && b.max[i] >= ball.min[i]) {
                self.open.push(Candidate::of(corners, *t, b));
            }
        }
    }

    /// All tetrahedra that the open ball may touch, ascending.
    pub(crate) fn candidates(&self) -> &[Candidate] {
        &self.open
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_mesh::one_tet;

    #[test]
    fn points_are_found_and_only_inside() {
        let mesh = one_tet();
        let mut locator = Locator::new(&mesh, |_| true);
        locator.open(Vec3::repeat(0.2), 0.5);
        let find = |locator: &Locator<'_>, x: Vec3| {
            let mut open = locator.candidates().iter();
            open.find_map(|c| c.holds(x))
        };
        let (tet, l) = find(&locator, Vec3::new(0.1, 0.2, 0.3)).unwrap();
        assert_eq!(tet, 0);
        let corners = mesh.corners(0);
        let back: Vec3 = (0..4).map(|k| corners[k] * l[k]).sum();
        assert!((back - Vec3::new(0.1, 0.2, 0.3)).norm() < 1e-14);
        assert_eq!(find(&locator, Vec3::new(0.5, 0.5, 0.5)), None);
        locator.open(Vec3::repeat(50.0), 0.5);
        assert_eq!(find(&locator, Vec3::repeat(0.1)), None);
        let mut empty = Locator::new(&mesh, |_| false);
        empty.open(Vec3::repeat(0.2), 0.5);
        assert_eq!(find(&empty, Vec3::repeat(0.1)), None);
    }
}
