//! Boxes of tetrahedra for the solver's tests.

use bicolumn_base::{Fragment, Part, Tissue, Vec3};
use bicolumn_mesh::{SurfaceName, TetMesh, kuhn_cell};
use bicolumn_model::{LoadCase, Material, Patch, PatchLoad, Problem, Support, nodes_on};
use std::sync::Arc;

pub(crate) const SOFT: Part = Part::Bone(Fragment::Distal, Tissue::Cancellous);
pub(crate) const STIFF: Part = Part::Bone(Fragment::Distal, Tissue::Cortical);

/// A box of `cells` with corners at the origin and `size`, six tetrahedra a cell (Kuhn 1960), inner
/// vertices shaken by `shake` cell sizes; `part` from the centroid.
pub(crate) fn box_mesh(
    cells: [usize; 3],
    size: Vec3,
    shake: f64,
    part: impl Fn(Vec3) -> Part,
) -> TetMesh {
    let (vertices, tets) = box_tets(cells, size, shake);
    from_tets(vertices, &tets, part)
}

/// A bar of 1 : 4 : 1, 64 mm long, with a steel core in cancellous bone's place; so many cells across.
#[allow(dead_code)] // the benchmarks' own
pub(crate) fn cored_bar(cells: usize) -> TetMesh {
    box_mesh(
        [cells, 4 * cells, cells],
        Vec3::new(16.0, 64.0, 16.0),
        0.3,
        |x| {
            let off = Vec3::new(x.x - 8.0, 0.0, x.z - 8.0);
            if off.norm() < 4.0 { STIFF } else { SOFT }
        },
    )
}

pub(crate) fn box_tets(cells: [usize; 3], size: Vec3, shake: f64) -> (Vec<Vec3>, Vec<[u32; 4]>) {
    let [nx, ny, nz] = cells;
    let index = |i: usize, j: usize, k: usize| (i + (nx + 1) * (j + (ny + 1) * k)) as u32;
    let mut vertices = vec![];
    let mut state = 7u64;
    let mut random = || {
        state = state
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        (state >> 33) as f64 / (1u64 << 31) as f64 - 0.5
    };
    for k in 0..=nz {
        for j in 0..=ny {
            for i in 0..=nx {
                let mut x = [i as f64, j as f64, k as f64];
                for (c, n) in [nx, ny, nz].into_iter().enumerate() {
                    let inside = x[c] > 0.0 && x[c] < n as f64;
                    x[c] = (x[c] + if inside { shake * random() } else { 0.0 }) / n as f64;
                }
                vertices.push(Vec3::from(x).component_mul(&size));
            }
        }
    }
    let mut tets = vec![];
    for k in 0..nz {
        for j in 0..ny {
            for i in 0..nx {
                tets.extend(kuhn_cell([i, j, k]).map(|tet| tet.map(|[i, j, k]| index(i, j, k))));
            }
        }
    }
    (vertices, tets)
}

/// Surfaces: `Other(1)` where y is least, `Other(2)` where it is largest, else `Other(0)`.
pub(crate) fn from_tets(
    vertices: Vec<Vec3>,
    tets: &[[u32; 4]],
    part: impl Fn(Vec3) -> Part,
) -> TetMesh {
    let (low, high) = vertices
        .iter()
        .fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v.y), h.max(v.y)));
    let centre: Vec<Vec3> = tets
        .iter()
        .map(|t| t.iter().map(|&v| vertices[v as usize]).sum::<Vec3>() / 4.0)
        .collect();
    TetMesh::from_straight_tets(
        vertices,
        tets,
        |t| part(centre[t]),
        |x, _| {
            if (x.y - low).abs() < 1e-9 {
                SurfaceName::Other(1)
            } else if (x.y - high).abs() < 1e-9 {
                SurfaceName::Other(2)
            } else {
                SurfaceName::Other(0)
            }
        },
        |x, _| x,
    )
    .unwrap()
}

pub(crate) fn material(young: f64, poisson: f64) -> Material {
    Material::new("test", young, poisson, "invented for a test")
}

#[allow(dead_code)] // of some tests
/// Held where y is least; loaded on the opposite face by each (force, moment).
pub(crate) fn held_box(mesh: TetMesh, materials: Vec<Material>, loads: &[(Vec3, Vec3)]) -> Problem {
    let patch = Patch::of_free_facets(&mesh, "end", |f, _, _| {
        mesh.surfaces[f.surface as usize] == SurfaceName::Other(2)
    })
    .unwrap();
    let cases = loads
        .iter()
        .enumerate()
        .map(|(k, &(force_n, moment_nmm))| {
            let load = PatchLoad {
                patch: 0,
                force_n,
                through_mm: None,
                moment_nmm,
            };
            LoadCase::combine(
                &format!("case {k}"),
                &mesh,
                std::slice::from_ref(&patch),
                &[load],
            )
        })
        .collect();
    let fixed = Support::clamp("low end", nodes_on(&mesh, SurfaceName::Other(1)));
    Problem::new(Arc::new(mesh), materials, [fixed], cases).unwrap()
}
