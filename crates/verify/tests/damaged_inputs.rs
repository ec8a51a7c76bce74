//! Readers of files given damaged ones: no panic, no endless loop; and what is accepted can be planned and resolved.
//!
//! A short form; `BICOLUMN_FUZZ=200000` before the command gives every reader that many inputs.

use bicolumn_bundle::read_bundle;
use bicolumn_formats::parse_vtu;
use bicolumn_geometry::{audit, read_stl};
use bicolumn_job::{Job, Plan, keys, resolve, warnings};
use bicolumn_verify::mutation::{Tally, inputs, mutated, survey};
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn told(what: &str, tally: &Tally) {
    println!("{what}: {tally:?}");
    assert_eq!(tally.failed, Vec::<u64>::new(), "{what}");
    assert!(tally.taken > 0, "{what}: no input was taken");
    assert!(tally.refused > 0, "{what}: no input was refused");
}

fn files(folder: &str, ending: &str) -> Vec<Vec<u8>> {
    let entries = std::fs::read_dir(root().join(folder)).unwrap().flatten();
    let mut paths: Vec<PathBuf> = entries.map(|e| e.path()).collect();
    paths.retain(|p| p.extension().is_some_and(|e| e == ending));
    paths.sort();
    paths.iter().map(|p| std::fs::read(p).unwrap()).collect()
}

/// Lines that every section of a job takes.
const SHORT: &[&str] = &[
    "[factors]\nplates.stagger_mm = [0, 10]\nconstruct.layout = [\"parallel\", \"orthogonal\"]\n",
    "design.kind = \"latin_hypercube\"\ndesign.points = 5\n[factors]\nbone.shaft_diameter_mm = [17, 21]\n",
    "design.kind = \"halton\"\ndesign.points = 7\nrun.by = \"construct.layout\"\n[factors]\nconstruct.layout = [\"parallel\", \"orthogonal\"]\nscrews.shaft_count = [2, 4]\n",
    "[loads.case.lift]\nforce_n = 50\nflexion_deg = 90\n[loads.case.lift.muscle]\nproximal_n = 20\non = \"trochlea\"\n",
    "[sensors.gap.from]\nlevel_mm = 40\nside = \"medial\"\n[sensors.gap.to]\nlevel_mm = 30\nside = \"medial\"\n[sensors.strain]\nlevel_mm = 90\nside = \"lateral\"\ngauge_length_mm = 3\n",
    "[mesh.regions.rim]\nedge_mm = 1\naround = \"plate.medial.end\"\nwithin_mm = 5\n[mesh.regions.ball]\nedge_mm = 2\nlevel_mm = 30\nanterior_mm = 0\nlateral_mm = 0\nradius_mm = 10\n",
    "bone.surface_file = \"a.stl\"\nbone.surface_unit = \"m\"\nbone.surface_shaft_distal = [0, 60, 0]\nbone.surface_shaft_proximal = [0, 140, 0]\nbone.surface_medial_epicondyle = [0, 10, -30]\nbone.surface_lateral_epicondyle = [0, 10, 30]\n",
    "[published.stiff]\nresponse = \"stiffness_n_per_mm\"\ncase = \"axial\"\nvalue = 300\nsd = 20\nsource = \"invented\"\nread_from = \"text\"\n",
    "interfaces.screw.03.seat = \"frictional\"\nscrews.shaft_hold = \"non_locking\"\nscrews.shaft_preload_n = 90\ninterfaces.head_seat = \"frictional\"\n",
];

/// Reads, plans and resolves a job; `true`: it was accepted.
fn plans(text: &str) -> bool {
    let job = match Job::parse(Path::new("x.toml"), text) {
        Ok(job) => job,
        Err(e) => {
            let told = e.to_string();
            assert!(told.starts_with("x.toml") && told.len() < 200_000, "{told}");
            let escape = |c: char| c.is_control() && c != '\n';
            assert!(!told.contains(escape), "{told:?}");
            return false;
        }
    };
    let plan = match Plan::of(&job) {
        Ok(plan) => plan,
        Err(e) => {
            assert!(e.to_string().starts_with("x.toml"));
            return false;
        }
    };
    assert!(!plan.points.is_empty());
    let _ = warnings(&job, &plan);
    for point in [plan.points.first(), plan.points.last()]
        .into_iter()
        .flatten()
    {
        let inputs = resolve(&job, point);
        assert_eq!(inputs.id, point.id);
    }
    true
}

#[test]
fn damaged_jobs_are_refused_or_can_be_planned() {
    let mut seeds = files("jobs", "toml");
    seeds.extend(SHORT.iter().map(|s| s.as_bytes().to_vec()));
    let words: Vec<String> = keys()
        .rows()
        .map(|(_, row)| row.path.replace("NAME", "rim"))
        .collect();
    let read = |bytes: &[u8]| match std::str::from_utf8(bytes) {
        Ok(text) => plans(text),
        Err(_) => false,
    };
    let tally = survey(inputs(400), |n| mutated(&seeds, &words, n), read);
    told("jobs", &tally);
}

