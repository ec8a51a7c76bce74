//! The tetrahedral complex while it is being cut and improved.

use crate::quality::shape;
use crate::tet::{FACES, centroid};
use bicolumn_base::Vec3;

/// Label of a removed tetrahedron.
pub(crate) const REMOVED: u8 = u8::MAX;

/// Tetrahedra with labels, vertices with provenance, and the star of every vertex.
///
/// Every operation leaves positive tetrahedra that fill the same region or is not made.
#[derive(Default)]
pub(crate) struct Complex {
    pub(crate) position: Vec<Vec3>,
    /// Surfaces that a vertex lies on, a bit each.
    pub(crate) on: Vec<u128>,
    pub(crate) tets: Vec<[u32; 4]>,
    pub(crate) label: Vec<u8>,
    /// [`shape`] of every tetrahedron, kept up to date.
    pub(crate) shape: Vec<f64>,
    /// Tetrahedra at a vertex.
    pub(crate) star: Vec<Vec<u32>>,
}

/// A face round an edge: its third vertex, and the labels of the one or two tetrahedra that meet there.
pub(crate) struct EdgeFace {
    pub(crate) apex: u32,
    pub(crate) labels: [u8; 2],
}

impl EdgeFace {
    pub(crate) fn is_interface(&self) -> bool {
        self.labels[0] != self.labels[1]
    }
}

impl Complex {
    /// A complex of unlabelled (label 0) positive tetrahedra.
    pub(crate) fn new(position: Vec<Vec3>, tets: Vec<[u32; 4]>) -> Self {
        let mut c = Complex {
            on: vec![0; position.len()],
            label: vec![0; tets.len()],
            position,
            tets,
            ..Complex::default()
        };
        c.shape = c.tets.iter().map(|t| shape(&c.points(t))).collect();
        c.find_stars();
        c
    }

    fn find_stars(&mut self) {
        let mut size = vec![0u32; self.position.len()];
        for v in self.tets.iter().flatten() {
            size[*v as usize] += 1;
        }
        // Cuts and flips make stars grow a little.
        let star_of = |n: &u32| Vec::with_capacity(*n as usize + 6);
        self.star = size.iter().map(star_of).collect();
        for (t, tet) in self.tets.iter().enumerate() {
            for v in tet {
                self.star[*v as usize].push(t as u32);
            }
        }
    }

    /// Drops dead tetrahedra and idle vertices and numbers the rest anew, in order.
    pub(crate) fn compact(&mut self) {
        let mut new_number = vec![u32::MAX; self.position.len()];
        let live: Vec<usize> = (0..self.tets.len())
            .filter(|t| self.label[*t] != REMOVED)
            .collect();
        for t in &live {
            for v in self.tets[*t] {
                new_number[v as usize] = 0;
            }
        }
        let used = new_number.iter_mut().filter(|n| **n == 0);
        for (count, n) in used.enumerate() {
            *n = count as u32;
        }
        let kept = |v: &usize| new_number[*v] != u32::MAX;
        let vertices: Vec<usize> = (0..self.position.len()).filter(kept).collect();
        self.position = vertices.iter().map(|v| self.position[*v]).collect();
        self.on = vertices.iter().map(|v| self.on[*v]).collect();
        self.label = live.iter().map(|t| self.label[*t]).collect();
        self.shape = live.iter().map(|t| self.shape[*t]).collect();
        self.tets = live
            .iter()
            .map(|t| self.tets[*t].map(|v| new_number[v as usize]))
            .collect();
        self.find_stars();
    }

    #[inline]
    pub(crate) fn points(&self, tet: &[u32; 4]) -> [Vec3; 4] {
        tet.map(|v| self.position[v as usize])
    }

    /// Shape of a tetrahedron that need not be in the complex.
    #[inline]
    pub(crate) fn shape_of(&self, tet: [u32; 4]) -> f64 {
        shape(&self.points(&tet))
    }

    pub(crate) fn centroid(&self, t: u32) -> Vec3 {
        centroid(&self.points(&self.tets[t as usize]))
    }

    pub(crate) fn distance(&self, a: u32, b: u32) -> f64 {
        (self.position[a as usize] - self.position[b as usize]).norm()
    }

    pub(crate) fn middle(&self, a: u32, b: u32) -> Vec3 {
        0.5 * (self.position[a as usize] + self.position[b as usize])
    }

    /// Surfaces that all the given vertices lie on.
    pub(crate) fn shared<const N: usize>(&self, vertices: [u32; N]) -> u128 {
        vertices
            .iter()
            .fold(u128::MAX, |m, v| m & self.on[*v as usize])
    }

