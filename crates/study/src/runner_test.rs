//! A batch whose points are not really solved: what fails, what goes on, what is kept.

use crate::bones::BoneCache;
use crate::point::PointContext;
use crate::record::failed_record;
use crate::runner::{
    Event, Outcome, RunOptions, SolvePoint, StudyError, StudyTask, run_studies_by,
};
use crate::share::{Shard, Share};
use crate::stage::{PointError, Stage};
use crate::worker_pool::{PointLimits, WorkerProgram};
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
    worker: Option<WorkerProgram>,
    limits: PointLimits,
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
            worker: None,
            limits: PointLimits::default(),
        }
    }

    fn run(&self, solve: &SolvePoint<'_>) -> Result<Outcome, StudyError> {
        self.run_share(Share::All, solve)
    }

    fn run_share(&self, share: Share, solve: &SolvePoint<'_>) -> Result<Outcome, StudyError> {
        self.stop.store(false, Ordering::Relaxed);
        self.heard.lock().unwrap().clear();
        let folder = self.folder();
        let task = StudyTask {
            name: "",
            job: &self.job,
            plan: &self.plan,
            out_dir: folder.root(),
        };
        let observer = |event: Event<'_>| {
            if !matches!(event, Event::Checked { .. } | Event::Stage { .. }) {
                self.heard.lock().unwrap().push(format!("{event:?}"));
            }
        };
        let options = RunOptions {
            share,
            worker: self.worker.as_ref(),
            limits: self.limits,
            ..RunOptions::new(1, &self.stop, &observer)
        };
        run_studies_by(&[task], &options, bones(), solve)
            .pop()
            .unwrap()
    }

    /// The same folder under a changed job.
    fn changed(self, text: &str) -> Bench {
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        Bench {
            plan: Plan::of(&job).unwrap(),
            job,
            ..self
        }
    }

    /// Id and level of every record in the tables.
    fn rows(&self) -> Vec<(String, f64)> {
        let all = bicolumn_store::gather(&self.folder()).unwrap();
        assert!(all.unread.is_empty(), "{:?}", all.unread);
        let level = |p: &PointRecord| p.factors["plates.end_level_mm"].as_number().unwrap();
        all.points
            .iter()
            .map(|p| (p.id.clone(), level(p)))
            .collect()
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
fn a_failed_point_is_tried_again_when_asked_and_another_jobs_folder_is_refused() {
    let bench = Bench::with(THREE);
    let fails = |_: &PointInputs, _: &PointContext<'_>| {
        Err(PointError {
            stage: Stage::Solve,
            message: "no luck".into(),
        })
    };
    assert_eq!(bench.run(&fails).unwrap().failed.len(), 3);
    // Not asked: the same inputs would fail again.
    let outcome = bench.run(&|_, _| panic!("nothing is tried again")).unwrap();
    assert_eq!((outcome.failed.len(), outcome.done.len()), (3, 0));
    let heard = bench.heard.lock().unwrap().join("\n");
    assert!(heard.contains("FailedBefore { id: \"p001\""), "{heard}");
    // Under another id, it has still failed.
    let grown = bench.changed(&THREE.replace("85, 90, 95", "82, 85, 90"));
    let outcome = grown.run(&all_well).unwrap();
    assert_eq!(outcome.done, ["p001"]);
    assert_eq!(outcome.failed[0].0, "p002");
    assert!(matches!(grown.record("p003").status, Status::Failed { .. }));
    let bench = grown.changed(THREE);
    let asked = bench.run_share(Share::Failed, &all_well).unwrap();
    assert_eq!(asked.done, ["p001", "p002"], "{asked:?}");
    assert_eq!(asked.others, ["p003"], "95 had lost its record to 90");
    assert_eq!(bench.run(&all_well).unwrap().done, ["p003"]);

    let other = bench.changed(&THREE.replace("85, 90, 95", "86, 91, 96"));
    let refused = other.run(&all_well).unwrap_err();
    let told = refused.to_string();
    assert!(told.contains("none of its 4 finished points"), "{told}");
    assert!(other.folder().record_file("p001").exists());
}

