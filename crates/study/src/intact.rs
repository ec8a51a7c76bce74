//! The plate-free, unbroken bone under the same loads, solved once for each bone and shared by points.

use crate::bones::BoneCache;
use crate::intact_file;
use crate::model_build::{BuiltModel, ModelSolution, build_model};
use crate::record::lock_digest;
use crate::shared::Shared;
use crate::stage::PointError;
use bicolumn_geometry::ConstructSpec;
use bicolumn_job::{ENGINE_VERSION, PointInputs};
use bicolumn_measure::{RecoveredStress, ShaftProfile, measure_recovered};
use bicolumn_mesh::{RegionPlace, SizeRegion, Sizing};
use bicolumn_store::digest_text;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The intact bone, solved.
pub struct IntactModel {
    /// Bone, mesh and problem.
    pub model: BuiltModel,
    /// Displacements.
    pub solution: ModelSolution,
    /// Its stress, recovered once for all points.
    pub stress: RecoveredStress,
    /// Its own stress along the shaft, by load case: measured once for all points.
    pub profiles: Vec<ShaftProfile>,
}

/// Solved bones kept at a time: some 100 MB each at a million unknowns.
const MOST_KEPT: usize = 8;

/// Intact solutions by what they depend on.
pub struct IntactCache<'a> {
    kept: Shared<Result<Arc<IntactModel>, String>>,
    files: Option<&'a dyn IntactFiles>,
}

impl Default for IntactCache<'_> {
    fn default() -> Self {
        IntactCache {
            kept: Shared::keeping(MOST_KEPT),
            files: None,
        }
    }
}

/// Files of intact solutions, for other processes and later runs.
pub(crate) trait IntactFiles: Sync {
    /// Is the solution of this key there to be read, or to be solved now? Waits while another solves it.
    fn turn(&self, key: &str) -> Turn;

    /// The solution that was this one's turn to solve is stored, or cannot be had.
    fn ended(&self, key: &str);
}

/// Way to an intact solution.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Turn {
    /// It is in this file.
    Read(PathBuf),
    /// It is to be solved, and stored here.
    Solve(PathBuf),
}

