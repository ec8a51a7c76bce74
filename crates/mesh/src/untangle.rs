//! Untangling curved elements: midside nodes give way to curved edges on surfaces.
//!
//! Where an edge on a surface is curved into an element, det J falls at that edge's ends. The midside nodes of the
//! element's edges are moved, those on surfaces within their surfaces, so that the least det J over its straight-sided value, σ = min det J / 6V, rises
//! in all elements round them: each node descends on Σ max(0, σ* − σ)² over the ring of its edge, σ* the aim, with min
//! det J bounded below by its Bernstein coefficients ([`crate::curved`]). In the spirit of Toulorge, Geuzaine, Remacle
//! and Lambrechts 2013, J Comput Phys 254:8, one node at a time. Corners stay where they are.

use crate::curved::least_jacobian;
use crate::tet::six_volumes;
use bicolumn_base::Vec3;

/// Sweeps over the edges of the elements whose σ is still too small.
const SWEEPS: usize = 20;
/// Aim σ* of the moves, above what an element must have, so that one edge does not take all that its element has to
/// give.
const AIM: f64 = 0.4;
/// A midside node inside moves no farther from its place than this share of its edge.
const LONGEST_BEND: f64 = 0.3;
/// A midside node on surfaces moves no farther from its place than this share of its edge.
const LONGEST_SLIDE: f64 = 0.2;

/// Nearest point on all the surfaces given by their bits, if there is one.
pub(crate) type Projection<'m> = dyn Fn(u128, Vec3) -> Option<Vec3> + 'm;

/// Ten-node elements and their edges, while edges are curved.
pub(crate) struct CurvedEdges<'m> {
    pub(crate) tets: &'m [[u32; 10]],
    /// The six edges of every element.
    pub(crate) edges_of: &'m [[u32; 6]],
    /// The corners that each edge joins; its midside node is number `vertex_count` + edge.
    pub(crate) ends: &'m [[u32; 2]],
    pub(crate) vertex_count: usize,
    /// Surfaces of every edge, a bit each; none inside.
    pub(crate) on: &'m [u128],
    /// Place of every midside node before any moved.
    pub(crate) home: Vec<Vec3>,
    /// May a midside node move?
    pub(crate) is_free: Vec<bool>,
    /// Keeps midside nodes on their surfaces.
    pub(crate) project: &'m Projection<'m>,
    pub(crate) scope: Scope,
}

/// Region in which nodes have moved or may move: vertices, and all elements at them. Spares passes over the whole
/// mesh.
#[derive(Default)]
pub(crate) struct Scope {
    has: Vec<bool>,
    elements: Vec<u32>,
}

