//! Preloads and steps of preparation of `model.json`: what happens before any load.

use crate::BundleError;
use crate::cursor::At;
use crate::mesh_file::MeshFile;
use bicolumn_base::{UnitVec3, Vec3};
use bicolumn_contact::{Preload, Step};
use std::collections::BTreeSet;

const PRELOADS: &str = "an array of {name, force_n, axis, tets, pulled}";
const STEPS: &str = "an array of {name, tightened, forces, lasting, increments}";

/// Preloads: sections across shanks, by their tetrahedra and the nodes pulled.
///
/// # Errors
/// [`BundleError`]: a section without tetrahedra or pulled nodes, a pulled node of no tetrahedron of the section, a
/// negative tension.
pub(crate) fn preloads(list: &At<'_>, file: &MeshFile) -> Result<Vec<Preload>, BundleError> {
    let items = list.items(PRELOADS)?;
    items.iter().map(|one| preload(one, file)).collect()
}

fn preload(one: &At<'_>, file: &MeshFile) -> Result<Preload, BundleError> {
    one.only(&["name", "force_n", "axis", "tets", "pulled"])?;
    let force = one.key("force_n", "a tension of 0 or more, N")?;
    let force_n = force.number()?;
    if force_n < 0.0 {
        return Err(force.refuse("a tension of 0 or more, N"));
    }
    let axis = one.key("axis", "three numbers [x, y, z]")?;
    let along = UnitVec3::try_new(axis.vector()?, 1e-12);
    let along = along.ok_or_else(|| axis.refuse("a vector that is not zero"))?;
    let cut = one.key("tets", "an array of tetrahedra")?;
    let tets: Result<Vec<u32>, BundleError> = cut
        .items("an array of tetrahedra")?
        .iter()
        .map(|t| t.index(file.mesh.tets.len()))
        .collect();
    let tets = tets?;
    if tets.is_empty() {
        return Err(cut.refuse("at least one tetrahedron"));
    }
    let pulled = one.key("pulled", "an array of node numbers")?;
    let nodes = pulled.nodes(file.mesh.nodes.len())?;
    let of_cut: BTreeSet<u32> = tets
        .iter()
        .flat_map(|t| file.mesh.tets[*t as usize])
        .collect();
    if nodes.is_empty() || nodes.iter().any(|n| !of_cut.contains(n)) {
        return Err(pulled.refuse("nodes of the tetrahedra in tets, at least one"));
    }
    Ok(Preload {
        name: one.key("name", "a text")?.text()?.to_owned(),
        force_n,
        axis: [along.x, along.y, along.z],
        tets,
        pulled: nodes,
    })
}

/// Steps of preparation; where none are given, one that tightens all preloads together.
///
/// # Errors
/// [`BundleError`]: a preload that does not exist, is tightened twice or never, a node that does not exist.
pub(crate) fn steps(
    list: Option<At<'_>>,
    preloads: &[Preload],
    file: &MeshFile,
) -> Result<Vec<Step>, BundleError> {
    let Some(list) = list else {
        let all = Step {
            name: "preload".to_owned(),
            tightened: (0..preloads.len()).collect(),
            increments: 1,
            ..Step::default()
        };
        return Ok(match preloads.is_empty() {
            true => vec![],
            false => vec![all],
        });
    };
    let mut tightened = BTreeSet::new();
    let mut found = vec![];
    for one in list.items(STEPS)? {
        let step = step(&one, preloads.len(), file)?;
        for preload in &step.tightened {
            if !tightened.insert(*preload) {
                return Err(one.refuse("a preload is tightened in one step"));
            }
        }
        found.push(step);
    }
    match tightened.len() == preloads.len() {
        true => Ok(found),
        false => Err(list.refuse("steps in which every preload is tightened once")),
    }
}

fn step(one: &At<'_>, preloads: usize, file: &MeshFile) -> Result<Step, BundleError> {
    one.only(&["name", "tightened", "forces", "lasting", "increments"])?;
    let list = |key: &str, accepted: &str| -> Result<Vec<At<'_>>, BundleError> {
        one.optional(key)
            .map_or(Ok(vec![]), |at| at.items(accepted))
    };
    let tightened: Result<Vec<usize>, BundleError> =
        list("tightened", "an array of indices of preloads")?
            .iter()
            .map(|i| i.index(preloads).map(|i| i as usize))
            .collect();
    Ok(Step {
        name: one.key("name", "a text")?.text()?.to_owned(),
        forces: nodal_forces(&list("forces", NODAL_FORCES)?, file)?,
        lasting: one.optional("lasting").map_or(Ok(false), |l| l.flag())?,
        laws: None,
        tightened: tightened?,
        increments: increments(one)?,
    })
}

/// Increments of a step or of the load cases; 1 where none are given.
///
/// # Errors
/// [`BundleError`] for less than 1 or more than [`MOST_INCREMENTS`].
pub(crate) fn increments(of: &At<'_>) -> Result<usize, BundleError> {
    let Some(at) = of.optional("increments") else {
        return Ok(1);
    };
    match at.index(MOST_INCREMENTS + 1) {
        Ok(n) if n > 0 => Ok(n as usize),
        _ => Err(at.refuse(format!("an integer from 1 to {MOST_INCREMENTS}"))),
    }
}

/// Largest number of increments.
const MOST_INCREMENTS: usize = 1000;

/// The form of a list of nodal forces.
pub(crate) const NODAL_FORCES: &str = "an array of [node, x, y, z], N";

/// Nodal forces, N.
///
/// # Errors
/// [`BundleError`]: a row at fault.
pub(crate) fn nodal_forces(
    rows: &[At<'_>],
    file: &MeshFile,
) -> Result<Vec<(u32, Vec3)>, BundleError> {
    let one = |row: &At<'_>| {
        let row = row.row(4, "[node, x, y, z], N")?;
        let force = Vec3::new(row[1].number()?, row[2].number()?, row[3].number()?);
        Ok((row[0].index(file.mesh.nodes.len())?, force))
    };
    rows.iter().map(one).collect()
}
