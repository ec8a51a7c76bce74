//! The master corners of each node on the linear level.
//!
//! A corner is its own master, the node in the middle of a straight edge the mean of its ends. On a curved edge
//! the node lies off the middle, and the mean would turn a rigid rotation into strain: next to metal that
//! strain costs far more energy than the bone around it could bear, and the linear level would refuse to
//! let screws turn or bend. There the node follows the affine function through the corners of one of its
//! tetrahedra, taken at the node's own place, so that every linear motion is reproduced. The stiffest
//! tetrahedron is the one chosen: strain made in the softer ones costs less.

use crate::numbering::NO_ROW;
use crate::shape::EDGES;
use bicolumn_base::{Mat3, Vec3};
use bicolumn_model::Problem;

/// Master nodes with their weights; unused places name [`NO_ROW`].
pub(crate) type Masters = [(u32, f32); 4];

/// An edge counts as curved when a rotation, through its mean, would cost this share of what the softest
/// material of the model bears in the same strain: (distance from the middle over length)² times the ratio
/// of the moduli. Following four corners widens the coarse matrix, so that not every edge of a curved
/// surface does; with 0.001 in place of it the factor grows by half and the iterations stay what they are.
const BEARABLE: f64 = 0.3;

/// A node without masters.
const NO_MASTERS: Masters = [(NO_ROW, 0.0); 4];

/// The master corners of each mesh node.
pub(crate) fn master_corners(problem: &Problem) -> Vec<Masters> {
    let mesh = problem.mesh();
    let mut masters = vec![NO_MASTERS; mesh.nodes.len()];
    let shear_of = |t| problem.elasticity_of(t).mu;
    let softest = (0..mesh.tets.len()).map(shear_of).fold(f64::MAX, f64::min);
    // Shear modulus and least weight of the tetrahedron chosen for a node on a curved edge.
    let mut best = vec![(0.0, f64::MIN); mesh.nodes.len()];
    for (t, tet) in mesh.tets.iter().enumerate() {
        let corners = [0, 1, 2, 3].map(|c| mesh.nodes[tet[c] as usize]);
        for &n in &tet[..4] {
            masters[n as usize][0] = (n, 1.0);
        }
        let shear = shear_of(t);
        for (k, [i, j]) in EDGES.into_iter().enumerate() {
            let n = tet[4 + k] as usize;
            let off = mesh.nodes[n] - 0.5 * (corners[i] + corners[j]);
            let bend = off.norm_squared() / (corners[i] - corners[j]).norm_squared();
            let weights = if bend * shear > BEARABLE * softest {
                barycentric(&corners, mesh.nodes[n])
            } else {
                None
            };
            let Some(weights) = weights else {
                if best[n].0 == 0.0 {
                    masters[n][..2].copy_from_slice(&[(tet[i], 0.5), (tet[j], 0.5)]);
                }
                continue;
            };
            let least = weights.iter().copied().fold(f64::MAX, f64::min);
            if (shear, least) > best[n] {
                best[n] = (shear, least);
                masters[n] = [0, 1, 2, 3].map(|c| (tet[c], weights[c] as f32));
            }
        }
    }
    masters
}

/// Barycentric coordinates of a point in a tetrahedron; `None` if that is flat.
fn barycentric(corners: &[Vec3; 4], x: Vec3) -> Option<[f64; 4]> {
    let edges = [1, 2, 3].map(|c| corners[c] - corners[0]);
    let l = Mat3::from_columns(&edges).lu().solve(&(x - corners[0]))?;
    Some([1.0 - l.sum(), l[0], l[1], l[2]])
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_base::{Part, ScrewNumber};
    use bicolumn_mesh::{SurfaceName, TetMesh};
    use bicolumn_model::{Material, Support};
    use std::sync::Arc;

    /// Two tetrahedra with a face between them, the second softer, some edges curved.
    fn two() -> Problem {
        let corners = [
            Vec3::new(0.0, 0.0, 0.0),
            Vec3::new(1.0, 0.1, 0.0),
            Vec3::new(0.2, 1.0, 0.1),
            Vec3::new(0.1, 0.2, 1.0),
            Vec3::new(1.0, 1.1, 1.2),
        ];
        let part_of = |t| {
            if t == 0 {
                Part::Screw(ScrewNumber(1))
            } else {
                Part::GapTissue
            }
        };
        let tets = [[0, 1, 2, 3], [1, 2, 3, 4]];
        let surface = |_, _| SurfaceName::BoneOuter;
        let mut mesh =
            TetMesh::from_straight_tets(corners.to_vec(), &tets, part_of, surface, |x, _| x)
                .unwrap();
        for edge in [[1, 2], [2, 4]] {
            let middle = 0.5 * (corners[edge[0]] + corners[edge[1]]);
            let node = mesh
                .nodes
                .iter_mut()
                .find(|x| (**x - middle).norm() < 1e-12);
            *node.unwrap() += Vec3::new(0.1, 0.05, 0.1);
        }
        let young = |p: &Part| if *p == Part::GapTissue { 1.0 } else { 200.0 };
        let of = |p| Material::new("test", young(p), 0.3, "verification");
        let materials = mesh.parts.iter().map(of).collect();
        Problem::new(
            Arc::new(mesh),
            materials,
            [Support::clamp("node", [0])],
            vec![],
        )
        .unwrap()
    }

    #[test]
    fn linear_motions_are_reproduced_where_the_stiffer_side_is_curved() {
        let problem = two();
        let nodes = &problem.mesh().nodes;
        let motion = |x: &Vec3| Vec3::new(0.3, -1.0, 0.2).cross(x) + Vec3::new(x.y, 0.1, 2.0 * x.x);
        let mut by_four = 0;
        for (x, masters) in nodes.iter().zip(master_corners(&problem)) {
            let used: Vec<_> = masters.iter().filter(|f| f.0 != NO_ROW).collect();
            let sum: Vec3 = used
                .iter()
                .map(|(n, w)| motion(&nodes[*n as usize]) * f64::from(*w))
                .sum();
            let is_exact = (sum - motion(x)).norm() < 1e-6;
            if used.len() == 4 {
                by_four += 1;
                // Edge 1-2 belongs to both: the screw's corners are 0 to 3.
                assert!(is_exact && used.iter().all(|f| f.0 < 4));
            } else {
                // Edge 2-4 is the softest material's alone, which bears its own strain.
                let middle = 0.5 * (nodes[2] + nodes[4]);
                assert!(is_exact || (x - middle).norm() < 0.2, "{x:?}");
            }
        }
        assert_eq!(by_four, 1);
    }
}
