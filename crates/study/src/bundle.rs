//! The audit bundle: one solved model in a form that any other code can solve again.
//!
//! `mesh.vtu` (ten-node tetrahedra, cell data `material`; `young_mpa` and `poisson` where they vary inside
//! a material; where some cells have an `axis`, for every cell `young_axial_mpa`, `young_transverse_mpa`,
//! `shear_axial_mpa` in planes that hold the axis, `poisson_axial` (contraction across over stretch along
//! under axial load) and `poisson_transverse`, instead), `model.json` (materials, supports, nodal forces, interfaces, tightened screws),
//! `solution.vtu` (displacement and stress of every load case), `contact.json` where there are interfaces.
//! Node and tetrahedron numbers are zero-based rows of `mesh.vtu`. The stiffness of each tetrahedron is its integral by
//! as many points as the cell data `stiffness_points` say. All rules consist of fours of points, each nearer to one
//! corner, whose barycentric coordinates of the other three are equal: 4 points, degree 2, other coordinates of
//! (5 - √5)/20 and weights of 1/4; 5, degree 3, 1/6 and 9/20, and the middle with -4/5; 8, degree 3, 0.328 and
//! 0.18038082625955745, 0.07934353236929739 and 0.06961917374044255. The layout is a contract: it may grow,
//! its entries do not change meaning.
//!
//! Interfaces. `model.json` lists each with its law and its facet pairs: six nodes of side a (corners,
//! then the middles of 01, 12, 20), then the node of side b over each of them; one that is `threaded` with the `axis`
//! of its screw too. `contact.json` gives, for each
//! load case, what every pair of corner nodes carries: traction on side b = pressure · normal + shear. Corners
//! of one `patch` carry the same; its normal and gap are means over the patch. Shear is at most friction times
//! pressure; in a `threaded` interface, where the cosine between normal and axis is at most 0.5, that bounds only
//! its part round the axis, and nothing the part along. Over
//! a facet the traction is linear between its corners; nodal forces are its integral times the shape functions
//! of the six nodes, on side b, and their opposite on side a, by the seven-point rule of degree 5 (Radon
//! 1948) on side a's facet; the normal is the mean over the facets around, weighted by the corner's linear hat.
//!
//! Tightened screws. The tetrahedra of a cut see, beside the displacement, their `pulled` nodes moved by
//! `shortening_mm` along `axis`. Displacements include those of tightening.

use crate::contact_model::ContactModel;
use crate::model_build::{BuiltModel, ContactReports, ModelSolution};
use bicolumn_bundle::{mesh_grid, model_json, solution_grid};
use bicolumn_contact::{Law, Traction};
use bicolumn_formats::Grid;
use bicolumn_model::Problem;
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// The files of a bundle, not yet written.
pub struct Bundle {
    /// `mesh.vtu`.
    pub mesh: Grid,
    /// `model.json`.
    pub model: Value,
    /// `solution.vtu`.
    pub solution: Grid,
    /// `contact.json`, where there are interfaces.
    pub contact: Option<Value>,
    /// `stiffness.mtx` and `loads.mtx`, where asked for.
    pub matrices: Vec<(&'static str, Vec<u8>)>,
}

/// Gathers the bundle of a solved problem.
///
/// Material numbers are part numbers counted from 1, so that each part can be told apart. Stress is
/// cell data: the mean of a tetrahedron's ten recovered nodal tensors weighted for the integral over
/// the straight-sided element, order xx yy zz xy yz xz.
pub(crate) fn bundle(model: &BuiltModel, solution: &ModelSolution) -> Bundle {
    let problem = &model.problem;
    let contact = model.contact.as_ref();
    let mut text = model_json(problem);
    if let Some(contact) = contact {
        text["interfaces"] = interfaces(contact).into();
        text["preloads"] = preloads(contact).into();
    }
    Bundle {
        mesh: mesh_grid(problem),
        model: text,
        solution: solution_grid(problem, solution.total()),
        matrices: vec![],
        contact: contact
            .zip(solution.contact.as_ref())
            .map(|(c, reports)| state(problem, c, reports, solution)),
    }
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
