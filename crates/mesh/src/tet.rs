//! Local numbering of a tetrahedron and its volume.
//!
//! ```text
//!        3
//!       /|\        positive when (b-a)·((c-a)×(d-a)) > 0;
//!      / | \       face i lies opposite corner i and turns outwards;
//!     0--|--2      edges in VTK order 01, 12, 20, 03, 13, 23.
//!      \ | /
//!        1
//! ```

use bicolumn_base::Vec3;

/// Corners of the face opposite each corner, normal outwards.
pub(crate) const FACES: [[usize; 3]; 4] = [[1, 2, 3], [0, 3, 2], [0, 1, 3], [0, 2, 1]];

/// Corners of the edges, in the order of the midside nodes 4-9.
pub(crate) const EDGES: [[usize; 2]; 6] = [[0, 1], [1, 2], [2, 0], [0, 3], [1, 3], [2, 3]];

/// Local edge between two local corners.
pub(crate) const EDGE_BETWEEN: [[usize; 4]; 4] =
    [[9, 0, 2, 3], [0, 9, 1, 4], [2, 1, 9, 5], [3, 4, 5, 9]];

/// Six times the signed volume.
#[inline]
pub(crate) fn six_volumes(p: &[Vec3; 4]) -> f64 {
    (p[1] - p[0]).dot(&(p[2] - p[0]).cross(&(p[3] - p[0])))
}

/// The global corners of face `i`.
#[inline]
pub(crate) fn face(tet: &[u32; 4], i: usize) -> [u32; 3] {
    FACES[i].map(|k| tet[k])
}

/// Mean of three or four points.
#[inline]
pub(crate) fn centroid<const N: usize>(p: &[Vec3; N]) -> Vec3 {
    p.iter().sum::<Vec3>() / N as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn faces_turn_outwards_and_edges_are_found() {
        let p = [Vec3::zeros(), Vec3::x(), Vec3::y(), Vec3::z()];
        assert_eq!(six_volumes(&p), 1.0);
        for (i, f) in FACES.iter().enumerate() {
            let [a, b, c] = f.map(|k| p[k]);
            let normal = (b - a).cross(&(c - a));
            assert!(normal.dot(&(a - p[i])) > 0.0, "face {i}");
        }
        for (e, [a, b]) in EDGES.iter().enumerate() {
            assert_eq!(EDGE_BETWEEN[*a][*b], e);
            assert_eq!(EDGE_BETWEEN[*b][*a], e);
        }
    }
}
