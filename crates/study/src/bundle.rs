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
use bicolumn_base::{SymTensor, Vec3};
use bicolumn_contact::{Law, Traction};
use bicolumn_formats::{CellKind, Field, Grid, Values};
use bicolumn_model::{Constants, Elasticity, Problem};
use bicolumn_solve::element::Element;
use bicolumn_solve::{PartNodes, StressField};
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
}

/// Gathers the bundle of a solved problem.
///
/// Material numbers are part numbers counted from 1, so that each part can be told apart. Stress is
/// cell data: the mean of a tetrahedron's ten recovered nodal tensors weighted for the integral over
/// the straight-sided element, order xx yy zz xy yz xz.
pub(crate) fn bundle(model: &BuiltModel, solution: &ModelSolution) -> Bundle {
    let problem = &model.problem;
    let nodes = &PartNodes::of(problem.mesh());
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

    let materials: serde_json::Map<String, Value> = mesh
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
    let loads: Vec<Value> = problem
        .cases()
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
    let contact = model.contact.as_ref();
    let text = json!({
        "materials": materials,
        "fixed": [{ "nodes": problem.fixed(), "dofs": [0, 1, 2] }],
        "loads": loads,
        "interfaces": contact.map_or_else(Vec::new, interfaces),
        "preloads": contact.map_or_else(Vec::new, preloads),
    });

    let mut solved = Grid::uniform(mesh.nodes.clone(), CellKind::QuadraticTetra, &mesh.tets);
    for (case, u) in problem.cases().iter().zip(solution.total()) {
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
        model: text,
        solution: solved,
        contact: contact
            .zip(solution.contact.as_ref())
            .map(|(c, reports)| state(problem, c, reports, solution)),
    }
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