    /// Least shape in the star of a vertex.
    pub(crate) fn least_shape(&self, v: u32) -> f64 {
        self.star[v as usize]
            .iter()
            .fold(f64::INFINITY, |m, t| m.min(self.shape[*t as usize]))
    }

    /// Moves a vertex if its star stays positive and `accept(before, after)` likes the least shapes.
    pub(crate) fn try_move(
        &mut self,
        v: u32,
        to: Vec3,
        accept: impl FnOnce(f64, f64) -> bool,
    ) -> bool {
        let i = v as usize;
        let before = self.least_shape(v);
        let from = std::mem::replace(&mut self.position[i], to);
        let mut after = f64::INFINITY;
        for t in &self.star[i] {
            after = after.min(self.shape_of(self.tets[*t as usize]));
            if after <= 0.0 {
                break;
            }
        }
        if after > 0.0 && accept(before, after) {
            self.refresh_star(v);
            return true;
        }
        self.position[i] = from;
        false
    }

    /// Recomputes the shapes in the star of a vertex that has moved.
    pub(crate) fn refresh_star(&mut self, v: u32) {
        for k in 0..self.star[v as usize].len() {
            let t = self.star[v as usize][k] as usize;
            self.shape[t] = self.shape_of(self.tets[t]);
        }
    }

    /// Tetrahedra round an edge; empty when there is no such edge.
    pub(crate) fn ring(&self, a: u32, b: u32) -> Vec<u32> {
        let (from, to) = if self.star[a as usize].len() <= self.star[b as usize].len() {
            (a, b)
        } else {
            (b, a)
        };
        self.star[from as usize]
            .iter()
            .copied()
            .filter(|t| self.tets[*t as usize].contains(&to))
            .collect()
    }

    /// The faces round the edge ab of the given tetrahedra. A face of one tetrahedron has [`REMOVED`]
    /// beyond it.
    pub(crate) fn edge_faces(
        &self,
        a: u32,
        b: u32,
        tets: impl Iterator<Item = ([u32; 4], u8)>,
    ) -> Vec<EdgeFace> {
        let mut faces: Vec<EdgeFace> = Vec::with_capacity(8);
        for (tet, label) in tets {
            for v in tet {
                if v == a || v == b {
                    continue;
                }
                match faces.iter_mut().find(|f| f.apex == v) {
                    Some(f) => f.labels[1] = label,
                    None => faces.push(EdgeFace {
                        apex: v,
                        labels: [label, REMOVED],
                    }),
                }
            }
        }
        faces
    }

    /// The faces round an edge of the complex.
    pub(crate) fn faces_around(&self, a: u32, b: u32, ring: &[u32]) -> Vec<EdgeFace> {
        let tets = ring
            .iter()
            .map(|t| (self.tets[*t as usize], self.label[*t as usize]));
        self.edge_faces(a, b, tets)
    }

    /// The tetrahedron beyond a face of `me`.
    pub(crate) fn across(&self, face: [u32; 3], me: u32) -> Option<u32> {
        self.star[face[0] as usize].iter().copied().find(|t| {
            let tet = &self.tets[*t as usize];
            *t != me && tet.contains(&face[1]) && tet.contains(&face[2])
        })
    }

    /// Is a face of `me` on the boundary or between two labels?
    pub(crate) fn is_interface(&self, face: [u32; 3], me: u32) -> bool {
        // An interface facet is on a surface (or pinned); most faces need no search.
        self.shared(face) != 0
            && self
                .across(face, me)
                .is_none_or(|t| self.label[t as usize] != self.label[me as usize])
    }

    /// The interface faces at a vertex, as corner triples in the order of [`FACES`], with their
    /// tetrahedron. Faces between two labels come twice.
    pub(crate) fn interface_faces(&self, v: u32) -> Vec<([u32; 3], u32)> {
        let mut out = Vec::new();
        for t in &self.star[v as usize] {
            let tet = &self.tets[*t as usize];
            for corners in FACES {
                let f = corners.map(|k| tet[k]);
                if f.contains(&v) && self.is_interface(f, *t) {
                    out.push((f, *t));
                }
            }
        }
        out
    }

