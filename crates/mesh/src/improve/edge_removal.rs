//! Removing an edge: its ring of tetrahedra is triangulated anew.
//!
//! Inside one label the ring's polygon is triangulated by dynamic programming for the best worst
//! shape (Klincsek 1980; Freitag and Ollivier-Gooch 1997, Int J Numer Methods Eng 40:3979). An edge
//! ab on a smooth interface is swapped for the edge cd between the two ends of the polygons on
//! either side, each of which is triangulated by itself.

use crate::improve::improver::Improver;
use crate::quality::shape;
use crate::surfaces::PINNED;
use crate::tet::six_volumes;

/// Longest polygon that is triangulated.
const LONGEST_POLYGON: usize = 8;
/// Cosine of the angle that new interface facets may make with the surface normal.
const NORMAL_COSINE: f64 = 0.85;

/// A tetrahedron (a, b, from, to) of the ring, positive.
#[derive(Clone, Copy)]
struct Link {
    from: u32,
    to: u32,
    tet: u32,
}

/// Consecutive tetrahedra of one label, by the polygon of their outer corners.
struct Sector {
    label: u8,
    polygon: Vec<u32>,
    tet: u32,
}

impl Improver<'_, '_> {
    /// Removes the edge ab if that raises the worst shape of its ring.
    pub(super) fn remove_edge(&mut self, a: u32, b: u32) -> bool {
        let ring = self.mesh.ring(a, b);
        if ring.is_empty() || ring.len() > 14 {
            return false;
        }
        let floor = ring
            .iter()
            .fold(f64::INFINITY, |m, t| m.min(self.mesh.shape[*t as usize]))
            + 1e-3;
        let Some((sectors, closed)) = self.sectors(a, b, &ring) else {
            return false;
        };
        let born = match (sectors.as_slice(), closed) {
            ([only], true) => {
                let inner = &only.polygon[..only.polygon.len() - 1];
                self.triangulate(a, b, inner, floor)
                    .map(|tets| tets.into_iter().map(|t| (t, only.label)).collect())
            }
            ([_, _], true) | ([_], false) => self.swap(a, b, &sectors, closed, floor),
            _ => None,
        };
        let Some(born) = born else { return false };
        for t in ring {
            self.mesh.remove(t);
        }
        for (tet, label) in born {
            self.mesh.add(tet, label);
        }
        true
    }

    /// The ring in order, cut at label changes; whether it closes. A closed ring of one label starts
    /// anywhere and repeats its first corner at the end.
    fn sectors(&self, a: u32, b: u32, ring: &[u32]) -> Option<(Vec<Sector>, bool)> {
        let links: Vec<Link> = ring
            .iter()
            .map(|t| self.link(a, b, *t))
            .collect::<Option<_>>()?;
        let label = |l: &Link| self.mesh.label[l.tet as usize];
        let before = |l: &Link| links.iter().find(|p| p.to == l.from);
        let open_end = links.iter().find(|l| before(l).is_none());
        let start = match open_end {
            Some(l) => l,
            None => links
                .iter()
                .find(|l| before(l).is_some_and(|p| label(p) != label(l)))
                .unwrap_or(&links[0]),
        };
        let mut chain = vec![*start];
        while chain.len() < links.len() {
            let tail = chain[chain.len() - 1].to;
            let next = links.iter().find(|l| l.from == tail)?;
            if next.tet == start.tet {
                return None; // two rings at one edge: pinched, leave alone
            }
            chain.push(*next);
        }
        let closed = open_end.is_none();
        if closed && chain[chain.len() - 1].to != start.from {
            return None;
        }
        let mut sectors: Vec<Sector> = Vec::new();
        for l in &chain {
            match sectors.last_mut() {
                Some(s) if s.label == label(l) => s.polygon.push(l.to),
                _ => sectors.push(Sector {
                    label: label(l),
                    polygon: vec![l.from, l.to],
                    tet: l.tet,
                }),
            }
        }
        Some((sectors, closed))
    }

    fn link(&self, a: u32, b: u32, tet: u32) -> Option<Link> {
        let mut outer = self.mesh.tets[tet as usize]
            .into_iter()
            .filter(|v| *v != a && *v != b);
        let (c, d) = (outer.next()?, outer.next()?);
        let positive = six_volumes(&self.mesh.points(&[a, b, c, d])) > 0.0;
        let (from, to) = if positive { (c, d) } else { (d, c) };
        Some(Link { from, to, tet })
    }

