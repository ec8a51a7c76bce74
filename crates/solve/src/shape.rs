//! The ten-node tetrahedron's shape functions.
//!
//! ```text
//!          3            local nodes: corners 0-3, then the middles of the edges
//!         /|\           4: 01   5: 12   6: 20   7: 03   8: 13   9: 23
//!        7 | 9          (VTK's quadratic tetrahedron)
//!       /  8  \
//!      0 --6-- 2
//!       \  |  /
//!        4 | 5
//!         \|/
//!          1
//! ```
//! Barycentric coordinates l: N_i = l_i (2 l_i − 1) at corners, 4 l_i l_j on edges (Zienkiewicz, Taylor
//! and Zhu 2013, The Finite Element Method, 7th ed., section 6.4).

/// The two corners of each midside node, in node order 4 to 9.
pub const EDGES: [[usize; 2]; 6] = [[0, 1], [1, 2], [2, 0], [0, 3], [1, 3], [2, 3]];

/// Barycentric coordinates of the ten nodes of a straight element.
pub const NODES: [[f64; 4]; 10] = [
    [1.0, 0.0, 0.0, 0.0],
    [0.0, 1.0, 0.0, 0.0],
    [0.0, 0.0, 1.0, 0.0],
    [0.0, 0.0, 0.0, 1.0],
    [0.5, 0.5, 0.0, 0.0],
    [0.0, 0.5, 0.5, 0.0],
    [0.5, 0.0, 0.5, 0.0],
    [0.5, 0.0, 0.0, 0.5],
    [0.0, 0.5, 0.0, 0.5],
    [0.0, 0.0, 0.5, 0.5],
];

/// Values of the ten shape functions.
pub fn values(l: [f64; 4]) -> [f64; 10] {
    let mut n = [0.0; 10];
    for i in 0..4 {
        n[i] = l[i] * (2.0 * l[i] - 1.0);
    }
    for (k, [i, j]) in EDGES.into_iter().enumerate() {
        n[4 + k] = 4.0 * l[i] * l[j];
    }
    n
}

/// Derivatives of the ten shape functions by each barycentric coordinate, the four taken as independent.
pub fn derivatives(l: [f64; 4]) -> [[f64; 4]; 10] {
    let mut d = [[0.0; 4]; 10];
    for i in 0..4 {
        d[i][i] = 4.0 * l[i] - 1.0;
    }
    for (k, [i, j]) in EDGES.into_iter().enumerate() {
        d[4 + k][i] = 4.0 * l[j];
        d[4 + k][j] = 4.0 * l[i];
    }
    d
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn each_function_is_one_at_its_node_and_zero_at_the_others() {
        for (a, l) in NODES.into_iter().enumerate() {
            for (b, v) in values(l).into_iter().enumerate() {
                assert_eq!(v, if a == b { 1.0 } else { 0.0 });
            }
        }
    }

    proptest! {
        #[test]
        fn derivatives_agree_with_central_differences(c in prop::array::uniform4(-0.5..1.0f64)) {
            let d = derivatives(c);
            for i in 0..4 {
                let (mut up, mut down) = (c, c);
                up[i] += 1e-6;
                down[i] -= 1e-6;
                for a in 0..10 {
                    let slope = (values(up)[a] - values(down)[a]) / 2e-6;
                    prop_assert!((slope - d[a][i]).abs() < 1e-8);
                }
            }
        }
    }
}
