//! One design point, end to end.

use crate::bones::BoneCache;
use crate::contact_record::contact_record;
use crate::discretisation::{NOT_WITH_CONTACT, estimates};
use crate::intact::{IntactCache, IntactModel};
use crate::model_build::{
    BuiltModel, ModelSolution, build_construct, build_mesh, build_problem, cancellous_moduli,
};
use crate::solved_bonded::solved_bonded;
use crate::stage::{PointError, Stage};
use crate::surface::surface_grid;
use bicolumn_base::Vec3;
use bicolumn_contact::{CaseReport, Preload};
use bicolumn_formats::write_vtu;
use bicolumn_geometry::{Construct, ScrewRow};
use bicolumn_job::ENGINE_VERSION;
use bicolumn_job::PointInputs;
use bicolumn_measure::{
    CaseMeasures, Estimates, RecoveredStress, ScrewForce, ShaftProfile, measure_recovered,
};
use bicolumn_model::{LoadCase, Problem};
use bicolumn_solve::{Forecast, Solution};
use bicolumn_store::{
    CaseRecord, ContactRecord, DensityRecord, PlateMark, PointRecord, ProfileRecord,
    ResponseRecord, SCHEMA, ScrewForceRecord, ScrewMark, StageRecord, Status, StudyFolder,
    create_folder, write_atomic,
};
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

/// Where a point works and whom it tells.
pub struct PointContext<'a> {
    /// The study's folder. The point writes its field files into its own folder in there; its record
    /// is written by the runner, last, as the proof that the point is finished.
    pub out_dir: &'a Path,
    /// Called when a stage begins.
    pub progress: &'a (dyn Fn(Stage) + Sync),
    /// Called before the costly part of solving, with what it will cost.
    pub forecast: &'a (dyn Fn(&Forecast) + Sync),
    /// Bones shared by the points.
    pub bones: &'a BoneCache,
    /// Intact solutions.
    pub intact: &'a IntactCache,
    /// Threads to use inside this point. The result does not depend on it.
    pub threads: usize,
}

/// Meshes, solves and measures one design point.
///
/// # Errors
/// [`PointError`], with the stage it stopped at.
pub fn run_point(
    inputs: &PointInputs,
    context: &PointContext<'_>,
) -> Result<PointRecord, PointError> {
    let mut clock = StageClock {
        progress: context.progress,
        stages: Vec::new(),
    };

    let construct = clock.run(Stage::Geometry, || {
        build_construct(&inputs.construct, context.bones)
    })?;
    let model = clock.run(Stage::Mesh, || {
        let mesh = Arc::new(build_mesh(&construct, &inputs.sizing)?);
        build_problem(construct, mesh, inputs)
    })?;
    let (solution, ready) = clock.run(Stage::Solve, || {
        if inputs.error_estimate && model.contact.is_none() {
            let solved = model.solve_linear(inputs, context.threads, context.forecast)?;
            return Ok((solved.0, Some(solved.1)));
        }
        let solution = model.solve(inputs, context.threads, context.forecast)?;
        Ok((solution, None))
    })?;
    let mut warnings = model.construct.notes.clone();
    let (stress, measures, intact_measures) = clock.run(Stage::Measure, || {
        let intact = context.intact.of(inputs, context.bones, context.threads);
        if let Err(reason) = &intact {
            warnings.push(format!("no stress-riser ratio: {reason}"));
        }
        let intact = intact.ok();
        let stress = RecoveredStress::of(&model.problem, solution.total());
        let intact_solved = intact
            .as_ref()
            .map(|i| (i.model.solved(&i.solution), &i.stress));
        let of_point = measure_recovered(
            (&model.solved(&solution), &stress),
            intact_solved.as_ref().map(|(s, stress)| (s, *stress)),
        );
        Ok((stress, of_point, intact.map(|i| intact_profiles(&i))))
    })?;
    let estimates = match ready {
        Some(ready) => Some(clock.run(Stage::Estimate, || {
            let measured = (&stress, measures.as_slice());
            estimates(
                &model,
                (&solution, ready),
                measured,
                context.threads,
                &|_, _| false,
            )
        })?),
        None => None,
    };
    if inputs.error_estimate && model.contact.is_some() {
        warnings.push(NOT_WITH_CONTACT.to_string());
    }
    clock.run(Stage::Store, || {
        store_surface(inputs, context, &model, &solution.by_load, &stress)
    })?;

    warnings.extend(solved_bonded(&model.construct, &inputs.interfaces));
    warnings.extend(not_converged(&solution));
    warnings.extend(cut_screws(&model));
    warnings.extend(quality_warnings(&model));
    Ok(record(
        inputs,
        &model,
        &solution,
        (measures, estimates),
        intact_measures,
        clock.stages,
        warnings,
    ))
}

