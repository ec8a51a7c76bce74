//! Collapsing an edge: a vertex is pulled onto its neighbour.
//!
//! A vertex may only go to one that is at least as bound: inside to anywhere, surface to surface,
//! curve to curve. Where two features are closer than a small share of the finest cell they are
//! merged. The link condition (Dey, Edelsbrunner, Guha, Nekhayev 1999, Publ Inst Math 66:23) is
//! checked on vertices, edges and the interface, and no label may end up pinched at an edge.

use crate::complex::EdgeFace;
use crate::improve::improver::Improver;
use crate::manifold::is_non_manifold;
use crate::quality::shape;
use crate::surfaces::{PINNED, bits};
use crate::tet::{EDGES, centroid};
use bicolumn_base::Vec3;

/// Features closer than this share of the finest cell may be merged.
const MERGE_SHARE: f64 = 0.15;
/// No collapse may leave a shape below this.
const LEAST_SHAPE: f64 = 0.05;
/// Cosine of the largest turn of an interface facet against its surface, and against its old self.
const NORMAL_COSINE: f64 = 0.85;
const TURN_COSINE: f64 = 0.3;

/// A collapse that has passed its checks so far.
struct Collapse {
    /// The vertex that goes, the one that stays, and where it will be.
    gone: u32,
    kept: u32,
    at: Vec3,
    /// Surfaces of the kept vertex afterwards.
    on: u128,
    /// Tetrahedra of the star of `gone` that stay, with `gone` replaced.
    changed: Vec<(u32, [u32; 4])>,
    /// Tetrahedra at the edge, which vanish.
    ring: Vec<u32>,
}

impl Improver<'_, '_> {
    /// Collapses one of the four shortest edges of a tetrahedron if the rules allow one.
    pub(super) fn collapse_an_edge_of(&mut self, t: u32) -> bool {
        let tet = self.mesh.tets[t as usize];
        let mut edges = EDGES.map(|[i, j]| {
            let (a, b) = (tet[i], tet[j]);
            (self.mesh.distance(a, b), a, b)
        });
        edges.sort_by(|x, y| x.0.total_cmp(&y.0).then((x.1, x.2).cmp(&(y.1, y.2))));
        edges[..4]
            .iter()
            .any(|(_, a, b)| self.collapse(*a, *b) || self.collapse(*b, *a))
    }

    fn collapse(&mut self, gone: u32, kept: u32) -> bool {
        let Some(c) = self.prepare(gone, kept) else {
            return false;
        };
        for t in &c.ring {
            self.mesh.remove(*t);
        }
        for (t, tet) in c.changed {
            self.mesh.tets[t as usize] = tet;
            self.mesh.star[kept as usize].push(t);
        }
        self.mesh.star[gone as usize].clear();
        self.mesh.on[kept as usize] = c.on;
        self.mesh.position[kept as usize] = c.at;
        self.mesh.refresh_star(kept);
        true
    }

    /// All checks, the cheap ones first.
    fn prepare(&self, gone: u32, kept: u32) -> Option<Collapse> {
        let m = &*self.mesh;
        let (on_gone, on_kept) = (m.on[gone as usize], m.on[kept as usize]);
        if on_gone & PINNED != 0 || on_kept & PINNED != 0 {
            return None;
        }
        let length = m.distance(gone, kept);
        let fits = on_gone & !on_kept == 0;
        let merge = !fits
            && on_kept != 0
            && length < MERGE_SHARE * self.finest
            && on_kept.count_ones() >= on_gone.count_ones();
        if !merge && (!fits || on_gone.count_ones() >= 3) {
            return None;
        }
        let ring = m.ring(gone, kept);
        if ring.is_empty() {
            return None;
        }
        let bound = on_gone != 0;
        if bound
            && !m
                .faces_around(gone, kept, &ring)
                .iter()
                .any(EdgeFace::is_interface)
        {
            return None;
        }
        let on = on_gone | on_kept;
        let at = if merge {
            let from = m.position[kept as usize];
            let p = self.surfaces.project(on, from)?;
            if (p - from).norm() > 2.0 * MERGE_SHARE * self.finest {
                return None;
            }
            p
        } else {
            m.position[kept as usize]
        };
        let c = Collapse {
            gone,
            kept,
            at,
            on,
            changed: self.changed(gone, kept, at, merge)?,
            ring,
        };
        if bound && !merge {
            let middle = m.middle(gone, kept);
            if self.surfaces.residual(on_gone, middle) > 0.12 * length + 1e-6 {
                return None; // the edge leaves the curve or surface of the vertex that goes
            }
        }
        self.links_agree(&c, bound)?;
        if bound {
            self.interface_agrees(&c)?;
            self.stays_manifold(&c)?;
        }
        Some(c)
    }

    /// The changed tetrahedra, if all of them beat the worst there was.
    fn changed(&self, gone: u32, kept: u32, at: Vec3, merge: bool) -> Option<Vec<(u32, [u32; 4])>> {
        let m = &*self.mesh;
        let mut before = m.least_shape(gone);
        if merge {
            before = before.min(m.least_shape(kept));
        }
        let place = |v: u32| {
            if v == kept {
                at
            } else {
                m.position[v as usize]
            }
        };
        let good = |tet: &[u32; 4]| {
            let q = shape(&tet.map(place));
            q > before && q >= LEAST_SHAPE
        };
        let mut changed = Vec::with_capacity(24);
        for t in &m.star[gone as usize] {
            let old = m.tets[*t as usize];
            if old.contains(&kept) {
                continue;
            }
            let tet = old.map(|v| if v == gone { kept } else { v });
            let too_long = old
                .iter()
                .any(|v| *v != gone && (place(*v) - at).norm() > self.longest);
            if too_long || !good(&tet) {
                return None;
            }
            changed.push((*t, tet));
        }
        if merge {
            let kept_ones = m.star[kept as usize].iter().map(|t| &m.tets[*t as usize]);
            if kept_ones.filter(|t| !t.contains(&gone)).any(|t| !good(t)) {
                return None;
            }
        }
        (!changed.is_empty()).then_some(changed)
    }

