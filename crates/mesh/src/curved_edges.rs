//! Splitting edges that no midside node could curve without spoiling an element.
//!
//! A straight mesh that is to become quadratic can have three faults that show only once its edges follow the
//! surfaces. With the chord of an edge of length h, the *sagitta* is the distance of its middle from the surface, here
//! as a share of h.
//! - A wide edge spans too much of a curved surface (a circle cut to a triangle or a square): its sagitta is large.
//! - An over-constrained element has three edges of one corner on one smooth surface, or a face with two edges on
//!   one smooth curve. Curved, these edges share a tangent plane (a tangent), and det J vanishes at the corner
//!   wherever the other midside nodes are put (compare the corner condition on curved boundary elements in Johnen,
//!   Remacle and Geuzaine 2013, J Comput Phys 233:359).
//! - A near-degenerate corner: edges on two surfaces that, once curved, nearly share a tangent plane.
//!
//! A new vertex in the edge, or in the edge of an over-constrained element that is off the surface, mends the fault.
//! It is placed within its surfaces where the worst shape around it is best.

use crate::complex::{Complex, EdgeFace, REMOVED};
use crate::improve::{place_in_star, smooth_new};
use crate::surfaces::{PINNED, Surfaces, bits};
use crate::tet::{EDGE_BETWEEN, EDGES, FACES, centroid};
use bicolumn_base::Vec3;

/// Least shape that the tetrahedra round a new vertex must have, unless those before were worse: the
/// sine of 20 degrees and a little.
const LEAST_SHAPE: f64 = 0.36;
/// Least shape round a new vertex in a very wide edge where improvement follows, which mends most of them.
const LEAST_SHAPE_TO_MEND: f64 = 0.15;

/// Sagitta over length from which an edge is wide: on a circle, when it spans more than 58 degrees.
const WIDE: f64 = 0.13;
/// Sagitta over length of a very wide edge: 74 degrees of a circle.
const VERY_WIDE: f64 = 0.17;
/// Sagitta over length from which an edge on a feature curve is wide (41 degrees of a circle), and counts as very
/// wide: on a wider one midside nodes of both surfaces press on the elements between.
const WIDE_ON_CURVE: f64 = 0.09;
/// Sagitta over length below which an edge (27 degrees of a circle) spoils no corner.
const GENTLE: f64 = 0.06;
/// Share of the triple product of its edges, or of a facet angle's cross product, below which curving makes a corner
/// near-degenerate.
const NEAR_DEGENERATE: f64 = 0.3;

/// Splits wide edges before improvement. Returns the number of edges split.
pub(crate) fn split_before_improvement(mesh: &mut Complex, surfaces: &Surfaces<'_>) -> usize {
    split_wide_edges(mesh, surfaces, LEAST_SHAPE_TO_MEND)
}

/// Splits wide edges, over-constrained elements and the edges of near-degenerate corners after improvement, smooths
/// round them and tries once more. Returns the number of edges split.
pub(crate) fn split_after_improvement(mesh: &mut Complex, surfaces: &Surfaces<'_>) -> usize {
    let mut split = 0;
    for _ in 0..2 {
        let known = mesh.tets.len();
        split += split_wide_edges(mesh, surfaces, LEAST_SHAPE)
            + split_over_constrained(mesh, surfaces)
            + split_edges_of_near_degenerate(mesh, surfaces)
            + split_over_constrained(mesh, surfaces);
        smooth_new(mesh, surfaces, known);
    }
    split
}

/// An edge to be split, with its sagitta over its length.
type BySagitta = (f64, [u32; 2]);

fn is_curve(on: u128) -> bool {
    (on & !PINNED).count_ones() >= 2
}

/// Splits the edges, the one of largest sagitta first, as far as shapes allow.
fn split_in_turn(
    mesh: &mut Complex,
    surfaces: &Surfaces<'_>,
    mut edges: Vec<BySagitta>,
    very_wide_floor: f64,
) -> usize {
    edges.sort_by(|x, y| y.0.total_cmp(&x.0).then(x.1.cmp(&y.1)));
    edges.dedup();
    let mut split = |(sagitta, [a, b]): &BySagitta| {
        let floor = if *sagitta > VERY_WIDE || is_curve(mesh.shared([*a, *b])) {
            very_wide_floor
        } else {
            LEAST_SHAPE
        };
        split_edge(mesh, surfaces, *a, *b, floor)
    };
    edges.iter().filter(|edge| split(edge)).count()
}