/// Times the stages and tells who listens.
struct StageClock<'a> {
    progress: &'a (dyn Fn(Stage) + Sync),
    stages: Vec<StageRecord>,
}

impl StageClock<'_> {
    fn run<T>(
        &mut self,
        stage: Stage,
        work: impl FnOnce() -> Result<T, PointError>,
    ) -> Result<T, PointError> {
        (self.progress)(stage);
        let begin = Instant::now();
        let result = work();
        self.stages.push(StageRecord {
            name: stage.name().to_string(),
            seconds: begin.elapsed().as_secs_f64(),
            peak_mib: peak_mib(),
        });
        result
    }
}

/// Largest resident memory of this process so far, MiB, where the system tells it.
fn peak_mib() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    let kib: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib / 1024.0)
}

/// The intact bone's own stress profile, by load case.
fn intact_profiles(intact: &IntactModel) -> Vec<ProfileRecord> {
    intact.profiles.iter().cloned().map(profile).collect()
}

fn store_surface(
    inputs: &PointInputs,
    context: &PointContext<'_>,
    model: &BuiltModel,
    solution: &Solution,
    stress: &RecoveredStress,
) -> Result<(), PointError> {
    let failed = |message: String| PointError {
        stage: Stage::Store,
        message,
    };
    let folder = StudyFolder::new(context.out_dir);
    let grid = surface_grid(&model.problem, stress, solution);
    let mut bytes = Vec::new();
    write_vtu(&mut bytes, &grid).map_err(|e| failed(e.to_string()))?;
    let names = serde_json::json!({
        "parts": model.problem.mesh().parts.iter().map(ToString::to_string).collect::<Vec<_>>(),
        "cases": model.problem.cases().iter().map(|c| c.name.clone()).collect::<Vec<_>>(),
    });
    create_folder(&folder.point_folder(&inputs.id))
        .and_then(|()| write_atomic(&folder.surface_vtu(&inputs.id), &bytes))
        .and_then(|()| {
            write_atomic(
                &folder.surface_json(&inputs.id),
                names.to_string().as_bytes(),
            )
        })
        .map_err(|e| failed(e.within(folder.root())))
}

fn contact_records(reports: Option<&Vec<CaseReport>>) -> Vec<ContactRecord> {
    reports.map_or_else(Vec::new, |r| r.iter().map(contact_record).collect())
}

fn not_converged(solution: &ModelSolution) -> Vec<String> {
    let cases = solution.contact.iter().flat_map(|c| &c.cases);
    cases
        .filter_map(|c| match &c.status {
            bicolumn_contact::Status::Converged => None,
            bicolumn_contact::Status::NotConverged { reason } => Some(format!(
                "the contact of load case {} did not converge, so it has no result: {reason}",
                c.name
            )),
        })
        .collect()
}

fn cut_screws(model: &BuiltModel) -> Vec<String> {
    let Some(contact) = &model.contact else {
        return vec![];
    };
    let (screws, plates) = contact.preloads.split_at(contact.tightened);
    let told = |cut: &[Preload], how: &str, whose: &str, measure: &str| {
        let names: Vec<&str> = cut.iter().map(|p| p.name.as_str()).collect();
        (!names.is_empty()).then(|| {
            format!(
                "{} {how}: stress in the elements that it runs through is not the {whose}'s, and \
                 {measure} may lie there",
                names.join(", ")
            )
        })
    };
    let screws = told(
        screws,
        "are tightened across a cut of the shank",
        "screw",
        "implant_hotspot_screws_mpa",
    );
    let plates = told(
        plates,
        "slide across a cut while the fracture is clamped",
        "plate",
        "implant_hotspot_plate_..._mpa",
    );
    screws.into_iter().chain(plates).collect()
}

fn quality_warnings(model: &BuiltModel) -> Vec<String> {
    let q = &model.problem.mesh().quality;
    let mut warnings = Vec::new();
    warnings.extend(q.fallback.consequence().map(str::to_owned));
    if q.min_dihedral_deg < 10.0 {
        warnings.push(format!(
            "the worst tetrahedron has a dihedral angle of {:.1} degrees, near ({:.1}, {:.1}, {:.1}) mm",
            q.min_dihedral_deg, q.worst_at[0], q.worst_at[1], q.worst_at[2]
        ));
    }
    warnings
}

