//! The surface of a solved construct, for pictures: free facets, and all facets of the hardware.

use bicolumn_base::Vec3;
use bicolumn_formats::{CellKind, Field, Grid, Values};
use bicolumn_measure::RecoveredStress;
use bicolumn_mesh::TetMesh;
use bicolumn_model::Problem;
use bicolumn_solve::Solution;
use std::collections::BTreeMap;

/// Triangles of every free facet and of every facet of plates and screws, so that a screw can be seen
/// inside the bone. Points are kept apart by part: a value at an interface is never an average of two
/// materials.
///
/// Cell data `part` (index in the mesh's parts) and `surface`; point data `mises_<case>_mpa` and
/// `displacement_<case>_mm`.
pub(crate) fn surface_grid(
    problem: &Problem,
    stress: &RecoveredStress,
    solution: &Solution,
) -> Grid {
    let nodes = &stress.part_nodes;
    let mesh: &TetMesh = problem.mesh();
    let mut point_of: BTreeMap<u32, u32> = BTreeMap::new();
    let mut part_node: Vec<u32> = Vec::new();
    let mut triangles: Vec<[u32; 3]> = Vec::new();
    let (mut part, mut surface) = (Vec::new(), Vec::new());
    for facet in &mesh.facets {
        let own = mesh.part_of(facet.tet as usize);
        if facet.beyond.is_some() && !own.is_implant() {
            continue;
        }
        let tet = &mesh.tets[facet.tet as usize];
        let numbers = &nodes.of_tet[facet.tet as usize];
        let corner = |k: usize| {
            (0..4)
                .find(|&i| tet[i] == facet.nodes[k])
                .map_or(u32::MAX, |i| numbers[i])
        };
        triangles.push([0, 1, 2].map(|k| {
            let id = corner(k);
            *point_of.entry(id).or_insert_with(|| {
                part_node.push(id);
                part_node.len() as u32 - 1
            })
        }));
        part.push(i32::from(mesh.part[facet.tet as usize]));
        surface.push(i32::from(facet.surface));
    }
    let node_of = |p: &u32| nodes.node[*p as usize] as usize;
    let points: Vec<Vec3> = part_node.iter().map(|p| mesh.nodes[node_of(p)]).collect();
    let mut grid = Grid::uniform(points, CellKind::Triangle, &triangles);
    grid.cell_data
        .push(Field::scalar("part", Values::I32(part)));
    grid.cell_data
        .push(Field::scalar("surface", Values::I32(surface)));
    let solved = problem.cases().iter().zip(&solution.displacement);
    for ((case, u), stress) in solved.zip(&stress.fields) {
        let mises = part_node
            .iter()
            .map(|p| stress.values[*p as usize].von_mises() as f32)
            .collect();
        grid.point_data.push(Field::scalar(
            format!("mises_{}_mpa", case.name),
            Values::F32(mises),
        ));
        let moved = part_node
            .iter()
            .flat_map(|p| u[node_of(p)].iter().map(|&c| c as f32));
        grid.point_data.push(Field {
            name: format!("displacement_{}_mm", case.name),
            components: 3,
            values: Values::F32(moved.collect()),
        });
    }
    grid
}
