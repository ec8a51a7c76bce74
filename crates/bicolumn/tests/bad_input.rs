//! Bad input of every kind: exit status 2, a message with file, line, key, value and what would be
//! accepted, and nothing written.

#![allow(clippy::unwrap_used)]

use crate::support::call;
use std::path::PathBuf;
use tempfile::TempDir;

/// A folder with a job in it; results would go to `results/` in there.
struct Bench {
    dir: TempDir,
}

impl Bench {
    fn with_job(text: &str) -> Bench {
        let dir = tempfile::tempdir().unwrap();
        std::fs::write(dir.path().join("job.toml"), text).unwrap();
        Bench { dir }
    }

    /// Runs `bicolumn ARGS` in the folder: (exit status, standard output, standard error).
    fn call(&self, args: &[&str]) -> (i32, String, String) {
        call(self.dir.path(), args)
    }

    /// Everything in the folder, sorted.
    fn files(&self) -> Vec<PathBuf> {
        let mut files: Vec<PathBuf> = std::fs::read_dir(self.dir.path())
            .unwrap()
            .map(|e| e.unwrap().path())
            .collect();
        files.sort();
        files
    }
}

/// `run` refuses the job with status 2, says all of `parts`, prints no data, writes nothing.
fn refused(job: &str, parts: &[&str]) {
    let bench = Bench::with_job(job);
    let before = bench.files();
    let (code, out, err) = bench.call(&["run", "job.toml"]);
    assert_eq!(code, 2, "{err}");
    for part in parts {
        assert!(err.contains(part), "{part:?} is not in:\n{err}");
    }
    assert_eq!(out, "");
    assert!(!err.contains("panicked"), "{err}");
    assert_eq!(bench.files(), before, "something was written");
}

#[test]
fn unknown_key() {
    refused(
        "[plates]\nwidht_mm = 10\n",
        &[
            "job.toml:2: plates.widht_mm = 10: no such key",
            "hint: did you mean plates.width_mm?",
        ],
    );
}

#[test]
fn wrong_unit_suffix() {
    refused(
        "[fracture]\ngap_cm = 0.5\n",
        &[
            "job.toml:2: fracture.gap_cm = 0.5:",
            "did you mean fracture.gap_mm (mm)?",
        ],
    );
}

#[test]
fn negative_thickness() {
    refused(
        "[plates]\n# a slip\nthickness_mm = -2.7\n",
        &["job.toml:3: plates.thickness_mm = -2.7: must lie between 1 and 5 mm"],
    );
}

#[test]
fn gap_outside_the_metaphysis() {
    refused(
        "fracture.level_mm = 95\n",
        &["job.toml:1: fracture.level_mm = 95: must lie between"],
    );
}

#[test]
fn gap_out_of_range() {
    refused(
        "fracture.gap_mm = -3\n",
        &[
            "job.toml:1: fracture.gap_mm = -3: must be 0 (reduced: the faces touch) or lie between 1 and 15 mm",
        ],
    );
}

#[test]
fn gap_that_leaves_the_distal_screws_no_bone() {
    refused(
        "[fracture]\nlevel_mm = 20\n",
        &[
            "job.toml:2: fracture.level_mm = 20: ",
            "distal screws fit below the fracture",
        ],
    );
}

#[test]
fn plate_longer_than_the_shaft_model() {
    refused(
        "[bone]\npotting_level_mm = 150\n[plates]\nend_level_mm = 140\nstagger_mm = 20\n",
        &[
            "job.toml:4: plates.end_level_mm = 140: plate.medial: its proximal end at level 150.0 mm is \
             longer than the shaft model, potted at 150.0 mm; end it at 145.0 mm or below, or set \
             potting_level_mm to 155.0 or more",
            "see also: job.toml:5: plates.stagger_mm = 20",
        ],
    );
}

#[test]
fn stagger_that_leaves_no_screw() {
    refused(
        "[plates]\nstagger_mm = 70\n",
        &[
            "job.toml:2: plates.stagger_mm = 70: plate.lateral: its end level of 55.0 mm leaves",
            "shaft holes for 3 shaft screws",
        ],
    );
}

