//! A batch whose points are not really solved: what fails, what goes on, what is kept.

use crate::bones::BoneCache;
use crate::point::PointContext;
use crate::record::failed_record;
use crate::runner::{Event, Outcome, RunOptions, SolvePoint, StudyError, run_study_by};
use crate::stage::{PointError, Stage};
use bicolumn_job::Job;
use bicolumn_job::Plan;
use bicolumn_job::PointInputs;
use bicolumn_store::{PointRecord, Status, StudyFolder, read_record};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, OnceLock};
use tempfile::TempDir;

/// One bone for all tests: building takes a while.
fn bones() -> &'static BoneCache {
    static BONES: OnceLock<BoneCache> = OnceLock::new();
    BONES.get_or_init(BoneCache::default)
}

const THREE: &str =
    "construct.layout = \"medial_only\"\n[factors]\nplates.end_level_mm = [85, 90, 95]\n";

struct Bench {
    dir: TempDir,
    job: Job,
    plan: Plan,
    stop: AtomicBool,
    /// Events received, as text.
    heard: Mutex<Vec<String>>,
}

impl Bench {
    fn with(text: &str) -> Bench {
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        Bench {
            dir: tempfile::tempdir().unwrap(),
            plan: Plan::of(&job).unwrap(),
            job,
            stop: AtomicBool::new(false),
            heard: Mutex::default(),
        }
    }

    fn run(&self, solve: &SolvePoint<'_>) -> Result<Outcome, StudyError> {
        self.stop.store(false, Ordering::Relaxed);
        self.heard.lock().unwrap().clear();
        let folder = self.folder();
        let options = RunOptions {
            out_dir: folder.root(),
            threads: 1,
            memory_bytes: None,
            stop: &self.stop,
            observer: &|event| {
                if !matches!(event, Event::Checked { .. } | Event::Stage { .. }) {
                    self.heard.lock().unwrap().push(format!("{event:?}"));
                }
            },
        };
        run_study_by(&self.job, &self.plan, &options, bones(), solve)
    }

    fn folder(&self) -> StudyFolder {
        StudyFolder::new(self.dir.path().join("out"))
    }

    fn record(&self, id: &str) -> PointRecord {
        read_record(&self.folder().record_file(id)).unwrap()
    }
}

/// A record as if the point had been solved.
fn solved(inputs: &PointInputs) -> PointRecord {
    let nothing = PointError {
        stage: Stage::Store,
        message: String::new(),
    };
    PointRecord {
        status: Status::Done,
        ..failed_record(inputs, &nothing)
    }
}

fn all_well(inputs: &PointInputs, _: &PointContext<'_>) -> Result<PointRecord, PointError> {
    Ok(solved(inputs))
}

#[test]
fn a_point_that_fails_or_panics_is_marked_and_the_batch_goes_on() {
    let bench = Bench::with(THREE);
    let outcome = bench
        .run(&|inputs, context| match inputs.id.as_str() {
            "p001" => {
                (context.progress)(Stage::Solve);
                Err(PointError {
                    stage: Stage::Solve,
                    message: "no luck".into(),
                })
            }
            "p002" => {
                (context.progress)(Stage::Mesh);
                panic!("a slip")
            }
            _ => Ok(solved(inputs)),
        })
        .unwrap();
    assert_eq!(outcome.done, ["p003"]);
    let failed: Vec<(&str, &str)> = outcome
        .failed
        .iter()
        .map(|(id, why)| (id.as_str(), why.as_str()))
        .collect();
    assert_eq!(
        failed,
        [("p001", "no luck"), ("p002", "internal error: a slip")]
    );
    let status = |stage: &str, reason: &str| Status::Failed {
        stage: stage.into(),
        reason: reason.into(),
    };
    assert_eq!(bench.record("p001").status, status("solve", "no luck"));
    assert_eq!(
        bench.record("p002").status,
        status("mesh", "internal error: a slip")
    );
    assert_eq!(bench.record("p003").status, Status::Done);
    let table = std::fs::read_to_string(bench.folder().results_csv()).unwrap();
    assert!(table.contains("solve: no luck"), "{table}");
}

#[test]
fn a_stopped_study_goes_on_where_it_was() {
    let bench = Bench::with(THREE);
    let outcome = bench
        .run(&|inputs, _| {
            bench.stop.store(true, Ordering::Relaxed);
            Ok(solved(inputs))
        })
        .unwrap();
    assert_eq!(outcome.done, ["p001"]);
    assert_eq!(outcome.left, ["p002", "p003"]);

    // What a kill in the middle of a point leaves: its folder, files half its own, no record.
    let half = bench.folder().point_folder("p002");
    std::fs::create_dir_all(&half).unwrap();
    std::fs::write(half.join("surface.vtu"), "half").unwrap();
    std::fs::write(half.join(".writing-record"), "{").unwrap();

    let outcome = bench.run(&all_well).unwrap();
    assert_eq!(outcome.kept, ["p001"]);
    assert_eq!(outcome.done, ["p002", "p003"]);

    let outcome = bench
        .run(&|_, _| panic!("nothing is left to solve"))
        .unwrap();
    assert_eq!(outcome.kept, ["p001", "p002", "p003"]);
    assert!(outcome.done.is_empty() && outcome.failed.is_empty());
}

