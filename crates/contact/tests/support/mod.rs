//! Bodies from structured grids, split where two parts meet, and short ways to pose problems on them.
#![allow(dead_code, unreachable_pub)]

use bicolumn_base::{Fragment, Part, PlateSite, ScrewNumber, Tissue, Vec3};
use bicolumn_contact::{ContactOptions, Interfaces, solve};
use bicolumn_mesh::{PairKind, SplitMesh, SurfaceName, TetMesh, split_kinds};
use bicolumn_model::facet::facet_points;
use bicolumn_model::{LoadCase, Material, Problem, Support};
use bicolumn_solve::{Method, SolveOptions};
use bicolumn_verify::meshes::Block;
use std::collections::BTreeMap;
use std::sync::Arc;

/// The lower body.
pub const LOWER: Part = Part::Bone(Fragment::Proximal, Tissue::Cortical);
/// Something soft or stiff that is tied to the others.
pub const TIE: Part = Part::GapTissue;
/// The upper body.
pub const UPPER: Part = Part::Plate(PlateSite::Medial);
/// A screw.
pub const SCREW: Part = Part::Screw(ScrewNumber(1));

/// The direct method.
pub fn direct() -> SolveOptions {
    SolveOptions {
        method: Method::Direct,
        ..SolveOptions::default()
    }
}

/// The displacement of the first load case, which must converge, by a number of threads and a method.
pub fn displaced(
    p: &Problem,
    interfaces: &Interfaces,
    threads: usize,
    method: Method,
) -> Vec<Vec3> {
    let options = ContactOptions {
        linear: SolveOptions {
            threads,
            method,
            ..SolveOptions::default()
        },
        ..ContactOptions::default()
    };
    let found = solve(p, interfaces, &[], &[], &options).unwrap();
    assert!(found.cases[0].is_converged(), "{:?}", found.cases[0]);
    found.total.displacement[0].clone()
}

/// Both sides of zero, from distances that grow.
pub fn both_sides(steps: &[f64]) -> Vec<f64> {
    let below = steps.iter().rev().map(|x| -x);
    below.chain([0.0]).chain(steps.iter().copied()).collect()
}

/// Between given places, evenly in the grid coordinate.
pub fn along(places: &[f64], g: f64) -> f64 {
    let at = g * (places.len() - 1) as f64;
    let k = (at.floor() as usize).min(places.len() - 2);
    places[k] + (at - k as f64) * (places[k + 1] - places[k])
}

/// A grid mapped to space, each tetrahedron given a part by its centroid in grid coordinates; none: void.
pub fn body(
    cells: [usize; 3],
    ring: bool,
    map: &dyn Fn([f64; 3]) -> Vec3,
    part: &dyn Fn([f64; 3]) -> Option<Part>,
) -> TetMesh {
    curved_body(cells, ring, map, part, &|m| m)
}

/// The same with midside nodes moved by `curve` on all facets that do not face along Y.
pub fn curved_body(
    cells: [usize; 3],
    ring: bool,
    map: &dyn Fn([f64; 3]) -> Vec3,
    part: &dyn Fn([f64; 3]) -> Option<Part>,
    curve: &dyn Fn(Vec3) -> Vec3,
) -> TetMesh {
    // The unit grid first, to know where each tetrahedron lies in it; a ring's grid is closed by its map.
    let straight = |m: Vec3, _: SurfaceName| m;
    let spaced = Block {
        cells,
        ring,
        map,
        curve: &straight,
    }
    .mesh()
    .unwrap();
    let [nx, ny, nz] = cells;
    // Tetrahedra come cell by cell, six each, along the last axis first.
    let mut tets = vec![];
    let mut parts = vec![];
    for (t, tet) in spaced.tets.iter().enumerate() {
        let cell = t / 6;
        let at = [cell / (ny * nz), cell / nz % ny, cell % nz];
        let middle = [
            (at[0] as f64 + 0.5) / nx as f64,
            (at[1] as f64 + 0.5) / ny as f64,
            (at[2] as f64 + 0.5) / nz as f64,
        ];
        if let Some(p) = part(middle) {
            tets.push([tet[0], tet[1], tet[2], tet[3]]);
            parts.push(p);
        }
    }
    let mut number = vec![u32::MAX; spaced.vertex_count];
    let mut vertices = vec![];
    for v in tets.iter_mut().flatten() {
        let to = &mut number[*v as usize];
        if *to == u32::MAX {
            *to = vertices.len() as u32;
            vertices.push(spaced.nodes[*v as usize]);
        }
        *v = *to;
    }
    TetMesh::from_straight_tets(
        vertices,
        &tets,
        |t| parts[t],
        |_, n| SurfaceName::Other(u8::from(n.y.abs() < 0.9)),
        |m, s| {
            if s == SurfaceName::Other(1) {
                curve(m)
            } else {
                m
            }
        },
    )
    .unwrap()
}

