//! Non-manifold edges: edges at which a part touches itself in more than one wedge.
//!
//! Round an edge of a manifold part the part's tetrahedra form one wedge, so two facets of its boundary
//! meet there; four or more make the edge non-manifold. Two wedges of *all* material that meet in an edge alone
//! are a hinge, not a bond. Cutting can make such edges where a wall is thinner than a cell. Repair relabels one
//! wedge: a single tetrahedron with all its vertices on one surface takes the label of its neighbours, which
//! moves no facet off that surface.

use crate::adjacency::{FaceTable, NONE, face_table};
use crate::complex::{Complex, EdgeFace, REMOVED};
use crate::surfaces::PINNED;
use crate::tet::{EDGES, face, six_volumes};

/// Is the edge with these faces non-manifold: does a label meet itself there in two wedges?
pub(crate) fn is_non_manifold(faces: &[EdgeFace]) -> bool {
    let interfaces = || faces.iter().filter(|f| f.is_interface());
    interfaces().any(|f| {
        f.labels
            .iter()
            .any(|l| *l != REMOVED && interfaces().filter(|g| g.labels.contains(l)).count() > 2)
    })
}

/// Non-manifold edges of all parts, ascending. `part` of a tetrahedron is [`NO_PART`] where there is no
/// material.
pub(crate) fn non_manifold_edges(
    tets: &[[u32; 4]],
    part: &[u16],
    table: &FaceTable,
) -> Vec<[u32; 2]> {
    // Each interface facet once, from its lower-numbered side, spread over its edges.
    let mut edges: Vec<([u32; 2], [u16; 2])> = Vec::new();
    for (t, tet) in tets.iter().enumerate() {
        for (i, beyond) in table.beyond[t].iter().enumerate() {
            let other = match *beyond {
                NONE => NO_PART,
                b if (b as usize) < t => continue,
                b => part[b as usize],
            };
            if other == part[t] {
                continue;
            }
            let f = face(tet, i);
            for k in 0..3 {
                let (a, b) = (f[k], f[(k + 1) % 3]);
                edges.push(([a.min(b), a.max(b)], [part[t], other]));
            }
        }
    }
    edges.sort_unstable();
    edges
        .chunk_by(|x, y| x.0 == y.0)
        .filter(|round| {
            round
                .iter()
                .flat_map(|s| s.1)
                .any(|p| p != NO_PART && round.iter().filter(|s| s.1.contains(&p)).count() > 2)
        })
        .map(|round| round[0].0)
        .collect()
}

/// Part number of empty space.
pub(crate) const NO_PART: u16 = u16::MAX;

/// Relabels wedges at non-manifold edges where one can change sides; label 0 is void. Returns the number of
/// edges left.
pub(crate) fn repair_non_manifold(mesh: &mut Complex) -> usize {
    // Only tetrahedra with a face on a surface can have an interface; most have none.
    let on_surface = |t: &u32| {
        let tet = &mesh.tets[*t as usize];
        (0..4).any(|i| mesh.shared(face(tet, i)) != 0)
    };
    let near: Vec<u32> = (0..mesh.tets.len() as u32).filter(on_surface).collect();
    let tets: Vec<[u32; 4]> = near.iter().map(|t| mesh.tets[*t as usize]).collect();
    let mut table = face_table(mesh.position.len(), &tets);
    // Faces off all surfaces have a neighbour of the same label, here or left out.
    for (t, (tet, beyond)) in (0u32..).zip(tets.iter().zip(&mut table.beyond)) {
        for (i, b) in beyond.iter_mut().enumerate() {
            if mesh.shared(face(tet, i)) == 0 {
                *b = t;
            }
        }
    }
    let part_of = |l: u8| if l == 0 { NO_PART } else { u16::from(l) };
    let mut left = usize::MAX;
    loop {
        let part: Vec<u16> = near
            .iter()
            .map(|t| part_of(mesh.label[*t as usize]))
            .collect();
        let found = non_manifold_edges(&tets, &part, &table);
        if found.is_empty() || found.len() >= left {
            return found.len();
        }
        left = found.len();
        for [a, b] in found {
            relabel_wedge(mesh, a, b);
        }
    }
}

/// Relabels one wedge at a non-manifold edge, the smallest that helps.
fn relabel_wedge(mesh: &mut Complex, a: u32, b: u32) {
    let ring = mesh.ring(a, b);
    let mut wedges: Vec<(f64, u32, u8)> = ring
        .iter()
        .filter_map(|t| {
            let tet = mesh.tets[*t as usize];
            let shared = mesh.shared(tet) & !PINNED;
            if shared == 0 {
                return None;
            }
            let mut beside = tet.iter().filter(|v| **v != a && **v != b).map(|v| {
                let across = mesh.across([a, b, *v], *t);
                across.map_or(0, |o| mesh.label[o as usize])
            });
            let (one, other) = (beside.next()?, beside.next()?);
            let volume = six_volumes(&mesh.points(&tet));
            (one == other && one != mesh.label[*t as usize]).then_some((volume, *t, one))
        })
        .collect();
    wedges.sort_by(|x, y| x.0.total_cmp(&y.0).then(x.1.cmp(&y.1)));
    for (_, t, label) in wedges {
        let before = non_manifold_edges_of(mesh, t);
        let old = std::mem::replace(&mut mesh.label[t as usize], label);
        if non_manifold_edges_of(mesh, t) < before {
            return;
        }
        mesh.label[t as usize] = old;
    }
}

/// Number of non-manifold edges of one tetrahedron.
fn non_manifold_edges_of(mesh: &Complex, t: u32) -> usize {
    let tet = mesh.tets[t as usize];
    EDGES
        .iter()
        .filter(|[i, j]| {
            let (a, b) = (tet[*i], tet[*j]);
            let tets = mesh.ring(a, b).into_iter().map(|o| {
                let label = mesh.label[o as usize];
                (
                    mesh.tets[o as usize],
                    if label == 0 { REMOVED } else { label },
                )
            });
            is_non_manifold(&mesh.edge_faces(a, b, tets))
        })
        .count()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::complex::tests::ring_of_four;

    #[test]
    fn a_label_in_two_wedges_makes_the_edge_non_manifold() {
        let mut c = ring_of_four();
        let ring = c.ring(0, 1);
        assert!(!is_non_manifold(&c.faces_around(0, 1, &ring)));
        c.label = vec![1, 2, 2, 2];
        assert!(!is_non_manifold(&c.faces_around(0, 1, &ring)));
        c.label = vec![1, 2, 1, 2];
        assert!(is_non_manifold(&c.faces_around(0, 1, &ring)));
    }

    #[test]
    fn the_smallest_flat_wedge_changes_sides() {
        let mut c = ring_of_four();
        c.label = vec![1, 0, 1, 0];
        c.on = vec![PINNED; 6];
        assert_eq!(repair_non_manifold(&mut c), 1, "no wedge lies on a surface");
        c.on = vec![1; 6];
        assert_eq!(repair_non_manifold(&mut c), 0);
        assert_eq!(c.label, vec![0, 0, 1, 0]);
        c.label = vec![2, 2, 1, 1];
        assert_eq!(repair_non_manifold(&mut c), 0);
        assert_eq!(c.label, vec![2, 2, 1, 1]);
    }
}