#[test]
fn screw_that_misses_bone() {
    refused(
        "[bone]\ncolumn_depth_mm = 11\ncolumn_cortex_mm = 4\narticular_cortex_mm = 3\n\
         [plates]\ndistal_hole_level_mm = 14\nwidth_mm = 8\n\
         [screws]\ndistal_diameter_mm = 4\ndistal_count = 2\n",
        &[
            "job.toml:6: plates.distal_hole_level_mm = 14: screw.",
            "misses the bone",
            "at least 7.0 mm is needed",
            "see also: job.toml:9: screws.distal_diameter_mm = 4",
        ],
    );
}

#[test]
fn screws_that_cross() {
    refused(
        "[construct]\nclearance_mm = 3\n[plates]\nhole_pitch_mm = 7\n[screws]\nshaft_count = 6\nshaft_diameter_mm = 4.5\n",
        &["job.toml:", "clash", "mm inside the clearance of 3.00 mm"],
    );
}

#[test]
fn interface_of_a_part_that_no_construct_has() {
    refused(
        "[interfaces]\nplate_bone = \"frictional\"\n[interfaces.screw.3]\nseat = \"frictional\"\n",
        &[
            "job.toml:4: interfaces.screw.3.seat = \"frictional\": no such key",
            "plate.medial, plate.lateral, plate.posterolateral, screw.01 to screw.30",
        ],
    );
}

#[test]
fn interface_of_a_part_that_this_construct_does_not_have() {
    refused(
        "construct.layout = \"medial_only\"\nscrews.shaft_hold = \"non_locking\"\n[interfaces]\nscrew.01.seat = \"frictional\"\nscrew.04.seat = \"frictional\"\n",
        &[
            "job.toml:5: interfaces.screw.04.seat = frictional: interfaces.screw.04.seat: this construct \
             has no such screw with a head that is not locked; accepted: screw.01, screw.02, screw.03",
        ],
    );
}

#[test]
fn preload_of_a_bonded_head() {
    refused(
        "[screws]\nshaft_hold = \"non_locking\"\nshaft_preload_n = 200\n[interfaces]\nplate_bone = \"frictional\"\nhead_seat = \"bonded\"\n",
        &[
            "job.toml:6: interfaces.head_seat = bonded: screw.01 cannot take a preload of 200 N: its head \
             is bonded",
        ],
    );
}

#[test]
fn a_rig_that_leaves_a_mechanism() {
    refused(
        "[supports]\nproximal = \"universal_joint\"\n",
        &[
            "job.toml:2: supports.proximal = universal_joint: a mechanism: nothing holds the bone against turning",
            "hold the joint (supports.distal = \"guided\")",
        ],
    );
}

#[test]
fn a_load_that_its_own_support_bears() {
    refused(
        "[supports]\ndistal = \"guided\"\n",
        &[
            "job.toml:2: supports.distal = guided: the joint's own support bears the load case posterior_bending whole",
        ],
    );
}

#[test]
fn friction_out_of_range() {
    refused(
        "interfaces.plate.medial.bone_friction = 3\n",
        &["job.toml:1: interfaces.plate.medial.bone_friction = 3: must lie between 0.01 and 2"],
    );
}

#[test]
fn no_toml() {
    refused("[plates\nwidth_mm = 10\n", &["job.toml:1: not valid TOML"]);
}

#[test]
fn all_errors_at_once() {
    refused(
        "[plates]\nthickness_mm = \"thick\"\nstagger_mm = 900\n[construct]\nlayout = \"paralel\"\n",
        &[
            "job.toml:2: plates.thickness_mm = \"thick\": must lie between",
            "job.toml:3: plates.stagger_mm = 900: must lie between",
            "job.toml:5: construct.layout = \"paralel\": must be one of",
        ],
    );
}

