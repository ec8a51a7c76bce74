//! The audit bundle: one solved model in a form that any other code can solve and measure again.
//!
//! `mesh.vtu`, `model.json` and `solution.vtu` pose the problem and give its solution; `construct.json` holds the geometry
//! that responses refer to, `responses.json` our values of them, `contact.json` the state of interfaces; `intact/` is the
//! same of the plate-free, unbroken bone. The layout is told in `docs/reference/bundle.md` and is a contract: it may grow,
//! its entries do not change meaning.

use crate::bundle_responses::responses_json;
use crate::contact_model::ContactModel;
use crate::intact::IntactModel;
use crate::model_build::{BuiltModel, ContactReports, ModelSolution};
use bicolumn_bundle::{construct_json, mesh_grid, model_json, solution_grid};
use bicolumn_contact::{Law, Traction};
use bicolumn_formats::{Field, Grid};
use bicolumn_measure::CaseMeasures;
use bicolumn_model::Problem;
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// An audit bundle, not yet written.
pub struct Bundle {
    /// Its files, by their paths inside the bundle's folder.
    pub files: Vec<(&'static str, Content)>,
    /// Why the intact bone is not in it.
    pub without_intact: Option<String>,
}

/// Content of a file.
pub enum Content {
    /// A mesh with data.
    Grid(Grid),
    /// A JSON value.
    Json(Value),
    /// A text of another format.
    Text(Vec<u8>),
}

/// Gathers the files of a solved construct and of the intact bone, if that was solved.
///
/// Material numbers are part numbers counted from 1, so that each part can be told apart. Stress is
/// cell data: the mean of a tetrahedron's ten recovered nodal tensors weighted for the integral over
/// the straight-sided element, order xx yy zz xy yz xz.
pub(crate) fn bundle(
    (model, solution): (&BuiltModel, &ModelSolution),
    measures: &[CaseMeasures],
    intact: Result<&IntactModel, String>,
) -> Bundle {
    let [mesh, posed, construct, solved] = model_files(model, solution);
    let mut files = vec![
        ("mesh.vtu", mesh),
        ("model.json", posed),
        ("construct.json", construct),
        ("solution.vtu", solved),
        ("responses.json", Content::Json(responses_json(measures))),
    ];
    if let (Some(contact), Some(reports)) = (&model.contact, &solution.contact) {
        let state = state(&model.problem, contact, reports, solution);
        files.push(("contact.json", Content::Json(state)));
    }
    let without_intact = match intact {
        Err(reason) => Some(reason),
        Ok(intact) => {
            let [mesh, posed, construct, solved] = model_files(&intact.model, &intact.solution);
            files.extend([
                ("intact/mesh.vtu", mesh),
                ("intact/model.json", posed),
                ("intact/construct.json", construct),
                ("intact/solution.vtu", solved),
            ]);
            None
        }
    };
    Bundle {
        files,
        without_intact,
    }
}

/// Mesh, problem, construct and solution.
fn model_files(model: &BuiltModel, solution: &ModelSolution) -> [Content; 4] {
    let problem = &model.problem;
    let mut text = model_json(problem);
    if let Some(contact) = &model.contact {
        text["interfaces"] = interfaces(contact).into();
        text["preloads"] = preloads(contact).into();
        text["steps"] = steps(contact).into();
        text["increments"] = contact.increments.into();
    }
    let mut solved = solution_grid(problem, solution.total());
    if solution.total.is_some() {
        // Displacements by the loads alone: motions and stiffness are read from them.
        let by_load = problem.cases().iter().zip(&solution.by_load.displacement);
        for (case, u) in by_load {
            let name = format!("displacement_by_load_{}", case.name);
            solved.point_data.push(Field::vectors(name, u));
        }
    }
    [
        Content::Grid(mesh_grid(problem)),
        Content::Json(text),
        Content::Json(construct_json(&model.construct, problem.mesh())),
        Content::Grid(solved),
    ]
}

fn interfaces(contact: &ContactModel) -> Vec<Value> {
    let sets = contact.interfaces.sets().iter().enumerate();
    sets.zip(contact.interfaces.laws())
        .map(|((k, set), law)| {
            let pairs = contact.pairs.iter().filter(|p| usize::from(p.set) == k);
            let mut entry = json!({
                "name": set.name,
                "law": law_name(*law),
                "friction": law.friction(),
                "pairs": pairs.map(|p| [p.a, p.b].concat()).collect::<Vec<_>>(),
                "gap_mm": contact.added_gap_mm[k],
                "patch_mm2": contact.patch_mm2,
            });
            if let Law::Threaded { axis, .. } = law {
                entry["axis"] = json!([axis.x, axis.y, axis.z]);
            }
            entry
        })
        .collect()
}

fn law_name(law: Law) -> &'static str {
    match law {
        Law::Bonded => "bonded",
        Law::Frictional { .. } => "frictional",
        Law::Frictionless => "frictionless",
        Law::Apart => "apart",
        Law::Threaded { .. } => "threaded",
    }
}