#[test]
fn a_job_that_grows_keeps_what_is_finished_under_its_new_ids() {
    let bench = Bench::with(THREE);
    bench.run(&all_well).unwrap();
    std::fs::write(bench.folder().surface_vtu("p001"), "of 85").unwrap();
    let only = |levels: &'static [f64]| {
        move |inputs: &PointInputs, _: &PointContext<'_>| {
            let level = inputs.factors["plates.end_level_mm"].as_number().unwrap();
            assert!(levels.contains(&level), "{level} is solved twice");
            Ok(solved(inputs))
        }
    };
    // A comment, a level before the others, none of 95 any more.
    let grown = bench.changed(&format!(
        "# why\n{}",
        THREE.replace("85, 90, 95", "82, 85, 90")
    ));
    let outcome = grown.run(&only(&[82.0])).unwrap();
    assert_eq!(outcome.kept, ["p002", "p003"]);
    assert_eq!(outcome.done, ["p001"]);
    let heard = grown.heard.lock().unwrap().join("\n");
    assert!(
        heard.contains("Moved { id: \"p002\", before: \"p001\" }"),
        "{heard}"
    );
    assert!(heard.contains("SetAside { count: 1"), "{heard}");
    let rows = [("p001", 82.0), ("p002", 85.0), ("p003", 90.0)];
    assert_eq!(grown.rows(), rows.map(|(id, level)| (id.to_owned(), level)));
    let surface = std::fs::read_to_string(grown.folder().surface_vtu("p002")).unwrap();
    assert_eq!(surface, "of 85", "the pictures go with the record");

    // Back again: nothing is solved, what was set aside is found.
    let back = grown.changed(THREE);
    let outcome = back.run(&only(&[])).unwrap();
    assert_eq!(outcome.kept.len(), 3);
    let rows = [("p001", 85.0), ("p002", 90.0), ("p003", 95.0)];
    assert_eq!(back.rows(), rows.map(|(id, level)| (id.to_owned(), level)));
}

#[test]
fn a_filing_killed_between_two_moves_is_finished_by_the_next_run() {
    let bench = Bench::with(THREE);
    bench.run(&all_well).unwrap();
    let reversed = bench.changed(&THREE.replace("85, 90, 95", "95, 90, 85"));
    // As it is after the first rename of the filing, and as after a record was not yet written under its new id.
    let folder = reversed.folder();
    let record: PointRecord = read_record(&folder.record_file("p001")).unwrap();
    std::fs::create_dir(folder.earlier_folder()).unwrap();
    let aside = folder.earlier_folder().join(&record.digest[..16]);
    std::fs::rename(folder.point_folder("p001"), aside).unwrap();
    std::fs::rename(folder.point_folder("p003"), folder.point_folder("p001")).unwrap();
    let outcome = reversed
        .run(&|_, _| panic!("nothing is left to solve"))
        .unwrap();
    assert_eq!(outcome.kept, ["p001", "p002", "p003"]);
    let rows = [("p001", 95.0), ("p002", 90.0), ("p003", 85.0)];
    assert_eq!(
        reversed.rows(),
        rows.map(|(id, level)| (id.to_owned(), level))
    );
    assert!(!folder.earlier_folder().exists());
}

#[test]
fn shards_in_any_order_give_the_tables_of_one_run() {
    let whole = Bench::with(THREE);
    whole.run(&all_well).unwrap();
    let parts = Bench::with(THREE);
    for number in [2, 1, 3] {
        let shard = Shard::new(number, 3).unwrap();
        let outcome = parts.run_share(Share::Shard(shard), &all_well).unwrap();
        assert_eq!(outcome.done.len(), 1);
        assert!(
            !parts.folder().results_csv().exists(),
            "tables are the merge's"
        );
    }
    bicolumn_store::gather(&parts.folder()).unwrap();
    let table = |b: &Bench| std::fs::read_to_string(b.folder().results_csv()).unwrap();
    assert_eq!(table(&parts), table(&whole));
}

