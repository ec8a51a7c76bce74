//! Promotion (degree elevation): from straight four-node tetrahedra to curved ten-node ones.
//!
//! Midside nodes of edges on surfaces move from the chord onto the surfaces. Where that leaves an element less than
//! [`LEAST_JACOBIAN_SHARE`] of its straight det J, its midside nodes first give way ([`crate::untangle`]), inside or
//! along their surfaces; if that is not enough they are drawn back towards their chords in eighths, the one that gains
//! most for its way first. At the end
//! det J is positive everywhere in every element (Bernstein bound, [`crate::curved`]).

use crate::adjacency::{NONE, edge_table};
use crate::quality::{dihedral_cosines, radius_ratio};
use crate::tet::{EDGE_BETWEEN, FACES, centroid};
use crate::untangle::{CurvedEdges, Projection, Scope};
use crate::{Facet, MeshStages, Quality, SurfaceName, TetMesh};
use bicolumn_base::{Part, Vec3};

/// A curved element keeps at least this share of its straight det J everywhere.
const LEAST_JACOBIAN_SHARE: f64 = 0.2;

/// A checked mesh of straight tetrahedra with classified facets.
pub(crate) struct StraightMesh {
    pub(crate) vertices: Vec<Vec3>,
    pub(crate) tets: Vec<[u32; 4]>,
    pub(crate) part: Vec<u16>,
    pub(crate) parts: Vec<Part>,
    /// Sorted by (tet, local face).
    pub(crate) facets: Vec<StraightFacet>,
    pub(crate) surfaces: Vec<SurfaceName>,
}

/// A facet of a [`StraightMesh`].
pub(crate) struct StraightFacet {
    pub(crate) tet: u32,
    pub(crate) local_face: u8,
    /// Tetrahedron beyond, or [`NONE`].
    pub(crate) beyond: u32,
    pub(crate) surface: u8,
}

/// Adds midside nodes.
///
/// `curve` gives the place of a midside node on the surfaces (a bit each) that meet along its edge:
/// `(ends, surfaces)`; `None` when there is none. A node is drawn back towards the chord until every
/// touching element is valid, see [`LEAST_JACOBIAN_SHARE`]. Midside nodes slide along surfaces where there is a
/// projection onto them.
pub(crate) fn promote(
    mesh: StraightMesh,
    curve: impl Fn([Vec3; 2], u128) -> Option<Vec3>,
    slide: Option<&Projection<'_>>,
) -> TetMesh {
    let vertex_count = mesh.vertices.len();
    let (edges_of, edges) = edge_table(vertex_count, &mesh.tets);
    let mut surfaces_of_edge = vec![0u128; edges.len()];
    for f in &mesh.facets {
        for e in facet_edges(f.local_face as usize) {
            surfaces_of_edge[edges_of[f.tet as usize][e] as usize] |= 1 << f.surface;
        }
    }

    let mut nodes = mesh.vertices;
    nodes.reserve(edges.len());
    let mut sagittas = Sagittas {
        ways: Vec::new(),
        stand: Vec::new(),
        of_edge: vec![NONE; edges.len()],
    };
    let mut lost = 0usize;
    for (e, ends) in edges.iter().enumerate() {
        let ends = ends.map(|v| nodes[v as usize]);
        let middle = 0.5 * (ends[0] + ends[1]);
        let on_surface = match surfaces_of_edge[e] {
            0 => Some(middle),
            surfaces => curve(ends, surfaces),
        };
        lost += usize::from(on_surface.is_none());
        let place = on_surface.unwrap_or(middle);
        if (place - middle).norm() > 1e-9 * (ends[1] - ends[0]).norm() {
            sagittas.of_edge[e] = sagittas.ways.len() as u32;
            sagittas.ways.push(place - middle);
        }
        nodes.push(place);
    }
    sagittas.stand = vec![0; sagittas.ways.len()];
    let tets: Vec<[u32; 10]> = mesh
        .tets
        .iter()
        .zip(&edges_of)
        .map(|(t, e)| ten_nodes(t, e, vertex_count))
        .collect();
    let is_free = surfaces_of_edge.iter().map(|s| *s == 0 || slide.is_some());
    let mut curved = CurvedEdges {
        tets: &tets,
        edges_of: &edges_of,
        ends: &edges,
        vertex_count,
        on: &surfaces_of_edge,
        home: nodes[vertex_count..].to_vec(),
        is_free: is_free.collect(),
        project: slide.unwrap_or(&|_, _| None),
        scope: Scope::default(),
    };
    let curving = make_room(&mut curved, &mut sagittas, &mut nodes);

    let facets = mesh
        .facets
        .iter()
        .map(|f| {
            let t = &tets[f.tet as usize];
            let [a, b, c] = FACES[f.local_face as usize];
            let [ab, bc, ca] = facet_edges(f.local_face as usize).map(|e| t[4 + e]);
            Facet {
                nodes: [t[a], t[b], t[c], ab, bc, ca],
                tet: f.tet,
                beyond: (f.beyond != NONE).then_some(f.beyond),
                surface: f.surface,
            }
        })
        .collect();
    let mut out = TetMesh {
        nodes,
        vertex_count,
        tets,
        part: mesh.part,
        parts: mesh.parts,
        facets,
        surfaces: mesh.surfaces,
        quality: Quality::default(),
        stages: MeshStages::default(),
    };
    out.quality = measure(&out);
    let wanted = sagittas.ways.len() + lost;
    out.quality.curved_share = 1.0 - (curving.drawn_back + lost) as f64 / wanted.max(1) as f64;
    out.quality.straightened_share = curving.straightened;
    out.quality.min_jacobian_share = curving.least_jacobian;
    out
}

