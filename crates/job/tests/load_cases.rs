//! Load cases that a job defines, from the job file to the inputs of a point.

#![allow(clippy::unwrap_used)]

use bicolumn_base::Vec3;
use bicolumn_job::{Job, Plan, resolve};
use bicolumn_model::{Action, JointLoad, JointSurface, LoadLine, Wrench};
use bicolumn_store::FactorValue;
use std::path::Path;

fn loads(text: &str) -> Result<Vec<JointLoad>, String> {
    let job = Job::parse(Path::new("x.toml"), text).map_err(|e| e.to_string())?;
    let plan = Plan::of(&job).map_err(|e| e.to_string())?;
    Ok(resolve(&job, &plan.points[0]).loads)
}

fn names(text: &str) -> Vec<String> {
    let loads = loads(text).unwrap();
    loads.into_iter().map(|l| l.name).collect()
}

#[test]
fn a_force_along_a_flexed_forearm_points_where_the_forearm_presses() {
    let of = |angles: &str| {
        let text = format!("[loads.case.a]\nforce_n = 200\n{angles}");
        match loads(&text).unwrap()[0].actions[0].what {
            Wrench::Force { force_n, .. } => force_n / 200.0,
            Wrench::Couple(_) => panic!("a force"),
        }
    };
    let close = |v: Vec3, x, y, z| assert!((v - Vec3::new(x, y, z)).norm() < 1e-12, "{v}");
    close(of(""), 0.0, 1.0, 0.0);
    close(of("flexion_deg = 90\n"), -1.0, 0.0, 0.0);
    close(of("flexion_deg = -90\n"), 1.0, 0.0, 0.0);
    close(of("coronal_deg = 90\n"), 0.0, 0.0, 1.0);
    let half = 0.5_f64.sqrt();
    close(of("flexion_deg = 45\n"), -half, half, 0.0);
    close(
        of("flexion_deg = 90\ncoronal_deg = -45\n"),
        -half,
        0.0,
        -half,
    );
}

#[test]
fn several_actions_make_one_case_and_take_the_common_share() {
    let text = "loads.capitellum_share = 0.7\n[loads.case.lift]\nproximal_n = 150\nlateral_n = -20\nline_anterior_mm = 4\n\
                [loads.case.lift.muscle]\nanterior_n = -80\non = \"trochlea\"\ninternal_torsion_nmm = 500\n";
    let both = JointSurface::Both {
        capitellum_share: 0.7,
    };
    let line = LoadLine {
        anterior_mm: 4.0,
        lateral_mm: 0.0,
        level_mm: 0.0,
    };
    let force = |on, force_n, line| Action {
        on,
        what: Wrench::Force { force_n, line },
    };
    let trochlea = JointSurface::Trochlea;
    assert_eq!(
        loads(text).unwrap(),
        [JointLoad {
            name: "lift".into(),
            actions: vec![
                force(both, Vec3::new(0.0, 150.0, -20.0), Some(line)),
                force(trochlea, Vec3::new(-80.0, 0.0, 0.0), None),
                Action {
                    on: trochlea,
                    what: Wrench::Couple(Vec3::new(0.0, 500.0, 0.0)),
                },
            ],
            bend: None,
        }]
    );
}

#[test]
fn cases_of_the_job_are_chosen_beside_those_of_the_program() {
    let own = "[loads.case.b]\nforce_n = 1\n[loads.case.a]\nvarus_nmm = 1\n";
    assert_eq!(names(own), ["a", "b"]);
    let chosen = format!("loads.cases = [\"b\", \"varus\", \"axial\"]\n{own}");
    assert_eq!(names(&chosen), ["axial", "varus", "b"]);
    assert_eq!(names("").len(), 6);
    let job = Job::parse(Path::new("x.toml"), own).unwrap();
    let point = resolve(&job, &Plan::of(&job).unwrap().points[0]);
    assert_eq!(
        point.inputs["loads.case.b.force_n"],
        FactorValue::Number(1.0)
    );
    let other = Job::parse(
        Path::new("x.toml"),
        &own.replace("force_n = 1", "force_n = 2"),
    );
    let other = other.unwrap();
    let other = resolve(&other, &Plan::of(&other).unwrap().points[0]);
    assert_ne!(point.digest, other.digest);
}

const BEND: &str = "[loads.case.bend]\nforce_n = 300\nnoses_on = \"anterior\"\nsupport_distal_mm = 40\nnose_distal_mm = 100\n\
                    nose_proximal_mm = 160\nsupport_proximal_mm = 220\n";