#[test]
fn only_the_points_asked_for_are_solved() {
    let bench = Bench::with(THREE);
    let outcome = bench
        .run_share(Share::Points([2].into()), &all_well)
        .unwrap();
    assert_eq!(outcome.done, ["p002"]);
    assert_eq!(outcome.others, ["p001", "p003"]);
    let none = bench.run_share(Share::Points([4].into()), &all_well);
    let told = none.unwrap_err().to_string();
    assert_eq!(told, "there is no point 4; accepted: 1 to 3");
    let outcome = bench.run(&all_well).unwrap();
    assert_eq!((outcome.kept.len(), outcome.done.len()), (1, 2));
}

#[test]
fn a_record_of_another_point_is_not_read_as_this_ones() {
    let bench = Bench::with(THREE);
    bench.run(&all_well).unwrap();
    let folder = bench.folder();
    std::fs::copy(folder.record_file("p001"), folder.record_file("p002")).unwrap();
    let all = bicolumn_store::gather(&folder).unwrap();
    let (id, reason) = &all.unread[0];
    assert_eq!((all.points.len(), id.as_str()), (2, "p002"));
    assert!(reason.contains("results of another point"), "{reason}");
}

#[test]
fn two_jobs_are_one_pool_and_share_a_point_of_the_same_inputs() {
    let temp = tempfile::tempdir().unwrap();
    let read = |text: &str| {
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        (Plan::of(&job).unwrap(), job)
    };
    let bad = THREE.replace("85, 90, 95", "55, 56");
    let texts = [
        THREE.to_owned(),
        THREE.replace("85, 90, 95", "90, 100"),
        bad,
    ];
    let jobs = texts.map(|t| read(&t));
    let folders = ["a", "b", "c"].map(|n| temp.path().join(n));
    let tasks: Vec<StudyTask<'_>> = jobs
        .iter()
        .zip(&folders)
        .zip(["a", "b", "c"])
        .map(|(((plan, job), out_dir), name)| StudyTask {
            name,
            job,
            plan,
            out_dir,
        })
        .collect();
    let solves = std::sync::atomic::AtomicUsize::new(0);
    let stop = AtomicBool::new(false);
    let options = RunOptions::new(1, &stop, &|_| {});
    let ends = run_studies_by(&tasks, &options, bones(), &|inputs, _| {
        solves.fetch_add(1, Ordering::Relaxed);
        Ok(solved(inputs))
    });
    assert_eq!(solves.load(Ordering::Relaxed), 4, "85, 90, 95 and 100");
    assert_eq!(ends[0].as_ref().unwrap().done.len(), 3);
    assert_eq!(ends[1].as_ref().unwrap().done.len(), 2);
    assert!(
        matches!(ends[2], Err(StudyError::NothingToSolve { .. })),
        "a job that cannot be run does not stop the others"
    );
    let shared: PointRecord =
        read_record(&StudyFolder::new(&folders[1]).record_file("p001")).unwrap();
    let first: PointRecord =
        read_record(&StudyFolder::new(&folders[0]).record_file("p002")).unwrap();
    assert_eq!(
        (shared.id.as_str(), &shared.digest),
        ("p001", &first.digest)
    );
}

#[test]
fn a_construct_that_cannot_be_built_is_left_out_where_the_job_says_skip() {
    let job = |levels: &str| {
        format!(
            "construct.layout = \"medial_only\"\nconstruct.fit = \"skip\"\n[factors]\nplates.end_level_mm = {levels}\n"
        )
    };
    let bench = Bench::with(&job("[55, 90]"));
    let outcome = bench.run(&all_well).unwrap();
    assert_eq!(outcome.done, ["p002"]);
    assert!(outcome.failed.is_empty());
    let (id, reason) = &outcome.skipped[0];
    assert_eq!(id, "p001");
    let skipped = Status::Skipped {
        reason: reason.clone(),
    };
    assert_eq!(bench.record("p001").status, skipped);
    let table = std::fs::read_to_string(bench.folder().results_csv()).unwrap();
    assert!(
        table.contains("skipped") && table.contains("plate.medial"),
        "{table}"
    );
    // Looked at again, and again left out.
    let outcome = bench.run(&all_well).unwrap();
    assert_eq!((outcome.kept.len(), outcome.skipped.len()), (1, 1));
    // A point that fails later has failed.
    let fails = |_: &PointInputs, _: &PointContext<'_>| {
        Err(PointError {
            stage: Stage::Solve,
            message: "no luck".into(),
        })
    };
    let outcome = Bench::with(&job("[55, 90]")).run(&fails).unwrap();
    assert_eq!((outcome.failed.len(), outcome.skipped.len()), (1, 1));
    // Nothing left is an error.
    let refused = Bench::with(&job("[54, 55]")).run(&all_well).unwrap_err();
    assert!(
        matches!(refused, StudyError::NothingToSolve { .. }),
        "{refused}"
    );
}

