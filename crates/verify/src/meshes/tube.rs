//! A round tube along Y with midside nodes on its cylinders.

use super::Block;
use super::block::side;
use bicolumn_base::Vec3;
use bicolumn_mesh::{MeshError, SurfaceName, TetMesh};

/// The bore.
pub const BORE: SurfaceName = side(1, false);
/// The outer surface.
pub const OUTSIDE: SurfaceName = side(1, true);
/// The end at y = 0.
pub const LOWER_END: SurfaceName = side(2, false);
/// The end at y = length.
pub const UPPER_END: SurfaceName = side(2, true);

/// A tube of the given radii and length, `cells` round, through the wall, along.
///
/// # Errors
/// [`MeshError`] for radii that do not make a tube.
pub fn tube(
    cells: [usize; 3],
    inner_mm: f64,
    outer_mm: f64,
    length_mm: f64,
) -> Result<TetMesh, MeshError> {
    Block {
        cells,
        ring: true,
        map: &|[round, wall, along]| {
            let r = inner_mm + (outer_mm - inner_mm) * wall;
            // Round about −Y, so that (round, wall, along) is a right-handed frame.
            let (s, c) = (round * std::f64::consts::TAU).sin_cos();
            Vec3::new(r * c, length_mm * along, r * s)
        },
        curve: &|m, surface| match surface {
            s if s == BORE => at_radius(m, inner_mm),
            s if s == OUTSIDE => at_radius(m, outer_mm),
            _ => m,
        },
    }
    .mesh()
}

/// The point moved straight away from the Y axis to a radius.
pub(crate) fn at_radius(x: Vec3, radius: f64) -> Vec3 {
    let k = radius / x.x.hypot(x.z);
    Vec3::new(x.x * k, x.y, x.z * k)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nodes_of_the_cylinders_lie_on_them() {
        let mesh = tube([16, 2, 3], 6.0, 9.0, 12.0).unwrap();
        assert_eq!(mesh.quality.curved_share, 1.0);
        for (surface, r) in [(BORE, 6.0), (OUTSIDE, 9.0)] {
            assert_eq!(mesh.facets_on(surface).count(), 16 * 3 * 2);
            for f in mesh.facets_on(surface) {
                for n in f.nodes {
                    let x = mesh.nodes[n as usize];
                    assert!((x.x.hypot(x.z) - r).abs() < 1e-12);
                }
            }
        }
        assert_eq!(mesh.facets_on(UPPER_END).count(), 16 * 2 * 2);
        assert_eq!(mesh.free_facets().count(), 2 * (16 * 3 * 2 + 16 * 2 * 2));
    }
}