    /// Splits the edge ab at a new vertex; returns it, and calls `born(parent, child)` for every
    /// tetrahedron that is added.
    pub(crate) fn split_edge(
        &mut self,
        a: u32,
        b: u32,
        ring: &[u32],
        at: Vec3,
        on: u128,
        mut born: impl FnMut(u32, u32),
    ) -> u32 {
        let n = self.position.len() as u32;
        self.position.push(at);
        self.on.push(on);
        let mut star = Vec::with_capacity(2 * ring.len() + 8);
        for t in ring {
            let old = self.tets[*t as usize];
            let near_a = old.map(|v| if v == b { n } else { v });
            let near_b = old.map(|v| if v == a { n } else { v });
            let child = self.tets.len() as u32;
            self.tets[*t as usize] = near_a;
            self.shape[*t as usize] = self.shape_of(near_a);
            self.tets.push(near_b);
            self.shape.push(self.shape_of(near_b));
            self.label.push(self.label[*t as usize]);
            for v in old {
                if v == b {
                    let star_b = &mut self.star[b as usize];
                    if let Some(slot) = star_b.iter_mut().find(|s| **s == *t) {
                        *slot = child;
                    }
                } else if v != a {
                    self.star[v as usize].push(child);
                }
            }
            star.extend([*t, child]);
            born(*t, child);
        }
        self.star.push(star);
        n
    }

    /// Removes a tetrahedron.
    pub(crate) fn remove(&mut self, t: u32) {
        for v in self.tets[t as usize] {
            let star = &mut self.star[v as usize];
            if let Some(i) = star.iter().position(|s| *s == t) {
                star.swap_remove(i);
            }
        }
        self.label[t as usize] = REMOVED;
    }

    /// Adds a tetrahedron.
    pub(crate) fn add(&mut self, tet: [u32; 4], label: u8) {
        let t = self.tets.len() as u32;
        self.shape.push(self.shape_of(tet));
        self.tets.push(tet);
        self.label.push(label);
        for v in tet {
            self.star[v as usize].push(t);
        }
    }

    /// Live tetrahedra whose shape is below a limit, worst first.
    pub(crate) fn worse_than(&self, limit: f64) -> Vec<(f64, u32)> {
        let mut list: Vec<(f64, u32)> = (0..self.tets.len())
            .filter(|t| self.label[*t] != REMOVED && self.shape[*t] < limit)
            .map(|t| (self.shape[t], t as u32))
            .collect();
        list.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        list
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::tet::six_volumes;

    /// Four tetrahedra round the edge 0-1, the last two longer than the first.
    pub(crate) fn ring_of_four() -> Complex {
        let position = vec![
            Vec3::new(0.0, 0.0, -1.0),
            Vec3::new(0.0, 0.0, 1.0),
            Vec3::new(1.0, 0.0, 0.0),
            Vec3::new(0.0, 1.0, 0.0),
            Vec3::new(-1.5, 0.0, 0.0),
            Vec3::new(0.0, -1.5, 0.0),
        ];
        let tets = vec![[0, 2, 3, 1], [0, 3, 4, 1], [0, 4, 5, 1], [0, 5, 2, 1]];
        Complex::new(position, tets)
    }

    fn volume(c: &Complex) -> f64 {
        (0..c.tets.len())
            .filter(|t| c.label[*t] != REMOVED)
            .map(|t| six_volumes(&c.points(&c.tets[t])) / 6.0)
            .sum()
    }

    fn stars_agree(c: &Complex) {
        for (v, star) in c.star.iter().enumerate() {
            let mut star = star.clone();
            star.sort_unstable();
            let expected: Vec<u32> = (0..c.tets.len() as u32)
                .filter(|t| {
                    c.label[*t as usize] != REMOVED && c.tets[*t as usize].contains(&(v as u32))
                })
                .collect();
            assert_eq!(star, expected);
        }
    }

    #[test]
    fn splitting_keeps_the_volume_and_the_stars() {
        let mut c = ring_of_four();
        let before = volume(&c);
        let ring = c.ring(0, 1);
        assert_eq!(ring.len(), 4);
        let mut children = 0;
        let n = c.split_edge(0, 1, &ring, Vec3::new(0.0, 0.0, 0.2), 4, |_, _| {
            children += 1
        });
        assert_eq!((n, children, c.tets.len()), (6, 4, 8));
        assert!(c.shape.iter().all(|s| *s > 0.0));
        assert!((volume(&c) - before).abs() < 1e-15);
        stars_agree(&c);
        c.remove(0);
        stars_agree(&c);
        c.compact();
        assert_eq!(c.tets.len(), 7);
        stars_agree(&c);
    }

    #[test]
    fn moves_that_turn_a_tetrahedron_over_are_refused() {
        let mut c = ring_of_four();
        assert!(!c.try_move(2, Vec3::new(-0.5, 0.1, 0.0), |_, _| true));
        assert!(c.try_move(2, Vec3::new(1.5, 0.1, 0.0), |_, _| true));
        assert_eq!(c.shape[0], c.shape_of(c.tets[0]));
    }
}