#[test]
fn missing_file() {
    let bench = Bench::with_job("");
    let (code, out, err) = bench.call(&["run", "no-such-job.toml"]);
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(err.contains("no-such-job.toml: cannot be read"), "{err}");
    assert_eq!(bench.files().len(), 1);
}

#[test]
fn unknown_verb_and_no_verb() {
    let bench = Bench::with_job("");
    for args in [&["simulate"][..], &[][..]] {
        let (code, out, err) = bench.call(args);
        assert_eq!((code, out.as_str()), (2, ""));
        assert!(err.contains("Usage: bicolumn"), "{err}");
    }
}

#[test]
fn a_folder_of_something_else_is_left_alone() {
    let bench = Bench::with_job("");
    let foreign = bench.dir.path().join("mine");
    std::fs::create_dir(&foreign).unwrap();
    std::fs::write(foreign.join("notes.txt"), "mine").unwrap();
    let (code, _, err) = bench.call(&["run", "job.toml", "--out", "mine"]);
    assert_eq!(code, 2);
    assert!(
        err.contains("mine is not empty and holds no study"),
        "{err}"
    );
    assert!(err.contains("--out"), "{err}");
    assert_eq!(std::fs::read_dir(&foreign).unwrap().count(), 1);
}

/// Nothing can be made below a file, whoever asks.
#[test]
fn folder_that_cannot_be_written() {
    let bench = Bench::with_job("");
    std::fs::write(bench.dir.path().join("plain"), "mine").unwrap();
    for verb in [
        &["run", "job.toml"][..],
        &["mesh", "job.toml", "--point", "1"],
    ] {
        let args = [verb, &["--out", "plain/out"]].concat();
        let (code, out, err) = bench.call(&args);
        assert_eq!((code, out.as_str()), (2, ""), "{err}");
        assert!(err.contains("plain/out: cannot be written"), "{err}");
    }
    assert_eq!(bench.files().len(), 2);
}

#[test]
fn damaged_study_is_left_alone() {
    let bench = Bench::with_job("");
    let out = bench.dir.path().join("out");
    std::fs::create_dir(&out).unwrap();
    std::fs::write(out.join("study.json"), "{\"schema\": 1}").unwrap();
    let (code, _, err) = bench.call(&["run", "job.toml", "--out", "out"]);
    assert_eq!(code, 2);
    assert!(
        err.contains("out/study.json: damaged record: it has no checksum"),
        "{err}"
    );
    assert!(
        err.contains("hint: give another folder with --out"),
        "{err}"
    );
    let text = std::fs::read_to_string(out.join("study.json")).unwrap();
    assert_eq!(text, "{\"schema\": 1}");
    assert_eq!(std::fs::read_dir(&out).unwrap().count(), 1);
}

/// A file system of 16 kB, in a name space of its own so that it ends with the command. Not every
/// machine lets a test make one: then nothing is tested.
#[cfg(target_os = "linux")]
#[test]
fn full_disk() {
    let bench = Bench::with_job("construct.layout = \"medial_only\"\n");
    std::fs::create_dir(bench.dir.path().join("small")).unwrap();
    let mount = "mount -t tmpfs -o size=16k none small";
    let unshared = |script: &str| {
        std::process::Command::new("unshare")
            .args(["--user", "--map-root-user", "--mount", "sh", "-c", script])
            .current_dir(bench.dir.path())
            .output()
    };
    if !unshared(mount).is_ok_and(|o| o.status.success()) {
        return;
    }
    let program = assert_cmd::cargo::cargo_bin("bicolumn");
    let run = format!(
        "{mount} && {} run job.toml --out small/out",
        program.display()
    );
    let out = unshared(&run).unwrap();
    let err = String::from_utf8(out.stderr).unwrap();
    assert_eq!(out.status.code(), Some(2), "{err}");
    assert!(err.contains("the disk is full"), "{err}");
}

