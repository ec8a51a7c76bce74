//! `model.json`: materials, supports, loads and interfaces on the mesh of `mesh.vtu`.

use crate::cursor::At;
use crate::mesh_file::{self, MeshFile};
use crate::preparation::NODAL_FORCES;
use crate::{BundleError, interfaces, preparation};
use bicolumn_base::Vec3;
use bicolumn_contact::{Interfaces, Preload, Step};
use bicolumn_model::{Components, LoadCase, Material, Patch, Problem, Support};
use serde_json::Value;
use std::path::Path;
use std::sync::Arc;

/// A posed problem from a bundle.
#[derive(Debug, Clone)]
pub struct ReadBundle {
    /// Mesh, materials, supports and load cases.
    pub problem: Problem,
    /// Interfaces with preloads and steps, where there are any.
    pub contact: Option<PosedContact>,
}

/// A contact problem's part beside mesh, supports and loads.
#[derive(Debug, Clone)]
pub struct PosedContact {
    /// Interfaces with laws and gaps.
    pub interfaces: Interfaces,
    /// Sections across shanks that steps tighten.
    pub preloads: Vec<Preload>,
    /// Steps of preparation, before any load.
    pub steps: Vec<Step>,
    /// Increments of each load case.
    pub increments: usize,
}

/// Reads `mesh.vtu` and `model.json` of a folder.
///
/// # Errors
/// [`BundleError`]: the first fault, by file, place, value and the values accepted there.
pub fn read_bundle(folder: &Path) -> Result<ReadBundle, BundleError> {
    let path = folder.join("model.json");
    let unreadable = |e: String| {
        let accepted = "a JSON object with materials, fixed and loads";
        BundleError::new(&path, "the file", format!("unreadable ({e})"), accepted)
    };
    let text = std::fs::read_to_string(&path).map_err(|e| unreadable(e.to_string()))?;
    let value: Value = serde_json::from_str(&text).map_err(|e| unreadable(e.to_string()))?;
    let file = mesh_file::read(&folder.join("mesh.vtu"))?;
    let root = At::root(&path, &value);
    root.only(&[
        "materials",
        "fixed",
        "loads",
        "interfaces",
        "preloads",
        "steps",
        "increments",
    ])?;
    let materials = materials(&root.key("materials", "an object of materials")?, &file)?;
    let node_count = file.mesh.nodes.len();
    let fixed = root.key("fixed", "an array of supports")?;
    let supports: Result<Vec<Support>, BundleError> = fixed
        .items("an array of supports")?
        .iter()
        .enumerate()
        .map(|(k, one)| support(one, k, node_count))
        .collect();
    let loads = root.key("loads", "an array of load cases")?;
    let cases: Result<Vec<LoadCase>, BundleError> = loads
        .items("an array of load cases")?
        .iter()
        .map(|one| load_case(one, &file))
        .collect();
    let contact = contact(&root, &file)?;
    let whole = |e: bicolumn_model::ProblemError| {
        BundleError::new(
            &path,
            "the problem",
            e.to_string(),
            "a problem that can be posed",
        )
    };
    let elasticities = file.elasticities;
    let problem = Problem::new(Arc::new(file.mesh), materials, supports?, cases?).map_err(whole)?;
    let problem = match elasticities {
        None => problem,
        Some(field) => problem
            .with_elasticity(|tet, _, _| field[tet])
            .map_err(whole)?,
    };
    Ok(ReadBundle { problem, contact })
}

/// Interfaces, preloads and steps; `None` without interfaces.
fn contact(root: &At<'_>, file: &MeshFile) -> Result<Option<PosedContact>, BundleError> {
    let list = root.optional("preloads");
    let preloads = list.as_ref();
    let preloads = preloads.map_or(Ok(vec![]), |list| preparation::preloads(list, file))?;
    let steps = preparation::steps(root.optional("steps"), &preloads, file)?;
    let increments = preparation::increments(root)?;
    let interfaces = root.optional("interfaces");
    let interfaces = interfaces.map_or(Ok(None), |list| interfaces::read(&list, file))?;
    let Some(interfaces) = interfaces else {
        return match (list, root.optional("steps")) {
            (Some(list), _) if !preloads.is_empty() => {
                Err(list.refuse("an empty array where there are no interfaces"))
            }
            (_, Some(list)) if !steps.is_empty() => {
                Err(list.refuse("an empty array where there are no interfaces"))
            }
            _ => Ok(None),
        };
    };
    Ok(Some(PosedContact {
        interfaces,
        preloads,
        steps,
        increments,
    }))
}

