//! The audit bundle: one solved model in a form that any other code can solve again.
//!
//! `mesh.vtu` (ten-node tetrahedra, cell data `material`), `model.json` (materials, supports, nodal
//! forces), `solution.vtu` (displacement and stress of every load case). Node numbers are zero-based
//! rows of `mesh.vtu`. The layout is a contract: it may grow, its entries do not change meaning.

use bicolumn_base::SymTensor;
use bicolumn_formats::{CellKind, Field, Grid, Values};
use bicolumn_model::Problem;
use bicolumn_solve::{PartNodes, Solution, StressField};
use serde_json::{Value, json};

/// The three files of a bundle, not yet written.
pub struct Bundle {
    /// `mesh.vtu`.
    pub mesh: Grid,
    /// `model.json`.
    pub model: Value,
    /// `solution.vtu`.
    pub solution: Grid,
}

/// Gathers the bundle of a solved problem.
///
/// Material numbers are part numbers counted from 1, so that each part can be told apart. Stress is
/// cell data: the mean of a tetrahedron's ten recovered nodal tensors weighted for the integral over
/// the straight-sided element, order xx yy zz xy yz xz.
pub fn bundle(problem: &Problem, nodes: &PartNodes, solution: &Solution) -> Bundle {
    let mesh = &problem.mesh;
    let mut grid = Grid::uniform(mesh.nodes.clone(), CellKind::QuadraticTetra, &mesh.tets);
    let material = mesh.part.iter().map(|&p| i32::from(p) + 1).collect();
    grid.cell_data
        .push(Field::scalar("material", Values::I32(material)));

    let materials: serde_json::Map<String, Value> = mesh
        .parts
        .iter()
        .zip(&problem.materials)
        .enumerate()
        .map(|(i, (part, m))| {
            let entry = json!({
                "name": format!("{part}: {}", m.name),
                "young_mpa": m.young_mpa,
                "poisson": m.poisson,
            });
            ((i + 1).to_string(), entry)
        })
        .collect();
    let loads: Vec<Value> = problem
        .cases
        .iter()
        .map(|case| {
            let forces: Vec<Value> = case
                .forces
                .iter()
                .map(|(n, f)| json!([n, f.x, f.y, f.z]))
                .collect();
            json!({ "name": case.name, "forces": forces })
        })
        .collect();
    let model = json!({
        "materials": materials,
        "fixed": [{ "nodes": problem.fixed, "dofs": [0, 1, 2] }],
        "loads": loads,
        "interfaces": [],
    });

    let mut solved = Grid::uniform(mesh.nodes.clone(), CellKind::QuadraticTetra, &mesh.tets);
    for (case, u) in problem.cases.iter().zip(&solution.displacement) {
        let name = &case.name;
        solved
            .point_data
            .push(Field::vectors(format!("displacement_{name}"), u));
        let stress = StressField::recover(problem, nodes, u);
        let means = nodes.of_tet.iter().flat_map(|t| {
            // ∫ of the shape functions over a straight tetrahedron: corners -V/20, midsides V/5.
            let part = |range: std::ops::Range<usize>| {
                range.fold(SymTensor::zeros(), |sum, i| {
                    sum + stress.values[t[i] as usize]
                })
            };
            let mean = part(4..10) * 0.2 - part(0..4) * 0.05;
            [0, 1, 2, 3, 4, 5].map(|k| mean.0[k])
        });
        solved.cell_data.push(Field {
            name: format!("stress_{name}"),
            components: 6,
            values: Values::F64(means.collect()),
        });
    }
    Bundle {
        mesh: grid,
        model,
        solution: solved,
    }
}
