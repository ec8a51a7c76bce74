//! Wanted edge lengths from the elements' shares in an error.
//!
//! With quadratic elements the share of an element in the error of a response falls with the seventh power
//! of its edge: the fourth by the two stress defects in it, the third by its volume. The fewest elements for
//! a given sum have equal shares (Zienkiewicz and Zhu 1987, Int J Numer Methods Eng 24:337, section 5, for
//! energy), so that an element of edge h and share η should have the edge h (c/η)^(1/7). The new sum is
//! c times the new count Σ (η/c)^(3/7), which gives c.

use bicolumn_base::{Aabb, Vec3};
use bicolumn_mesh::{SizeField, SizeFieldError, TetMesh};

/// Power of an element's edge that its share falls with.
const SHARE_RATE: f64 = 7.0;
/// Tetrahedra that fill a lattice cell: what makes an edge of a volume.
const TETS_A_CELL: f64 = 12.0;
/// Distance of the grid's points, mm.
const SPACING_MM: f64 = 1.0;
/// In one step an edge becomes no shorter than this share of itself, and no longer than that.
const STEP: [f64; 2] = [0.4, 1.5];
/// Least and greatest edge that is asked for, mm.
const EDGES_MM: [f64; 2] = [0.25, 8.0];

/// The field that should bring the sum of shares down to `wanted` times itself.
///
/// # Errors
/// [`SizeFieldError`]: the construct is too large for the grid.
pub(crate) fn size_from_error(
    mesh: &TetMesh,
    shares: &[f64],
    wanted: f64,
    room: Aabb,
) -> Result<SizeField, SizeFieldError> {
    // A share of nothing wants an edge as long as a step allows.
    let shares: Vec<f64> = shares.iter().map(|s| s.max(f64::MIN_POSITIVE)).collect();
    let total: f64 = shares.iter().sum();
    let counted: f64 = shares.iter().map(|s| s.powf(3.0 / SHARE_RATE)).sum();
    let equal = (wanted * total / counted).powf(SHARE_RATE / 4.0);
    let edge_of = |t: usize| {
        let edge = (TETS_A_CELL * mesh.volume(t)).cbrt();
        let factor = (equal / shares[t]).powf(1.0 / SHARE_RATE);
        (edge * factor.clamp(STEP[0], STEP[1])).clamp(EDGES_MM[0], EDGES_MM[1])
    };
    // Every element puts its edge at the eight grid points round it; the least counts.
    let extent = room.max - room.min;
    let counts = [0, 1, 2].map(|i| (extent[i] / SPACING_MM).ceil().max(1.0) as usize + 1);
    let [nx, ny, nz] = counts;
    let mut sizes = vec![EDGES_MM[1]; nx * ny * nz];
    for t in 0..mesh.tets.len() {
        let middle = mesh.corners(t).iter().sum::<Vec3>() / 4.0;
        let place = (middle - room.min) / SPACING_MM;
        let edge = edge_of(t);
        let low = |i: usize, n: usize| (place[i].max(0.0) as usize).min(n - 2);
        let (i, j, k) = (low(0, nx), low(1, ny), low(2, nz));
        for corner in 0..8 {
            let (i, j, k) = (i + (corner & 1), j + (corner >> 1 & 1), k + (corner >> 2));
            let at = &mut sizes[i + nx * (j + ny * k)];
            *at = at.min(edge);
        }
    }
    let sizes = sizes.into_iter().map(|s| s as f32).collect();
    SizeField::new(room.min.into(), SPACING_MM, counts, sizes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_base::{Fragment, Part, Tissue};
    use bicolumn_mesh::SurfaceName;

    /// Two tetrahedra of edge-like volume, 10 mm apart.
    fn two() -> TetMesh {
        let tet = |x: f64| {
            let corners = [Vec3::zeros(), Vec3::x(), Vec3::y(), Vec3::z()];
            corners.map(|c| c + Vec3::new(x, 2.0, 2.0))
        };
        TetMesh::from_straight_tets(
            [tet(2.0), tet(12.0)].concat(),
            &[[0, 1, 2, 3], [4, 5, 6, 7]],
            |_| Part::Bone(Fragment::Proximal, Tissue::Cortical),
            |_, _| SurfaceName::BoneOuter,
            |m, _| m,
        )
        .unwrap()
    }

    fn room() -> Aabb {
        Aabb::around(&[Vec3::zeros(), Vec3::new(16.0, 6.0, 6.0)])
    }

    #[test]
    fn equal_shares_shrink_all_edges_alike_and_to_the_sum_asked_for() {
        // Twelve sixths of a cubic millimetre: an edge of 2^(1/3).
        let edge = 2f64.cbrt();
        let field = size_from_error(&two(), &[0.5, 0.5], 0.25, room()).unwrap();
        // A sum that falls with h⁴ falls to a quarter at h / √2.
        for x in [2.25, 12.25] {
            let found = field.at(Vec3::new(x, 2.25, 2.25));
            assert!((found - edge / 2f64.sqrt()).abs() < 1e-6, "{found}");
        }
    }

    #[test]
    fn the_larger_share_gets_the_shorter_edge_by_its_seventh_root() {
        let field = size_from_error(&two(), &[1.0, 1.0 / 16.0], 1.0, room()).unwrap();
        let [a, b] = [2.25, 12.25].map(|x| field.at(Vec3::new(x, 2.25, 2.25)));
        // A factor of 1.486, which takes the longer edge to less than one step allows.
        assert!((b / a - 16f64.powf(1.0 / 7.0)).abs() < 1e-6, "{a} {b}");
        // Sum of shares, each with h^4 of its own elements: what was asked for is kept.
        let edge = 2f64.cbrt();
        let sum = (a / edge).powi(4) + (b / edge).powi(4) / 16.0;
        assert!((sum / (1.0 + 1.0 / 16.0) - 1.0).abs() < 1e-6, "{sum}");
    }

    #[test]
    fn nothing_to_gain_lengthens_edges_by_no_more_than_a_step() {
        let field = size_from_error(&two(), &[1.0, 0.0], 1.0, room()).unwrap();
        let far = field.at(Vec3::new(12.25, 2.25, 2.25));
        assert!((far - 1.5 * 2f64.cbrt()).abs() < 1e-5, "{far}");
    }
}
