//! Tiny meshes for this crate's tests.

use bicolumn_base::{Fragment, Part, Tissue, Vec3};
use bicolumn_mesh::{SurfaceName, TetMesh, kuhn_cell};
use bicolumn_model::{LoadCase, Material, Problem, Support};
use bicolumn_solve::{Method, SolveOptions, solve};
use std::collections::BTreeMap;
use std::sync::Arc;

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
                tets.extend(kuhn_cell([i, j, k]).map(|tet| tet.map(id)));
            }
        }
    }
}

/// Bars with their solution.
pub(crate) struct Bar {
    pub(crate) problem: Problem,
    pub(crate) displacement: Vec<Vec<Vec3>>,
}

/// Bars along y of 2 mm square section, 12 mm long, each beginning at its x (whole mm), held at y = 0 and
/// loaded at y = 12 by a force and a couple. With `cap_mm`, blocks of bone so high join them at both ends.
pub(crate) fn bars(parts: &[(f64, Part)], cap_mm: f64) -> Bar {
    let width = parts.iter().map(|p| p.0 as usize + 2).max().unwrap();
    let cap = cap_mm as usize;
    let mut ids: BTreeMap<[usize; 3], u32> = BTreeMap::new();
    let (mut tets, mut of_tet) = (Vec::new(), Vec::new());
    for i in 0..width {
        for j in 0..12 {
            for k in 0..2 {
                let own = parts
                    .iter()
                    .find(|p| (p.0 as usize..p.0 as usize + 2).contains(&i));
                let part = match own {
                    _ if j < cap || j >= 12 - cap => PROXIMAL,
                    Some(own) => own.1,
                    None => continue,
                };
                for tet in kuhn_cell([i, j, k]) {
                    tets.push(tet.map(|at| {
                        let next = ids.len() as u32;
                        *ids.entry(at).or_insert(next)
                    }));
                    of_tet.push(part);
                }
            }
        }
    }
    let mut vertices = vec![Vec3::zeros(); ids.len()];
    for (at, id) in &ids {
        vertices[*id as usize] = Vec3::new(at[0] as f64, at[1] as f64, at[2] as f64);
    }
    let mesh = TetMesh::from_straight_tets(
        vertices,
        &tets,
        |t| of_tet[t],
        |_, _| SurfaceName::BoneOuter,
        |m, _| m,
    )
    .unwrap();
    let at_level = |y: f64| (0u32..).zip(&mesh.nodes).filter(move |(_, x)| x.y == y);
    let held: Vec<u32> = at_level(0.0).map(|(n, _)| n).collect();
    let ends: Vec<(u32, Vec3)> = at_level(12.0).map(|(n, x)| (n, *x)).collect();
    let each = Vec3::new(30.0, -80.0, 45.0) / ends.len() as f64;
    let twist = Vec3::new(2.0, 9.0, -4.0);
    let forces = ends
        .iter()
        .map(|(n, x)| (*n, each + twist.cross(&(x - Vec3::new(1.0, 12.0, 1.0)))));
    let case = LoadCase::new("end", forces);
    let stiff = |young_mpa| Material {
        name: "test".into(),
        young_mpa,
        poisson: 0.3,
        source: String::new(),
    };
    let materials = (mesh.parts.iter())
        .map(|p| stiff(if p.is_bone() { 17_000.0 } else { 190_000.0 }))
        .collect();
    let problem = Problem::new(
        Arc::new(mesh),
        materials,
        [Support::clamp("end", held)],
        vec![case],
    )
    .unwrap();
    let options = SolveOptions {
        method: Method::Direct,
        tolerance: 1e-12,
        ..SolveOptions::default()
    };
    let displacement = solve(&problem, &options).unwrap().displacement;
    Bar {
        problem,
        displacement,
    }
}
