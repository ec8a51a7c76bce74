//! Is a triangle surface closed, one piece, turned outwards, free of self-intersections?
//!
//! Repaired, because it changes no point of the surface: triangles without area whose corners
//! coincide are left out, triangles turned the wrong way are turned round. Everything else is refused.

use super::crossing::crosses;
use super::stl::TriangleSurface;
use super::surface_error::{MOST_CROSSINGS, SurfaceError};
use super::tree::Tree;
use bicolumn_base::{Aabb, Vec3};
use std::collections::BTreeSet;

/// A surface that passed, with what was repaired.
#[derive(Debug, Clone, PartialEq)]
pub struct Audited {
    /// Closed, one piece, normals outwards.
    pub surface: TriangleSurface,
    /// Repairs made, in words; empty without any.
    pub repairs: Vec<String>,
}

/// Checks a surface and repairs what is harmless.
///
/// # Errors
/// [`SurfaceError`] for the first thing that cannot be repaired harmlessly.
pub fn audit(mut surface: TriangleSurface) -> Result<Audited, SurfaceError> {
    let mut repairs = Vec::new();
    let before = surface.triangles.len();
    surface
        .triangles
        .retain(|[a, b, c]| a != b && b != c && c != a);
    let dropped = before - surface.triangles.len();
    if dropped > 0 {
        repairs.push(format!(
            "{dropped} triangles with coinciding corners were left out"
        ));
    }
    let twice = drop_repeated(&mut surface);
    if twice > 0 {
        repairs.push(format!(
            "{twice} triangles that were there already were left out"
        ));
    }
    let edges = edges(&surface);
    closed(&surface, &edges)?;
    let turned = turn(&mut surface, &edges)?;
    let outwards = volume(&surface) > 0.0;
    if !outwards {
        for t in &mut surface.triangles {
            t.swap(1, 2);
        }
    }
    let turned = if outwards {
        turned
    } else {
        surface.triangles.len() - turned
    };
    if turned > 0 {
        repairs.push(format!("{turned} triangles were turned to face outwards"));
    }
    free_of_crossings(&surface)?;
    Ok(Audited { surface, repairs })
}

/// Leaves out triangles that run through the same corners the same way round as one before them; returns how many.
fn drop_repeated(surface: &mut TriangleSurface) -> usize {
    let before = surface.triangles.len();
    let mut seen = BTreeSet::new();
    surface.triangles.retain(|t| {
        let mut from_least = *t;
        let least = (0..3).min_by_key(|i| t[*i]).unwrap_or(0);
        from_least.rotate_left(least);
        seen.insert(from_least)
    });
    before - surface.triangles.len()
}

/// An edge of a triangle: its ends in ascending order, the triangle, does it run that way there?
type Edge = ([u32; 2], u32, bool);

fn edges(surface: &TriangleSurface) -> Vec<Edge> {
    let mut edges: Vec<Edge> = Vec::with_capacity(3 * surface.triangles.len());
    for (t, corners) in surface.triangles.iter().enumerate() {
        for k in 0..3 {
            let (a, b) = (corners[k], corners[(k + 1) % 3]);
            edges.push(([a.min(b), a.max(b)], t as u32, a < b));
        }
    }
    edges.sort_unstable();
    edges
}

fn middle(surface: &TriangleSurface, [a, b]: [u32; 2]) -> Vec3 {
    0.5 * (surface.vertices[a as usize] + surface.vertices[b as usize])
}

fn closed(surface: &TriangleSurface, edges: &[Edge]) -> Result<(), SurfaceError> {
    let open = || edges.chunk_by(|x, y| x.0 == y.0).filter(|e| e.len() != 2);
    match open().next() {
        None if edges.is_empty() => Err(SurfaceError::Unreadable {
            why: "it holds no triangle with an area".into(),
        }),
        None => Ok(()),
        Some(first) => Err(SurfaceError::Open {
            count: open().count(),
            triangles: first.len(),
            at: middle(surface, first[0].0),
        }),
    }
}

/// Turns all triangles of the one piece the way of the first; returns how many were turned.
fn turn(surface: &mut TriangleSurface, edges: &[Edge]) -> Result<usize, SurfaceError> {
    let count = surface.triangles.len();
    let mut beside: Vec<Vec<(u32, bool, usize)>> = vec![Vec::with_capacity(3); count];
    for (n, pair) in edges.chunks_exact(2).enumerate() {
        let same_way = pair[0].2 == pair[1].2;
        for (one, other) in [(0, 1), (1, 0)] {
            beside[pair[one].1 as usize].push((pair[other].1, same_way, 2 * n));
        }
    }
    // Is each triangle to be turned, relative to the first of its piece?
    let mut turned: Vec<Option<bool>> = vec![None; count];
    let mut pieces: Vec<(usize, u32)> = Vec::new();
    for start in 0..count {
        if turned[start].is_some() {
            continue;
        }
        turned[start] = Some(false);
        let mut size = 0;
        let mut open = vec![start];
        while let Some(t) = open.pop() {
            size += 1;
            let here = turned[t] == Some(true);
            for &(other, same_way, edge) in &beside[t] {
                // Neighbours turned alike run along their edge in opposite ways.
                let wanted = here != same_way;
                match turned[other as usize] {
                    None => {
                        turned[other as usize] = Some(wanted);
                        open.push(other as usize);
                    }
                    Some(found) if found != wanted => {
                        return Err(SurfaceError::OneSided {
                            at: middle(surface, edges[edge].0),
                        });
                    }
                    Some(_) => {}
                }
            }
        }
        pieces.push((size, surface.triangles[start][0]));
    }
    if let (true, Some(&(triangles, corner))) = (pieces.len() > 1, pieces.iter().min()) {
        return Err(SurfaceError::Pieces {
            count: pieces.len(),
            triangles,
            at: surface.vertices[corner as usize],
        });
    }
    let mut count = 0;
    for (t, turn) in surface.triangles.iter_mut().zip(turned) {
        if turn == Some(true) {
            t.swap(1, 2);
            count += 1;
        }
    }
    Ok(count)
}