fn split_wide_edges(mesh: &mut Complex, surfaces: &Surfaces<'_>, very_wide_floor: f64) -> usize {
    let mut edges: Vec<[u32; 2]> = Vec::new();
    for tet in &mesh.tets {
        for [i, j] in EDGES {
            let edge = [tet[i].min(tet[j]), tet[i].max(tet[j])];
            if mesh.shared(edge) & !PINNED != 0 {
                edges.push(edge);
            }
        }
    }
    edges.sort_unstable();
    edges.dedup();
    let limit = |on| if is_curve(on) { WIDE_ON_CURVE } else { WIDE };
    let mut wide: Vec<BySagitta> = Vec::new();
    for edge in edges {
        // The surfaces that both ends lie on are a cheap first test; the facets at the edge decide.
        let shared = mesh.shared(edge);
        if sagitta(mesh, surfaces, shared, edge) > limit(shared) {
            let on = surfaces_of_edge(mesh, surfaces, edge);
            let by = sagitta(mesh, surfaces, on, edge);
            if by > limit(on) {
                wide.push((by, edge));
            }
        }
    }
    split_in_turn(mesh, surfaces, wide, very_wide_floor)
}

/// Sagitta of an edge against the given surfaces over its length.
fn sagitta(mesh: &Complex, surfaces: &Surfaces<'_>, on: u128, [a, b]: [u32; 2]) -> f64 {
    surfaces.residual(on, mesh.middle(a, b)) / mesh.distance(a, b)
}

fn split_over_constrained(mesh: &mut Complex, surfaces: &Surfaces<'_>) -> usize {
    let mut cut = 0;
    for t in 0..mesh.tets.len() {
        let tet = mesh.tets[t];
        if mesh.label[t] == REMOVED || !may_be_over_constrained(mesh, &tet) {
            continue;
        }
        let open = unconstrained_edges(mesh, surfaces, &tet);
        let mut split = open
            .iter()
            .map(|[a, b]| split_edge(mesh, surfaces, *a, *b, LEAST_SHAPE));
        cut += usize::from(split.any(|s| s));
    }
    cut
}

/// Are all corners on one surface, or three on one feature curve?
fn may_be_over_constrained(mesh: &Complex, tet: &[u32; 4]) -> bool {
    let on = tet.map(|v| mesh.on[v as usize] & !PINNED);
    on[0] & on[1] & on[2] & on[3] != 0
        || FACES
            .iter()
            .any(|f| (on[f[0]] & on[f[1]] & on[f[2]]).count_ones() >= 2)
}

/// Edges of an over-constrained element that may be split, the longest first; none where it is not over-constrained.
fn unconstrained_edges(mesh: &Complex, surfaces: &Surfaces<'_>, tet: &[u32; 4]) -> Vec<[u32; 2]> {
    let on = EDGES.map(|[i, j]| surfaces_of_edge(mesh, surfaces, [tet[i], tet[j]]));
    let mut open = [false; 6];
    for k in bits(on.iter().fold(0, |m, e| m | e)) {
        let is_on = |e: usize| on[e] >> k & 1 == 1;
        let is_over_constrained =
            (0..4).any(|i| (0..4).all(|j| i == j || is_on(EDGE_BETWEEN[i][j])));
        if is_over_constrained {
            (0..6).for_each(|e| open[e] |= !is_on(e));
        }
    }
    for [a, b, c] in FACES {
        let edges = [[a, b], [b, c], [c, a]].map(|[i, j]| EDGE_BETWEEN[i][j]);
        for (i, e) in edges.iter().enumerate() {
            let curve = on[edges[(i + 1) % 3]] & on[edges[(i + 2) % 3]];
            open[*e] |= curve.count_ones() >= 2 && on[*e] & curve != curve;
        }
    }
    let mut edges: Vec<[u32; 2]> = (0..6)
        .filter(|e| open[*e])
        .map(|e| EDGES[e].map(|k| tet[k]))
        .collect();
    edges.sort_by(|x, y| {
        let length = |s: &[u32; 2]| mesh.distance(s[0], s[1]);
        length(y).total_cmp(&length(x)).then(x.cmp(y))
    });
    edges
}

fn split_edges_of_near_degenerate(mesh: &mut Complex, surfaces: &Surfaces<'_>) -> usize {
    let mut found: Vec<BySagitta> = Vec::new();
    for t in 0..mesh.tets.len() {
        let tet = mesh.tets[t];
        if mesh.label[t] == REMOVED {
            continue;
        }
        let edges = EDGES.map(|[i, j]| [tet[i].min(tet[j]), tet[i].max(tet[j])]);
        let may_bulge = |edge: &[u32; 2]| {
            let shared = mesh.shared(*edge) & !PINNED;
            shared != 0 && sagitta(mesh, surfaces, shared, *edge) > GENTLE
        };
        if !edges.iter().any(may_bulge) {
            continue;
        }
        let on = edges.map(|edge| surfaces_of_edge(mesh, surfaces, edge));
        if is_near_degenerate(&mesh.points(&tet), &on, surfaces) {
            let bulging = (0..6).filter(|e| on[*e] != 0);
            found.extend(
                bulging
                    .map(|e| (sagitta(mesh, surfaces, on[e], edges[e]), edges[e]))
                    .filter(|s| s.0 > GENTLE),
            );
        }
    }
    split_in_turn(mesh, surfaces, found, LEAST_SHAPE)
}

