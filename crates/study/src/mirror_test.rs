//! A left construct on the mirror image of a right one's mesh: every response is that of the right one.
//!
//! Tolerance: both are solved to a relative residual of 1e-10 (1e-7 with contact) and differ in the order of
//! their sums; a response that is small beside others of its kind is compared with the largest of its unit.

use crate::bones::BoneCache;
use crate::model_build::{BuiltModel, build_construct, build_mesh, build_problem};
use bicolumn_base::{BodySide, Unit, Vec3};
use bicolumn_job::{Job, Plan, PointInputs, resolve};
use bicolumn_measure::{CaseMeasures, RecoveredStress, measure_recovered};
use bicolumn_mesh::TetMesh;
use bicolumn_response::{Check, Motion, ResponseId};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

/// Coarser and stouter than anybody would use.
const COARSE: &str = "bone.septum_thickness_mm = 3.5\nbone.potting_level_mm = 100\n\
    plates.end_level_mm = 70\nplates.thickness_mm = 3.5\nscrews.shaft_count = 1\nscrews.distal_count = 1\n\
    screws.shaft_diameter_mm = 3.2\nscrews.distal_diameter_mm = 3.2\n\
    mesh.finest_mm = 3\nmesh.growth = 1.5\nmesh.wall_ratio = 3\n";

fn inputs(job: &str, left: bool) -> PointInputs {
    let text = format!("bone.left = {left}\n{job}{COARSE}");
    let job = Job::parse(Path::new("x.toml"), &text).unwrap();
    resolve(&job, &Plan::of(&job).unwrap().points[0])
}

/// The mirror image: the first two corners of tetrahedra and facets change places, so that volumes stay positive.
fn mirrored(mesh: &TetMesh) -> TetMesh {
    let mut image = mesh.clone();
    for x in &mut image.nodes {
        *x = BodySide::Left.vector(*x);
    }
    for t in &mut image.tets {
        t.swap(0, 1);
        t.swap(5, 6);
        t.swap(7, 8);
    }
    for f in &mut image.facets {
        f.nodes.swap(0, 1);
        f.nodes.swap(4, 5);
    }
    image
}

fn measured(model: &BuiltModel, inputs: &PointInputs) -> Vec<CaseMeasures> {
    let solution = model.solve(inputs, 2, &|_| {}).unwrap();
    let stress = RecoveredStress::of(&model.problem, solution.total());
    measure_recovered((&model.solved(&solution), &stress), None)
}

/// Both sides measured: right, left.
fn both_sides(job: &str) -> [Vec<CaseMeasures>; 2] {
    let bones = BoneCache::default();
    let (right, left) = (inputs(job, false), inputs(job, true));
    let construct = |i: &PointInputs| build_construct(&i.construct, &bones).unwrap();
    let of_right = construct(&right);
    let mesh = Arc::new(build_mesh(&of_right, &right.sizing).unwrap());
    let image = Arc::new(mirrored(&mesh));
    let right_model = build_problem(of_right, mesh, &right).unwrap();
    let left_model = build_problem(construct(&left), image, &left).unwrap();
    [measured(&right_model, &right), measured(&left_model, &left)]
}

/// Equal to a share of the largest value of the same unit under the same load.
fn agree([right, left]: &[Vec<CaseMeasures>; 2], tolerance: f64) {
    for (r, l) in right.iter().zip(left) {
        let mut largest: BTreeMap<Unit, f64> = BTreeMap::new();
        for found in &r.responses {
            let most = largest.entry(found.id.unit()).or_insert(0.0);
            *most = most.max(found.value.unwrap_or(0.0).abs());
        }
        let mut compared = 0;
        for (a, b) in r.responses.iter().zip(&l.responses) {
            // Balance of forces and residuals are rounding, on either side.
            if [Check::Equilibrium.into(), Check::Residual.into()].contains(&a.id) {
                continue;
            }
            let scale = largest[&a.id.unit()];
            let off = match (a.value, b.value) {
                (Some(a), Some(b)) => (a - b).abs(),
                (None, None) => continue,
                _ => panic!("{} {}: {a:?} {b:?}", r.case, a.id),
            };
            compared += 1;
            let name = format!("{} {}: {:?} {:?}", r.case, a.id, a.value, b.value);
            assert!(off <= tolerance * scale, "{name}");
        }
        assert!(compared > 40, "{}: {compared}", r.case);
        for (a, b) in r.screws.iter().zip(&l.screws) {
            let off = (b.at - BodySide::Left.vector(a.at)).norm();
            assert!(off < 1e-6, "{}: {off}", a.screw);
            let force = (b.force_n - BodySide::Left.vector(a.force_n)).norm();
            let moment = (b.moment_nmm - BodySide::Left.pseudovector(a.moment_nmm)).norm();
            assert!(
                force <= tolerance * largest[&Unit::N],
                "{} {}",
                r.case,
                a.screw
            );
            assert!(
                moment <= tolerance * largest[&Unit::Nmm],
                "{} {}",
                r.case,
                a.screw
            );
        }
    }
}

