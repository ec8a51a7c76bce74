//! The record of a design point, from inputs, model, solution and measures.

mod evidence;
mod hardware;
mod maker;
mod moved;

use crate::model_build::{BuiltModel, ModelSolution, cancellous_moduli};
use crate::stage::PointError;
use bicolumn_base::Vec3;
use bicolumn_job::{ENGINE_VERSION, PointInputs};
use bicolumn_measure::{CaseMeasures, Estimates, LoadSharing, Response, ShaftProfile, WallProfile};
use bicolumn_model::{LoadCase, Problem};
use bicolumn_store::{
    CarriedRecord, CaseRecord, DensityRecord, PointRecord, ProfileRecord, ResponseRecord, SCHEMA,
    SharingRecord, StageRecord, Status, UnderChoice, WallProfileRecord,
};
pub(crate) use maker::{lock_digest, maker};
pub(crate) use moved::moved;
use std::iter::repeat_with;

/// Results of a finished point that go into its record.
pub(crate) struct PointResults<'a> {
    pub(crate) model: &'a BuiltModel,
    pub(crate) solution: &'a ModelSolution,
    pub(crate) measures: Vec<CaseMeasures>,
    /// Readings of the job's sensors, by load case.
    pub(crate) sensors: Vec<Vec<ResponseRecord>>,
    pub(crate) estimates: Option<Estimates>,
    /// Stress along the shaft of the intact bone, by load case.
    pub(crate) intact: Option<Vec<ShaftProfile>>,
    pub(crate) stages: Vec<StageRecord>,
    pub(crate) warnings: Vec<String>,
    /// Threads within the point.
    pub(crate) threads: usize,
}

/// Record of a point with nothing but its inputs and the way it ended.
fn bare(inputs: &PointInputs, status: Status) -> PointRecord {
    PointRecord {
        schema: SCHEMA,
        engine_version: ENGINE_VERSION.to_string(),
        id: inputs.id.clone(),
        digest: inputs.digest.clone(),
        factors: inputs.factors.clone(),
        status,
        inputs: inputs.inputs.clone(),
        moved: Vec::new(),
        plates: Vec::new(),
        screws: Vec::new(),
        fracture_levels_mm: None,
        shaft_axis_mm: None,
        canal_floor_bent_mm: None,
        stages: Vec::new(),
        mesh: None,
        solver: None,
        preparation: Vec::new(),
        warnings: Vec::new(),
        density: None,
        cases: Vec::new(),
        stopped_by: None,
        made_by: None,
    }
}

/// Record of a point that stopped.
pub(crate) fn failed_record(inputs: &PointInputs, error: &PointError) -> PointRecord {
    let status = Status::Failed {
        stage: error.stage.name().to_string(),
        reason: error.message.clone(),
    };
    bare(inputs, status)
}

/// Record of a point that is left out, for its construct cannot be built.
pub(crate) fn skipped_record(inputs: &PointInputs, reason: &str) -> PointRecord {
    let reason = reason.to_string();
    bare(inputs, Status::Skipped { reason })
}

/// Record of a finished point.
pub(crate) fn done_record(inputs: &PointInputs, results: PointResults<'_>) -> PointRecord {
    let PointResults {
        model,
        solution,
        measures,
        sensors,
        estimates,
        intact,
        stages,
        warnings,
        threads,
    } = results;
    let construct = &model.construct;
    let contact = solution.contact.as_ref();
    let intact = intact.unwrap_or_default().into_iter().map(Some);
    let cases = measures
        .into_iter()
        .zip(model.problem.cases())
        .zip(intact.chain(repeat_with(|| None)))
        .enumerate();
    let mut cases: Vec<CaseRecord> = cases
        .map(|(i, ((measures, load), intact))| CaseRecord {
            intact_profile: intact.map(profile),
            contact: contact.and_then(|c| c.cases.get(i)).map(evidence::contact),
            ..case(i, measures, load, model, solution)
        })
        .collect();
    for (case, readings) in cases.iter_mut().zip(sensors) {
        case.responses.extend(readings);
    }
    if let Some(estimates) = estimates {
        put_estimates(&mut cases, &estimates);
    }
    PointRecord {
        moved: moved(construct, inputs),
        plates: hardware::plates(construct),
        screws: hardware::screws(construct),
        fracture_levels_mm: construct.fracture.as_ref().map(|f| {
            let half = 0.5 * f.spec.gap_mm;
            [f.centre.y - half, f.centre.y + half]
        }),
        shaft_axis_mm: Some(construct.bone.shaft_axis(0.0).into()),
        canal_floor_bent_mm: construct
            .canal_floor
            .as_ref()
            .map(|_| construct.canal_floor_bent_mm),
        stages,
        mesh: Some(evidence::mesh(&model.problem.mesh().quality)),
        solver: Some(evidence::solver(&solution.by_load.report)),
        preparation: contact.map_or_else(Vec::new, |c| {
            c.steps.iter().map(evidence::contact).collect()
        }),
        warnings,
        density: density(inputs, &model.problem),
        cases,
        made_by: Some(maker(threads)),
        ..bare(inputs, Status::Done)
    }
}