/// Does curving the edges that are on surfaces make a corner near-degenerate?
fn is_near_degenerate(p: &[Vec3; 4], on: &[u128; 6], surfaces: &Surfaces<'_>) -> bool {
    // Twice the vector from a corner to its edge's midside node, corrected to the tangent there.
    let tangent = |i: usize, j: usize| {
        let e = EDGE_BETWEEN[i][j];
        let middle = 0.5 * (p[i] + p[j]);
        let place = surfaces.project(on[e], middle).unwrap_or(middle);
        4.0 * place - 3.0 * p[i] - p[j]
    };
    (0..4).any(|i| {
        let bound = |j: &usize| *j != i && on[EDGE_BETWEEN[i][*j]] != 0;
        let ends: Vec<usize> = (0..4).filter(bound).collect();
        let chord: Vec<Vec3> = ends.iter().map(|j| p[*j] - p[i]).collect();
        let curved: Vec<Vec3> = ends.iter().map(|j| tangent(i, *j)).collect();
        let between = |j: usize, k: usize| {
            let flat = chord[j].cross(&chord[k]);
            curved[j].cross(&curved[k]).dot(&flat) < NEAR_DEGENERATE * flat.norm_squared()
        };
        match ends.len() {
            2 => between(0, 1),
            3 => {
                let solid = |v: &[Vec3]| v[0].dot(&v[1].cross(&v[2]));
                solid(&curved) / solid(&chord) < NEAR_DEGENERATE
                    || between(0, 1)
                    || between(1, 2)
                    || between(2, 0)
            }
            _ => false,
        }
    })
}

/// The surfaces of the interface facets at an edge.
fn surfaces_of_edge(mesh: &Complex, surfaces: &Surfaces<'_>, [a, b]: [u32; 2]) -> u128 {
    let common = mesh.shared([a, b]) & !PINNED;
    if common == 0 {
        return 0;
    }
    let ring = mesh.ring(a, b);
    let faces = mesh.faces_around(a, b, &ring);
    let interfaces = faces.iter().filter(|f| EdgeFace::is_interface(f));
    interfaces.fold(0, |on, f| {
        let shared = common & mesh.on[f.apex as usize];
        let middle = || centroid(&[a, b, f.apex].map(|v| mesh.position[v as usize]));
        on | surfaces.claim(shared, middle).map_or(0, |k| 1 << k)
    })
}

