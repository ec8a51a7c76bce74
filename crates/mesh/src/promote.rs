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
/// `(ends, surfaces)`; `None` when there is none. A curved place is kept where every touching
/// element stays valid, see [`LEAST_JACOBIAN_SHARE`].
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
    let mut is_curved = vec![false; edges.len()];
    let (mut wanted, mut missed) = (0usize, 0usize);
    for (e, ends) in edges.iter().enumerate() {
        let ends = ends.map(|v| nodes[v as usize]);
        let middle = 0.5 * (ends[0] + ends[1]);
        let on_surface = match surfaces_of_edge[e] {
            0 => Some(middle),
            surfaces => curve(ends, surfaces),
        };
        let place = on_surface.unwrap_or(middle);
        is_curved[e] = (place - middle).norm() > 1e-9 * (ends[1] - ends[0]).norm();
        wanted += usize::from(is_curved[e] || on_surface.is_none());
        missed += usize::from(on_surface.is_none());
        nodes.push(place);
    }
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
    missed += straighten_bad_elements(&tets, vertex_count, &edges, &mut is_curved, &mut nodes);

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
    out.quality.curved_share = if wanted == 0 {
        1.0
    } else {
        (wanted - missed) as f64 / wanted as f64
    };
    out
}

/// Puts the midside nodes of elements that a curve would spoil back on the chord, until none is
/// left. Returns how many nodes went back.
fn straighten_bad_elements(
    tets: &[[u32; 10]],
    vertex_count: usize,
    edges: &[[u32; 2]],
    is_curved: &mut [bool],
    nodes: &mut [Vec3],
) -> usize {
    let edge = |t: &[u32; 10], i: usize| t[i] as usize - vertex_count;
    let mut open: Vec<usize> = (0..tets.len())
        .filter(|t| (4..10).any(|i| is_curved[edge(&tets[*t], i)]))
        .collect();
    let mut straightened = 0;
    loop {
        let before = straightened;
        open.retain(|t| (4..10).any(|i| is_curved[edge(&tets[*t], i)]));
        for t in &open {
            let x = tets[*t].map(|n| nodes[n as usize]);
            let straight = six_volumes(&[x[0], x[1], x[2], x[3]]);
            if least_jacobian(&x) >= LEAST_JACOBIAN_SHARE * straight {
                continue;
            }
            for i in 4..10 {
                let e = edge(&tets[*t], i);
                if is_curved[e] {
                    is_curved[e] = false;
                    straightened += 1;
                    let [a, b] = edges[e].map(|v| nodes[v as usize]);
                    nodes[vertex_count + e] = 0.5 * (a + b);
                }
            }
        }
        if straightened == before {
            return straightened;
        }
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