fn case(
    i: usize,
    measures: CaseMeasures,
    load: &LoadCase,
    model: &BuiltModel,
    solution: &ModelSolution,
) -> CaseRecord {
    let of_case = |v: &[f64]| v.get(i).copied().unwrap_or(f64::NAN);
    let (force, moment) = match load.bend {
        // In equilibrium with itself: its resultant is rounding.
        Some(_) => (Vec3::zeros(), Vec3::zeros()),
        None => (
            load.applied_force(),
            load.applied_moment(&model.problem.mesh().nodes, Vec3::zeros()),
        ),
    };
    let reaction = load.resultant_force() - load.applied_force();
    CaseRecord {
        name: measures.case,
        force_n: force.into(),
        moment_nmm: moment.into(),
        joint_reaction_n: (!load.applied.is_empty()).then(|| reaction.into()),
        four_point: load.bend.map(|bend| bend.told()),
        residual: of_case(&solution.by_load.report.residuals),
        equilibrium: of_case(&solution.by_load.report.equilibrium),
        energy_error: None,
        responses: measures.responses.into_iter().map(response).collect(),
        screws: measures.screws.iter().map(hardware::screw_force).collect(),
        sharing: measures.sharing.map(sharing),
        profile: profile(measures.profile),
        intact_profile: None,
        wall_profiles: measures
            .wall_profiles
            .into_iter()
            .map(wall_profile)
            .collect(),
        contact: None,
    }
}

fn put_estimates(cases: &mut [CaseRecord], estimates: &Estimates) {
    for (case, energy) in cases.iter_mut().zip(&estimates.energy) {
        case.energy_error = Some(*energy);
    }
    for e in &estimates.responses {
        if let Some(case) = cases.get_mut(e.case) {
            case.put_estimate(e.response, e.bound);
        }
    }
}

fn density(inputs: &PointInputs, problem: &Problem) -> Option<DensityRecord> {
    let (law, _) = inputs.materials.density.as_ref()?;
    Some(DensityRecord {
        law: law.to_string(),
        source: law.source.to_string(),
        young_mpa: cancellous_moduli(problem)?,
    })
}

fn response(r: Response) -> ResponseRecord {
    ResponseRecord {
        name: r.id.into(),
        value: r.value,
        at_mm: r.at,
        part: r.part,
        error_estimate: None,
        place: r.place,
        under: r
            .under
            .into_iter()
            .map(|(choice, value)| UnderChoice { choice, value })
            .collect(),
    }
}

fn profile(p: ShaftProfile) -> ProfileRecord {
    ProfileRecord {
        level_mm: p.level_mm,
        high_mpa: p.high_mpa,
        mean_mpa: p.mean_mpa,
        beam_mpa: p.beam_mpa,
    }
}

fn wall_profile(p: WallProfile) -> WallProfileRecord {
    WallProfileRecord {
        plate: p.plate,
        screw: p.screw,
        distance_mm: p.distance_mm,
        stress_mpa: p.stress_mpa,
    }
}

fn sharing(s: LoadSharing) -> SharingRecord {
    let carried = s.carried.into_iter().map(|c| CarriedRecord {
        carrier: c.carrier,
        force_n: c.force_n,
        moment_nmm: c.moment_nmm,
    });
    SharingRecord {
        level_mm: s.level_mm,
        carried: carried.collect(),
    }
}