/// Shares of a midside node's sagitta that are tried in turn.
const SAGITTA_SHARES: [f64; 9] = [1.0, 0.875, 0.75, 0.625, 0.5, 0.375, 0.25, 0.125, 0.0];

/// The midside nodes of curved edges.
struct Sagittas {
    /// Sagitta vectors, from a chord's middle to the surface.
    ways: Vec<Vec3>,
    /// Index in [`SAGITTA_SHARES`] at which each stands.
    stand: Vec<u8>,
    /// Index in `ways` of an edge, or [`NONE`].
    of_edge: Vec<u32>,
}

/// Outcome of curving.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Curving {
    /// Midside nodes that do not sit on their surface.
    drawn_back: usize,
    /// Elements for whose sake nodes were drawn back, as a share of those with a curved edge.
    straightened: f64,
    /// Least det J of a curved element over its straight one.
    least_jacobian: f64,
}

/// The ten nodes of a tetrahedron: its vertices, then its edges' middles, numbered after all vertices.
pub(crate) fn ten_nodes(tet: &[u32; 4], edges: &[u32; 6], vertex_count: usize) -> [u32; 10] {
    std::array::from_fn(|i| match i {
        0..4 => tet[i],
        _ => vertex_count as u32 + edges[i - 4],
    })
}