fn preloads(contact: &ContactModel) -> Vec<Value> {
    let one = |p: &bicolumn_contact::Preload| {
        json!({
            "name": p.name,
            "force_n": p.force_n,
            "axis": p.axis,
            "tets": p.tets,
            "pulled": p.pulled,
        })
    };
    contact.preloads.iter().map(one).collect()
}

fn steps(contact: &ContactModel) -> Vec<Value> {
    let one = |s: &bicolumn_contact::Step| {
        let forces = s.forces.iter().map(|(n, f)| json!([n, f.x, f.y, f.z]));
        json!({
            "name": s.name,
            "tightened": s.tightened,
            "forces": forces.collect::<Vec<_>>(),
            "lasting": s.lasting,
            "increments": s.increments,
        })
    };
    contact.steps.iter().map(one).collect()
}

/// State of interfaces and tightened screws in each load case.
fn state(
    problem: &Problem,
    contact: &ContactModel,
    reports: &ContactReports,
    solution: &ModelSolution,
) -> Value {
    let corners = corners(contact);
    let cases = reports.cases.iter().zip(&reports.tractions).enumerate();
    let cases: Vec<Value> = cases
        .map(|(case, (report, tractions))| {
            let u = &solution.total()[case];
            let screws = solution.tightened.iter();
            let shortening: Vec<f64> = screws.map(|s| s.shortening_mm(problem, u, case)).collect();
            let at = corners.iter().zip(tractions);
            json!({
                "name": report.name,
                "converged": report.is_converged(),
                "residual": report.residual,
                "corners": at.map(|(nodes, t)| corner(*nodes, t)).collect::<Vec<_>>(),
                "shortening_mm": shortening,
                "tension_n": report.section_forces_n,
            })
        })
        .collect();
    json!({
        "columns": [
            "interface", "node_a", "node_b", "patch", "area_mm2", "pressure_mpa", "normal_x", "normal_y",
            "normal_z", "shear_x_mpa", "shear_y_mpa", "shear_z_mpa", "gap_mm",
        ],
        "cases": cases,
    })
}

fn corner((_, a, b): (u16, u32, u32), t: &Traction) -> Value {
    let (n, s) = (t.normal, t.shear_mpa);
    json!([
        t.set,
        a,
        b,
        t.patch,
        t.area_mm2,
        t.pressure_mpa,
        n.x,
        n.y,
        n.z,
        s.x,
        s.y,
        s.z,
        t.gap_mm
    ])
}

/// Interface and nodes on both sides of every corner, in the order of the tractions.
fn corners(contact: &ContactModel) -> Vec<(u16, u32, u32)> {
    let all: BTreeSet<(u16, u32, u32)> = contact
        .pairs
        .iter()
        .flat_map(|p| [0, 1, 2].map(|c| (p.set, p.a[c], p.b[c])))
        .collect();
    all.into_iter().collect()
}
