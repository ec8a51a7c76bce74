//! Rollers of four-point bends on the meshed bone.
//!
//! A roller presses on the facets of the bone's outer surface that lie within its contact's length and face it; the
//! traction has the roller's force for resultant, on a line through the shaft's axis, whatever the facets.

use crate::sensors::{NoSite, outermost};
use bicolumn_base::Vec3;
use bicolumn_geometry::{Bone, Construct};
use bicolumn_job::{DistalSupport, PointInputs};
use bicolumn_mesh::{Facet, SurfaceName, TetMesh};
use bicolumn_model::{FourPointBend, LoadCase, Patch, PatchLoad, ProblemError, Roller};

/// Least cosine between a facet's normal and the side that a roller touches.
const FACING: f64 = 0.8;

/// Nodal forces of a bend, as a load case.
///
/// # Errors
/// [`ProblemError::EmptyPatch`] for a roller that no facet faces.
pub(crate) fn case(
    construct: &Construct,
    mesh: &TetMesh,
    name: &str,
    bend: FourPointBend,
) -> Result<LoadCase, ProblemError> {
    let bone = &construct.bone;
    let mut loads = Vec::new();
    let mut patches = Vec::new();
    for roller in bend.rollers() {
        let outward = bone.side().vector(roller.outward);
        loads.push(PatchLoad {
            patch: patches.len(),
            force_n: -outward * roller.force_n,
            through_mm: Some(bone.shaft_axis(roller.level_mm)),
            moment_nmm: Vec3::zeros(),
        });
        patches.push(patch(mesh, &roller, outward, bend.contact_mm)?);
    }
    let case = LoadCase::combine(name, mesh, &patches, &loads);
    Ok(LoadCase {
        bend: Some(bend),
        ..case
    })
}

fn patch(
    mesh: &TetMesh,
    roller: &Roller,
    outward: Vec3,
    contact_mm: f64,
) -> Result<Patch, ProblemError> {
    let (low, high) = (
        roller.level_mm - 0.5 * contact_mm,
        roller.level_mm + 0.5 * contact_mm,
    );
    let touches = |f: &Facet| {
        let levels = [0, 1, 2].map(|k| mesh.nodes[f.nodes[k] as usize].y);
        levels.iter().any(|y| *y >= low) && levels.iter().any(|y| *y <= high)
    };
    let name = format!("of the roller at level {} mm", roller.level_mm);
    Patch::of_free_facets(mesh, &name, |f, _, normal| {
        mesh.surfaces[f.surface as usize] == SurfaceName::BoneOuter
            && mesh.part_of(f.tet as usize).is_bone()
            && normal.dot(&outward) >= FACING
            && touches(f)
    })
}

/// Keys of the levels of a bend's rollers, in their order.
const LEVELS: [&str; 4] = [
    "nose_distal_mm",
    "nose_proximal_mm",
    "support_distal_mm",
    "support_proximal_mm",
];

/// Checks that every roller of a point's bends can press on the bone, and that no joint's support takes part.
///
/// # Errors
/// The first that cannot: its key, value and remedy.
pub(crate) fn check(construct: &Construct, inputs: &PointInputs) -> Result<(), NoSite> {
    for load in &inputs.loads {
        let Some(bend) = load.bend else { continue };
        if inputs.supports.distal != DistalSupport::Free {
            let why = format!(
                "a held joint would bear part of the four-point bend {}: leave it free, or leave the case out of loads.cases",
                load.name
            );
            let path = "supports.distal".into();
            return Err(NoSite { path, why });
        }
        for (roller, key) in bend.rollers().iter().zip(LEVELS) {
            if let Some(why) = no_contact(construct, roller, bend.contact_mm) {
                let path = format!("loads.case.{}.{key}", load.name);
                let why = format!("the roller at level {} mm {why}", roller.level_mm);
                return Err(NoSite { path, why });
            }
        }
    }
    Ok(())
}

fn no_contact(construct: &Construct, roller: &Roller, contact_mm: f64) -> Option<String> {
    let bone = &construct.bone;
    let half = 0.5 * contact_mm;
    let potting = bone.spec().potting_level_mm;
    if roller.level_mm + half > potting {
        return Some(format!(
            "reaches into the potting at {potting} mm; lower it, or raise bone.potting_level_mm"
        ));
    }
    let Some(at) = touched(bone, roller) else {
        return Some("finds no bone at that level; move it along the shaft".into());
    };
    if let Some(fracture) = &construct.fracture {
        let off = (at - fracture.centre).dot(&fracture.normal).abs();
        if off < 0.5 * fracture.spec.gap_mm + half {
            return Some("would press on the fracture; move it along the shaft".into());
        }
    }
    let plate = construct
        .plates
        .iter()
        .find(|p| p.outline().value(at) < half);
    plate.map(|p| {
        format!(
            "would press on the {} plate; move it along the shaft, or press on another side",
            p.site
        )
    })
}