#[test]
fn what_nearest_moved_is_told_by_check_and_in_the_inputs_of_the_study() {
    let bench = Bench::with(
        "construct.layout = \"medial_only\"\nconstruct.fit = \"nearest\"\n[factors]\nplates.end_level_mm = [55, 90]\n",
    );
    let checked = crate::check_job(&bench.job, &bench.plan, bones(), 1, &|_| {}).points;
    let built = |n: usize| checked[n].built.as_ref().unwrap();
    assert!(built(1).moved.is_empty(), "{:?}", built(1).moved);
    let moved = &built(0).moved;
    assert!(moved.iter().any(|m| !m.is_derived), "{moved:?}");
    let construct = bones().construct(&checked[0].inputs.construct).unwrap();
    for m in moved {
        // Oracle: the specification that was built, read by another way than the search's list.
        let subject = checked[0].inputs.quantity_keys.iter();
        let (subject, _) = subject.into_iter().find(|(_, k)| k.path == m.key).unwrap();
        let built = construct.spec.value(*subject).unwrap();
        assert!((built - m.built).abs() < 1e-5, "{m:?} {built}");
        let stated = checked[0].inputs.construct.value(*subject).unwrap();
        assert!((stated - m.stated).abs() < 1e-5, "{m:?} {stated}");
        let of_end = m.key == "plates.medial.end_level_mm";
        assert_eq!(m.factors == ["plates.end_level_mm"], of_end, "{m:?}");
    }
    bench.run(&all_well).unwrap();
    let study: bicolumn_store::StudyRecord = read_record(&bench.folder().study_file()).unwrap();
    for m in moved {
        let input = study.inputs.iter().find(|i| i.key == m.key).unwrap();
        let origin = if m.is_derived { "derived" } else { "moved" };
        assert_eq!(input.origin, origin);
        assert!(input.source.contains("at p001"), "{}", input.source);
    }
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
    match crate::study_folder::hold(bench.folder().root(), &Share::All) {
        Err(refused) => refused.to_string(),
        Ok(_) => "it was taken twice".into(),
    }
}

/// A stand-in for the process that solves points: does what a shell does at each point, in the order of the points;
/// `done` answers with the record.
#[cfg(unix)]
fn stand_in(bench: &Bench, at_point: [&str; 3]) -> WorkerProgram {
    use bicolumn_store::Record;
    let folder = bench.dir.path();
    for point in &bench.plan.points {
        let record = solved(&bicolumn_job::resolve(&bench.job, point));
        let message = crate::wire::FromWorker::Done {
            record: record.to_json().unwrap(),
        };
        let line = serde_json::to_string(&message).unwrap();
        std::fs::write(
            folder.join(format!("{}.line", point.id)),
            format!("{line}\n"),
        )
        .unwrap();
    }
    let [first, second, third] = at_point;
    let ready = format!(
        "{{\"say\":\"ready\",\"version\":\"{}\"}}",
        bicolumn_job::ENGINE_VERSION
    );
    let script = format!(
        "cd {}\nread begin\necho '{ready}'\nsolve() {{ echo '{{\"say\":\"stage\",\"stage\":\"mesh\"}}'; }}\n\
         while read order; do solve; case \"$order\" in\n\
         *'\"point\":\"p001\"'*) id=p001; {first};;\n\
         *'\"point\":\"p002\"'*) id=p002; {second};;\n\
         *'\"point\":\"p003\"'*) id=p003; {third};;\nesac; done\n",
        folder.display()
    );
    WorkerProgram {
        program: "/bin/sh".into(),
        arguments: vec!["-c".into(), script.into()],
    }
}

/// The stand-in solves its point.
#[cfg(unix)]
const DONE: &str = "cat $id.line";

