//! `mesh.vtu` as a mesh: ten-node tetrahedra with materials, checked.

use crate::BundleError;
use bicolumn_base::{Part, Vec3};
use bicolumn_formats::{CellKind, Field, Grid, read_vtu};
use bicolumn_mesh::{Facet, MeshStages, Quality, SurfaceName, TetMesh};
use bicolumn_model::{Elasticity, TransverseIsotropy};
use std::collections::BTreeMap;
use std::path::Path;

/// The four faces of a tetrahedron, turning about the outward normal: corners, then the middles of 01, 12, 20.
const FACES: [[usize; 6]; 4] = [
    [0, 1, 3, 4, 8, 7],
    [1, 2, 3, 5, 9, 8],
    [2, 0, 3, 6, 7, 9],
    [0, 2, 1, 6, 5, 4],
];

/// Ends of the edges in VTK's order.
const EDGES: [[usize; 2]; 6] = [[0, 1], [1, 2], [2, 0], [0, 3], [1, 3], [2, 3]];

/// A mesh with its material numbers.
pub(crate) struct MeshFile {
    pub(crate) mesh: TetMesh,
    /// Material number of each part.
    pub(crate) materials: Vec<u16>,
    /// Elasticity of each tetrahedron, where the file gives it.
    pub(crate) elasticities: Option<Vec<Elasticity>>,
    /// Facet index by sorted corners.
    pub(crate) facet_of: BTreeMap<[u32; 3], u32>,
}

pub(crate) fn read(file: &Path) -> Result<MeshFile, BundleError> {
    let grid = read_vtu(file).map_err(|e| {
        let accepted = "a VTK unstructured grid (.vtu) of ten-node tetrahedra";
        BundleError::new(file, "the file", format!("unreadable ({e})"), accepted)
    })?;
    let tets = tetrahedra(file, &grid)?;
    let numbers = material_numbers(file, &grid)?;
    let mut materials = numbers.clone();
    materials.sort_unstable();
    materials.dedup();
    let part = numbers
        .iter()
        .map(|m| materials.partition_point(|k| k < m) as u16)
        .collect();
    let elasticities = elasticities(file, &grid)?;
    let corner = tets.iter().flat_map(|t| &t[..4]).max();
    let vertex_count = corner.map_or(0, |m| *m as usize + 1);
    let (facets, facet_of) = free_facets(&tets);
    let mesh = TetMesh {
        nodes: grid.points,
        vertex_count,
        tets,
        part,
        parts: materials.iter().map(|m| Part::Numbered(*m)).collect(),
        facets,
        surfaces: vec![SurfaceName::Other(0)],
        quality: Quality::default(),
        stages: MeshStages::default(),
    };
    Ok(MeshFile {
        mesh,
        materials,
        elasticities,
        facet_of,
    })
}

fn tetrahedra(file: &Path, grid: &Grid) -> Result<Vec<[u32; 10]>, BundleError> {
    let mut tets = vec![];
    for (k, (kind, nodes)) in grid.cells().enumerate() {
        let at = format!("cell {k}");
        let Ok(tet) = <[u32; 10]>::try_from(nodes) else {
            let value = format!("of VTK type {} with {} nodes", kind.vtk_type(), nodes.len());
            let accepted = "ten-node tetrahedra, VTK type 24";
            return Err(BundleError::new(file, at, value, accepted));
        };
        if kind != CellKind::QuadraticTetra {
            let value = format!("of VTK type {}", kind.vtk_type());
            return Err(BundleError::new(file, at, value, "VTK type 24"));
        }
        check_shape(file, &at, &tet.map(|n| grid.points[n as usize]))?;
        tets.push(tet);
    }
    match tets.is_empty() {
        true => Err(BundleError::new(
            file,
            "the mesh",
            "without cells",
            "at least one ten-node tetrahedron",
        )),
        false => Ok(tets),
    }
}

/// Corners turned the right way out, nodes of the edges near their middles.
fn check_shape(file: &Path, at: &str, x: &[Vec3; 10]) -> Result<(), BundleError> {
    if let Some(bad) = x.iter().position(|x| !x.iter().all(|v| v.is_finite())) {
        let value = "at a place that is not finite";
        let at = format!("node {bad} of {at}");
        return Err(BundleError::new(
            file,
            at,
            value,
            "three finite coordinates, mm",
        ));
    }
    let volume = (x[1] - x[0]).dot(&(x[2] - x[0]).cross(&(x[3] - x[0]))) / 6.0;
    if volume <= 0.0 {
        let value = format!("inside out or flat (volume {volume:.3e} mm³ by its corners)");
        let accepted = "corners 0, 1, 2 counter-clockwise seen from corner 3";
        return Err(BundleError::new(file, at, value, accepted));
    }
    for (k, [a, b]) in EDGES.into_iter().enumerate() {
        let off = (x[4 + k] - 0.5 * (x[a] + x[b])).norm();
        let length = (x[b] - x[a]).norm();
        if off > 0.5 * length {
            let value =
                format!("{off:.3} mm from the middle of its edge, whose length is {length:.3} mm");
            let accepted = "nodes in VTK's order: corners 0-3, then the edges 01 12 20 03 13 23";
            let at = format!("node {} of {at}", 4 + k);
            return Err(BundleError::new(file, at, value, accepted));
        }
    }
    Ok(())
}