/// `/dev/full` takes no byte; a pipe whose reader has gone wants none.
#[cfg(target_os = "linux")]
#[test]
fn output_that_cannot_be_written_is_an_error_and_a_closed_pipe_is_none() {
    let bench = Bench::with_job("construct.layout = \"bare_bone\"\n");
    let program = assert_cmd::cargo::cargo_bin("bicolumn");
    let told = |args: &[&str], out: std::process::Stdio| {
        let mut command = std::process::Command::new(&program);
        let command = command.args(args).current_dir(bench.dir.path()).stdout(out);
        let done = command.output().unwrap();
        let err = String::from_utf8(done.stderr).unwrap();
        assert!(!err.contains("panicked"), "{err}");
        (done.status.code(), err)
    };
    for args in [&["keys"][..], &["check", "job.toml"], &["--help"]] {
        let full = std::fs::File::create("/dev/full").unwrap();
        let (status, err) = told(args, full.into());
        assert_eq!(status, Some(1), "{args:?}: {err}");
        assert!(
            err.contains("error: standard output cannot be written: "),
            "{args:?}: {err}"
        );
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let (status, err) = told(args, writer.into());
        assert_eq!(status, Some(0), "{args:?}: {err}");
        assert!(!err.contains("error"), "{args:?}: {err}");
    }
}

#[test]
fn a_message_acts_on_no_terminal() {
    let bench = Bench::with_job("\"wid\\u001b[31mth\" = 3\n");
    let (code, _, err) = bench.call(&["check", "job.toml"]);
    assert_eq!(code, 2, "{err}");
    assert!(err.contains("wid\\u{1b}[31mth = 3: no such key"), "{err}");
    let (code, _, err) = bench.call(&["check", "no\u{1b}]0;x\u{7}\u{202e}.toml"]);
    assert_eq!(code, 2, "{err}");
    assert!(
        err.contains("no\\u{1b}]0;x\\u{7}\\u{202e}.toml: cannot be read"),
        "{err}"
    );
    let (code, _, err) = bench.call(&["report", "\u{1b}[2J"]);
    assert_eq!(code, 2, "{err}");
    assert!(!err.contains('\u{1b}'), "{err}");
}

#[test]
fn check_tells_some_from_none() {
    let bench = Bench::with_job("[factors]\nplates.end_level_mm = [55, 90]\n");
    let (code, out, err) = bench.call(&["check", "job.toml"]);
    assert_eq!(code, 1, "{err}");
    assert!(out.contains("CANNOT BE BUILT"), "{out}");
    assert!(out.contains("can be built"), "{out}");
    assert!(
        err.contains("job.toml:2: plates.end_level_mm = 55 (factor, p001)"),
        "{err}"
    );
    let bench = Bench::with_job("[factors]\nplates.end_level_mm = [54, 55]\n");
    assert_eq!(bench.call(&["check", "job.toml"]).0, 2);
}

#[test]
fn help_carries_the_caution() {
    let bench = Bench::with_job("");
    let (code, out, _) = bench.call(&["--help"]);
    assert_eq!(code, 0);
    assert!(
        out.contains("Research tool, not a medical device."),
        "{out}"
    );
}

#[test]
fn a_job_that_cannot_be_read_does_not_stop_the_others() {
    let bench = Bench::with_job("construct.layout = \"bare_bone\"\n");
    std::fs::write(
        bench.dir.path().join("broken.toml"),
        "plates.end_levl_mm = 90\n",
    )
    .unwrap();
    let (status, out, err) = bench.call(&["check", "."]);
    assert_eq!(status, 1, "{err}");
    assert!(out.contains("can be built"), "{out}");
    assert!(
        err.contains("end_levl_mm") && err.contains("job.toml:"),
        "{err}"
    );
    let (status, _, err) = bench.call(&["check", "job.toml", "./job.toml"]);
    assert_eq!(status, 1, "{err}");
    assert!(err.contains("the same folder of results"), "{err}");
    for (args, part) in [
        (["run", "job.toml", "--shard", "3/2"], "K from 1 to N"),
        (
            ["run", "job.toml", "--points", "2-1"],
            "numbers from 1 and ranges",
        ),
        (
            ["run", "job.toml", "--points", "9"],
            "there is no point 9; accepted: 1 to 1",
        ),
    ] {
        let (status, _, err) = bench.call(&args);
        assert_eq!(status, 2, "{err}");
        assert!(err.contains(part), "{err}");
    }
    std::fs::create_dir(bench.dir.path().join("empty")).unwrap();
    let (status, _, err) = bench.call(&["run", "empty"]);
    assert_eq!(status, 2);
    assert!(err.contains("holds no job file"), "{err}");
}

