//! From straight four-node tetrahedra to the ten-node mesh.

use crate::adjacency::{NONE, edge_table};
use crate::curved::least_jacobian;
use crate::quality::{dihedral_cosines, radius_ratio};
use crate::tet::{EDGE_BETWEEN, FACES, centroid, six_volumes};
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
/// touching element is valid, see [`LEAST_JACOBIAN_SHARE`].
pub(crate) fn promote(
    mesh: StraightMesh,
    curve: impl Fn([Vec3; 2], u128) -> Option<Vec3>,
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
    let mut bulges = Bulges {
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
            bulges.of_edge[e] = bulges.ways.len() as u32;
            bulges.ways.push((e as u32, place - middle));
        }
        nodes.push(place);
    }
    bulges.stand = vec![0; bulges.ways.len()];
    let tets: Vec<[u32; 10]> = mesh
        .tets
        .iter()
        .zip(&edges_of)
        .map(|(t, e)| {
            std::array::from_fn(|i| {
                if i < 4 {
                    t[i]
                } else {
                    vertex_count as u32 + e[i - 4]
                }
            })
        })
        .collect();
    let curving = draw_back(&tets, vertex_count, &mut bulges, &mut nodes);

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
    let wanted = bulges.ways.len() + lost;
    out.quality.curved_share = 1.0 - (curving.drawn_back + lost) as f64 / wanted.max(1) as f64;
    out.quality.straightened_share = curving.straightened;
    out.quality.min_jacobian_share = curving.least_jacobian;
    out
}

/// Shares of a midside node's way from the chord to its surface that are tried in turn.
const BULGE_SHARES: [f64; 5] = [1.0, 0.75, 0.5, 0.25, 0.0];

/// The midside nodes of curved edges.
struct Bulges {
    /// Edge, and the way from its chord's middle to the surface; ascending by edge.
    ways: Vec<(u32, Vec3)>,
    /// Which of [`BULGE_SHARES`] each stands at.
    stand: Vec<u8>,
    /// Index in `ways` of an edge, or [`NONE`].
    of_edge: Vec<u32>,
}

/// What curving came to.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Curving {
    /// Midside nodes that do not sit on their surface.
    drawn_back: usize,
    /// Elements for whose sake nodes were drawn back, as a share of those with a curved side.
    straightened: f64,
    /// Least det J of a curved element over its straight one.
    least_jacobian: f64,
}

/// Draws the midside nodes of elements that a curve would spoil back towards the chord, until none is
/// left.
fn draw_back(
    tets: &[[u32; 10]],
    vertex_count: usize,
    bulges: &mut Bulges,
    nodes: &mut [Vec3],
) -> Curving {
    let curved_sides = |t: &[u32; 10], of_edge: &[u32]| {
        let sides = [4, 5, 6, 7, 8, 9].map(|i| of_edge[t[i] as usize - vertex_count]);
        sides.into_iter().filter(|b| *b != NONE)
    };
    let mut open: Vec<u32> = (0..tets.len() as u32)
        .filter(|t| {
            curved_sides(&tets[*t as usize], &bulges.of_edge)
                .next()
                .is_some()
        })
        .collect();
    let curved = open.len();
    let mut spoiled: Vec<u32> = Vec::new();
    let mut shares = vec![1.0f64; tets.len()];
    while !open.is_empty() {
        let mut moved: Vec<u32> = Vec::new();
        for t in &open {
            let tet = &tets[*t as usize];
            let x = tet.map(|n| nodes[n as usize]);
            let share = least_jacobian(&x) / six_volumes(&[x[0], x[1], x[2], x[3]]);
            shares[*t as usize] = share;
            if share >= LEAST_JACOBIAN_SHARE {
                continue;
            }
            let mut helped = false;
            for b in curved_sides(tet, &bulges.of_edge) {
                let (edge, way) = bulges.ways[b as usize];
                let stand = usize::from(bulges.stand[b as usize]);
                if stand + 1 < BULGE_SHARES.len() {
                    bulges.stand[b as usize] += 1;
                    let back = BULGE_SHARES[stand] - BULGE_SHARES[stand + 1];
                    nodes[vertex_count + edge as usize] -= way * back;
                    moved.push(b);
                    helped = true;
                }
            }
            if helped {
                spoiled.push(*t);
            }
        }
        if moved.is_empty() {
            break;
        }
        // Only elements at nodes that moved can have changed.
        moved.sort_unstable();
        let is_moved = |b: &u32| moved.binary_search(b).is_ok();
        open = (0..tets.len() as u32)
            .filter(|t| curved_sides(&tets[*t as usize], &bulges.of_edge).any(|b| is_moved(&b)))
            .collect();
    }
    spoiled.sort_unstable();
    spoiled.dedup();
    Curving {
        drawn_back: bulges.stand.iter().filter(|s| **s > 0).count(),
        straightened: spoiled.len() as f64 / curved.max(1) as f64,
        least_jacobian: shares.into_iter().fold(1.0, f64::min),
    }
}

/// Local edges 01, 12, 20 of a local face.
fn facet_edges(local_face: usize) -> [usize; 3] {
    let [a, b, c] = FACES[local_face];
    [EDGE_BETWEEN[a][b], EDGE_BETWEEN[b][c], EDGE_BETWEEN[c][a]]
}

/// The quality table, but for what only the builder knows.
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
        row.2 += six_volumes(&p) / 6.0;
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
