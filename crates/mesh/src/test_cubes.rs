//! A grid of unit cubes, six tetrahedra each, for unit tests.

use crate::kuhn_cell;
use bicolumn_base::Vec3;

/// Corners, tetrahedra round the diagonals, and the cube of each.
pub(crate) type Cubes = (Vec<Vec3>, Vec<[u32; 4]>, Vec<[usize; 3]>);

/// [0, n0] × [0, n1] × [0, n2].
pub(crate) fn cubes(n: [usize; 3]) -> Cubes {
    let id = |[i, j, k]: [usize; 3]| ((i * (n[1] + 1) + j) * (n[2] + 1) + k) as u32;
    let mut vertices = Vec::new();
    for i in 0..=n[0] {
        for j in 0..=n[1] {
            for k in 0..=n[2] {
                vertices.push(Vec3::new(i as f64, j as f64, k as f64));
            }
        }
    }
    let (mut tets, mut cube) = (Vec::new(), Vec::new());
    for i in 0..n[0] {
        for j in 0..n[1] {
            for k in 0..n[2] {
                for tet in kuhn_cell([i, j, k]) {
                    tets.push(tet.map(id));
                    cube.push([i, j, k]);
                }
            }
        }
    }
    (vertices, tets, cube)
}