fn material_numbers(file: &Path, grid: &Grid) -> Result<Vec<u16>, BundleError> {
    let accepted = "integers from 1 to 65535, one a cell";
    let field = grid
        .cell_field("material")
        .ok_or_else(|| BundleError::new(file, "the cell data material", "missing", accepted))?;
    let values = field.values.to_i64().filter(|_| field.components == 1);
    let values = values.ok_or_else(|| {
        BundleError::new(file, "the cell data material", "not of integers", accepted)
    })?;
    let number = |(k, v): (usize, &i64)| {
        u16::try_from(*v).ok().filter(|m| *m > 0).ok_or_else(|| {
            let at = format!("material of cell {k}");
            BundleError::new(file, at, v.to_string(), accepted)
        })
    };
    values.iter().enumerate().map(number).collect()
}

/// Elasticity by cell: five constants about an axis, or two.
fn elasticities(file: &Path, grid: &Grid) -> Result<Option<Vec<Elasticity>>, BundleError> {
    let cells = grid.kinds.len();
    let scalar = |name: &str| -> Result<Option<Vec<f64>>, BundleError> {
        let Some(field) = grid.cell_field(name) else {
            return Ok(None);
        };
        numbers(file, field, 1).map(Some)
    };
    let needed = |name: &str| -> Result<Vec<f64>, BundleError> {
        scalar(name)?.ok_or_else(|| {
            let at = format!("the cell data {name}");
            BundleError::new(
                file,
                at,
                "missing",
                "numbers, as other moduli are given by cell",
            )
        })
    };
    if let Some(axis) = grid.cell_field("axis") {
        let axis = numbers(file, axis, 3)?;
        let [axial, transverse, shear] =
            ["young_axial_mpa", "young_transverse_mpa", "shear_axial_mpa"].map(needed);
        let (axial, transverse, shear) = (axial?, transverse?, shear?);
        let [poisson_axial, poisson_transverse] =
            ["poisson_axial", "poisson_transverse"].map(needed);
        let (poisson_axial, poisson_transverse) = (poisson_axial?, poisson_transverse?);
        let of = |k: usize| {
            let law = TransverseIsotropy {
                name: String::new(),
                axial_mpa: axial[k],
                transverse_mpa: transverse[k],
                axial_shear_mpa: shear[k],
                poisson_axial: poisson_axial[k],
                poisson_transverse: poisson_transverse[k],
                source: String::new(),
            };
            law.along(Vec3::new(axis[3 * k], axis[3 * k + 1], axis[3 * k + 2]))
        };
        return Ok(Some((0..cells).map(of).collect()));
    }
    let Some(young) = scalar("young_mpa")? else {
        return Ok(None);
    };
    let poisson = needed("poisson")?;
    let of = young.iter().zip(&poisson);
    Ok(Some(
        of.map(|(e, nu)| Elasticity::isotropic(*e, *nu)).collect(),
    ))
}

fn numbers(file: &Path, field: &Field, components: usize) -> Result<Vec<f64>, BundleError> {
    match field.components == components {
        true => Ok(field.values.to_f64()),
        false => Err(BundleError::new(
            file,
            format!("the cell data {}", field.name),
            format!("of {} components", field.components),
            format!("{components} a cell"),
        )),
    }
}

/// Facets that one tetrahedron has alone, in order, and their indices by sorted corners.
fn free_facets(tets: &[[u32; 10]]) -> (Vec<Facet>, BTreeMap<[u32; 3], u32>) {
    let sorted = |nodes: &[u32; 6]| {
        let mut key = [nodes[0], nodes[1], nodes[2]];
        key.sort_unstable();
        key
    };
    let mut count: BTreeMap<[u32; 3], u32> = BTreeMap::new();
    let face = |tet: &[u32; 10], f: usize| FACES[f].map(|n| tet[n]);
    for tet in tets {
        for f in 0..4 {
            *count.entry(sorted(&face(tet, f))).or_default() += 1;
        }
    }
    let (mut facets, mut index) = (vec![], BTreeMap::new());
    for (t, tet) in (0u32..).zip(tets) {
        for f in 0..4 {
            let nodes = face(tet, f);
            let key = sorted(&nodes);
            if count.get(&key) == Some(&1) {
                index.insert(key, facets.len() as u32);
                facets.push(Facet {
                    nodes,
                    tet: t,
                    beyond: None,
                    surface: 0,
                });
            }
        }
    }
    (facets, index)
}
