//! Tiny meshes for this crate's tests.

use bicolumn_base::{Fragment, Part, Tissue, Vec3};
use bicolumn_mesh::{SurfaceName, TetMesh};

const PROXIMAL: Part = Part::Bone(Fragment::Proximal, Tissue::Cortical);
const DISTAL: Part = Part::Bone(Fragment::Distal, Tissue::Cortical);

/// The unit tetrahedron as a mesh of proximal cortical bone.
pub(crate) fn one_tet() -> TetMesh {
    TetMesh::from_straight_tets(
        vec![Vec3::zeros(), Vec3::x(), Vec3::y(), Vec3::z()],
        &[[0, 1, 2, 3]],
        |_| PROXIMAL,
        |_, _| SurfaceName::BoneOuter,
        |m, _| m,
    )
    .unwrap()
}

/// Two blocks, x in ±3, z in ±4, 2 mm high: a distal one with its top at y = 0, a proximal one with
/// its underside at y = `gap_mm`; fracture faces named. Cells differ, so that faces do not match.
pub(crate) fn gap_of_boxes(gap_mm: f64) -> TetMesh {
    let (mut vertices, mut tets) = (Vec::new(), Vec::new());
    add_box(&mut vertices, &mut tets, [3, 1, 4], -2.0);
    let distal = tets.len();
    add_box(&mut vertices, &mut tets, [2, 1, 3], gap_mm);
    TetMesh::from_straight_tets(
        vertices,
        &tets,
        |t| if t < distal { DISTAL } else { PROXIMAL },
        |c, n| match () {
            () if c.y.abs() < 1e-9 && n.y > 0.9 => SurfaceName::FractureDistal,
            () if (c.y - gap_mm).abs() < 1e-9 && n.y < -0.9 => SurfaceName::FractureProximal,
            () => SurfaceName::BoneOuter,
        },
        |m, _| m,
    )
    .unwrap()
}

/// Six tetrahedra round the diagonal of each cell (Kuhn's division).
fn add_box(vertices: &mut Vec<Vec3>, tets: &mut Vec<[u32; 4]>, cells: [usize; 3], base: f64) {
    let first = vertices.len();
    let id = |[i, j, k]: [usize; 3]| (first + (i * (cells[1] + 1) + j) * (cells[2] + 1) + k) as u32;
    for i in 0..=cells[0] {
        for j in 0..=cells[1] {
            for k in 0..=cells[2] {
                let s = |n: usize, of: usize| n as f64 / of as f64;
                vertices.push(Vec3::new(
                    -3.0 + 6.0 * s(i, cells[0]),
                    base + 2.0 * s(j, cells[1]),
                    -4.0 + 8.0 * s(k, cells[2]),
                ));
            }
        }
    }
    for i in 0..cells[0] {
        for j in 0..cells[1] {
            for k in 0..cells[2] {
                for order in [
                    [0, 1, 2],
                    [0, 2, 1],
                    [1, 0, 2],
                    [1, 2, 0],
                    [2, 0, 1],
                    [2, 1, 0],
                ] {
                    let mut at = [i, j, k];
                    let mut tet = [id(at); 4];
                    for (n, axis) in order.into_iter().enumerate() {
                        at[axis] += 1;
                        tet[n + 1] = id(at);
                    }
                    tets.push(tet);
                }
            }
        }
    }
}