/// Split at every interface between lower and upper body.
pub fn parted(mesh: &TetMesh) -> SplitMesh {
    split_kinds(mesh, &[PairKind::PlateOnBone]).unwrap()
}

/// Nodes at places.
pub fn nodes_at(mesh: &TetMesh, at: impl Fn(Vec3) -> bool) -> Vec<u32> {
    (0u32..)
        .zip(&mesh.nodes)
        .filter(|(_, x)| at(**x))
        .map(|(n, _)| n)
        .collect()
}

/// Consistent nodal forces of a traction on the free facets whose corners all lie `at`.
pub fn traction(
    mesh: &TetMesh,
    at: impl Fn(Vec3) -> bool,
    traction: impl Fn(Vec3, Vec3) -> Vec3,
) -> Vec<(u32, Vec3)> {
    let mut forces: BTreeMap<u32, Vec3> = BTreeMap::new();
    for f in mesh.free_facets() {
        let x = f.nodes.map(|n| mesh.nodes[n as usize]);
        if !x[..3].iter().all(|p| at(*p)) {
            continue;
        }
        for p in facet_points(&x) {
            let force = traction(p.position, p.normal) * p.area;
            for (n, s) in f.nodes.iter().zip(p.shape) {
                *forces.entry(*n).or_insert_with(Vec3::zeros) += force * s;
            }
        }
    }
    forces.into_iter().collect()
}

/// Both, node by node.
pub fn sum(a: &[(u32, Vec3)], b: &[(u32, Vec3)]) -> Vec<(u32, Vec3)> {
    let mut all: BTreeMap<u32, Vec3> = BTreeMap::new();
    for (n, f) in a.iter().chain(b) {
        *all.entry(*n).or_insert_with(Vec3::zeros) += f;
    }
    all.into_iter().collect()
}

/// A load case.
pub fn case(name: &str, forces: Vec<(u32, Vec3)>) -> LoadCase {
    LoadCase::new(name, forces)
}

/// A problem with a material by part.
pub fn problem(
    mesh: &TetMesh,
    material: impl Fn(Part) -> (f64, f64),
    fixed: Vec<u32>,
    cases: Vec<LoadCase>,
) -> Problem {
    let materials = mesh
        .parts
        .iter()
        .map(|p| {
            let (young, poisson) = material(*p);
            Material::new("test body", young, poisson, "test")
        })
        .collect();
    let support = Support::clamp("base", fixed);
    Problem::new(Arc::new(mesh.clone()), materials, [support], cases).unwrap()
}

/// Are two numbers alike within a share of the second?
pub fn close(a: f64, b: f64, share: f64) -> bool {
    (a - b).abs() <= share * b.abs()
}

/// Largest difference of two fields over the largest value of the second.
pub fn apart_by(a: &[Vec3], b: &[Vec3]) -> f64 {
    let most = b.iter().map(Vec3::norm).fold(0.0, f64::max);
    let off = a.iter().zip(b).map(|(a, b)| (a - b).norm());
    off.fold(0.0, f64::max) / most
}
