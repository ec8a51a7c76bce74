//! The plate-free, unbroken bone under the same loads, solved once for each bone and shared by points.

use crate::bones::BoneCache;
use crate::model_build::{BuiltModel, ModelSolution, build_model};
use crate::shared::Shared;
use crate::stage::PointError;
use bicolumn_geometry::ConstructSpec;
use bicolumn_job::PointInputs;
use bicolumn_measure::{RecoveredStress, ShaftProfile, measure_recovered};
use bicolumn_mesh::{RegionPlace, SizeRegion, Sizing};
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
pub struct IntactCache(Shared<Result<Arc<IntactModel>, String>>);

impl Default for IntactCache {
    fn default() -> Self {
        IntactCache(Shared::keeping(MOST_KEPT))
    }
}

impl IntactCache {
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
        self.0.get(key(inputs), || {
            solve_intact(inputs, bones, threads).map_err(|e| e.to_string())
        })
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

fn solve_intact(
    inputs: &PointInputs,
    bones: &BoneCache,
    threads: usize,
) -> Result<Arc<IntactModel>, PointError> {
    let intact = without_hardware(inputs);
    let model = build_model(&intact, bones)?;
    let solution = model
        .solve(&intact, threads, &|_| {})
        .map_err(|e| PointError {
            message: format!("the intact bone: {}", e.message),
            ..e
        })?;
    let stress = RecoveredStress::of(&model.problem, &solution.by_load.displacement);
    let profiles = measure_recovered((&model.solved(&solution), &stress), None)
        .into_iter()
        .map(|m| m.profile)
        .collect();
    Ok(Arc::new(IntactModel {
        model,
        solution,
        stress,
        profiles,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::contact_model::refusal;
    use bicolumn_geometry::Construct;
    use bicolumn_job::{Job, Plan, resolve};
    use std::path::Path;

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