impl CurvedEdges<'_> {
    /// σ of an element: least det J over that of the straight-sided element (lower bound).
    pub(crate) fn share(&self, nodes: &[Vec3], t: u32) -> f64 {
        let x = self.tets[t as usize].map(|n| nodes[n as usize]);
        least_jacobian(&x) / six_volumes(&[x[0], x[1], x[2], x[3]])
    }

    /// Moves free midside nodes of elements with σ less than `enough`; returns the elements round the edges that moved.
    pub(crate) fn bend(&mut self, nodes: &mut [Vec3], thin: &[u32], enough: f64) -> Vec<u32> {
        self.widen_scope(thin);
        let rings = self.rings(thin);
        let mut bent = vec![false; rings.len()];
        for _ in 0..SWEEPS {
            let mut moved = false;
            for (ring, bent) in rings.iter().zip(&mut bent) {
                let needed = ring.tets.iter().any(|t| self.share(nodes, *t) < enough);
                if needed && self.place(nodes, ring) {
                    (*bent, moved) = (true, true);
                }
            }
            if !moved {
                break;
            }
        }
        let moved = rings.iter().zip(bent).filter(|r| r.1);
        moved.flat_map(|r| r.0.tets.iter().copied()).collect()
    }

    /// Takes the given elements and all that touch them into the scope.
    fn widen_scope(&mut self, elements: &[u32]) {
        let Scope {
            has,
            elements: known,
        } = &mut self.scope;
        has.resize(self.vertex_count, false);
        let mut grown = false;
        for v in elements.iter().flat_map(|t| &self.tets[*t as usize][..4]) {
            grown |= !std::mem::replace(&mut has[*v as usize], true);
        }
        if grown {
            let touches = |t: &u32| self.tets[*t as usize][..4].iter().any(|v| has[*v as usize]);
            *known = (0..self.tets.len() as u32).filter(touches).collect();
        }
    }

    /// The elements round the given edges of elements that have been bent, ascending.
    pub(crate) fn elements_at(&self, edges: &[u32]) -> Vec<u32> {
        let mut edges = edges.to_vec();
        edges.sort_unstable();
        let is_one = |e: &u32| edges.binary_search(e).is_ok();
        let scope = self.scope.elements.iter().copied();
        scope
            .filter(|t| self.edges_of[*t as usize].iter().any(is_one))
            .collect()
    }

    /// Middle of an edge's chord.
    pub(crate) fn chord_middle(&self, nodes: &[Vec3], edge: u32) -> Vec3 {
        let [a, b] = self.ends[edge as usize].map(|v| nodes[v as usize]);
        0.5 * (a + b)
    }

    /// Keeps a midside node where it is.
    pub(crate) fn fix(&mut self, edge: u32) {
        self.is_free[edge as usize] = false;
    }

    /// Puts a free midside node back to its chord and keeps it there. Was it off?
    pub(crate) fn straighten(&mut self, nodes: &mut [Vec3], edge: usize) -> bool {
        if !std::mem::replace(&mut self.is_free[edge], false) {
            return false;
        }
        let middle = self.middle(nodes, edge);
        let node = &mut nodes[self.vertex_count + edge];
        std::mem::replace(node, middle) != middle
    }

    fn middle(&self, nodes: &[Vec3], edge: usize) -> Vec3 {
        let [a, b] = self.ends[edge].map(|v| nodes[v as usize]);
        0.5 * (a + b)
    }

    /// The free edges of the given elements with all elements round each, ascending.
    fn rings(&self, thin: &[u32]) -> Vec<Ring> {
        let mut edges: Vec<u32> = thin
            .iter()
            .flat_map(|t| self.edges_of[*t as usize])
            .filter(|e| self.is_free[*e as usize])
            .collect();
        edges.sort_unstable();
        edges.dedup();
        let mut rings: Vec<Ring> = edges
            .iter()
            .map(|edge| Ring {
                edge: *edge as usize,
                tets: Vec::with_capacity(6),
            })
            .collect();
        for t in &self.scope.elements {
            for e in self.edges_of[*t as usize] {
                if let Ok(i) = edges.binary_search(&e) {
                    rings[i].tets.push(*t);
                }
            }
        }
        rings
    }

    /// Moves one midside node downhill on the sum over its ring. Did it move?
    fn place(&self, nodes: &mut [Vec3], ring: &Ring) -> bool {
        let n = self.vertex_count + ring.edge;
        let [a, b] = self.ends[ring.edge].map(|v| nodes[v as usize]);
        let length = (b - a).norm();
        let (on, home) = (self.on[ring.edge], self.home[ring.edge]);
        let longest = if on == 0 { LONGEST_BEND } else { LONGEST_SLIDE };
        let on_surface = |x: Vec3| match on {
            0 => Some(x),
            _ => (self.project)(on, x),
        };
        let mut elements: Vec<(usize, [Vec3; 10], f64)> = ring
            .tets
            .iter()
            .map(|t| {
                let tet = &self.tets[*t as usize];
                let own = tet.iter().position(|m| *m as usize == n).unwrap_or(4);
                let x = tet.map(|m| nodes[m as usize]);
                (own, x, 1.0 / six_volumes(&[x[0], x[1], x[2], x[3]]))
            })
            .collect();
        let mut shortage = |at: Vec3| -> f64 {
            let sum = |e: &mut (usize, [Vec3; 10], f64)| {
                e.1[e.0] = at;
                let lack = (AIM - least_jacobian(&e.1) * e.2).max(0.0);
                lack * lack
            };
            elements.iter_mut().map(sum).sum()
        };
        let start = nodes[n];
        let (mut at, mut here) = (start, shortage(start));
        let h = 1e-4 * length;
        for _ in 0..5 {
            let uphill = Vec3::from_fn(|i, _| {
                let mut shifted = at;
                shifted[i] += h;
                on_surface(shifted).map_or(0.0, |x| (shortage(x) - here) / h)
            });
            let Some(downhill) = (-uphill).try_normalize(1e-9) else {
                break;
            };
            let better = [0.1, 0.05, 0.02, 0.007, 0.002].iter().find_map(|step| {
                let place = on_surface(at + downhill * (step * length))?;
                if (place - home).norm() > longest * length {
                    return None;
                }
                let there = shortage(place);
                (there < 0.999 * here).then_some((place, there))
            });
            let Some((place, there)) = better else {
                break;
            };
            (at, here) = (place, there);
        }
        nodes[n] = at;
        at != start
    }
}

