//! A rectangular plate with a central circular hole, thickness along Z.

use super::Block;
use super::block::side;
use bicolumn_base::Vec3;
use bicolumn_mesh::{MeshError, SurfaceName, TetMesh};

/// The hole's wall.
pub const HOLE: SurfaceName = side(1, false);
/// All four outer sides.
pub const RIM: SurfaceName = side(1, true);
/// The faces at z = 0 and z = thickness.
pub const FACES: [SurfaceName; 2] = [side(2, false), side(2, true)];

/// Shape and cells of the plate.
///
/// ```text
///        ┌───────────────────────────┐
///        │ ╲  rays from the hole to  ╱│   width (y)
///        │    ╲  ( hole )   ╱         │
///        │   ╱   the rim      ╲       │
///        └───────────────────────────┘
///                 length (x)
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HoledPlate {
    /// Radius of the hole.
    pub radius_mm: f64,
    /// Extent along X, the direction of tension.
    pub length_mm: f64,
    /// Extent along Y.
    pub width_mm: f64,
    /// Thickness.
    pub thickness_mm: f64,
    /// Cells along each quarter of the rim, from hole to rim, through the thickness.
    pub cells: [usize; 3],
    /// The cell at the hole is this share of an even one; 1 for no grading.
    pub grading: f64,
}

impl HoledPlate {
    /// The mesh, midside nodes of the hole on its cylinder.
    ///
    /// # Errors
    /// [`MeshError`] for a hole that does not fit.
    pub fn mesh(&self) -> Result<TetMesh, MeshError> {
        let [quarter, radial, through] = self.cells;
        let (l, w) = (0.5 * self.length_mm, 0.5 * self.width_mm);
        let corners = [[l, -w], [l, w], [-l, w], [-l, -w]];
        Block {
            cells: [4 * quarter, radial, through],
            ring: true,
            map: &|[round, out, z]| {
                let quarters = 4.0 * round;
                let k = (quarters.floor() as usize).min(3);
                let f = quarters - k as f64;
                let (from, to) = (corners[k], corners[(k + 1) % 4]);
                let rim = [
                    from[0] + f * (to[0] - from[0]),
                    from[1] + f * (to[1] - from[1]),
                ];
                let turn = (quarters - 0.5) * std::f64::consts::FRAC_PI_2;
                let hole = [self.radius_mm * turn.cos(), self.radius_mm * turn.sin()];
                // Grows from `grading` at the hole: g' (0) = grading, g(1) = 1.
                let g = out * (self.grading + (1.0 - self.grading) * out);
                Vec3::new(
                    hole[0] + g * (rim[0] - hole[0]),
                    hole[1] + g * (rim[1] - hole[1]),
                    z * self.thickness_mm,
                )
            },
            curve: &|m, surface| {
                if surface == HOLE {
                    let k = self.radius_mm / m.x.hypot(m.y);
                    Vec3::new(m.x * k, m.y * k, m.z)
                } else {
                    m
                }
            },
        }
        .mesh()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plate_has_its_volume_and_a_round_hole() {
        let plate = HoledPlate {
            radius_mm: 2.0,
            length_mm: 20.0,
            width_mm: 10.0,
            thickness_mm: 1.0,
            cells: [12, 5, 1],
            grading: 0.4,
        };
        let mesh = plate.mesh().unwrap();
        assert_eq!(mesh.quality.curved_share, 1.0);
        let volume: f64 = (0..mesh.tets.len()).map(|t| mesh.volume(t)).sum();
        let polygon = 24.0 * 4.0 * (std::f64::consts::TAU / 48.0).sin();
        assert!((volume - (200.0 - polygon)).abs() < 1e-9, "{volume}");
        for f in mesh.facets_on(HOLE) {
            for n in f.nodes {
                let x = mesh.nodes[n as usize];
                assert!((x.x.hypot(x.y) - 2.0).abs() < 1e-12);
            }
        }
        assert_eq!(mesh.facets_on(RIM).count(), 96);
    }
}
