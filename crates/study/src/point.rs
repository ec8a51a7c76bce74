//! One design point, end to end.

use crate::bones::BoneCache;
use crate::discretisation::{NOT_WITH_CONTACT, estimates};
use crate::intact::IntactCache;
use crate::model_build::{BuiltModel, ModelSolution, build_construct, build_mesh, build_problem};
use crate::record::{PointResults, done_record};
use crate::sensors;
use crate::solved_bonded::solved_bonded;
use crate::stage::{PointError, Stage};
use crate::surface::surface_grid;
use bicolumn_contact::Preload;
use bicolumn_formats::write_vtu;
use bicolumn_job::PointInputs;
use bicolumn_measure::{RecoveredStress, measure_recovered};
use bicolumn_response::{Hardware, PlateColumn, PlateStress, ResponseId};
use bicolumn_solve::{Forecast, Solution};
use bicolumn_store::{PointRecord, StageRecord, StudyFolder, create_folder, write_atomic};
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
    pub intact: &'a IntactCache<'a>,
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
    // From here on the construct is what was built, quantities that moved included.
    let inputs = &PointInputs {
        construct: construct.spec.clone(),
        ..inputs.clone()
    };
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
    let (stress, measures, intact_measures, sensors) = clock.run(Stage::Measure, || {
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
        let sensors = sensors::read(&model, &solution, &of_point);
        let profiles = intact.map(|i| i.profiles.clone());
        Ok((stress, of_point, profiles, sensors))
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
    let results = PointResults {
        model: &model,
        solution: &solution,
        measures,
        sensors,
        estimates,
        intact: intact_measures,
        stages: clock.stages,
        warnings,
        threads: context.threads,
    };
    Ok(done_record(inputs, results))
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
        &ResponseId::from(Hardware::ScrewHotspot).name(),
    );
    let plates = told(
        plates,
        "slide across a cut while the fracture is clamped",
        "plate",
        &PlateColumn::ALL
            .map(|p| ResponseId::from(PlateStress::Hotspot.of(p)).name())
            .join(" or "),
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