fn materials(list: &At<'_>, file: &MeshFile) -> Result<Vec<Material>, BundleError> {
    let accepted = "an object of materials by their number in the cell data material";
    let entries = list.entries(accepted)?;
    file.materials
        .iter()
        .map(|number| {
            let key = number.to_string();
            let found = entries.iter().find(|(k, _)| *k == key);
            let Some((_, one)) = found else {
                return list
                    .key(&key, "a material, as cells of mesh.vtu have this number")
                    .map(|_| Material::new("", 0.0, 0.0, ""));
            };
            one.only(&["name", "young_mpa", "poisson"])?;
            let young = one.key("young_mpa", "Young's modulus above 0, MPa")?;
            let poisson = one.key("poisson", "Poisson's ratio between -1 and 0.5")?;
            let name = one.optional("name").map_or(Ok("material"), |n| n.text())?;
            let (e, nu) = (young.number()?, poisson.number()?);
            if e <= 0.0 {
                return Err(young.refuse("Young's modulus above 0, MPa"));
            }
            if nu <= -1.0 || nu >= 0.5 {
                return Err(poisson.refuse("Poisson's ratio between -1 and 0.5"));
            }
            Ok(Material::new(name, e, nu, "audit bundle"))
        })
        .collect()
}

fn support(one: &At<'_>, k: usize, node_count: usize) -> Result<Support, BundleError> {
    one.only(&["name", "nodes", "dofs", "values_mm"])?;
    let nodes = one.key("nodes", "an array of node numbers")?;
    let nodes = nodes.nodes(node_count)?;
    let dofs = one.key("dofs", "an array of components, 0 for x to 2 for z")?;
    let indices: Result<Vec<usize>, BundleError> = dofs
        .items("an array of components, 0 for x to 2 for z")?
        .iter()
        .map(|d| d.index(3).map(|d| d as usize))
        .collect();
    let components = Components::from_indices(indices?).unwrap_or_default();
    let given = one.optional("name").map(|n| n.text()).transpose()?;
    let name = given.map_or_else(|| format!("fixed[{k}]"), str::to_owned);
    let Some(values) = one.optional("values_mm") else {
        return Ok(Support::roller(&name, components, nodes));
    };
    let accepted = format!("{} displacements [x, y, z], one a node", nodes.len());
    let values: Result<Vec<Vec3>, BundleError> = values
        .row(nodes.len(), &accepted)?
        .iter()
        .map(At::vector)
        .collect();
    let values = nodes.into_iter().zip(values?);
    Ok(Support::prescribed(&name, components, values))
}

fn load_case(one: &At<'_>, file: &MeshFile) -> Result<LoadCase, BundleError> {
    one.only(&["name", "forces", "tractions", "pressures", "prescribed_mm"])?;
    let count = file.mesh.nodes.len();
    let name = one.key("name", "a text")?;
    let mut case = LoadCase::new(name.text()?, []);
    let list = |key: &str, accepted: &str| -> Result<Vec<At<'_>>, BundleError> {
        one.optional(key)
            .map_or(Ok(vec![]), |at| at.items(accepted))
    };
    let forces = list("forces", NODAL_FORCES)?;
    case = case.with_forces(preparation::nodal_forces(&forces, file)?);
    for load in list("tractions", "an array of {facets, traction_mpa}")? {
        load.only(&["facets", "traction_mpa"])?;
        let patch = patch(&load, file)?;
        let traction = load
            .key("traction_mpa", "three numbers [x, y, z]")?
            .vector()?;
        case = case.with_traction(&file.mesh, &patch, |_, _| traction);
    }
    for load in list("pressures", "an array of {facets, pressure_mpa}")? {
        load.only(&["facets", "pressure_mpa"])?;
        let patch = patch(&load, file)?;
        let pressure = load.key("pressure_mpa", "a number")?.number()?;
        case = case.with_pressure(&file.mesh, &patch, pressure);
    }
    for row in list("prescribed_mm", "an array of [node, component, value]")? {
        let row = row.row(3, "[node, component, value]")?;
        let component = row[1].index(3)? as usize;
        let components = Components::from_indices([component]).unwrap_or_default();
        let mut value = Vec3::zeros();
        value[component] = row[2].number()?;
        case = case.with_displacement([row[0].index(count)?], components, value);
    }
    Ok(case)
}

/// Facets by their corners.
fn patch(load: &At<'_>, file: &MeshFile) -> Result<Patch, BundleError> {
    const ACCEPTED: &str = "three corners of a facet that bounds one tetrahedron";
    let list = load.key("facets", "an array of facets, each by its three corners")?;
    let facets: Result<Vec<u32>, BundleError> = list
        .items("an array of facets, each by its three corners")?
        .iter()
        .map(|facet| {
            let corners = facet.nodes(file.mesh.nodes.len())?;
            let mut key = <[u32; 3]>::try_from(corners).map_err(|_| facet.refuse(ACCEPTED))?;
            key.sort_unstable();
            let found = file.facet_of.get(&key).copied();
            found.ok_or_else(|| facet.refuse(ACCEPTED))
        })
        .collect();
    Patch::from_facets("facets", facets?)
        .map_err(|_| list.refuse("at least one facet by its three corners"))
}