#[cfg(unix)]
#[test]
fn a_process_that_ends_costs_its_point_and_is_not_met_again() {
    let mut bench = Bench::with(THREE);
    let nobody = |_: &PointInputs, _: &PointContext<'_>| panic!("it has a process");
    let killed = "mkdir -p out/points/p001; touch out/points/p001/.writing-x; kill -9 $$";
    let full = "echo 'memory allocation of 80 bytes failed' >&2; kill -6 $$";
    bench.worker = Some(stand_in(&bench, [killed, full, DONE]));
    let outcome = bench.run(&nobody).unwrap();
    assert_eq!(outcome.done, ["p003"]);
    let told: Vec<&str> = outcome.failed.iter().map(|(_, why)| why.as_str()).collect();
    assert!(told[0].contains("signal 9"), "{told:?}");
    assert!(
        told[1].contains("memory allocation of 80 bytes"),
        "{told:?}"
    );
    assert!(matches!(
        &bench.record("p001").status,
        Status::Failed { stage, .. } if stage == "mesh"
    ));
    let files = std::fs::read_dir(bench.folder().point_folder("p001")).unwrap();
    assert_eq!(files.count(), 1, "what it was writing is gone");

    // Neither is tried again, until asked.
    let outcome = bench.run(&nobody).unwrap();
    assert_eq!((outcome.failed.len(), outcome.done.len()), (2, 0));
    assert_eq!(outcome.kept, ["p003"]);
    bench.worker = Some(stand_in(&bench, [DONE; 3]));
    let outcome = bench.run_share(Share::Failed, &nobody).unwrap();
    assert_eq!(outcome.done, ["p001", "p002"]);
    let outcome = bench.run(&nobody).unwrap();
    assert_eq!(outcome.kept.len(), 3);
}

#[cfg(unix)]
#[test]
fn a_point_that_exceeds_a_limit_fails_and_is_tried_again_under_a_wider_one() {
    let mut bench = Bench::with(THREE);
    let nobody = |_: &PointInputs, _: &PointContext<'_>| panic!("it has a process");
    bench.limits.seconds = Some(0.3);
    bench.worker = Some(stand_in(&bench, ["exec sleep 60", DONE, DONE]));
    let outcome = bench.run(&nobody).unwrap();
    assert_eq!(outcome.done, ["p002", "p003"]);
    assert!(outcome.failed[0].1.contains("more than its 0.005 min"));
    assert_eq!(bench.run(&nobody).unwrap().failed.len(), 1);
    bench.worker = Some(stand_in(&bench, [DONE; 3]));
    bench.limits.seconds = Some(60.0);
    assert_eq!(bench.run(&nobody).unwrap().done, ["p001"]);
}

#[cfg(target_os = "linux")]
#[test]
fn a_point_that_takes_too_much_memory_fails() {
    let mut bench = Bench::with(THREE);
    let nobody = |_: &PointInputs, _: &PointContext<'_>| panic!("it has a process");
    bench.limits.memory_bytes = Some(40e6);
    // A shell's variable of 60 MB.
    let greedy = "x=$(head -c 60000000 /dev/zero | tr '\\0' x); sleep 60";
    bench.worker = Some(stand_in(&bench, [DONE, greedy, DONE]));
    let outcome = bench.run(&nobody).unwrap();
    assert_eq!(outcome.done, ["p001", "p003"]);
    assert!(outcome.failed[0].1.contains("GiB of memory"), "{outcome:?}");
}

#[cfg(unix)]
#[test]
fn points_do_not_fail_where_no_process_can_be_started() {
    let mut bench = Bench::with(THREE);
    bench.worker = Some(WorkerProgram {
        program: "/nowhere/bicolumn".into(),
        arguments: vec![],
    });
    let error = bench.run(&all_well).unwrap_err();
    assert!(matches!(error, StudyError::NoWorker { .. }), "{error}");
    assert!(!bench.folder().record_file("p001").exists());
}