/// An edge with the elements round it.
struct Ring {
    edge: usize,
    tets: Vec<u32>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::adjacency::edge_table;
    use crate::promote::ten_nodes;
    use crate::test_cubes::cubes;

    #[test]
    fn interior_edges_give_way_to_one_that_is_curved_into_them() {
        let (mut nodes, mut tets, _) = cubes([2, 2, 2]);
        for t in &mut tets {
            if six_volumes(&t.map(|v| nodes[v as usize])) < 0.0 {
                t.swap(2, 3);
            }
        }
        let vertex_count = nodes.len();
        let (edges_of, ends) = edge_table(vertex_count, &tets);
        for [a, b] in &ends {
            nodes.push(0.5 * (nodes[*a as usize] + nodes[*b as usize]));
        }
        // An edge of the floor, pushed up.
        let on_floor = |v: u32| nodes[v as usize].z < 1e-9;
        let floor: Vec<bool> = ends
            .iter()
            .map(|e| e.iter().all(|v| on_floor(*v)))
            .collect();
        let middle = Vec3::new(1.0, 1.0, 0.0);
        let pushed = (0..ends.len())
            .filter(|e| floor[*e])
            .min_by(|x, y| {
                let off = |e: usize| (nodes[vertex_count + e] - middle).norm();
                off(*x).total_cmp(&off(*y))
            })
            .unwrap();
        nodes[vertex_count + pushed].z += 0.22;
        let straight = nodes.clone();
        let ten: Vec<[u32; 10]> = tets
            .iter()
            .zip(&edges_of)
            .map(|(t, e)| ten_nodes(t, e, vertex_count))
            .collect();
        let mut curved = CurvedEdges {
            tets: &ten,
            edges_of: &edges_of,
            ends: &ends,
            vertex_count,
            on: &vec![0; ends.len()],
            home: straight[vertex_count..].to_vec(),
            is_free: floor.iter().map(|f| !f).collect(),
            project: &|_, x| Some(x),
            scope: Scope::default(),
        };
        let least = |curved: &CurvedEdges<'_>, nodes: &[Vec3]| {
            let shares = (0..ten.len() as u32).map(|t| curved.share(nodes, t));
            shares.fold(f64::INFINITY, f64::min)
        };
        let thin: Vec<u32> = (0..ten.len() as u32)
            .filter(|t| curved.share(&nodes, *t) < 0.3)
            .collect();
        assert!(
            !thin.is_empty(),
            "nothing to do: {}",
            least(&curved, &nodes)
        );
        let touched = curved.bend(&mut nodes, &thin, 0.3);
        assert!(least(&curved, &nodes) >= 0.3, "{}", least(&curved, &nodes));
        for (n, (new, old)) in nodes.iter().zip(&straight).enumerate() {
            let free = n >= vertex_count && curved.is_free[n - vertex_count];
            assert!(free || new == old, "node {n} moved");
            let bent = n >= vertex_count && new != old;
            let at = |t: &u32| ten[*t as usize].contains(&(n as u32));
            assert!(!bent || touched.iter().any(at), "node {n} not reported");
        }
        let moved: Vec<u32> = (0..ends.len() as u32)
            .filter(|e| nodes[vertex_count + *e as usize] != straight[vertex_count + *e as usize])
            .collect();
        assert!(!moved.is_empty());
        for e in &moved {
            assert!(curved.straighten(&mut nodes, *e as usize));
            assert!(!curved.straighten(&mut nodes, *e as usize), "only once");
        }
        assert_eq!(nodes, straight);
        let round = curved.elements_at(&moved);
        assert_eq!(
            round.len(),
            touched
                .iter()
                .collect::<std::collections::BTreeSet<_>>()
                .len()
        );
    }
}
