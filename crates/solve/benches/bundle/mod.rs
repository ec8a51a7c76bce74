//! Reads an audit bundle (`mesh.vtu`, `model.json`) back into a problem.

use bicolumn_base::{Part, ScrewNumber, Vec3};
use bicolumn_formats::read_vtu;
use bicolumn_mesh::{MeshStages, Quality, TetMesh};
use bicolumn_model::{LoadCase, Material, Problem, Support};
use serde_json::Value;
use std::path::Path;
use std::sync::Arc;

/// The problem of a bundle. Parts are numbered only: which is bone and which is metal is in the materials.
pub(crate) fn read(folder: &Path) -> Problem {
    let grid = read_vtu(&folder.join("mesh.vtu")).unwrap();
    let text = std::fs::read_to_string(folder.join("model.json")).unwrap();
    let model: Value = serde_json::from_str(&text).unwrap();
    let number = |v: &Value| v.as_f64().unwrap();
    let index = |v: &Value| v.as_u64().unwrap() as u32;
    let material = grid
        .cell_data
        .iter()
        .find(|f| f.name == "material")
        .unwrap();
    let part: Vec<u16> = material
        .values
        .to_f64()
        .iter()
        .map(|&m| m as u16 - 1)
        .collect();
    let count = part.iter().max().unwrap() + 1;
    let materials = (1..=count)
        .map(|m| {
            let entry = &model["materials"][m.to_string()];
            let name = entry["name"].as_str().unwrap();
            Material::new(
                name,
                number(&entry["young_mpa"]),
                number(&entry["poisson"]),
                "bundle",
            )
        })
        .collect();
    let tets: Vec<[u32; 10]> = grid.connectivity.as_chunks::<10>().0.to_vec();
    let mesh = TetMesh {
        vertex_count: tets
            .iter()
            .flat_map(|t| &t[..4])
            .max()
            .map_or(0, |m| *m as usize + 1),
        nodes: grid.points,
        tets,
        part,
        parts: (0..count)
            .map(|k| Part::Screw(ScrewNumber(k as u8)))
            .collect(),
        facets: vec![],
        surfaces: vec![],
        quality: Quality::default(),
        stages: MeshStages::default(),
    };
    let cases = model["loads"].as_array().unwrap().iter().map(|load| {
        let forces = load["forces"].as_array().unwrap().iter().map(|f| {
            let force = Vec3::new(number(&f[1]), number(&f[2]), number(&f[3]));
            (index(&f[0]), force)
        });
        LoadCase::new(load["name"].as_str().unwrap(), forces)
    });
    let cases = cases.collect();
    let fixed = model["fixed"][0]["nodes"]
        .as_array()
        .unwrap()
        .iter()
        .map(index);
    Problem::new(
        Arc::new(mesh),
        materials,
        [Support::clamp("bundle", fixed)],
        cases,
    )
    .unwrap()
}