#[test]
fn a_point_of_the_cache_is_not_solved_again_by_any_job_and_a_damaged_one_is() {
    let temp = tempfile::tempdir().unwrap();
    let run = |text: &str, name: &str, solve: &SolvePoint<'_>| {
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        let plan = Plan::of(&job).unwrap();
        let out_dir = temp.path().join(name);
        let task = StudyTask {
            name: "",
            job: &job,
            plan: &plan,
            out_dir: &out_dir,
        };
        let stop = AtomicBool::new(false);
        let cache = temp.path().join("cache");
        let options = RunOptions {
            cache: Some(&cache),
            ..RunOptions::new(1, &stop, &|_| {})
        };
        let outcome = run_studies_by(&[task], &options, bones(), solve).pop();
        (outcome.unwrap().unwrap(), StudyFolder::new(out_dir))
    };
    run(THREE, "a", &all_well);
    let other = THREE.replace("85, 90, 95", "90, 95, 100");
    let (outcome, folder) = run(&other, "b", &|inputs, _| {
        assert_eq!(inputs.id, "p003", "100 alone is new");
        Ok(solved(inputs))
    });
    assert_eq!((outcome.kept.len(), outcome.done.len()), (2, 1));
    let taken: PointRecord = read_record(&folder.record_file("p001")).unwrap();
    let level = taken.factors["plates.end_level_mm"].as_number();
    assert_eq!((taken.id.as_str(), level), ("p001", Some(90.0)));

    let versions = std::fs::read_dir(temp.path().join("cache")).unwrap();
    let points = versions.flatten().next().unwrap().path().join("points");
    let entries: Vec<_> = std::fs::read_dir(&points).unwrap().flatten().collect();
    assert_eq!(entries.len(), 4, "nothing else is left there");
    let record = points.join(&taken.digest).join("record.json");
    let text = std::fs::read_to_string(&record).unwrap();
    std::fs::write(&record, text.replacen("90", "91", 1)).unwrap();
    let (outcome, _) = run(THREE, "c", &all_well);
    assert_eq!(outcome.done, ["p002"]);
    let (outcome, _) = run(THREE, "d", &|_, _| panic!("all are there"));
    assert_eq!(outcome.kept.len(), 3);
}

#[test]
fn a_run_gives_signs_of_life_while_it_works() {
    let bench = Bench::with(THREE);
    let seen = Mutex::new(vec![]);
    bench
        .run(&|inputs, context| {
            (context.progress)(Stage::Mesh);
            // The first sign is given at once.
            let at = bench.folder().root().join("at-work.json");
            let begin = std::time::Instant::now();
            while !at.exists() && begin.elapsed().as_secs() < 10 {
                std::thread::yield_now();
            }
            seen.lock()
                .unwrap()
                .extend(bicolumn_store::Pulse::all(bench.folder().root()));
            Ok(solved(inputs))
        })
        .unwrap();
    let seen = seen.into_inner().unwrap();
    assert_eq!(seen[0].pid, std::process::id());
    assert_eq!(seen[0].left, 3);
    assert!(bicolumn_store::Pulse::all(bench.folder().root()).is_empty());
}

/// A small file system in memory, for as long as the value lives; `None` where it may not be mounted.
#[cfg(target_os = "linux")]
struct SmallDisk(TempDir);

#[cfg(target_os = "linux")]
impl SmallDisk {
    fn mount() -> Option<SmallDisk> {
        let dir = tempfile::tempdir().unwrap();
        let mounted = std::process::Command::new("mount")
            .args(["-t", "tmpfs", "-o", "size=1m", "tmpfs"])
            .arg(dir.path())
            .stderr(std::process::Stdio::null())
            .status();
        mounted.is_ok_and(|s| s.success()).then_some(SmallDisk(dir))
    }
}

#[cfg(target_os = "linux")]
impl Drop for SmallDisk {
    fn drop(&mut self) {
        let umount = std::process::Command::new("umount")
            .arg(self.0.path())
            .status();
        assert!(umount.is_ok_and(|s| s.success()));
    }
}

