//! Kuhn's division of a grid cell: six tetrahedra round one diagonal.
//!
//! Neighbouring cells divide their common face alike, so that a grid so divided conforms (Kuhn 1960, IBM J Res Dev 4:518,
//! from memory). For structured meshes of tests and checks.

/// The six ways along a cell's edges from one corner to the opposite one, as orders of the axes.
const ORDERS: [[usize; 3]; 6] = [
    [0, 1, 2],
    [0, 2, 1],
    [1, 0, 2],
    [1, 2, 0],
    [2, 0, 1],
    [2, 1, 0],
];

/// Grid points of the corners of the six tetrahedra of a cell, given by its least corner.
///
/// ```
/// // All six hold the diagonal from the least to the greatest corner.
/// for tet in bicolumn_mesh::kuhn_cell([4, 0, 1]) {
///     assert_eq!((tet[0], tet[3]), ([4, 0, 1], [5, 1, 2]));
/// }
/// ```
pub fn kuhn_cell(cell: [usize; 3]) -> [[[usize; 3]; 4]; 6] {
    ORDERS.map(|order| {
        let mut at = cell;
        let mut tet = [cell; 4];
        for (n, axis) in order.into_iter().enumerate() {
            at[axis] += 1;
            tet[n + 1] = at;
        }
        tet
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_base::Vec3;

    #[test]
    fn six_tetrahedra_fill_the_cell_and_neighbours_share_faces() {
        let at = |g: [usize; 3]| Vec3::from(g.map(|v| v as f64));
        let mut faces: std::collections::BTreeMap<Vec<[usize; 3]>, usize> = Default::default();
        let mut volume = 0.0;
        for cell in [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]] {
            for tet in kuhn_cell(cell) {
                let [a, b, c, d] = tet.map(at);
                volume += (b - a).dot(&(c - a).cross(&(d - a))).abs() / 6.0;
                for leave in 0..4 {
                    let mut face: Vec<_> = (0..4).filter(|k| *k != leave).map(|k| tet[k]).collect();
                    face.sort_unstable();
                    *faces.entry(face).or_default() += 1;
                }
            }
        }
        assert!((volume - 4.0).abs() < 1e-14);
        // Four cells in an L: 6 inner faces each, and two triangles at each of three common sides.
        assert_eq!(faces.values().filter(|n| **n == 2).count(), 4 * 6 + 3 * 2);
        assert!(faces.values().all(|n| *n <= 2));
    }
}
