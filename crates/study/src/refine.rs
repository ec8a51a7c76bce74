//! Refinement of one design point's mesh until its responses are as exact as asked for.
//!
//! Solve, estimate, ask for edges by the elements' shares in the errors, mesh again; until every response
//! under every load case meets the tolerance, the elements allowed are used up, or the steps are.

use crate::bones::BoneCache;
use crate::discretisation::{NOT_WITH_CONTACT, estimates};
use crate::estimate::tetrahedra;
use crate::model_build::{BuiltModel, build_construct, build_mesh, build_problem};
use crate::size_from_error::size_from_error;
use crate::stage::{PointError, Stage};
use bicolumn_geometry::Construct;
use bicolumn_job::PointInputs;
use bicolumn_measure::{Estimates, RecoveredStress, measure_recovered};
use bicolumn_mesh::program::material_box;
use bicolumn_mesh::{SizeField, Sizing, TetMesh};
use bicolumn_response::ResponseId;
use serde::Serialize;
use std::sync::Arc;
use std::time::Instant;

/// Responses, tolerance and limits of a refinement.
#[derive(Debug, Clone, PartialEq)]
pub struct Wanted {
    /// Responses.
    pub responses: Vec<ResponseId>,
    /// Estimated error to reach, as a share of the response's value.
    pub tolerance: f64,
    /// Most tetrahedra.
    pub most_tets: usize,
    /// Most meshes, the first among them.
    pub most_steps: usize,
}

/// One response under one load case on one mesh.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RefinedResponse {
    /// Load case.
    pub case: String,
    /// Response.
    pub response: ResponseId,
    /// Its value.
    pub value: f64,
    /// The estimated size of its error, same unit.
    pub error: f64,
    /// Does the estimate meet the tolerance?
    pub met: bool,
}

/// One mesh.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Step {
    /// Tetrahedra.
    pub tets: usize,
    /// Unknowns.
    pub unknowns: usize,
    /// Seconds of mesh, solution and estimate.
    pub seconds: f64,
    /// The asked responses.
    pub responses: Vec<RefinedResponse>,
}

impl Step {
    /// Do all responses meet the tolerance?
    pub fn met(&self) -> bool {
        self.responses.iter().all(|r| r.met)
    }
}

/// Why it ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum End {
    /// Every response meets the tolerance.
    Met,
    /// The last mesh takes the tetrahedra allowed, its edges lengthened to fit, or no mesh fits.
    Elements,
    /// The steps are used up.
    Steps,
}

/// The whole outcome.
#[derive(Debug, Clone, PartialEq)]
pub struct Refinement {
    /// The meshes, in order.
    pub steps: Vec<Step>,
    /// Why it ended.
    pub end: End,
    /// The edges that the last mesh was asked for; `None` when the first was good enough.
    pub field: Option<SizeField>,
}

/// Refines a point. `tell` hears each mesh when it is solved.
///
/// # Errors
/// [`PointError`] of the mesh that fails; contact; a response that has no estimate.
pub fn refine(
    inputs: &PointInputs,
    wanted: &Wanted,
    threads: usize,
    tell: &mut dyn FnMut(&Step),
) -> Result<Refinement, PointError> {
    let bones = BoneCache::default();
    let construct = build_construct(&inputs.construct, &bones)?;
    let mut found = Refinement {
        steps: vec![],
        end: End::Steps,
        field: None,
    };
    let mut sizing = inputs.sizing.clone();
    let mut fills = false;
    loop {
        let begin = Instant::now();
        let model = built(inputs, &sizing, &bones)?;
        let (mut step, shares, excess) = solved(inputs, &model, wanted, threads)?;
        step.seconds = begin.elapsed().as_secs_f64();
        tell(&step);
        found.field = sizing.size_field.clone();
        let met = step.met();
        found.steps.push(step);
        if met {
            found.end = End::Met;
            return Ok(found);
        }
        if fills {
            found.end = End::Elements;
            return Ok(found);
        }
        if found.steps.len() == wanted.most_steps {
            return Ok(found);
        }
        let mesh = Arc::clone(model.problem.shared_mesh());
        // All of the matrix is gone; so is the model before the next mesh is made.
        drop(model);
        let next = next_sizing(&construct, &sizing, &mesh, &shares, excess, wanted)?;
        let Some(next) = next else {
            found.end = End::Elements;
            return Ok(found);
        };
        (sizing, fills) = next;
    }
}