fn value(cases: &[CaseMeasures], case: &str, response: impl Into<ResponseId>) -> f64 {
    let case = cases.iter().find(|c| c.case == case).unwrap();
    case.value(response).unwrap()
}

#[test]
fn a_mirrored_construct_gives_mirrored_results_whatever_the_load() {
    // A force along the shaft, a couple about each axis that a mirror turns, a force on one side; the model is linear.
    let cases = "loads.cases = [\"axial\", \"varus\", \"valgus\", \"internal_torsion\", \
        \"medial_column\"]\nsolve.tolerance = 1e-10\n";
    let sides = both_sides(&format!("construct.layout = \"orthogonal\"\n{cases}"));
    agree(&sides, 1e-6);
    // Varus stays varus: the medial column closes, the lateral one opens.
    for side in &sides {
        assert!(value(side, "varus", Motion::AxialMedial) < 0.0);
        assert!(value(side, "valgus", Motion::AxialMedial) > 0.0);
        let turned = value(side, "internal_torsion", Motion::RotationAxial);
        assert!(turned > 0.0, "{turned}");
    }
}

/// Both sides with a plate that slides on the bone.
fn sliding(more: &str) -> [Vec<CaseMeasures>; 2] {
    let sides = both_sides(&format!(
        "construct.layout = \"medial_only\"\ninterfaces.plate_bone = \"frictional\"\nsolve.tolerance = 1e-7\n{more}"
    ));
    agree(&sides, 1e-3);
    sides
}

#[test]
fn a_mirrored_construct_gives_mirrored_results_with_contact() {
    let sides = sliding("loads.cases = [\"varus\"]\n");
    // A load of the wrong side would be reversed.
    let opens = sides
        .each_ref()
        .map(|side| value(side, "varus", Motion::AxialMedial));
    assert!(
        opens[0].abs() > 1e-3 && opens[0] * opens[1] > 0.0,
        "{opens:?}"
    );
}

#[test]
#[ignore = "a minute or two of two cores: named in DEVELOPERS.md"]
fn a_mirrored_construct_gives_mirrored_results_with_tightened_screws() {
    let sides = sliding(
        "screws.shaft_hold = \"non_locking\"\ninterfaces.head_seat = \"frictional\"\n\
        screws.shaft_preload_n = 250\nloads.cases = [\"varus\", \"valgus\"]\n",
    );
    // With contact varus and valgus are no longer each other's reverse, so that a load of the wrong side would show.
    let shear = |case| value(&sides[1], case, Motion::ShearMean);
    let off = shear("varus") / shear("valgus") - 1.0;
    assert!(off.abs() > 0.01, "{off}");
}

#[test]
fn the_mirror_image_of_a_mesh_is_sound() {
    let right = inputs("construct.layout = \"medial_only\"\n", false);
    let construct = build_construct(&right.construct, &BoneCache::default()).unwrap();
    let mesh = build_mesh(&construct, &right.sizing).unwrap();
    let image = mirrored(&mesh);
    for t in 0..mesh.tets.len() {
        assert!((image.volume(t) - mesh.volume(t)).abs() <= 1e-12 * mesh.volume(t));
        // Midside nodes still lie by the middles of their edges.
        let at = |k: usize| image.nodes[image.tets[t][k] as usize];
        let edges = [(0, 1), (1, 2), (2, 0), (0, 3), (1, 3), (2, 3)];
        for (k, (a, b)) in edges.into_iter().enumerate() {
            let off: Vec3 = at(4 + k) - 0.5 * (at(a) + at(b));
            assert!(off.norm() < 0.5 * (at(a) - at(b)).norm());
        }
    }
    assert_eq!(mirrored(&image), mesh);
}
