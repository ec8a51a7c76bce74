//! A grid of cells mapped to a body, each cell cut into six tetrahedra.

use bicolumn_base::{Fragment, Part, Tissue, Vec3};
use bicolumn_mesh::{MeshError, SurfaceName, TetMesh, kuhn_cell};

/// The part that all structured meshes are made of.
pub const BODY: Part = Part::Bone(Fragment::Proximal, Tissue::Cortical);

/// Surfaces of a block, by the grid coordinate that is constant: (axis, at its end).
///
/// ```text
///          Other(3)  y=1
///        ┌──────────┐
///   x=0  │          │  x=1        Other(4) z=0 (below), Other(5) z=1
/// Other(0)          │ Other(1)
///        └──────────┘
///          Other(2)  y=0
/// ```
pub const fn side(axis: u8, at_end: bool) -> SurfaceName {
    SurfaceName::Other(2 * axis + at_end as u8)
}

/// A grid of nx × ny × nz cells; the unit cube of grid coordinates is mapped to space.
pub struct Block<'a> {
    /// Cells along each grid axis.
    pub cells: [usize; 3],
    /// The first axis closes on itself (a ring): coordinate 1 is coordinate 0.
    pub ring: bool,
    /// From grid coordinates in [0, 1]³ to space, mm; must keep the orientation.
    pub map: &'a dyn Fn([f64; 3]) -> Vec3,
    /// Moves the middle of a boundary edge onto the true surface; return it unchanged if straight.
    pub curve: &'a dyn Fn(Vec3, SurfaceName) -> Vec3,
}

impl Block<'_> {
    /// The mesh: Kuhn's division of each cell (six tetrahedra along one diagonal), promoted.
    ///
    /// # Errors
    /// [`MeshError`] when the map folds a cell.
    pub fn mesh(&self) -> Result<TetMesh, MeshError> {
        let [nx, ny, nz] = self.cells;
        let columns = if self.ring { nx } else { nx + 1 };
        let id = |[i, j, k]: [usize; 3]| (((i % columns) * (ny + 1) + j) * (nz + 1) + k) as u32;
        let mut grid = Vec::new();
        for i in 0..columns {
            for j in 0..=ny {
                for k in 0..=nz {
                    grid.push([i, j, k]);
                }
            }
        }
        let vertices: Vec<Vec3> = grid
            .iter()
            .map(|g| {
                let at = |axis: usize| g[axis] as f64 / self.cells[axis] as f64;
                (self.map)([at(0), at(1), at(2)])
            })
            .collect();
        let mut tets = Vec::with_capacity(6 * nx * ny * nz);
        for i in 0..nx {
            for j in 0..ny {
                for k in 0..nz {
                    tets.extend(kuhn_cell([i, j, k]).map(|tet| tet.map(id)));
                }
            }
        }
        // A boundary facet has one grid coordinate at an end for all three corners: find it by the
        // facet's centroid, which is unique.
        let mut boundary: Vec<([i64; 3], SurfaceName)> = Vec::new();
        for tet in &tets {
            for leave in 0..4 {
                let face: Vec<usize> = (0..4)
                    .filter(|c| *c != leave)
                    .map(|c| tet[c] as usize)
                    .collect();
                for axis in 0..3u8 {
                    if axis == 0 && self.ring {
                        continue;
                    }
                    for at_end in [false, true] {
                        let wanted = if at_end { self.cells[axis as usize] } else { 0 };
                        if face.iter().all(|v| grid[*v][axis as usize] == wanted) {
                            let middle = face.iter().map(|v| vertices[*v]).sum::<Vec3>() / 3.0;
                            boundary.push((rounded(middle), side(axis, at_end)));
                        }
                    }
                }
            }
        }
        boundary.sort_unstable();
        let surface_of = |middle: Vec3, _: Vec3| {
            let key = rounded(middle);
            let at = boundary.partition_point(|b| b.0 < key);
            boundary
                .get(at)
                .filter(|b| b.0 == key)
                .map_or(SurfaceName::Other(u8::MAX), |b| b.1)
        };
        TetMesh::from_straight_tets(vertices, &tets, |_| BODY, surface_of, self.curve)
    }
}

/// A point to the nearest micrometre, as a key.
fn rounded(x: Vec3) -> [i64; 3] {
    [0, 1, 2].map(|i| (x[i] * 1e3).round() as i64)
}

/// A box from `low` to `high`, straight.
///
/// # Errors
/// [`MeshError`] for an empty box.
pub fn bar(cells: [usize; 3], low: Vec3, high: Vec3) -> Result<TetMesh, MeshError> {
    Block {
        cells,
        ring: false,
        map: &|g| low + (high - low).component_mul(&Vec3::from(g)),
        curve: &|m, _| m,
    }
    .mesh()
}

/// A box whose inner grid points are shifted irregularly by up to `share` of a cell, and whose faces
/// are skewed: no two tetrahedra are alike.
///
/// # Errors
/// [`MeshError`] when the shift folds a cell (`share` above about 0.2).
pub fn irregular_box(cells: usize, size_mm: f64, share: f64) -> Result<TetMesh, MeshError> {
    let n = cells as f64;
    Block {
        cells: [cells; 3],
        ring: false,
        map: &|g| {
            let mut x = Vec3::from(g);
            for axis in 0..3 {
                // Moves along a face stay in it.
                if g[axis] > 0.0 && g[axis] < 1.0 {
                    let key = g[0] * 71.3 + g[1] * 37.7 + g[2] * 53.9 + axis as f64 * 19.1;
                    x[axis] += share / n * (key * 12.9898).sin();
                }
            }
            let x = x * size_mm;
            Vec3::new(x.x + 0.15 * x.y, x.y - 0.1 * x.z, x.z + 0.2 * x.x)
        },
        curve: &|m, _| m,
    }
    .mesh()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn box_has_its_volume_and_six_sides() {
        let mesh = bar([3, 2, 2], Vec3::zeros(), Vec3::new(3.0, 4.0, 5.0)).unwrap();
        let volume: f64 = (0..mesh.tets.len()).map(|t| mesh.volume(t)).sum();
        assert!((volume - 60.0).abs() < 1e-12);
        assert_eq!(mesh.surfaces.len(), 6);
        for axis in 0..3u8 {
            for at_end in [false, true] {
                let wanted = if at_end {
                    [3.0, 4.0, 5.0][axis as usize]
                } else {
                    0.0
                };
                let mut count = 0;
                for f in mesh.facets_on(side(axis, at_end)) {
                    count += 1;
                    for n in f.nodes {
                        assert!((mesh.nodes[n as usize][axis as usize] - wanted).abs() < 1e-12);
                    }
                }
                assert!(count > 0);
            }
        }
    }

    #[test]
    fn irregular_box_is_irregular() {
        let mesh = irregular_box(4, 2.0, 0.15).unwrap();
        let mut volumes: Vec<f64> = (0..mesh.tets.len()).map(|t| mesh.volume(t)).collect();
        volumes.sort_by(f64::total_cmp);
        assert!(volumes[0] > 0.0);
        assert!(volumes[volumes.len() - 1] > 1.3 * volumes[0]);
    }
}
