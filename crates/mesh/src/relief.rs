//! Giving curved sides room: ears are cut off.
//!
//! An ear is a tetrahedron with three sides at one corner on one smooth surface, or a face with two
//! sides on one smooth curve. Curved, those sides share a tangent plane (a tangent), so det J vanishes
//! at the corner wherever the midside nodes of the other sides are put. A new vertex in a side that
//! does not lie on the surface takes the ear apart.

use crate::complex::{Complex, DEAD, EdgeFace};
use crate::improve::place_in_star;
use crate::surfaces::{PINNED, Surfaces, bits};
use crate::tet::{EDGE_BETWEEN, EDGES, FACES, centroid};

/// Least shape that the tetrahedra round a new vertex must have: the sine of 20 degrees and a little.
const LEAST_SHAPE: f64 = 0.36;

/// Cuts off the ears of a complex. Returns how many edges were split and how many ears are left.
pub(crate) fn cut_ears(mesh: &mut Complex, surfaces: &Surfaces<'_>) -> (usize, usize) {
    let (mut split, mut left) = (0, 0);
    for t in 0..mesh.tets.len() as u32 {
        let tet = mesh.tets[t as usize];
        if mesh.label[t as usize] == DEAD || !may_be_ear(mesh, &tet) {
            continue;
        }
        let wanted = open_sides(mesh, surfaces, &tet);
        if wanted.is_empty() {
            continue;
        }
        if wanted.iter().any(|[a, b]| split_side(mesh, surfaces, *a, *b, LEAST_SHAPE)) {
            split += 1;
        } else {
            left += 1;
        }
    }
    (split, left)
}

/// A side that bulges by more than this share of its length is split: on a circle, one of more than 75
/// degrees.
const LONGEST_BULGE: f64 = 0.11;

/// Splits sides of facets that bulge too far, the farthest first. Returns how many.
pub(crate) fn split_wide_sides(mesh: &mut Complex, surfaces: &Surfaces<'_>, least_shape: f64) -> usize {
    let mut sides: Vec<[u32; 2]> = Vec::new();
    for tet in &mesh.tets {
        for [i, j] in EDGES {
            let (a, b) = (tet[i].min(tet[j]), tet[i].max(tet[j]));
            if mesh.shared([a, b]) & !PINNED != 0 {
                sides.push([a, b]);
            }
        }
    }
    sides.sort_unstable();
    sides.dedup();
    let bulge = |mesh: &Complex, mask: u128, [a, b]: [u32; 2]| {
        surfaces.residual(mask, mesh.middle(a, b)) / mesh.distance(a, b)
    };
    let mut wide: Vec<(f64, [u32; 2])> = Vec::new();
    for side in sides {
        if bulge(mesh, mesh.shared(side), side) > LONGEST_BULGE {
            let own = surfaces_of_side(mesh, surfaces, side[0], side[1]);
            let by = bulge(mesh, own, side);
            if by > LONGEST_BULGE {
                wide.push((by, side));
            }
        }
    }
    wide.sort_by(|x, y| y.0.total_cmp(&x.0).then(x.1.cmp(&y.1)));
    let split = |s: &&(f64, [u32; 2])| split_side(mesh, surfaces, s.1[0], s.1[1], least_shape);
    let n = wide.len();
    let c = wide.iter().filter(split).count();
    println!("wide {n} split {c}");
    c
}

/// Are all corners on one surface, or three on one curve?
fn may_be_ear(mesh: &Complex, tet: &[u32; 4]) -> bool {
    let on = tet.map(|v| mesh.on[v as usize] & !PINNED);
    on[0] & on[1] & on[2] & on[3] != 0
        || FACES.iter().any(|f| {
            let shared = on[f[0]] & on[f[1]] & on[f[2]];
            shared & shared.wrapping_sub(1) != 0
        })
}

/// The sides of an ear that may be split, the longest first; none where there is no ear.
fn open_sides(mesh: &Complex, surfaces: &Surfaces<'_>, tet: &[u32; 4]) -> Vec<[u32; 2]> {
    let on = EDGES.map(|[i, j]| surfaces_of_side(mesh, surfaces, tet[i], tet[j]));
    let mut open = [false; 6];
    for k in bits(on.iter().fold(0, |m, e| m | e)) {
        let is_on = |i: usize, j: usize| on[EDGE_BETWEEN[i][j]] >> k & 1 == 1;
        let has_ear = (0..4).any(|i| (0..4).all(|j| i == j || is_on(i, j)));
        if has_ear {
            for (e, [i, j]) in EDGES.iter().enumerate() {
                open[e] |= !is_on(*i, *j);
            }
        }
    }
    for [a, b, c] in FACES {
        let sides = [[a, b], [b, c], [c, a]].map(|[i, j]| EDGE_BETWEEN[i][j]);
        for (i, e) in sides.iter().enumerate() {
            let curve = on[sides[(i + 1) % 3]] & on[sides[(i + 2) % 3]];
            let on_curve = curve & curve.wrapping_sub(1) != 0;
            open[*e] |= on_curve && on[*e] & curve != curve;
        }
    }
    let mut sides: Vec<[u32; 2]> = (0..6)
        .filter(|e| open[*e])
        .map(|e| EDGES[e].map(|k| tet[k]))
        .collect();
    sides.sort_by(|x, y| {
        let length = |s: &[u32; 2]| mesh.distance(s[0], s[1]);
        length(y).total_cmp(&length(x)).then(x.cmp(y))
    });
    sides
}

/// The surfaces of the interface facets at an edge.
fn surfaces_of_side(mesh: &Complex, surfaces: &Surfaces<'_>, a: u32, b: u32) -> u128 {
    let common = mesh.shared([a, b]) & !PINNED;
    if common == 0 {
        return 0;
    }
    let ring = mesh.ring(a, b);
    let faces = mesh.faces_round(a, b, &ring);
    let interfaces = faces.iter().filter(|f| EdgeFace::is_interface(f));
    interfaces.fold(0, |mask, f| {
        let shared = common & mesh.on[f.apex as usize];
        let middle = || centroid(&[a, b, f.apex].map(|v| mesh.position[v as usize]));
        mask | surfaces.claim(shared, middle).map_or(0, |k| 1 << k)
    })
}

/// Splits an edge where the shapes round the new vertex are best, if they are good enough.
fn split_side(mesh: &mut Complex, surfaces: &Surfaces<'_>, a: u32, b: u32, least_shape: f64) -> bool {
    let ring = mesh.ring(a, b);
    let on = surfaces_of_side(mesh, surfaces, a, b);
    let Some(start) = surfaces.project(on, mesh.middle(a, b)) else {
        return false;
    };
    let mut star = Vec::with_capacity(2 * ring.len());
    for t in &ring {
        let tet = mesh.tets[*t as usize];
        for (i, v) in tet.iter().enumerate() {
            // The child that keeps the other end has this face opposite the new vertex.
            if *v == a || *v == b {
                star.push(FACES[i].map(|k| mesh.position[tet[k] as usize]));
            }
        }
    }
    let Some((at, shape)) = place_in_star(surfaces, on, &star, start) else {
        return false;
    };
    let before = ring
        .iter()
        .fold(f64::INFINITY, |m, t| m.min(mesh.shape[*t as usize]));
    if shape < least_shape.min(before) {
        return false;
    }
    mesh.split_edge(a, b, &ring, at, on, |_, _| {});
    true
}