/// The outermost point of the bone under a roller, mm.
fn touched(bone: &Bone, roller: &Roller) -> Option<Vec3> {
    outermost(bone, roller.level_mm, bone.side().vector(roller.outward))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bones::BoneCache;
    use crate::model_build::build_model;
    use bicolumn_job::{Job, Plan, resolve};
    use bicolumn_measure::RecoveredStress;
    use bicolumn_measure::measure_recovered;
    use bicolumn_response::Load;
    use std::path::Path;

    const BONE: &str = "construct.layout = \"bare_bone\"\nbone.potting_level_mm = 260\nsolve.tolerance = 1e-10\n\
        materials.cortical.symmetry = \"isotropic\"\nmesh.finest_mm = 3\nmesh.growth = 2\nmesh.wall_ratio = 2\nmesh.far_ratio = 16\n\
        [loads.case.bend]\nforce_n = 300\nnoses_on = \"anterior\"\nsupport_distal_mm = 60\nnose_distal_mm = 130\n\
        nose_proximal_mm = 170\nsupport_proximal_mm = 240\n";

    fn inputs(text: &str) -> PointInputs {
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        resolve(&job, &Plan::of(&job).unwrap().points[0])
    }

    #[test]
    fn a_shaft_between_rollers_has_the_rigidity_of_its_section() {
        let inputs = inputs(BONE);
        let model = build_model(&inputs, &BoneCache::default()).unwrap();
        let solution = model.solve(&inputs, 2, &|_| {}).unwrap();
        let stress = RecoveredStress::of(&model.problem, solution.total());
        let measures = measure_recovered((&model.solved(&solution), &stress), None);
        let found = measures[0].value(Load::BendingRigidity).unwrap();
        // The tube of the shaft; canal and diameter are those of the bone, the modulus that of the job.
        let spec = &inputs.construct.bone;
        let fourth = spec.shaft_diameter_mm.powi(4) - spec.canal_diameter_mm.powi(4);
        let tube = inputs.materials.cortical.young_mpa * std::f64::consts::PI / 64.0 * fourth;
        // Shear and dents under the rollers make it less: by Timoshenko's shear some 2 per cent at spans of 70 mm.
        assert!((0.85..1.0).contains(&(found / tube)), "{found} {tube}");
        // Nothing is left for the potting to bear.
        let reactions = &solution.by_load.reactions[0];
        let held: Vec3 = reactions.iter().sum();
        assert!(held.norm() < 1e-5 * 300.0, "{held}");
        assert!(solution.by_load.report.equilibrium[0] < 1e-6);
    }

    #[test]
    fn a_bend_beside_a_held_joint_is_refused_and_beside_a_free_one_not() {
        let construct = |inputs: &PointInputs| Construct::build(&inputs.construct).unwrap();
        let held = inputs(&format!("supports.distal = \"guided\"\n{BONE}"));
        let told = check(&construct(&held), &held).unwrap_err().to_string();
        assert!(
            told.starts_with("supports.distal: a held joint would bear part of"),
            "{told}"
        );
        let turning = inputs(&format!("supports.proximal = \"ball_joint\"\n{BONE}"));
        let built = construct(&turning);
        assert!(check(&built, &turning).is_ok());
        assert!(crate::joint_support::refusal(&built, &turning).is_none());
    }

    #[test]
    fn a_roller_without_bone_under_it_is_refused_by_its_key() {
        let told = |from: &str, to: &str| {
            assert!(BONE.contains(from));
            let inputs = inputs(&BONE.replacen(from, to, 1));
            let construct = Construct::build(&inputs.construct).unwrap();
            check(&construct, &inputs).unwrap_err().to_string()
        };
        assert_eq!(
            told("support_proximal_mm = 240", "support_proximal_mm = 259"),
            "loads.case.bend.support_proximal_mm: the roller at level 259 mm reaches into the potting at 260 mm; lower it, or \
             raise bone.potting_level_mm"
        );
        let plated =
            "construct.layout = \"parallel\"\nplates.end_level_mm = 100\nfracture.level_mm = ";
        let bare = "construct.layout = \"bare_bone\"\n";
        let why = told(bare, &format!("{plated}59\n"));
        assert!(why.contains("would press on the fracture"), "{why}");
        let inputs = inputs(
            &BONE
                .replace(bare, &format!("{plated}40\n"))
                .replace("\"anterior\"", "\"medial\""),
        );
        let construct = Construct::build(&inputs.construct).unwrap();
        let why = check(&construct, &inputs).unwrap_err().to_string();
        assert!(
            why.contains("support_distal_mm") && why.contains("would press on the lateral plate"),
            "{why}"
        );
    }
}