#[test]
fn a_four_point_bend_is_a_case_without_a_load_on_the_joint() {
    let bend = loads(BEND).unwrap().remove(0);
    assert!(bend.actions.is_empty());
    let found = bend.bend.unwrap();
    assert_eq!(
        (found.noses_mm, found.supports_mm),
        ([100.0, 160.0], [40.0, 220.0])
    );
    assert_eq!(found.contact_mm, 4.0);
}

#[test]
fn what_is_no_four_point_bend_is_told_with_its_line() {
    for (from, to, want) in [
        (
            "noses_on = \"anterior\"\n",
            "",
            "x.toml:3: loads.case.bend.support_distal_mm = 40: has no effect without noses_on",
        ),
        (
            "force_n = 300\n",
            "",
            "x.toml:1: loads.case.bend: needs force_n",
        ),
        (
            "nose_distal_mm = 100",
            "nose_distal_mm = 30",
            "x.toml:5: loads.case.bend.nose_distal_mm = 30: the rollers must lie in the order",
        ),
        (
            "support_proximal_mm = 220\n",
            "support_proximal_mm = 220\nvarus_nmm = 5\n",
            "x.toml:8: loads.case.bend.varus_nmm = 5: has no effect beside noses_on",
        ),
        (
            "support_proximal_mm = 220\n",
            "support_proximal_mm = 220\n[loads.case.bend.more]\nvarus_nmm = 5\n",
            "four-point bending is a case of its own",
        ),
    ] {
        assert!(BEND.contains(from), "{from}");
        let told = loads(&BEND.replacen(from, to, 1)).unwrap_err();
        assert!(told.contains(want), "{told}\n{want}");
    }
}

#[test]
fn what_is_no_load_case_is_told_with_its_line() {
    for (text, want) in [
        (
            "[loads.case.a]\n",
            "x.toml:1: loads.case.a: neither a force nor a couple is given",
        ),
        (
            "[loads.case.a]\nforce_n = 0\n",
            "x.toml:2: loads.case.a.force_n = 0: must lie between 0.001 and 10000 N",
        ),
        (
            "[loads.case.a]\nanterior_n = 0\nlateral_n = 0\n",
            "x.toml:2: loads.case.a.anterior_n = 0: every component given is zero",
        ),
        (
            "[loads.case.a]\nforce_n = 5\nproximal_n = 4\n",
            "x.toml:3: loads.case.a.proximal_n = 4: the force is given by its size as well",
        ),
        (
            "[loads.case.a]\nvarus_nmm = 5\nflexion_deg = 4\n",
            "x.toml:3: loads.case.a.flexion_deg = 4: has no effect without force_n",
        ),
        (
            "[loads.case.a]\nvarus_nmm = 5\nline_lateral_mm = 4\n",
            "x.toml:3: loads.case.a.line_lateral_mm = 4: has no effect without a force",
        ),
        (
            "[loads.case.a]\nforce_n = 5\non = \"capitellum\"\ncapitellum_share = 0.5\n",
            "x.toml:4: loads.case.a.capitellum_share = 0.5: has no effect but on a force",
        ),
        (
            "[loads.case.a]\nforce_n = 5\nline_anterior_mm = 900\n",
            "x.toml:3: loads.case.a.line_anterior_mm = 900: must lie between -200 and 200 mm",
        ),
        (
            "[loads.case.varus]\nforce_n = 5\n",
            "x.toml:1: loads.case.varus: the program has a load case of this name",
        ),
        (
            "[loads.case.a]\nforce_kn = 5\n",
            "x.toml:2: loads.case.a.force_kn = 5: no such key; the unit at its end is wrong",
        ),
        (
            "[loads.case.a]\nforce_n = 5\n[loads.case.a.b]\nfrce_n = 5\n",
            "did you mean loads.case.a.b.force_n?",
        ),
        (
            "loads.cases = [\"axail\"]\n",
            "x.toml:1: loads.cases = \"axail\": must be a list of names of [loads.case.NAME] or of some of",
        ),
        (
            "loads.cases = [\"lift\"]\n[loads.case.lft]\nforce_n = 1\n",
            "did you mean \"lft\"?",
        ),
        (
            "[factors]\n\"loads.case.a.force_n\" = [1, 2]\n",
            "this key cannot be a factor",
        ),
    ] {
        let told = loads(text).unwrap_err();
        assert!(told.contains(want), "{told}\n{want}");
    }
}