#[test]
fn damaged_design_tables_are_refused_or_can_be_planned() {
    let folder = tempfile::tempdir().unwrap();
    let table = folder.path().join("points.csv");
    let file = folder.path().join("x.toml");
    std::fs::write(
        &file,
        "design.kind = \"table\"\ndesign.table = \"points.csv\"\n",
    )
    .unwrap();
    let seeds = [
        b"plates.stagger_mm,construct.layout\n0,parallel\n10,orthogonal\n-10,parallel\n".to_vec(),
        b"fracture.gap_mm, screws.bicortical, screws.shaft_count\n2, true, 3\n5.5, false, 2\n"
            .to_vec(),
    ];
    let words: Vec<String> = keys()
        .rows()
        .map(|(_, row)| format!("{},", row.path))
        .collect();
    let read = |bytes: &[u8]| {
        std::fs::write(&table, bytes).unwrap();
        match Job::read(&file).and_then(|job| Ok((Plan::of(&job)?, job))) {
            Ok((plan, job)) => {
                let _ = plan.points.first().map(|p| resolve(&job, p));
                true
            }
            Err(e) => {
                assert!(!e.to_string().is_empty());
                false
            }
        }
    };
    let tally = survey(inputs(300), |n| mutated(&seeds, &words, n), read);
    told("design tables", &tally);
}

#[test]
fn damaged_size_fields_are_refused_or_can_be_planned() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("x.toml");
    let field = folder.path().join("field.json");
    std::fs::write(&file, "mesh.size_field = \"field.json\"\n").unwrap();
    let seeds = [
        b"{\"origin_mm\": [0, -20.5, 0], \"spacing_mm\": 10, \"counts\": [2, 3, 2], \"sizes_mm\": [1, 1, 2, 2, 3, 3, 1, 1, 2, 2, 3, 3]}"
            .to_vec(),
    ];
    let read = |bytes: &[u8]| {
        std::fs::write(&field, bytes).unwrap();
        let job = Job::read(&file);
        job.and_then(|job| Plan::of(&job)).is_ok()
    };
    let tally = survey(inputs(1_000), |n| mutated(&seeds, &[], n), read);
    told("size fields", &tally);
}

/// An octahedron of the size of a bone, in both layouts.
fn surfaces() -> Vec<Vec<u8>> {
    let corners = [
        [30.0f32, 60.0, 0.0],
        [-30.0, 60.0, 0.0],
        [0.0, 150.0, 0.0],
        [0.0, -20.0, 0.0],
        [0.0, 60.0, 30.0],
        [0.0, 60.0, -30.0],
    ];
    let faces = [
        [0, 2, 4],
        [2, 1, 4],
        [1, 3, 4],
        [3, 0, 4],
        [2, 0, 5],
        [1, 2, 5],
        [3, 1, 5],
        [0, 3, 5],
    ];
    let mut ascii = String::from("solid bone\n");
    let mut binary = vec![b' '; 80];
    binary.extend(8u32.to_le_bytes());
    for face in faces {
        ascii.push_str("facet normal 0 0 0\nouter loop\n");
        binary.extend([0; 12]);
        for [x, y, z] in face.map(|n: usize| corners[n]) {
            ascii.push_str(&format!("vertex {x} {y} {z}\n"));
            binary.extend([x, y, z].iter().flat_map(|v| v.to_le_bytes()));
        }
        ascii.push_str("endloop\nendfacet\n");
        binary.extend([0; 2]);
    }
    ascii.push_str("endsolid bone\n");
    vec![ascii.into_bytes(), binary]
}

#[test]
fn damaged_surfaces_are_refused_or_closed() {
    let seeds = surfaces();
    let read = |bytes: &[u8]| match read_stl(bytes).map(audit) {
        Ok(Ok(audited)) => {
            let surface = &audited.surface;
            let last = surface.vertices.len() as u32;
            assert!(surface.triangles.iter().flatten().all(|v| *v < last));
            assert!(surface.vertices.iter().flatten().all(|x| x.is_finite()));
            true
        }
        Ok(Err(e)) | Err(e) => {
            assert!(e.to_string().len() < 1_000, "{e}");
            false
        }
    };
    let tally = survey(inputs(3_000), |n| mutated(&seeds, &[], n), read);
    told("surfaces", &tally);
}

#[test]
fn damaged_grids_are_refused_or_consistent() {
    let seeds: Vec<Vec<u8>> = ["two_blocks_contact", "patch_distorted", "slivers"]
        .iter()
        .flat_map(|folder| files(&format!("meshes/{folder}"), "vtu"))
        .filter(|bytes| bytes.len() < 200_000)
        .collect();
    assert!(!seeds.is_empty());
    let read = |bytes: &[u8]| match parse_vtu(bytes) {
        Ok(grid) => {
            assert_eq!(grid.inconsistency(), None);
            true
        }
        Err(e) => {
            assert!(!e.to_string().is_empty());
            false
        }
    };
    let tally = survey(inputs(1_000), |n| mutated(&seeds, &[], n), read);
    told("grids", &tally);
}

#[test]
fn damaged_bundles_are_refused_or_posed() {
    let folder = tempfile::tempdir().unwrap();
    let from = root().join("meshes/two_blocks_contact");
    let mesh = std::fs::read(from.join("mesh.vtu")).unwrap();
    let model = std::fs::read(from.join("model.json")).unwrap();
    std::fs::write(folder.path().join("mesh.vtu"), &mesh).unwrap();
    let seeds = [model];
    let read = |bytes: &[u8]| {
        std::fs::write(folder.path().join("model.json"), bytes).unwrap();
        match read_bundle(folder.path()) {
            Ok(bundle) => {
                assert!(!bundle.problem.mesh().tets.is_empty());
                true
            }
            Err(e) => {
                assert!(!e.to_string().is_empty());
                false
            }
        }
    };
    let tally = survey(inputs(200), |n| mutated(&seeds, &[], n), read);
    told("bundles", &tally);
}