/// The outside of the parametric bone as binary STL, each coordinate changed.
fn stl_of(change: impl Fn([f32; 3]) -> [f32; 3]) -> Vec<u8> {
    let meshes = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../meshes");
    let mut bytes = std::fs::read(meshes.join("humerus_outer.stl")).unwrap();
    for triangle in bytes[84..].chunks_exact_mut(50) {
        for corner in triangle[12..48].chunks_exact_mut(12) {
            let at = |i: usize| f32::from_le_bytes(corner[4 * i..4 * i + 4].try_into().unwrap());
            let moved = change([at(0), at(1), at(2)]);
            for (i, x) in moved.into_iter().enumerate() {
                corner[4 * i..4 * i + 4].copy_from_slice(&x.to_le_bytes());
            }
        }
    }
    bytes
}

#[test]
fn surfaces_that_are_no_bone_as_they_stand() {
    let scaled = |s: f32| stl_of(move |p| p.map(|x| x * s));
    let whole = stl_of(|p| p);
    let text = b"\x1b[2Jjunk\n".to_vec();
    let cases: [(Vec<u8>, &[&str]); 10] = [
        (scaled(0.001), &["bounding box", "set surface_unit = \"m\""]),
        (
            scaled(1000.0),
            &["bounding box", "set surface_unit = \"um\""],
        ),
        (scaled(1e34), &["bounding box", "in no unit"]),
        (
            stl_of(|[x, y, z]| [z + 90.0, -x - 240.0, -y + 700.0]),
            &["bounding box", "surface_shaft_distal"],
        ),
        (
            stl_of(|[x, _, z]| [x, f32::NAN, z]),
            &["triangle 1: a coordinate is no number"],
        ),
        (
            whole[..whole.len() / 2].to_vec(),
            &["it ends after", "in triangle"],
        ),
        (
            whole[..whole.len() - 50].to_vec(),
            &["it ends after", "in triangle"],
        ),
        (Vec::new(), &["it holds no triangle"]),
        (text, &["line 1: \"\\u{1b}[2Jjunk\" is no word of STL"]),
        (b"solid\nendsolid\n".to_vec(), &["it holds no triangle"]),
    ];
    for (bytes, parts) in cases {
        let bench = Bench::with_job("[bone]\nsurface_file = \"a.stl\"\n");
        std::fs::write(bench.dir.path().join("a.stl"), bytes).unwrap();
        let (code, out, err) = bench.call(&["run", "job.toml"]);
        assert_eq!((code, out.as_str()), (2, ""), "{err}");
        assert!(
            err.contains("job.toml:2: bone.surface_file = a.stl: "),
            "{err}"
        );
        for part in parts {
            assert!(err.contains(part), "{part:?} is not in:\n{err}");
        }
        assert!(
            !err.contains("internal error") && err.len() < 2_000,
            "{err}"
        );
    }
    let bench = Bench::with_job("bone.surface_file = \"none.stl\"\n");
    let (code, _, err) = bench.call(&["check", "job.toml"]);
    assert_eq!(code, 2);
    assert!(
        err.contains("job.toml:1: bone.surface_file = none.stl: the surface cannot be read: "),
        "{err}"
    );
    refused(
        "bone.surface_file = \"a.stl\"\nbone.surface_shaft_distal = [0, 60, 0]\n",
        &[
            "job.toml:2: bone.surface_shaft_proximal: needed as well: the frame of a surface has four landmarks",
        ],
    );
}
