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
pub(crate) struct Locator {
    origin: Vec3,
    size: [usize; 3],
    /// The tetrahedra, ascending.
    chosen: Vec<Candidate>,
    /// Tetrahedra of each cell, by their places in `chosen`, compressed: `members[start[c]..start[c + 1]]`.
    start: Vec<u32>,
    members: Vec<u32>,
    /// Tetrahedra near the open ball, ascending.
    open: Vec<u32>,
    /// Number of the ball that each tetrahedron was last looked at for.
    seen: Vec<u32>,
    ball: u32,
}

/// A tetrahedron: λ₁..λ₃ = rows · (x − corner 0).
pub(crate) struct Candidate {
    tet: u32,
    bounds: Aabb,
    corner: Vec3,
    rows: [Vec3; 3],
    /// Lengths of the gradients of λ₀..λ₃, 1/mm.
    steepness: [f64; 4],
}

impl Candidate {
    fn of([a, b, c, d]: [Vec3; 4], tet: u32) -> Self {
        let (e1, e2, e3) = (b - a, c - a, d - a);
        let det = e1.dot(&e2.cross(&e3));
        let rows = [
            e2.cross(&e3) / det,
            e3.cross(&e1) / det,
            e1.cross(&e2) / det,
        ];
        let [g1, g2, g3] = rows;
        Candidate {
            tet,
            bounds: Aabb::around(&[a, b, c, d]),
            corner: a,
            rows,
            steepness: [g1 + g2 + g3, g1, g2, g3].map(|g| g.norm()),
        }
    }

    /// Largest barycentric coordinates of the places that the tetrahedron shares with a ball; `None` where it shares
    /// none.
    pub(crate) fn reached(&self, centre: Vec3, radius_mm: f64) -> Option<[f64; 4]> {
        let r = centre - self.corner;
        let [l1, l2, l3] = self.rows.map(|row| row.dot(&r));
        let at = [1.0 - l1 - l2 - l3, l1, l2, l3];
        let most = std::array::from_fn(|k| at[k] + radius_mm * self.steepness[k] - SLACK);
        most.iter()
            .all(|l| *l >= 0.0)
            .then(|| most.map(|l| l.min(1.0)))
    }

    pub(crate) fn tet(&self) -> usize {
        self.tet as usize
    }

    /// A box round the tetrahedron.
    pub(crate) fn bounds(&self) -> &Aabb {
        &self.bounds
    }

    /// Least and largest number of steps along z from a point within which the tetrahedron may hold the places; the
    /// first is the larger where it holds none.
    pub(crate) fn along_z(&self, from: Vec3, step_mm: f64) -> (f64, f64) {
        let r = from - self.corner;
        let [l1, l2, l3] = self.rows.map(|row| row.dot(&r));
        let [d1, d2, d3] = self.rows.map(|row| row.z * step_mm);
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        let l0 = (1.0 - l1 - l2 - l3, -d1 - d2 - d3);
        for (l, d) in [l0, (l1, d1), (l2, d2), (l3, d3)] {
            // λ ≥ SLACK with room for rounding.
            let zero = (10.0 * SLACK - l) / d;
            if d > 0.0 {
                low = low.max(zero);
            } else if d < 0.0 {
                high = high.min(zero);
            } else if l < 10.0 * SLACK {
                return (1.0, 0.0);
            }
        }
        (low, high)
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

impl Locator {
    /// A locator over the tetrahedra that `within` accepts.
    pub(crate) fn new(mesh: &TetMesh, within: impl Fn(usize) -> bool) -> Self {
        let chosen: Vec<Candidate> = (0..mesh.tets.len())
            .filter(|t| within(*t))
            .map(|t| Candidate::of(mesh.corners(t), t as u32))
            .collect();
        let boxes: Vec<Aabb> = chosen.iter().map(|c| c.bounds).collect();
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
            origin,
            size,
            seen: vec![0; chosen.len()],
            ball: 0,
            chosen,
            start: vec![0; size[0] * size[1] * size[2] + 1],
            members: Vec::new(),
            open: Vec::new(),
        };
        for b in &boxes {
            locator.each_cell(b, |start, c| start[c + 1] += 1);
        }
        for c in 1..locator.start.len() {
            locator.start[c] += locator.start[c - 1];
        }
        let mut fill = locator.start.clone();
        let mut members = vec![0; locator.start.last().copied().unwrap_or(0) as usize];
        for (t, b) in boxes.iter().enumerate() {
            locator.each_cell(b, |_, c| {
                members[fill[c] as usize] = t as u32;
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
        self.ball += 1;
        for i in low[0]..=high[0] {
            for j in low[1]..=high[1] {
                for k in low[2]..=high[2] {
                    let c = (i * self.size[1] + j) * self.size[2] + k;
                    for t in &self.members[self.start[c] as usize..self.start[c + 1] as usize] {
                        let last = std::mem::replace(&mut self.seen[*t as usize], self.ball);
                        let b = &self.chosen[*t as usize].bounds;
                        if last != self.ball
                            && (0..3).all(|i| b.min[i] <= ball.max[i] && b.max[i] >= ball.min[i])
                        {
                            self.open.push(*t);
                        }
                    }
                }
            }
        }
        self.open.sort_unstable();
    }

    /// All tetrahedra that the open ball may touch, ascending.
    pub(crate) fn candidates(&self) -> impl Iterator<Item = &Candidate> {
        self.open.iter().map(|t| &self.chosen[*t as usize])
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
        let find = |locator: &Locator, x: Vec3| locator.candidates().find_map(|c| c.holds(x));
        let (tet, l) = find(&locator, Vec3::new(0.1, 0.2, 0.3)).unwrap();
        assert_eq!(tet, 0);
        let corners = mesh.corners(0);
        let back: Vec3 = (0..4).map(|k| corners[k] * l[k]).sum();
        assert!((back - Vec3::new(0.1, 0.2, 0.3)).norm() < 1e-14);
        assert_eq!(find(&locator, Vec3::new(0.5, 0.5, 0.5)), None);
        let held = |from: Vec3| locator.chosen[0].along_z(from, 0.1);
        let (low, high) = held(Vec3::new(0.3, 0.3, -1.0));
        assert!((low - 10.0).abs() < 1e-6 && (high - 14.0).abs() < 1e-6);
        let (low, high) = held(Vec3::new(-0.1, 0.3, 0.0));
        assert!(low > high);
        let reached = |x: Vec3| locator.chosen[0].reached(x, 0.1);
        let [l0, l1, ..] = reached(Vec3::new(0.5, 0.0, -0.05)).unwrap();
        assert!((l0 - (0.55 + 0.1 * 3f64.sqrt())).abs() < 1e-8 && (l1 - 0.6).abs() < 1e-8);
        assert_eq!(reached(Vec3::new(0.5, 0.0, -0.15)), None);
        locator.open(Vec3::repeat(50.0), 0.5);
        assert_eq!(find(&locator, Vec3::repeat(0.1)), None);
        let mut empty = Locator::new(&mesh, |_| false);
        empty.open(Vec3::repeat(0.2), 0.5);
        assert_eq!(find(&empty, Vec3::repeat(0.1)), None);
    }
}