    /// Lk(u) ∩ Lk(v) = Lk(uv), on vertices, and on edges where an interface is at stake.
    fn links_agree(&self, c: &Collapse, edges_too: bool) -> Option<()> {
        let m = &*self.mesh;
        let neighbours = |v: u32| {
            let star = m.star[v as usize].iter();
            let mut n: Vec<u32> = star.flat_map(|t| m.tets[*t as usize]).collect();
            n.sort_unstable();
            n.dedup();
            n
        };
        let (near_gone, near_kept) = (neighbours(c.gone), neighbours(c.kept));
        let mut of_ring: Vec<u32> = c.ring.iter().flat_map(|t| m.tets[*t as usize]).collect();
        of_ring.sort_unstable();
        of_ring.dedup();
        if common(&near_gone, &near_kept) != of_ring.len() {
            return None;
        }
        if edges_too {
            let link_edges = |v: u32| {
                let mut e: Vec<[u32; 2]> = Vec::with_capacity(96);
                for t in &m.star[v as usize] {
                    let tet = &m.tets[*t as usize];
                    for [i, j] in EDGES {
                        let (a, b) = (tet[i], tet[j]);
                        if a != v && b != v {
                            e.push([a.min(b), a.max(b)]);
                        }
                    }
                }
                e.sort_unstable();
                e.dedup();
                e
            };
            let free = |e: &&[u32; 2]| !e.contains(&c.gone) && !e.contains(&c.kept);
            let of_gone = link_edges(c.gone);
            let of_kept = link_edges(c.kept);
            let shared = of_gone
                .iter()
                .filter(free)
                .filter(|e| of_kept.binary_search(e).is_ok())
                .count();
            if shared != c.ring.len() {
                return None;
            }
        }
        Some(())
    }

    /// The interface facets that change keep their surface, its sag and its normal, and the
    /// interface by itself satisfies the link condition.
    fn interface_agrees(&self, c: &Collapse) -> Option<()> {
        let m = &*self.mesh;
        let at_gone = m.interface_faces(c.gone);
        let beside = |faces: &[([u32; 3], u32)], v: u32| {
            let mut n: Vec<u32> = faces.iter().flat_map(|f| f.0).filter(|w| *w != v).collect();
            n.sort_unstable();
            n.dedup();
            n
        };
        let at_kept = m.interface_faces(c.kept);
        let mut between: Vec<u32> = at_gone
            .iter()
            .filter(|f| f.0.contains(&c.kept))
            .flat_map(|f| f.0)
            .filter(|w| *w != c.kept && *w != c.gone)
            .collect();
        between.sort_unstable();
        between.dedup();
        let near_gone = beside(&at_gone, c.gone);
        let near_kept = beside(&at_kept, c.kept);
        if common(&near_gone, &near_kept) != between.len() {
            return None;
        }
        let place = |v: u32| {
            if v == c.kept {
                c.at
            } else {
                m.position[v as usize]
            }
        };
        for (f, t) in &at_gone {
            if m.tets[*t as usize].contains(&c.kept) {
                continue;
            }
            let new = f.map(|v| if v == c.gone { c.kept } else { v });
            let on = |v: u32| if v == c.kept { c.on } else { m.on[v as usize] };
            let shared = m.shared(*f) & on(new[0]) & on(new[1]) & on(new[2]);
            let p = new.map(place);
            let old = f.map(|v| m.position[v as usize]);
            let normal = (p[1] - p[0]).cross(&(p[2] - p[0]));
            let old_normal = (old[1] - old[0]).cross(&(old[2] - old[0]));
            if normal.dot(&old_normal) < TURN_COSINE * normal.norm() * old_normal.norm() {
                return None;
            }
            let longest = (p[1] - p[0])
                .norm()
                .max((p[2] - p[1]).norm())
                .max((p[0] - p[2]).norm());
            let middle = centroid(&p);
            let follows = bits(shared).any(|k| {
                self.surfaces.value(k, middle).abs() < 0.02 + 0.06 * longest && {
                    let g = self.surfaces.gradient(k, middle);
                    g.dot(&normal).abs() > NORMAL_COSINE * g.norm() * normal.norm()
                }
            });
            if !follows {
                return None;
            }
        }
        Some(())
    }

    /// No label meets itself in two wedges at an edge of the kept vertex afterwards.
    fn stays_manifold(&self, c: &Collapse) -> Option<()> {
        let m = &*self.mesh;
        let mut after: Vec<([u32; 4], u8)> = c
            .changed
            .iter()
            .map(|(t, tet)| (*tet, m.label[*t as usize]))
            .collect();
        for t in &m.star[c.kept as usize] {
            let tet = m.tets[*t as usize];
            if !tet.contains(&c.gone) {
                after.push((tet, m.label[*t as usize]));
            }
        }
        let mut ends: Vec<u32> = after.iter().flat_map(|t| t.0).collect();
        ends.sort_unstable();
        ends.dedup();
        for end in ends {
            if end == c.kept || m.on[end as usize] == 0 {
                continue;
            }
            let round = after.iter().copied().filter(|t| t.0.contains(&end));
            if is_non_manifold(&m.edge_faces(c.kept, end, round)) {
                return None;
            }
        }
        Some(())
    }
}

/// How many entries two sorted lists share.
fn common(a: &[u32], b: &[u32]) -> usize {
    a.iter().filter(|x| b.binary_search(x).is_ok()).count()
}