impl<'a> IntactCache<'a> {
    /// Keeps so many solutions in memory, and all in files.
    pub(crate) fn in_files(most: usize, files: &'a dyn IntactFiles) -> IntactCache<'a> {
        IntactCache {
            kept: Shared::keeping(most),
            files: Some(files),
        }
    }

    /// The intact bone of a point: solved by the first that asks, waited for by the others.
    ///
    /// # Errors
    /// Why it could not be solved; every point of that bone is told the same.
    pub fn of(
        &self,
        inputs: &PointInputs,
        bones: &BoneCache,
        threads: usize,
    ) -> Result<Arc<IntactModel>, String> {
        let key = key(inputs);
        self.kept.get(key.clone(), || {
            let found = match self.files {
                None => solve_intact(inputs, bones, threads, None),
                Some(files) => from_files(files, &file_key(&key), inputs, bones, threads),
            };
            found.map_err(|e| e.to_string())
        })
    }
}

/// Name of a solution's file: what it depends on, the program and its libraries among it.
fn file_key(key: &str) -> String {
    digest_text(format!("{ENGINE_VERSION} {} {key}", lock_digest()))
}

/// An intact solution read from its file, or solved and stored there.
fn from_files(
    files: &dyn IntactFiles,
    key: &str,
    inputs: &PointInputs,
    bones: &BoneCache,
    threads: usize,
) -> Result<Arc<IntactModel>, PointError> {
    match files.turn(key) {
        Turn::Read(file) => {
            let intact = without_hardware(inputs);
            let model = build_model(&intact, bones)?;
            match intact_file::read(&file, model.problem.mesh()) {
                Ok(by_load) => Ok(with_stress(model, ModelSolution::linear(by_load))),
                // Damaged, or removed by a run that ended meanwhile.
                Err(_) => solve_intact(inputs, bones, threads, None),
            }
        }
        Turn::Solve(file) => {
            let solved = solve_intact(inputs, bones, threads, Some(&file));
            files.ended(key);
            solved
        }
    }
}

/// Two points with the same text have the same intact bone under the same loads.
fn key(inputs: &PointInputs) -> String {
    format!(
        "{:?} {:?} {:?} {:?} {:?} {:?} {:?} {:?} {:?} {:?} {:?}",
        inputs.construct.bone,
        sizing(inputs),
        inputs.materials.cortical,
        inputs.materials.transverse,
        inputs.materials.cancellous,
        inputs.materials.density,
        inputs.loads,
        inputs.supports,
        inputs.solve.method,
        inputs.solve.tolerance,
        inputs.solve.max_iterations,
    )
}

/// Without what follows hardware or fracture, which the intact bone does not have: a size field, regions round
/// features.
fn sizing(inputs: &PointInputs) -> Sizing {
    let regions = inputs.sizing.regions.iter();
    let is_of_space = |r: &&SizeRegion| !matches!(r.place, RegionPlace::Around { .. });
    Sizing {
        size_field: None,
        regions: regions.filter(is_of_space).cloned().collect(),
        ..inputs.sizing.clone()
    }
}

/// A point's inputs without plates, screws and fracture, and without interfaces and clamp, which have nothing to act on.
fn without_hardware(inputs: &PointInputs) -> PointInputs {
    let mut intact = inputs.clone();
    intact.construct = ConstructSpec {
        fracture: None,
        plates: Vec::new(),
        independent: Vec::new(),
        ..inputs.construct.clone()
    };
    intact.sizing = sizing(inputs);
    intact.interfaces.named.clear();
    intact.interfaces.clamp_n = [0.0; 2];
    intact
}

/// Solves the intact bone, and stores it where a file is given.
fn solve_intact(
    inputs: &PointInputs,
    bones: &BoneCache,
    threads: usize,
    file: Option<&Path>,
) -> Result<Arc<IntactModel>, PointError> {
    let intact = without_hardware(inputs);
    let model = build_model(&intact, bones)?;
    let solution = model
        .solve(&intact, threads, &|_| {})
        .map_err(|e| PointError {
            message: format!("the intact bone: {}", e.message),
            ..e
        })?;
    // What contact or preload would add has no place in the file; without it, others solve for themselves.
    if let (Some(file), true) = (file, solution.is_linear()) {
        let _ = intact_file::write(file, model.problem.mesh(), &solution.by_load);
    }
    Ok(with_stress(model, solution))
}

fn with_stress(model: BuiltModel, solution: ModelSolution) -> Arc<IntactModel> {
    let stress = RecoveredStress::of(&model.problem, &solution.by_load.displacement);
    let profiles = measure_recovered((&model.solved(&solution), &stress), None)
        .into_iter()
        .map(|m| m.profile)
        .collect();
    Arc::new(IntactModel {
        model,
        solution,
        stress,
        profiles,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::contact_model::refusal;
    use bicolumn_geometry::Construct;
    use bicolumn_job::{Job, Plan, resolve};

    #[test]
    fn an_intact_bone_takes_no_offence_at_interfaces_and_clamps_of_hardware() {
        let text = "[fracture]\ngap_mm = 0\n[interfaces]\nfracture_faces = \"frictional\"\nscrew.02.bone = \"threaded\"\nclamp_medial_n = 100\n";
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        let inputs = resolve(&job, &Plan::of(&job).unwrap().points[0]);
        assert!(!inputs.interfaces.named.is_empty() && inputs.interfaces.clamp_n != [0.0; 2]);
        let intact = without_hardware(&inputs);
        let construct = Construct::build(&intact.construct).unwrap();
        assert!(refusal(&construct, &intact.interfaces).is_none());
        assert!(refusal(&construct, &inputs.interfaces).is_some());
    }
}
