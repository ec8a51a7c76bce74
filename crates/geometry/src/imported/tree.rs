//! A box tree over triangles: nearest point, winding number, triangles near a box.

use super::stl::TriangleSurface;
use bicolumn_base::{Aabb, Vec3};

/// Triangles in a leaf.
const LEAF: usize = 6;
/// A node is summed up as one dipole at this many radii from it: error of the winding number some
/// thousandths (Barill et al. 2018, ACM Trans Graph 37:43, section 4, first order).
const FAR_RADII: f64 = 3.0;

struct Node {
    bounds: Aabb,
    /// Centre of area, sum of area vectors, reach of the triangles from the centre.
    centre: Vec3,
    area: Vec3,
    radius: f64,
    /// Triangles of a leaf, or the two children.
    content: Content,
}

enum Content {
    Leaf(Vec<u32>),
    Fork([u32; 2]),
}

pub(crate) struct Tree<'a> {
    surface: &'a TriangleSurface,
    nodes: Vec<Node>,
}

impl<'a> Tree<'a> {
    pub(crate) fn of(surface: &'a TriangleSurface) -> Tree<'a> {
        let mut tree = Tree {
            surface,
            nodes: Vec::new(),
        };
        let all: Vec<u32> = (0..surface.triangles.len() as u32).collect();
        tree.grow(all);
        tree
    }

    fn grow(&mut self, mut triangles: Vec<u32>) -> u32 {
        let corners = |t: &u32| self.surface.corners(*t as usize);
        let mut bounds = Aabb::EMPTY;
        let (mut area, mut size, mut centre) = (Vec3::zeros(), 0.0, Vec3::zeros());
        for t in &triangles {
            let [a, b, c] = corners(t);
            bounds = [a, b, c].iter().fold(bounds, |box_, p| box_.including(*p));
            let vector = 0.5 * (b - a).cross(&(c - a));
            area += vector;
            size += vector.norm();
            centre += (a + b + c) * (vector.norm() / 3.0);
        }
        let centre = if size > 0.0 {
            centre / size
        } else {
            0.5 * (bounds.min + bounds.max)
        };
        let radius = triangles
            .iter()
            .flat_map(corners)
            .map(|p| (p - centre).norm())
            .fold(0.0, f64::max);
        let id = self.nodes.len() as u32;
        self.nodes.push(Node {
            bounds,
            centre,
            area,
            radius,
            content: Content::Leaf(Vec::new()),
        });
        let content = if triangles.len() <= LEAF {
            Content::Leaf(triangles)
        } else {
            let axis = (bounds.max - bounds.min).imax();
            let place = |t: &u32| {
                self.surface
                    .corners(*t as usize)
                    .iter()
                    .map(|p| p[axis])
                    .sum()
            };
            triangles.sort_by(|s, t| {
                let (s_at, t_at): (f64, f64) = (place(s), place(t));
                s_at.total_cmp(&t_at).then(s.cmp(t))
            });
            let upper = triangles.split_off(triangles.len() / 2);
            Content::Fork([self.grow(triangles), self.grow(upper)])
        };
        self.nodes[id as usize].content = content;
        id
    }

    /// Distance of a point from the surface, mm; `most` if it is farther.
    pub(crate) fn distance(&self, x: Vec3, most: f64) -> f64 {
        let mut best = most * most;
        let mut open = vec![(self.nodes[0].bounds.distance(x), 0u32)];
        while let Some((near, n)) = open.pop() {
            if near * near >= best {
                continue;
            }
            match &self.nodes[n as usize].content {
                Content::Leaf(triangles) => {
                    for t in triangles {
                        let p = nearest(&self.surface.corners(*t as usize), x);
                        best = best.min((x - p).norm_squared());
                    }
                }
                Content::Fork(children) => {
                    let mut next = children.map(|c| (self.nodes[c as usize].bounds.distance(x), c));
                    // The nearer one is looked at first.
                    if next[0].0 < next[1].0 {
                        next.swap(0, 1);
                    }
                    open.extend(next);
                }
            }
        }
        best.sqrt()
    }

    /// How often the surface winds round a point: 1 inside, 0 outside, to some thousandths.
    pub(crate) fn winding(&self, x: Vec3) -> f64 {
        let mut sum = 0.0;
        let mut open = vec![0u32];
        while let Some(n) = open.pop() {
            let node = &self.nodes[n as usize];
            let to = node.centre - x;
            let distance = to.norm();
            if distance > FAR_RADII * node.radius {
                sum += node.area.dot(&to) / distance.powi(3);
                continue;
            }
            match &node.content {
                Content::Leaf(triangles) => {
                    for t in triangles {
                        sum += solid_angle(&self.surface.corners(*t as usize), x);
                    }
                }
                Content::Fork(children) => open.extend(children),
            }
        }
        sum / (4.0 * std::f64::consts::PI)
    }

    /// Calls `found` for the triangles whose leaf's box touches a box and that may touch it themselves.
    pub(crate) fn touching(&self, bounds: &Aabb, found: &mut impl FnMut(usize)) {
        let overlap =
            |b: &Aabb| (0..3).all(|i| b.min[i] <= bounds.max[i] && bounds.min[i] <= b.max[i]);
        let mut open = vec![0u32];
        while let Some(n) = open.pop() {
            let node = &self.nodes[n as usize];
            if !overlap(&node.bounds) {
                continue;
            }
            match &node.content {
                Content::Fork(children) => open.extend(children),
                Content::Leaf(triangles) => {
                    for t in triangles {
                        if overlap(&Aabb::around(&self.surface.corners(*t as usize))) {
                            found(*t as usize);
                        }
                    }
                }
            }
        }
    }
}

/// Signed solid angle of a triangle seen from a point (Van Oosterom and Strackee 1983, IEEE Trans
/// Biomed Eng 30:125).
fn solid_angle(t: &[Vec3; 3], x: Vec3) -> f64 {
    let [a, b, c] = t.map(|p| p - x);
    let (la, lb, lc) = (a.norm(), b.norm(), c.norm());
    let triple = a.dot(&b.cross(&c));
    let sum = la * lb * lc + a.dot(&b) * lc + b.dot(&c) * la + c.dot(&a) * lb;
    2.0 * triple.atan2(sum)
}

/// Nearest point of a triangle (Ericson 2005, Real-Time Collision Detection, section 5.1.5).
fn nearest([a, b, c]: &[Vec3; 3], x: Vec3) -> Vec3 {
    let (ab, ac, ax) = (b - a, c - a, x - a);
    let (d1, d2) = (ab.dot(&ax), ac.dot(&ax));
    if d1 <= 0.0 && d2 <= 0.0 {
        return *a;
    }
    let bx = x - b;
    let (d3, d4) = (ab.dot(&bx), ac.dot(&bx));
    if d3 >= 0.0 && d4 <= d3 {
        return *b;
    }
    let vc = d1 * d4 - d3 * d2;
    if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 {
        return a + ab * (d1 / (d1 - d3));
    }
    let cx = x - c;
    let (d5, d6) = (ab.dot(&cx), ac.dot(&cx));
    if d6 >= 0.0 && d5 <= d6 {
        return *c;
    }
    let vb = d5 * d2 - d1 * d6;
    if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 {
        return a + ac * (d2 / (d2 - d6));
    }
    let va = d3 * d6 - d5 * d4;
    if va <= 0.0 && d4 - d3 >= 0.0 && d5 - d6 >= 0.0 {
        return b + (c - b) * ((d4 - d3) / ((d4 - d3) + (d5 - d6)));
    }
    let total = va + vb + vc;
    a + ab * (vb / total) + ac * (vc / total)
}

#[cfg(test)]
mod tests {
    use super::super::shapes::ball;
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn the_tree_agrees_with_every_triangle_looked_at(x in prop::array::uniform3(-14.0..14.0f64)) {
            let surface = ball(Vec3::zeros(), 10.0, 3);
            let tree = Tree::of(&surface);
            let x = Vec3::from(x);
            let all = || (0..surface.triangles.len()).map(|t| surface.corners(t));
            let distance = all().map(|t| (nearest(&t, x) - x).norm()).fold(f64::MAX, f64::min);
            prop_assert!((tree.distance(x, 100.0) - distance).abs() < 1e-12);
            let exact: f64 = all().map(|t| solid_angle(&t, x)).sum();
            let winding = tree.winding(x);
            prop_assert!((winding - exact / (4.0 * std::f64::consts::PI)).abs() < 0.02);
            prop_assert_eq!(winding > 0.5, exact > std::f64::consts::TAU);
            // Independent of the tree: the ball is 10 mm, its facets at most 0.25 mm inside.
            let off = x.norm() - 10.0;
            prop_assert!((distance - off.abs()).abs() < 0.25);
            if off.abs() > 0.3 {
                prop_assert_eq!(winding > 0.5, off < 0.0);
            }
        }
    }

    #[test]
    fn boxes_find_their_triangles() {
        let surface = ball(Vec3::zeros(), 10.0, 2);
        let tree = Tree::of(&surface);
        let bounds = Aabb {
            min: Vec3::new(2.0, 2.0, 2.0),
            max: Vec3::new(7.0, 8.0, 9.0),
        };
        let mut found = Vec::new();
        tree.touching(&bounds, &mut |t| found.push(t));
        found.sort_unstable();
        let touches = |t: &usize| {
            let b = Aabb::around(&surface.corners(*t));
            (0..3).all(|i| b.min[i] <= bounds.max[i] && bounds.min[i] <= b.max[i])
        };
        let expected: Vec<usize> = (0..surface.triangles.len()).filter(touches).collect();
        assert_eq!(found, expected);
        assert!(!found.is_empty());
    }
}