fn built(
    inputs: &PointInputs,
    sizing: &Sizing,
    bones: &BoneCache,
) -> Result<BuiltModel, PointError> {
    let construct = build_construct(&inputs.construct, bones)?;
    let mesh = Arc::new(build_mesh(&construct, sizing)?);
    let model = build_problem(construct, mesh, inputs)?;
    match model.contact {
        Some(_) => Err(PointError {
            stage: Stage::Estimate,
            message: NOT_WITH_CONTACT.into(),
        }),
        None => Ok(model),
    }
}

/// One mesh solved and estimated: its step, each element's share in the errors of all responses, each
/// error in units of its tolerance, and the largest such error.
fn solved(
    inputs: &PointInputs,
    model: &BuiltModel,
    wanted: &Wanted,
    threads: usize,
) -> Result<(Step, Vec<f64>, f64), PointError> {
    let (solution, ready) = model.solve_linear(inputs, threads, &|_| {})?;
    let unknowns = solution.by_load.report.unknowns;
    let stress = RecoveredStress::of(&model.problem, solution.total());
    let measures = measure_recovered((&model.solved(&solution), &stress), None);
    let is_wanted = |_: usize, response: ResponseId| wanted.responses.contains(&response);
    let solved = (&solution, ready);
    let found: Estimates = estimates(model, solved, (&stress, &measures), threads, &is_wanted)?;
    let mut shares = vec![0.0; model.problem.mesh().tets.len()];
    let mut excess = 0.0_f64;
    let mut rows = vec![];
    for e in &found.responses {
        if !is_wanted(e.case, e.response) {
            continue;
        }
        let measured = &measures[e.case];
        let Some(value) = measured.value(e.response) else {
            continue;
        };
        let allowed = wanted.tolerance * value.abs();
        let over = e.bound / allowed;
        rows.push(RefinedResponse {
            case: measured.case.clone(),
            response: e.response,
            value,
            error: e.bound,
            met: over <= 1.0,
        });
        excess = excess.max(over);
        // A response that is good already asks for nothing.
        if over > 1.0 {
            for (share, of_element) in shares.iter_mut().zip(&e.by_element) {
                *share += of_element / allowed;
            }
        }
    }
    if let Some(name) = wanted
        .responses
        .iter()
        .find(|wanted| rows.iter().all(|r| r.response != **wanted))
    {
        return Err(PointError {
            stage: Stage::Estimate,
            message: format!("no estimate of {name}: not measured, or not among what is estimated"),
        });
    }
    let step = Step {
        tets: model.problem.mesh().tets.len(),
        unknowns,
        seconds: 0.0,
        responses: rows,
    };
    Ok((step, shares, excess))
}

/// Room that a step leaves below the tolerance: what is asked for is not met exactly.
const RESERVE: f64 = 1.2;
/// Edges are lengthened by this factor until a field fits the elements allowed.
const LENGTHENED: f64 = 1.05;
/// When even the shortest edge is lengthened to this, mm, what validity needs takes all the elements.
const LONGEST_MM: f64 = 8.0;

/// The next mesh's sizes, lengthened to the elements allowed, and whether they had to be; `None` when no
/// sizes fit.
fn next_sizing(
    construct: &Construct,
    last: &Sizing,
    mesh: &TetMesh,
    shares: &[f64],
    excess: f64,
    wanted: &Wanted,
) -> Result<Option<(Sizing, bool)>, PointError> {
    let failed = |message: String| PointError {
        stage: Stage::Mesh,
        message,
    };
    let room = material_box(construct);
    let mut field = size_from_error(mesh, shares, 1.0 / (RESERVE * excess), room)
        .map_err(|e| failed(e.to_string()))?;
    let mut fills = false;
    loop {
        let sizing = Sizing {
            size_field: Some(field.clone()),
            ..last.clone()
        };
        let expected = tetrahedra(construct, &sizing).map_err(|e| failed(e.to_string()))?;
        if expected <= wanted.most_tets as f64 {
            return Ok(Some((sizing, fills)));
        }
        fills = true;
        field = field.scaled(LENGTHENED);
        if field.range_mm()[0] > LONGEST_MM {
            return Ok(None);
        }
    }
}