/// Splits an edge where the shapes round the new vertex are best, if none falls below `floor` or the
/// worst before. Nothing happens where there is no such edge any more.
fn split_edge(mesh: &mut Complex, surfaces: &Surfaces<'_>, a: u32, b: u32, floor: f64) -> bool {
    let ring = mesh.ring(a, b);
    if ring.is_empty() {
        return false;
    }
    let on = surfaces_of_edge(mesh, surfaces, [a, b]);
    let Some(start) = surfaces.project(on, mesh.middle(a, b)) else {
        return false;
    };
    let mut star = Vec::with_capacity(2 * ring.len());
    let mut before = f64::INFINITY;
    for t in &ring {
        before = before.min(mesh.shape[*t as usize]);
        let tet = mesh.tets[*t as usize];
        for (i, v) in tet.iter().enumerate() {
            // The half without this end has the face opposite it.
            if *v == a || *v == b {
                star.push(FACES[i].map(|k| mesh.position[tet[k] as usize]));
            }
        }
    }
    let Some((at, shape)) = place_in_star(surfaces, on, &star, start) else {
        return false;
    };
    if shape < floor.min(before) {
        return false;
    }
    mesh.split_edge(a, b, &ring, at, on, |_, _| {});
    true
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::SurfaceName;
    use bicolumn_geometry::Field;

    struct Ball;
    impl Field for Ball {
        fn value(&self, x: Vec3) -> f64 {
            x.norm() - 1.0
        }
    }

    fn ball() -> Vec<(SurfaceName, Box<dyn Field>)> {
        vec![(SurfaceName::Other(0), Box::new(Ball))]
    }

    /// An octahedron in the unit ball, cut into four round its vertical diagonal.
    fn octahedron() -> Complex {
        let position = vec![
            -Vec3::z(),
            Vec3::z(),
            Vec3::x(),
            Vec3::y(),
            -Vec3::x(),
            -Vec3::y(),
        ];
        let tets = vec![[0, 1, 2, 3], [0, 1, 3, 4], [0, 1, 4, 5], [0, 1, 5, 2]];
        let mut c = Complex::new(position, tets);
        assert!(c.shape.iter().all(|s| *s > 0.0));
        c.on = vec![1; 6];
        c
    }

    fn volume(c: &Complex) -> f64 {
        let six = |t: &[u32; 4]| crate::tet::six_volumes(&c.points(t));
        c.tets.iter().map(six).sum::<f64>() / 6.0
    }

    #[test]
    fn over_constrained_elements_are_split_by_a_vertex_inside() {
        let fields = ball();
        let surfaces = Surfaces::new(&fields).unwrap();
        let mut c = octahedron();
        assert_eq!(split_over_constrained(&mut c, &surfaces), 1);
        assert_eq!((c.tets.len(), c.on[6]), (8, 0));
        assert!(c.position[6].norm() < 1e-3, "{}", c.position[6]);
        assert!((volume(&c) - 4.0 / 3.0).abs() < 1e-9);
        assert_eq!(split_over_constrained(&mut c, &surfaces), 0, "none is left");
    }

    #[test]
    fn edges_over_a_right_angle_are_wide_and_halved_on_the_surface() {
        let fields = ball();
        let surfaces = Surfaces::new(&fields).unwrap();
        let mut c = octahedron();
        split_over_constrained(&mut c, &surfaces);
        let before = volume(&c);
        assert!(split_before_improvement(&mut c, &surfaces) > 3);
        assert!(volume(&c) > 1.2 * before, "{before} to {}", volume(&c));
        for (x, on) in c.position.iter().zip(&c.on).skip(7) {
            assert_eq!(*on, 1);
            assert!((x.norm() - 1.0).abs() < 1e-8);
        }
        let least = c.shape.iter().copied().fold(f64::INFINITY, f64::min);
        assert!(least >= LEAST_SHAPE_TO_MEND, "{least}");
    }

    #[test]
    fn an_edge_on_a_feature_curve_is_wide_earlier() {
        struct Level;
        impl Field for Level {
            fn value(&self, x: Vec3) -> f64 {
                x.z
            }
        }
        let mut fields = ball();
        fields.push((SurfaceName::Other(1), Box::new(Level)));
        let surfaces = Surfaces::new(&fields).unwrap();
        // A wedge of the ball of 50 degrees; its lower half is another part, or it ends at the equator.
        let turn = 50f64.to_radians();
        let position = vec![
            Vec3::x(),
            Vec3::new(turn.cos(), turn.sin(), 0.0),
            Vec3::zeros(),
            Vec3::z(),
            -Vec3::z(),
        ];
        let wedge = |parts: [u8; 2]| {
            let mut c = Complex::new(position.clone(), vec![[2, 0, 1, 3], [2, 1, 0, 4]]);
            assert!(c.shape.iter().all(|s| *s > 0.0));
            c.on = vec![0b11, 0b11, 0b10, 0b01, 0b01];
            c.label = parts.to_vec();
            split_before_improvement(&mut c, &surfaces)
        };
        // The four edges along meridians span 90 degrees and are split anyway.
        assert_eq!([wedge([1, 1]), wedge([1, 2])], [4, 5]);
    }

    #[test]
    fn a_corner_is_near_degenerate_when_its_curved_edges_nearly_meet() {
        struct Wall;
        impl Field for Wall {
            fn value(&self, x: Vec3) -> f64 {
                x.x - 1.0
            }
        }
        let mut fields = ball();
        fields.push((SurfaceName::Other(1), Box::new(Wall)));
        let surfaces = Surfaces::new(&fields).unwrap();
        let turn = 50f64.to_radians();
        // From where ball and wall touch: an edge on the ball leaves 25 degrees from one on the wall.
        let p = [
            Vec3::x(),
            Vec3::new(turn.cos(), turn.sin(), 0.0),
            Vec3::new(1.0, 0.6, 0.0),
            Vec3::new(1.0, 0.3, 0.5),
        ];
        let (free, ball, wall) = (0b00, 0b01, 0b10);
        assert!(is_near_degenerate(
            &p,
            &[ball, free, wall, free, free, free],
            &surfaces
        ));
        assert!(!is_near_degenerate(
            &p,
            &[ball, free, free, free, free, free],
            &surfaces
        ));
        assert!(!is_near_degenerate(
            &p,
            &[free, free, wall, wall, free, free],
            &surfaces
        ));
    }
}
