//! Surfaces for tests.

use super::stl::TriangleSurface;
use bicolumn_base::Vec3;
use std::collections::BTreeMap;

/// A ball of triangles: an octahedron, every triangle divided in four `times` times.
pub(crate) fn ball(centre: Vec3, radius: f64, times: usize) -> TriangleSurface {
    let mut vertices: Vec<Vec3> = vec![
        Vec3::x(),
        -Vec3::x(),
        Vec3::y(),
        -Vec3::y(),
        Vec3::z(),
        -Vec3::z(),
    ];
    let mut triangles: Vec<[u32; 3]> = vec![
        [0, 2, 4],
        [2, 1, 4],
        [1, 3, 4],
        [3, 0, 4],
        [2, 0, 5],
        [1, 2, 5],
        [3, 1, 5],
        [0, 3, 5],
    ];
    for _ in 0..times {
        let mut middles: BTreeMap<[u32; 2], u32> = BTreeMap::new();
        let mut middle = |a: u32, b: u32| {
            *middles.entry([a.min(b), a.max(b)]).or_insert_with(|| {
                vertices.push((vertices[a as usize] + vertices[b as usize]).normalize());
                vertices.len() as u32 - 1
            })
        };
        triangles = triangles
            .iter()
            .flat_map(|&[a, b, c]| {
                let (ab, bc, ca) = (middle(a, b), middle(b, c), middle(c, a));
                [[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]
            })
            .collect();
    }
    TriangleSurface {
        vertices: vertices.iter().map(|v| centre + v * radius).collect(),
        triangles,
    }
}

/// Two surfaces in one.
pub(crate) fn joined(a: &TriangleSurface, b: &TriangleSurface) -> TriangleSurface {
    let shift = a.vertices.len() as u32;
    let mut both = a.clone();
    both.vertices.extend(&b.vertices);
    both.triangles
        .extend(b.triangles.iter().map(|t| t.map(|v| v + shift)));
    both
}