/// Lets midside nodes of elements that a curved edge would spoil give way; where that is not enough, draws
/// midside nodes back towards the chord, the one that gains most first, until none is spoiled.
fn make_room(curved: &mut CurvedEdges<'_>, sagittas: &mut Sagittas, nodes: &mut [Vec3]) -> Curving {
    let edges_of = curved.edges_of;
    let is_curved = |own: &[u32; 6]| own.iter().any(|e| sagittas.of_edge[*e as usize] != NONE);
    let mut open: Vec<u32> = (0..edges_of.len() as u32)
        .filter(|t| is_curved(&edges_of[*t as usize]))
        .collect();
    let curved_count = open.len();
    let mut spoiled: Vec<u32> = Vec::new();
    let mut shares = vec![1.0f64; edges_of.len()];
    loop {
        let mut thin = thin_ones(curved, nodes, &open, &mut shares);
        if thin.is_empty() {
            break;
        }
        thin.extend(curved.bend(nodes, &thin, LEAST_JACOBIAN_SHARE));
        thin.sort_unstable();
        thin.dedup();
        let mut thin = thin_ones(curved, nodes, &thin, &mut shares);
        thin.sort_by(|s, t| {
            shares[*s as usize]
                .total_cmp(&shares[*t as usize])
                .then(s.cmp(t))
        });
        let mut moved: Vec<u32> = Vec::new();
        for t in thin {
            let own = edges_of[t as usize];
            // The worst element first; a neighbour may be well once that one is.
            if own.iter().any(|e| moved.contains(e)) {
                continue;
            }
            match sagittas.most_in_the_way(curved, t, nodes) {
                Some(e) => {
                    spoiled.push(t);
                    sagittas.draw_back(e, nodes, curved);
                    curved.fix(e);
                    moved.push(e);
                }
                // Nodes that gave way go back last, and for good.
                _ => moved.extend(
                    own.iter()
                        .filter(|e| curved.straighten(nodes, **e as usize)),
                ),
            }
        }
        // Only elements at nodes that moved can have changed.
        open = curved.elements_at(&moved);
    }
    spoiled.sort_unstable();
    spoiled.dedup();
    Curving {
        drawn_back: sagittas.stand.iter().filter(|s| **s > 0).count(),
        straightened: spoiled.len() as f64 / curved_count.max(1) as f64,
        least_jacobian: shares.into_iter().fold(1.0, f64::min),
    }
}

/// Given elements with too small a det J somewhere; notes the shares of all.
fn thin_ones(
    curved: &CurvedEdges<'_>,
    nodes: &[Vec3],
    given: &[u32],
    shares: &mut [f64],
) -> Vec<u32> {
    let mut thin = Vec::new();
    for t in given {
        let share = curved.share(nodes, *t);
        shares[*t as usize] = share;
        if share < LEAST_JACOBIAN_SHARE {
            thin.push(*t);
        }
    }
    thin
}

impl Sagittas {
    /// Sagitta at which an edge stands, mm.
    fn length(&self, edge: u32) -> f64 {
        match self.of_edge[edge as usize] {
            NONE => 0.0,
            b => {
                let stand = usize::from(self.stand[b as usize]);
                self.ways[b as usize].norm() * SAGITTA_SHARES[stand]
            }
        }
    }

    /// Edge of an element whose next step back raises its least det J most a millimetre; where none does, the one
    /// farthest out. `None` when all are straight.
    fn most_in_the_way(&self, curved: &CurvedEdges<'_>, t: u32, nodes: &mut [Vec3]) -> Option<u32> {
        let before = curved.share(nodes, t);
        let mut best: Option<(f64, f64, u32)> = None;
        for e in curved.edges_of[t as usize] {
            let out = self.length(e);
            if out <= 0.0 {
                continue;
            }
            let node = curved.vertex_count + e as usize;
            let back = self.next_step(e, nodes[node] - curved.chord_middle(nodes, e));
            let stood = nodes[node];
            nodes[node] -= back;
            let gain = (curved.share(nodes, t) - before) / back.norm();
            nodes[node] = stood;
            let rank = (gain.max(0.0), out, e);
            if best.is_none_or(|b| rank.0 > b.0 || (rank.0 == b.0 && rank.1 > b.1)) {
                best = Some(rank);
            }
        }
        best.map(|b| b.2)
    }

    /// Way back of a curved edge's midside node in its next step, `off` being its way from the chord's middle: the last
    /// step ends on the chord, also for a node that slid.
    fn next_step(&self, edge: u32, off: Vec3) -> Vec3 {
        let b = self.of_edge[edge as usize] as usize;
        let stand = usize::from(self.stand[b]);
        off * (1.0 - SAGITTA_SHARES[stand + 1] / SAGITTA_SHARES[stand])
    }

    /// Draws a curved edge back by one of [`SAGITTA_SHARES`].
    fn draw_back(&mut self, edge: u32, nodes: &mut [Vec3], curved: &CurvedEdges<'_>) {
        let node = curved.vertex_count + edge as usize;
        let off = nodes[node] - curved.chord_middle(nodes, edge);
        nodes[node] -= self.next_step(edge, off);
        self.stand[self.of_edge[edge as usize] as usize] += 1;
    }
}

