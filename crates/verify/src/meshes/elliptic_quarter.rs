//! A quarter of an elliptic ring, thickness along Z: the plan of the membrane and plate of NAFEMS.

use super::Block;
use super::block::side;
use bicolumn_base::Vec3;
use bicolumn_mesh::{MeshError, SurfaceName, TetMesh};

/// The cut at x = 0.
pub const ON_Y_AXIS: SurfaceName = side(0, false);
/// The cut at y = 0.
pub const ON_X_AXIS: SurfaceName = side(0, true);
/// The inner ellipse.
pub const INSIDE: SurfaceName = side(1, false);
/// The outer ellipse.
pub const OUTSIDE: SurfaceName = side(1, true);
/// The face at z = 0.
pub const LOWER: SurfaceName = side(2, false);
/// The face at z = thickness.
pub const UPPER: SurfaceName = side(2, true);

/// Semi-axes along X and Y of the inner and the outer ellipse, mm.
pub const INNER: [f64; 2] = [2.0, 1.0];
/// See [`INNER`].
pub const OUTER: [f64; 2] = [3.25, 2.75];

/// The quarter x, y ≥ 0; `cells` round, from inside to outside, through the thickness. The first cell
/// round and outwards from (2, 0) and the cells at both faces are `grading` of even ones.
///
/// ```text
///   y │╲
///     │   ╲        cells grow away from (2, 0), where the stress is read
///     ╰╮    ╲
///       ╲    │
///        ╰───┴── x
/// ```
///
/// # Errors
/// [`MeshError`] for no thickness.
pub fn elliptic_quarter(
    cells: [usize; 3],
    thickness_mm: f64,
    grading: f64,
) -> Result<TetMesh, MeshError> {
    let graded = |g: f64| g * (grading + (1.0 - grading) * g);
    // Fine at both faces; the middle stays the middle.
    let through = |z: f64| {
        let from_face = 0.5 * graded(2.0 * z.min(1.0 - z));
        if z < 0.5 { from_face } else { 1.0 - from_face }
    };
    Block {
        cells,
        ring: false,
        map: &|[round, out, z]| {
            let (s, c) = (graded(1.0 - round) * std::f64::consts::FRAC_PI_2).sin_cos();
            // Exactly on the cuts at both ends.
            let (s, c) = match round {
                0.0 => (1.0, 0.0),
                1.0 => (0.0, 1.0),
                _ => (s, c),
            };
            let g = graded(out);
            let along = |axis: usize| INNER[axis] + g * (OUTER[axis] - INNER[axis]);
            Vec3::new(along(0) * c, along(1) * s, through(z) * thickness_mm)
        },
        curve: &|m, surface| match surface {
            INSIDE => on_ellipse(m, INNER),
            OUTSIDE => on_ellipse(m, OUTER),
            _ => m,
        },
    }
    .mesh()
}

/// The point moved along its ray from the Z axis to an ellipse.
fn on_ellipse(x: Vec3, [a, b]: [f64; 2]) -> Vec3 {
    let k = 1.0 / (x.x / a).hypot(x.y / b);
    Vec3::new(x.x * k, x.y * k, x.z)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn boundary_lies_on_the_ellipses_and_cuts() {
        let mesh = elliptic_quarter([8, 4, 2], 0.6, 0.5).unwrap();
        assert_eq!(mesh.quality.curved_share, 1.0);
        let volume: f64 = (0..mesh.tets.len()).map(|t| mesh.volume(t)).sum();
        let quarter = std::f64::consts::FRAC_PI_4 * (OUTER[0] * OUTER[1] - INNER[0] * INNER[1]);
        // The corners' chords cut a little off.
        assert!((volume / (0.6 * quarter) - 1.0).abs() < 0.01);
        let nodes = |surface| {
            let facets: Vec<_> = mesh.facets_on(surface).copied().collect();
            assert!(!facets.is_empty());
            facets
                .into_iter()
                .flat_map(|f| f.nodes)
                .map(|n| mesh.nodes[n as usize])
        };
        for (surface, [a, b]) in [(INSIDE, INNER), (OUTSIDE, OUTER)] {
            assert!(nodes(surface).all(|x| ((x.x / a).hypot(x.y / b) - 1.0).abs() < 1e-12));
        }
        assert!(nodes(ON_X_AXIS).all(|x| x.y == 0.0));
        assert!(nodes(ON_Y_AXIS).all(|x| x.x == 0.0));
        assert!(nodes(UPPER).all(|x| x.z == 0.6));
    }
}
