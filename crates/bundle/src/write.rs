//! The files of a bundle from a posed and solved problem.

use bicolumn_base::{SymTensor, Vec3};
use bicolumn_formats::{CellKind, Field, Grid, Values, VtuError, write_vtu};
use bicolumn_model::{Components, Constants, Elasticity, LoadCase, Problem};
use bicolumn_solve::element::Element;
use bicolumn_solve::{PartNodes, StressField};
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;
use std::path::Path;

/// `mesh.vtu`: ten-node tetrahedra with `material` (part numbers counted from 1), `stiffness_points` and, where they
/// vary inside a material, moduli by cell.
pub fn mesh_grid(problem: &Problem) -> Grid {
    let mesh = problem.mesh();
    let mut grid = Grid::uniform(mesh.nodes.clone(), CellKind::QuadraticTetra, &mesh.tets);
    let material = mesh.part.iter().map(|&p| i32::from(p) + 1).collect();
    grid.cell_data
        .push(Field::scalar("material", Values::I32(material)));
    let points = mesh.tets.iter().map(|tet| {
        let element = Element::new(tet.map(|n| mesh.nodes[n as usize]));
        element.stiffness_rule().len() as i32
    });
    let points = Values::I32(points.collect());
    grid.cell_data
        .push(Field::scalar("stiffness_points", points));
    if let Some(field) = problem.elasticities() {
        grid.cell_data.extend(elasticity(field));
    }
    grid
}

/// Elasticity by tetrahedron: two constants where all are isotropic, else five and the axis.
fn elasticity(field: &[Elasticity]) -> Vec<Field> {
    let cells = |name: &str, of: fn(&Constants) -> f64| {
        let values = field.iter().map(|e| of(&e.constants())).collect();
        Field::scalar(name, Values::F64(values))
    };
    if field.iter().all(|e| e.along.is_none()) {
        return vec![
            cells("young_mpa", |c| c.axial_mpa),
            cells("poisson", |c| c.poisson_axial),
        ];
    }
    // An isotropic law has any axis.
    let axis: Vec<Vec3> = field
        .iter()
        .map(|e| e.along.map_or(Vec3::y(), |a| a.axis))
        .collect();
    vec![
        Field::vectors("axis", &axis),
        cells("young_axial_mpa", |c| c.axial_mpa),
        cells("young_transverse_mpa", |c| c.transverse_mpa),
        cells("shear_axial_mpa", |c| c.axial_shear_mpa),
        cells("poisson_axial", |c| c.poisson_axial),
        cells("poisson_transverse", |c| c.poisson_transverse),
    ]
}

/// `model.json` without interfaces and preloads: materials, supports and loads.
pub fn model_json(problem: &Problem) -> Value {
    let mesh = problem.mesh();
    let materials: Map<String, Value> = mesh
        .parts
        .iter()
        .zip(problem.materials())
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
    let loads: Vec<Value> = problem.cases().iter().map(load).collect();
    json!({
        "materials": materials,
        "fixed": supports(problem),
        "loads": loads,
        "interfaces": [],
        "preloads": [],
    })
}

/// Supports gathered by their components; displacements only where one of them is not zero.
fn supports(problem: &Problem) -> Vec<Value> {
    let mut groups: BTreeMap<(Components, bool), (Vec<u32>, Vec<Vec3>)> = BTreeMap::new();
    for c in problem.constraints() {
        let key = (c.components, c.value_mm != Vec3::zeros());
        let (nodes, values) = groups.entry(key).or_default();
        nodes.push(c.node);
        values.push(c.value_mm);
    }
    let entry = |((components, is_moved), (nodes, values)): (_, (Vec<u32>, Vec<Vec3>))| {
        let components: Components = components;
        let mut entry = json!({
            "nodes": nodes,
            "dofs": components.indices().collect::<Vec<_>>(),
        });
        if is_moved {
            let values = values.iter().map(|v| json!([v.x, v.y, v.z]));
            entry["values_mm"] = values.collect();
        }
        entry
    };
    groups.into_iter().map(entry).collect()
}

fn load(case: &LoadCase) -> Value {
    let forces: Vec<Value> = case
        .forces
        .iter()
        .map(|(n, f)| json!([n, f.x, f.y, f.z]))
        .collect();
    let mut entry = json!({ "name": case.name, "forces": forces });
    if !case.prescribed.is_empty() {
        let rows = case.prescribed.iter().flat_map(|p| {
            let components = p.components.indices();
            components.map(|c| json!([p.node, c, p.value_mm[c]]))
        });
        entry["prescribed_mm"] = rows.collect();
    }
    entry
}

/// `solution.vtu`: displacement of each load case at the nodes, stress in the cells.
///
/// Stress is the mean of a tetrahedron's ten recovered nodal tensors weighted for the integral over the straight-sided
/// element, order xx yy zz xy yz xz.
pub fn solution_grid(problem: &Problem, displacement: &[Vec<Vec3>]) -> Grid {
    let mesh = problem.mesh();
    let nodes = &PartNodes::of(mesh);
    let mut solved = Grid::uniform(mesh.nodes.clone(), CellKind::QuadraticTetra, &mesh.tets);
    for (case, u) in problem.cases().iter().zip(displacement) {
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
    solved
}

/// Writes `mesh.vtu` and `model.json` into a folder that exists.
///
/// # Errors
/// [`VtuError`] of the file system or the format.
pub fn write_bundle(folder: &Path, mesh: &Grid, model: &Value) -> Result<(), VtuError> {
    let write = |name: &str, bytes: &[u8]| {
        let path = folder.join(name);
        std::fs::write(&path, bytes).map_err(|source| VtuError::Io { path, source })
    };
    let mut bytes = vec![];
    write_vtu(&mut bytes, mesh)?;
    write("mesh.vtu", &bytes)?;
    write("model.json", format!("{model}\n").as_bytes())
}