    /// Swaps the interface edge ab for cd.
    fn swap(
        &self,
        a: u32,
        b: u32,
        sectors: &[Sector],
        closed: bool,
        floor: f64,
    ) -> Option<Vec<([u32; 4], u8)>> {
        let first = &sectors[0].polygon;
        let (c, d) = (first[0], first[first.len() - 1]);
        self.stays_on_surface(a, b, c, d)?;
        let flat = |s: &Sector| s.polygon.len() == 2;
        if !sectors.iter().any(flat) && !self.mesh.ring(c, d).is_empty() {
            return None;
        }
        let mut born = Vec::new();
        for s in sectors {
            if flat(s) {
                // This tetrahedron goes to the other side: its faces on cd become interface and
                // must not be so already.
                for f in [[a, c, d], [b, c, d]] {
                    let beyond = self.mesh.across(f, s.tet)?;
                    if self.mesh.label[beyond as usize] != s.label {
                        return None;
                    }
                }
            } else {
                let tets = self.triangulate(a, b, &s.polygon, floor)?;
                born.extend(tets.into_iter().map(|t| (t, s.label)));
            }
        }
        // A lone flat tetrahedron on the boundary may go; nothing else may vanish.
        if born.is_empty() && (closed || floor > 0.2) {
            return None;
        }
        Some(born)
    }

    /// Are the facets acd and bcd as good an image of the surface as abc and abd?
    fn stays_on_surface(&self, a: u32, b: u32, c: u32, d: u32) -> Option<()> {
        let m = &self.mesh;
        let shared = m.shared([a, b, c, d]);
        if shared == 0 || shared & PINNED != 0 {
            return None;
        }
        let k = shared.trailing_zeros() as usize;
        let middle = m.middle(a, b);
        let others = m.shared([a, b]) & !(1 << k);
        if let Some((_, distance)) = self.surfaces.nearest(others, middle)
            && distance < 1e-3 + 0.05 * m.distance(a, b)
        {
            return None; // ab lies on a curve where two surfaces meet
        }
        let new_middle = m.middle(c, d);
        let sag = self.surfaces.value(k, new_middle).abs();
        let old_sag = self.surfaces.value(k, middle).abs();
        if sag > (1.3 * old_sag).max(0.02 + 0.03 * m.distance(c, d)) {
            return None;
        }
        let normal = self.surfaces.gradient(k, new_middle);
        let at = |v: u32| m.position[v as usize];
        let cd = at(d) - at(c);
        let [na, nb] = [a, b].map(|v| cd.cross(&(at(v) - at(c))));
        let aligned = |n: &bicolumn_base::Vec3| {
            n.dot(&normal).abs() >= NORMAL_COSINE * n.norm() * normal.norm()
        };
        // a and b lie on either side of cd.
        (aligned(&na) && aligned(&nb) && na.dot(&nb) < 0.0).then_some(())
    }

    /// The best triangulation of a polygon r₀…rₙ, as pairs of tetrahedra (a, rᵢ, rⱼ, rₖ) and
    /// (b, rₖ, rⱼ, rᵢ); `None` if some shape would not exceed `floor`.
    fn triangulate(&self, a: u32, b: u32, r: &[u32], floor: f64) -> Option<Vec<[u32; 4]>> {
        let n = r.len();
        if !(3..=LONGEST_POLYGON).contains(&n) {
            return None;
        }
        let at = |v: u32| self.mesh.position[v as usize];
        let (pa, pb) = (at(a), at(b));
        let mut p = [pa; LONGEST_POLYGON];
        for (slot, v) in p.iter_mut().zip(r) {
            *slot = at(*v);
        }
        // best[i][k]: best worst shape of a triangulation of rᵢ…rₖ; apex[i][k]: where its triangle
        // on ik ends.
        let mut best = [[f64::INFINITY; LONGEST_POLYGON]; LONGEST_POLYGON];
        let mut apex = [[0; LONGEST_POLYGON]; LONGEST_POLYGON];
        for span in 2..n {
            for i in 0..n - span {
                let k = i + span;
                best[i][k] = f64::NEG_INFINITY;
                for j in i + 1..k {
                    let parts = best[i][j].min(best[j][k]);
                    if parts <= floor {
                        continue;
                    }
                    let upper = shape(&[pa, p[i], p[j], p[k]]);
                    if upper <= floor {
                        continue;
                    }
                    let worst = parts.min(upper).min(shape(&[pb, p[k], p[j], p[i]]));
                    if worst > best[i][k] {
                        best[i][k] = worst;
                        apex[i][k] = j;
                    }
                }
            }
        }
        if best[0][n - 1] <= floor {
            return None;
        }
        let mut tets = Vec::with_capacity(2 * (n - 2));
        let mut open = vec![(0, n - 1)];
        while let Some((i, k)) = open.pop() {
            if k - i < 2 {
                continue;
            }
            let j = apex[i][k];
            tets.push([a, r[i], r[j], r[k]]);
            tets.push([b, r[k], r[j], r[i]]);
            open.extend([(i, j), (j, k)]);
        }
        Some(tets)
    }
}