#[test]
fn a_damaged_record_is_told_of_and_its_point_alone_solved_again() {
    let bench = Bench::with(THREE);
    bench.run(&all_well).unwrap();
    let file = bench.folder().record_file("p002");
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, text.replacen("90", "91", 1)).unwrap();
    let outcome = bench.run(&all_well).unwrap();
    assert_eq!(outcome.kept, ["p001", "p003"]);
    assert_eq!(outcome.done, ["p002"]);
    let heard = bench.heard.lock().unwrap().join("\n");
    assert!(
        heard.contains("Damaged { id: \"p002\", reason: \"points/p002/record.json: damaged record"),
        "{heard}"
    );
}

#[test]
fn a_failed_point_is_tried_again_and_a_changed_job_is_refused() {
    let bench = Bench::with(THREE);
    let fails = |_: &PointInputs, _: &PointContext<'_>| {
        Err(PointError {
            stage: Stage::Solve,
            message: "no luck".into(),
        })
    };
    assert_eq!(bench.run(&fails).unwrap().failed.len(), 3);
    assert_eq!(bench.run(&all_well).unwrap().done.len(), 3);

    let changed = THREE.replace("95", "96");
    let other = Bench {
        job: Job::parse(Path::new("x.toml"), &changed).unwrap(),
        ..bench
    };
    let refused = other.run(&all_well).unwrap_err();
    assert!(
        matches!(refused, StudyError::Folder(_)),
        "another job's results are left alone: {refused}"
    );
}

#[test]
fn a_construct_that_cannot_be_built_is_marked_and_the_others_are_solved() {
    let bench = Bench::with(
        "construct.layout = \"medial_only\"\n[factors]\nplates.end_level_mm = [55, 90]\n",
    );
    let outcome = bench.run(&all_well).unwrap();
    assert_eq!(outcome.done, ["p002"]);
    let (id, reason) = &outcome.failed[0];
    assert_eq!(id, "p001");
    assert!(
        reason.starts_with("x.toml:3: plates.end_level_mm = 55 (factor, p001): plate.medial"),
        "{reason}"
    );
    let nothing = Bench::with("construct.layout = \"medial_only\"\nplates.end_level_mm = 55\n");
    let refused = nothing.run(&all_well).unwrap_err();
    assert!(matches!(refused, StudyError::NothingToSolve { .. }));
    assert!(!nothing.folder().root().exists(), "nothing was written");
}

#[test]
fn a_folder_lost_on_the_way_ends_the_run_and_keeps_what_is_finished() {
    let bench = Bench::with(THREE);
    let points = bench.folder().root().join("points");
    let lost = bench
        .run(&|inputs, _| {
            if inputs.id == "p002" {
                std::fs::rename(&points, bench.dir.path().join("kept")).unwrap();
                std::fs::write(&points, "in the way").unwrap();
            }
            Ok(solved(inputs))
        })
        .unwrap_err();
    assert!(matches!(lost, StudyError::Store(_)), "{lost}");
    assert!(lost.to_string().contains("cannot be written"), "{lost}");
    let kept = bench.dir.path().join("kept/p001/record.json");
    assert!(read_record::<PointRecord>(&kept).is_ok());
}

#[test]
fn a_solved_point_that_cannot_be_stored_ends_the_run_and_is_solved_again_by_the_next() {
    let bench = Bench::with(THREE);
    let begun = std::sync::atomic::AtomicUsize::new(0);
    let full = bench
        .run(&|inputs, _| {
            begun.fetch_add(1, Ordering::Relaxed);
            if inputs.id == "p002" {
                return Err(PointError {
                    stage: Stage::Store,
                    message: "points/p002/surface.vtu: the disk is full".into(),
                });
            }
            Ok(solved(inputs))
        })
        .unwrap_err();
    assert!(matches!(full, StudyError::NotStored { .. }), "{full}");
    assert!(full.to_string().contains("the disk is full"), "{full}");
    assert_eq!(
        begun.load(Ordering::Relaxed),
        2,
        "no point is solved to be thrown away"
    );
    let folder = bench.folder();
    assert!(!folder.record_file("p002").exists(), "it has not failed");
    assert!(
        folder.results_csv().is_file(),
        "what is finished is in the tables"
    );
    let again = bench.run(&all_well).unwrap();
    assert_eq!((again.kept.len(), again.done.len()), (1, 2));
}

#[test]
fn a_folder_that_a_run_is_at_work_in_is_refused_with_who_has_it() {
    let bench = Bench::with(THREE);
    let inner = std::sync::Mutex::new(None);
    bench
        .run(&|inputs, _| {
            let second = bench_run_again(&bench);
            *inner.lock().unwrap() = Some(second);
            Ok(solved(inputs))
        })
        .unwrap();
    let told = inner.into_inner().unwrap().unwrap();
    assert!(
        told.contains(&format!("process {}", std::process::id())),
        "{told}"
    );
    assert!(
        !bench.folder().root().join("held.json").exists(),
        "let go at the end"
    );
}

/// Message to a second run on the same folder.
fn bench_run_again(bench: &Bench) -> String {
    match crate::study_folder::hold(bench.folder().root()) {
        Err(refused) => refused.to_string(),
        Ok(_) => "it was taken twice".into(),
    }
}