/// Volume inside, mm³; negative when the normals point inwards.
pub(crate) fn volume(surface: &TriangleSurface) -> f64 {
    (0..surface.triangles.len())
        .map(|t| {
            let [a, b, c] = surface.corners(t);
            a.dot(&b.cross(&c)) / 6.0
        })
        .sum()
}

/// Pairs of triangles whose boxes meet that are looked at, per triangle on average; a bone's surface has some ten.
const MOST_PAIRS: usize = 2_000;

fn free_of_crossings(surface: &TriangleSurface) -> Result<(), SurfaceError> {
    let tree = Tree::of(surface);
    let count = surface.triangles.len();
    let mut found: Vec<Vec3> = Vec::new();
    let mut pairs = 0;
    for t in 0..count {
        let mine = surface.triangles[t];
        let corners = surface.corners(t);
        tree.touching(&Aabb::around(&corners), &mut |o| {
            let other = surface.triangles[o];
            pairs += 1;
            // Neighbours share corners; each pair once.
            if o > t && !mine.iter().any(|v| other.contains(v)) {
                found.extend(crosses(&corners, &surface.corners(o)));
            }
        });
        if found.len() >= MOST_CROSSINGS {
            break;
        }
        if pairs > MOST_PAIRS * count.max(1_000) {
            return Err(SurfaceError::Crowded);
        }
    }
    match found.first() {
        None => Ok(()),
        Some(at) => Err(SurfaceError::CutsItself {
            count: found.len(),
            at: *at,
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::super::shapes::{ball, joined};
    use super::*;

    #[test]
    fn a_ball_passes_untouched_and_has_its_volume() {
        let surface = ball(Vec3::zeros(), 10.0, 3);
        let audited = audit(surface.clone()).unwrap();
        assert_eq!(audited.surface, surface);
        assert!(audited.repairs.is_empty());
        let exact = 4.0 / 3.0 * std::f64::consts::PI * 1000.0;
        // Inscribed facets lack a share that falls with the square of their size.
        let lacks = |times| 1.0 - volume(&ball(Vec3::zeros(), 10.0, times)) / exact;
        assert!(lacks(5) > 0.0 && lacks(5) < 0.003, "{}", lacks(5));
        assert!((lacks(4) / lacks(5) - 4.0).abs() < 0.2);
    }

    #[test]
    fn turned_and_empty_triangles_are_repaired_and_said_so() {
        let surface = ball(Vec3::zeros(), 10.0, 2);
        let mut broken = surface.clone();
        for t in broken.triangles.iter_mut().step_by(3) {
            t.swap(0, 1);
        }
        broken.triangles.push([0, 0, 5]);
        let [a, b, c] = broken.triangles[4];
        broken.triangles.push([b, c, a]);
        let audited = audit(broken.clone()).unwrap();
        assert!(volume(&audited.surface) > 0.0);
        assert_eq!(audited.surface.triangles.len(), surface.triangles.len());
        let told = audited.repairs.join("; ");
        let turned = surface.triangles.len().div_ceil(3);
        assert!(
            told.contains("1 triangles with")
                && told.contains("1 triangles that were there already")
                && told.contains(&format!("{turned} triangles were")),
            "{told}"
        );
        // All inside out.
        for t in &mut broken.triangles {
            t.swap(1, 2);
        }
        assert!(volume(&audit(broken).unwrap().surface) > 0.0);
    }

    #[test]
    fn what_is_not_harmless_is_refused_with_its_place() {
        let mut open = ball(Vec3::zeros(), 10.0, 2);
        let gone = open.triangles.swap_remove(7);
        match audit(open.clone()) {
            Err(SurfaceError::Open { count: 3, at, .. }) => {
                let corner = open.vertices[gone[0] as usize];
                assert!((at - corner).norm() < 4.0, "{at:?}");
            }
            other => panic!("{other:?}"),
        }
        let two = joined(
            &ball(Vec3::zeros(), 10.0, 2),
            &ball(Vec3::x() * 40.0, 3.0, 1),
        );
        match audit(two) {
            Err(SurfaceError::Pieces { count: 2, at, .. }) => assert!(at.x > 30.0),
            other => panic!("{other:?}"),
        }
        let mut dented = ball(Vec3::zeros(), 10.0, 3);
        for v in &mut dented.vertices {
            // One pole is pushed through the other side.
            if v.z > 9.9 {
                v.z -= 25.0;
            }
        }
        match audit(dented) {
            Err(SurfaceError::CutsItself { count, at }) => {
                assert!(count > 3 && at.z < -8.0, "{count} {at:?}")
            }
            other => panic!("{other:?}"),
        }
    }
}
