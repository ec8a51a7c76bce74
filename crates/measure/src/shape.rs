//! The ten-node tetrahedron's shape functions, as weights of nodal values.

use bicolumn_base::{Mat3, Vec3};
use bicolumn_mesh::TetMesh;

/// The two corners of each edge node 4-9.
pub(crate) const EDGES: [[usize; 2]; 6] = [[0, 1], [1, 2], [2, 0], [0, 3], [1, 3], [2, 3]];

/// Weights of the ten nodes at barycentric coordinates λ: λᵢ(2λᵢ − 1) at corners, 4λᵢλⱼ on edges.
pub(crate) fn weights(l: [f64; 4]) -> [f64; 10] {
    let mut w = [0.0; 10];
    for i in 0..4 {
        w[i] = l[i] * (2.0 * l[i] - 1.0);
    }
    for (e, [i, j]) in EDGES.into_iter().enumerate() {
        w[4 + e] = 4.0 * l[i] * l[j];
    }
    w
}

/// Gradients of the ten shape functions at barycentric coordinates, 1/mm; `None` where the map is singular.
pub(crate) fn gradients(mesh: &TetMesh, tet: u32, l: [f64; 4]) -> Option<[Vec3; 10]> {
    // Derivatives by λ₁..λ₃, λ₀ being 1 less their sum.
    let mut local = [Vec3::zeros(); 10];
    let own = |i: usize| match i {
        0 => Vec3::repeat(-1.0),
        _ => Vec3::ith(i - 1, 1.0),
    };
    for (i, slope) in local.iter_mut().enumerate().take(4) {
        *slope = own(i) * (4.0 * l[i] - 1.0);
    }
    for (e, [i, j]) in EDGES.into_iter().enumerate() {
        local[4 + e] = (own(i) * l[j] + own(j) * l[i]) * 4.0;
    }
    let nodes = &mesh.tets[tet as usize];
    let jacobian: Mat3 = local
        .iter()
        .zip(nodes)
        .map(|(slope, n)| mesh.nodes[*n as usize] * slope.transpose())
        .sum();
    let inverse = jacobian.try_inverse()?.transpose();
    Some(local.map(|slope| inverse * slope))
}

/// A nodal vector field inside a tetrahedron.
pub(crate) fn vector_at(mesh: &TetMesh, field: &[Vec3], tet: u32, l: [f64; 4]) -> Vec3 {
    let nodes = &mesh.tets[tet as usize];
    weights(l)
        .iter()
        .zip(nodes)
        .map(|(w, n)| field[*n as usize] * *w)
        .sum()
}

/// Adds a force at a point inside a tetrahedron to the nodal forces that do the same work.
pub(crate) fn push_at(mesh: &TetMesh, forces: &mut [Vec3], tet: u32, l: [f64; 4], force: Vec3) {
    for (w, n) in weights(l).iter().zip(&mesh.tets[tet as usize]) {
        forces[*n as usize] += force * *w;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_are_one_at_their_node_and_sum_to_one() {
        for e in 0..6 {
            let mut l = [0.0; 4];
            for c in EDGES[e] {
                l[c] = 0.5;
            }
            let w = weights(l);
            for k in 0..10 {
                assert_eq!(w[k], if k == 4 + e { 1.0 } else { 0.0 });
            }
        }
        let w = weights([0.1, 0.2, 0.3, 0.4]);
        assert!((w.iter().sum::<f64>() - 1.0).abs() < 1e-15);
    }
}