fn record(
    inputs: &PointInputs,
    model: &BuiltModel,
    solution: &ModelSolution,
    (measures, estimates): (Vec<CaseMeasures>, Option<Estimates>),
    intact: Option<Vec<ProfileRecord>>,
    stages: Vec<StageRecord>,
    warnings: Vec<String>,
) -> PointRecord {
    let construct = &model.construct;
    let as_value =
        |v: Result<serde_json::Value, serde_json::Error>| v.unwrap_or(serde_json::Value::Null);
    let mut intact = intact.unwrap_or_default().into_iter();
    let estimates = estimates.unwrap_or_default();
    let cases = measures
        .into_iter()
        .zip(model.problem.cases())
        .enumerate()
        .map(|(i, (m, case))| {
            let mut record = case_record(i, m, case, model, solution, intact.next());
            put_estimates(&mut record, i, &estimates);
            record
        })
        .collect();
    PointRecord {
        schema: SCHEMA,
        engine_version: ENGINE_VERSION.to_string(),
        id: inputs.id.clone(),
        digest: inputs.digest.clone(),
        factors: inputs.factors.clone(),
        status: Status::Done,
        inputs: inputs.inputs.clone(),
        plates: plate_marks(construct),
        screws: screw_marks(construct),
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
        mesh: as_value(serde_json::to_value(&model.problem.mesh().quality)),
        solver: as_value(serde_json::to_value(&solution.by_load.report)),
        preparation: contact_records(solution.contact.as_ref().map(|c| &c.steps)),
        warnings,
        density: density_record(inputs, &model.problem),
        cases,
    }
}

fn density_record(inputs: &PointInputs, problem: &Problem) -> Option<DensityRecord> {
    let (law, _) = inputs.materials.density.as_ref()?;
    Some(DensityRecord {
        law: law.to_string(),
        source: law.source.to_string(),
        young_mpa: cancellous_moduli(problem)?,
    })
}

fn case_record(
    i: usize,
    measures: CaseMeasures,
    case: &LoadCase,
    model: &BuiltModel,
    solution: &ModelSolution,
    intact: Option<ProfileRecord>,
) -> CaseRecord {
    let of_case = |v: &[f64]| v.get(i).copied().unwrap_or(f64::NAN);
    CaseRecord {
        name: measures.case,
        force_n: case.resultant_force().into(),
        moment_nmm: case
            .resultant_moment(&model.problem.mesh().nodes, Vec3::zeros())
            .into(),
        residual: of_case(&solution.by_load.report.residuals),
        equilibrium: of_case(&solution.by_load.report.equilibrium),
        energy_error: None,
        responses: measures
            .responses
            .into_iter()
            .map(|r| ResponseRecord {
                name: r.id.name(),
                value: r.value,
                at_mm: r.at,
                part: r.part,
                error_estimate: None,
            })
            .collect(),
        screws: measures.screws.iter().map(screw_force).collect(),
        sharing: serde_json::to_value(&measures.sharing).unwrap_or(serde_json::Value::Null),
        profile: profile(measures.profile),
        intact_profile: intact,
        contact: solution
            .contact
            .as_ref()
            .and_then(|c| c.cases.get(i))
            .map(contact_record),
    }
}

fn put_estimates(record: &mut CaseRecord, case: usize, estimates: &Estimates) {
    record.energy_error = estimates.energy.get(case).copied();
    for e in estimates.responses.iter().filter(|e| e.case == case) {
        let mut rows = record.responses.iter_mut();
        if let Some(row) = rows.find(|r| r.name == e.response.name() && r.value.is_some()) {
            row.error_estimate = Some(e.bound);
        }
    }
}

fn screw_force(s: &ScrewForce) -> ScrewForceRecord {
    ScrewForceRecord {
        screw: s.screw.to_string(),
        cut: s.cut.name().to_string(),
        at_mm: s.at.into(),
        axial_n: s.axial_n(),
        shear_n: s.shear_n(),
        bending_nmm: s.bending_nmm(),
        torque_nmm: s.torque_nmm(),
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

fn plate_marks(construct: &Construct) -> Vec<PlateMark> {
    construct
        .plates
        .iter()
        .map(|p| PlateMark {
            site: p.site.to_string(),
            end_level_mm: p.end_level_mm,
            distal_level_mm: p.centre_line(0.0).0.y,
            length_mm: p.length_mm,
            thickness_mm: p.thickness_mm,
        })
        .collect()
}

fn screw_marks(construct: &Construct) -> Vec<ScrewMark> {
    construct
        .screws
        .iter()
        .map(|s| ScrewMark {
            name: s.number.to_string(),
            plate: s.plate.map_or_else(String::new, |p| p.to_string()),
            row: match s.row {
                ScrewRow::Shaft => "shaft",
                ScrewRow::Distal => "distal",
                ScrewRow::Independent => "independent",
            }
            .to_string(),
            entry_mm: Some(s.entry.into()),
            entry_level_mm: s.entry.y,
            tip_level_mm: s.tip().y,
            length_mm: s.length_mm,
            diameter_mm: s.diameter_mm,
            cortices: Some(s.cortices(&construct.bone)),
        })
        .collect()
}