#[cfg(target_os = "linux")]
#[test]
#[allow(clippy::print_stderr)]
fn a_full_disk_ends_the_run_keeps_what_is_done_and_is_named() {
    let Some(disk) = SmallDisk::mount() else {
        eprintln!("NOT TESTED: a file system in memory cannot be mounted here");
        return;
    };
    let job = Job::parse(Path::new("x.toml"), THREE).unwrap();
    let plan = Plan::of(&job).unwrap();
    let out_dir = disk.0.path().join("out");
    let filler = disk.0.path().join("filler");
    let task = StudyTask {
        name: "",
        job: &job,
        plan: &plan,
        out_dir: &out_dir,
    };
    let stop = AtomicBool::new(false);
    let options = RunOptions::new(1, &stop, &|_| {});
    let fill = |inputs: &PointInputs, _: &PointContext<'_>| {
        assert_ne!(inputs.id, "p003", "nothing is solved to be thrown away");
        if inputs.id == "p002" {
            let full = std::fs::write(&filler, vec![0; 4 << 20]).unwrap_err();
            assert_eq!(full.kind(), std::io::ErrorKind::StorageFull);
        }
        Ok(solved(inputs))
    };
    let end = run_studies_by(&[task], &options, bones(), &fill).pop();
    let told = end.unwrap().unwrap_err().to_string();
    assert!(told.contains("the disk is full"), "{told}");
    std::fs::remove_file(&filler).unwrap();
    stop.store(false, Ordering::Relaxed);
    let end = run_studies_by(&[task], &options, bones(), &all_well).pop();
    let outcome = end.unwrap().unwrap();
    assert_eq!(outcome.kept, ["p001"]);
    assert_eq!(outcome.done, ["p002", "p003"]);
    let left = std::fs::read_dir(out_dir.join("points/p002")).unwrap();
    assert_eq!(left.count(), 1, "the record and nothing else");
}

#[test]
fn draws_that_cannot_be_built_are_replaced_alike_in_every_run_and_shard() {
    let text = "construct.layout = \"medial_only\"\n[design]\nkind = \"halton\"\npoints = 4\n[factors]\nplates.end_level_mm = [50, 90]\n";
    let bench = Bench::with(text);
    // Constructs that a run builds.
    let built = |bench: &Bench, share: Share| {
        let count = std::sync::atomic::AtomicUsize::new(0);
        let observer = |event: Event<'_>| {
            if matches!(event, Event::Checked { .. }) {
                count.fetch_add(1, Ordering::Relaxed);
            }
        };
        let folder = bench.folder();
        let task = StudyTask {
            name: "",
            job: &bench.job,
            plan: &bench.plan,
            out_dir: folder.root(),
        };
        let options = RunOptions {
            share,
            ..RunOptions::new(1, &bench.stop, &observer)
        };
        let mut ends = run_studies_by(&[task], &options, bones(), &all_well);
        (ends.pop().unwrap().unwrap(), count.into_inner())
    };
    let (first, looks) = built(&bench, Share::All);
    assert_eq!((first.done.len(), first.failed.len()), (4, 0));
    assert!(!first.skipped.is_empty());
    assert_eq!(looks, first.done.len() + first.skipped.len(), "each once");
    let told = first.replaced.told().unwrap();
    let record: bicolumn_store::StudyRecord = read_record(&bench.folder().study_file()).unwrap();
    assert!(record.drawn.unwrap().ends_with(&told), "{told}");
    assert_eq!(record.points.len(), looks);
    let table = std::fs::read_to_string(bench.folder().results_csv()).unwrap();
    assert!(table.contains("skipped"), "{table}");
    let checked = crate::check_job(&bench.job, &bench.plan, bones(), 1, &|_| {});
    assert_eq!(checked.replaced, first.replaced);
    assert_eq!(checked.points.len(), looks);

    let (again, looks) = built(&bench, Share::All);
    assert_eq!((again.kept.len(), again.done.len(), looks), (4, 0, 0));
    assert_eq!(
        (&again.replaced, &again.skipped),
        (&first.replaced, &first.skipped)
    );

    let shards = Bench::with(text);
    let mut done = vec![];
    for number in 1..=2 {
        let shard = Share::Shard(Shard::new(number, 2).unwrap());
        let (end, _) = built(&shards, shard);
        assert_eq!(end.replaced, first.replaced);
        done.extend(end.done);
    }
    done.sort();
    assert_eq!(done, first.done);
    // More draws keep the first, and what stands in their places.
    let more = bench.changed(&text.replace("points = 4", "points = 5"));
    let (end, _) = built(&more, Share::All);
    assert_eq!((end.kept.len(), end.done.len()), (4, 1));
}
