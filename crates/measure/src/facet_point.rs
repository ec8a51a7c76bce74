//! Points spread evenly over six-node facets, with their areas.

use bicolumn_base::Vec3;
use bicolumn_mesh::{Facet, TetMesh};

/// One point of a facet that stands for the small area round it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FacetPoint {
    /// Position on the (possibly curved) facet, mm.
    pub(crate) at: Vec3,
    /// Unit normal, out of the facet's tetrahedron.
    pub(crate) normal: Vec3,
    /// The area it stands for, mm².
    pub(crate) area_mm2: f64,
    /// The facet's tetrahedron.
    pub(crate) tet: u32,
    /// Barycentric coordinates in that tetrahedron.
    pub(crate) barycentric: [f64; 4],
}

impl FacetPoint {
    /// The point at facet coordinates (λ₁, λ₂); stands for the whole facet.
    pub(crate) fn on(mesh: &TetMesh, facet: &Facet, l1: f64, l2: f64) -> Self {
        let x = facet.nodes.map(|n| mesh.nodes[n as usize]);
        point(&x, (l1, l2), 1.0, facet.tet, corner_slots(mesh, facet))
    }

    /// The middle of a facet.
    pub(crate) fn middle(mesh: &TetMesh, facet: &Facet) -> Self {
        Self::on(mesh, facet, 1.0 / 3.0, 1.0 / 3.0)
    }
}

/// Splits a facet into n² equal triangles in its own coordinates, n so that no edge is longer than
/// `spacing_mm`, and gives one point at the middle of each.
///
/// The six-node map x(λ) = Σ Nₐ(λ) xₐ carries the areas: dA = |∂x/∂λ₁ × ∂x/∂λ₂| / 2n².
pub(crate) fn spread(mesh: &TetMesh, facet: &Facet, spacing_mm: f64, out: &mut Vec<FacetPoint>) {
    let x = facet.nodes.map(|n| mesh.nodes[n as usize]);
    let longest = (x[0] - x[1])
        .norm()
        .max((x[1] - x[2]).norm())
        .max((x[2] - x[0]).norm());
    let n = (longest / spacing_mm).ceil().clamp(1.0, 64.0) as usize;
    let corner = corner_slots(mesh, facet);
    let step = 1.0 / n as f64;
    for i in 0..n {
        for j in 0..n - i {
            let up = ((i as f64 + 1.0 / 3.0) * step, (j as f64 + 1.0 / 3.0) * step);
            out.push(point(&x, up, step, facet.tet, corner));
            if i + j + 1 < n {
                let down = ((i as f64 + 2.0 / 3.0) * step, (j as f64 + 2.0 / 3.0) * step);
                out.push(point(&x, down, step, facet.tet, corner));
            }
        }
    }
}

/// Local number in the tetrahedron of each corner of the facet.
fn corner_slots(mesh: &TetMesh, facet: &Facet) -> [usize; 3] {
    let tet = &mesh.tets[facet.tet as usize];
    [0, 1, 2].map(|k| {
        (0..4)
            .find(|c| tet[*c] == facet.nodes[k])
            .unwrap_or_default()
    })
}

fn point(
    x: &[Vec3; 6],
    (l1, l2): (f64, f64),
    step: f64,
    tet: u32,
    corner: [usize; 3],
) -> FacetPoint {
    let l0 = 1.0 - l1 - l2;
    let shape = [
        l0 * (2.0 * l0 - 1.0),
        l1 * (2.0 * l1 - 1.0),
        l2 * (2.0 * l2 - 1.0),
        4.0 * l0 * l1,
        4.0 * l1 * l2,
        4.0 * l2 * l0,
    ];
    let by_l1 = [
        1.0 - 4.0 * l0,
        4.0 * l1 - 1.0,
        0.0,
        4.0 * (l0 - l1),
        4.0 * l2,
        -4.0 * l2,
    ];
    let by_l2 = [
        1.0 - 4.0 * l0,
        0.0,
        4.0 * l2 - 1.0,
        -4.0 * l1,
        4.0 * l1,
        4.0 * (l0 - l2),
    ];
    let sum = |w: [f64; 6]| -> Vec3 { (0..6).map(|a| x[a] * w[a]).sum() };
    let across = sum(by_l1).cross(&sum(by_l2));
    let size = across.norm();
    let mut barycentric = [0.0; 4];
    for (slot, l) in corner.into_iter().zip([l0, l1, l2]) {
        barycentric[slot] = l;
    }
    FacetPoint {
        at: sum(shape),
        normal: across / size.max(f64::MIN_POSITIVE),
        area_mm2: 0.5 * size * step * step,
        tet,
        barycentric,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_mesh::one_tet;

    #[test]
    fn points_share_out_a_plane_facet_exactly() {
        let mesh = one_tet();
        for facet in &mesh.facets {
            let [a, b, c] = [0, 1, 2].map(|k| mesh.nodes[facet.nodes[k] as usize]);
            let area = 0.5 * (b - a).cross(&(c - a)).norm();
            let mut points = Vec::new();
            spread(&mesh, facet, 0.2, &mut points);
            let sum: f64 = points.iter().map(|p| p.area_mm2).sum();
            assert!((sum - area).abs() < 1e-12 * area);
            for p in &points {
                // The barycentric coordinates lead back to the point.
                let corners = mesh.corners(0);
                let back: Vec3 = (0..4).map(|k| corners[k] * p.barycentric[k]).sum();
                assert!((back - p.at).norm() < 1e-12);
                assert!(p.normal.dot(&(p.at - Vec3::repeat(0.1))) > 0.0);
            }
        }
    }
}