/// Local edges 01, 12, 20 of a local face.
fn facet_edges(local_face: usize) -> [usize; 3] {
    let [a, b, c] = FACES[local_face];
    [EDGE_BETWEEN[a][b], EDGE_BETWEEN[b][c], EDGE_BETWEEN[c][a]]
}

/// Quality table, but for the entries that only the builder knows.
fn measure(mesh: &TetMesh) -> Quality {
    let mut q = Quality {
        tets: mesh.tets.len(),
        vertices: mesh.vertex_count,
        nodes: mesh.nodes.len(),
        min_radius_ratio: 1.0,
        parts: mesh.parts.iter().map(|p| (p.to_string(), 0, 0.0)).collect(),
        ..Quality::default()
    };
    // Angles by their cosines: a larger cosine is a smaller angle.
    let limits = [10.0f64, 18.0, 20.0].map(|deg| deg.to_radians().cos());
    let mut below = [0usize; 3];
    let (mut sharpest, mut bluntest) = (-1.0f64, 1.0f64);
    for t in 0..mesh.tets.len() {
        let p = mesh.corners(t);
        let cosines = dihedral_cosines(&p);
        let largest = cosines.iter().fold(-1.0, |m: f64, c| m.max(*c));
        if largest > sharpest {
            sharpest = largest;
            q.worst_at = centroid(&p).into();
        }
        bluntest = cosines.iter().fold(bluntest, |m, c| m.min(*c));
        q.min_radius_ratio = q.min_radius_ratio.min(radius_ratio(&p));
        for (count, limit) in below.iter_mut().zip(limits) {
            *count += usize::from(largest > limit);
        }
        let row = &mut q.parts[mesh.part[t] as usize];
        row.1 += 1;
        row.2 += mesh.curved_volume(t);
    }
    q.min_dihedral_deg = sharpest.acos().to_degrees();
    q.max_dihedral_deg = bluntest.acos().to_degrees();
    let share = |n: usize| n as f64 / mesh.tets.len().max(1) as f64;
    [
        q.share_below_10_deg,
        q.share_below_18_deg,
        q.share_below_20_deg,
    ] = below.map(share);
    q
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_midside_node_that_slid_is_drawn_back_to_its_chord() {
        let mut nodes = vec![Vec3::zeros(), Vec3::x(), Vec3::y(), Vec3::z()];
        let tets = [[0, 1, 2, 3]];
        let (edges_of, ends) = edge_table(4, &tets);
        for [a, b] in &ends {
            nodes.push(0.5 * (nodes[*a as usize] + nodes[*b as usize]));
        }
        let chord = nodes[4];
        let way = Vec3::new(0.0, -0.1, -0.05);
        let mut of_edge = vec![NONE; ends.len()];
        of_edge[0] = 0;
        let mut sagittas = Sagittas {
            ways: vec![way],
            stand: vec![0],
            of_edge,
        };
        let curved = CurvedEdges {
            tets: &[ten_nodes(&tets[0], &edges_of[0], 4)],
            edges_of: &edges_of,
            ends: &ends,
            vertex_count: 4,
            on: &[0; 6],
            home: nodes[4..].to_vec(),
            is_free: vec![false; 6],
            project: &|_, _| None,
            scope: Scope::default(),
        };
        // On its surface, and aside of where it was put.
        nodes[4] += way + Vec3::new(0.07, 0.0, 0.02);
        let steps = SAGITTA_SHARES.len() - 1;
        let mut off = (nodes[4] - chord).norm();
        for _ in 0..steps {
            sagittas.draw_back(0, &mut nodes, &curved);
            let now = (nodes[4] - chord).norm();
            assert!(now < off, "{now} {off}");
            off = now;
        }
        assert!(off < 1e-12 && sagittas.length(0) == 0.0, "{off}");
    }
}
