//! `bicolumn status`: how far a run is, from the files of its folder alone.

use crate::args::StatusArgs;
use crate::console::Console;
use crate::progress::{clock, plural};
use crate::{ALL_WELL, CANNOT_RUN};
use bicolumn_store::{Gathered, PointRecord, Pulse, Status, StudyFolder, now_s};

pub(crate) fn status(args: &StatusArgs, console: &mut Console<'_>) -> u8 {
    match Gathered::read(&StudyFolder::new(&args.dir)) {
        Ok(all) => {
            for line in told(&all, &Pulse::all(&args.dir), now_s()) {
                console.data(&line);
            }
            ALL_WELL
        }
        Err(e) => {
            console.error(&format!(
                "{e}\n  hint: give the folder that bicolumn run writes its results to"
            ));
            CANNOT_RUN
        }
    }
}

/// Time without a sign after which a run is told to be silent, s: it gives one every five seconds.
const SILENT_S: u64 = 60;

/// Lines about a study and the runs at work in it.
fn told(all: &Gathered, pulses: &[Pulse], now: u64) -> Vec<String> {
    let total = all.study.points.len();
    let count = |is: fn(&Status) -> bool| all.points.iter().filter(|p| is(&p.status)).count();
    let done = count(|s| matches!(s, Status::Done));
    let failed = count(|s| matches!(s, Status::Failed { .. }));
    let skipped = count(|s| matches!(s, Status::Skipped { .. }));
    let left = total - done - failed - skipped;
    let mut lines = vec![format!(
        "{done} of {total} {} done, {failed} failed, {skipped} left out, {left} to do",
        plural(total, "point")
    )];
    let age = |since: u64| clock(now.saturating_sub(since) as f64);
    let mut at_once = 0;
    for pulse in pulses {
        let shard = pulse.shard.as_ref().map(|s| format!(", shard {s}"));
        let is_silent = now.saturating_sub(pulse.at_s) > SILENT_S;
        lines.push(format!(
            "{}: process {} of {}{}, begun {} ago, last sign {} ago",
            if is_silent { "silent" } else { "at work" },
            pulse.pid,
            pulse.host,
            shard.unwrap_or_default(),
            age(pulse.since_s),
            age(pulse.at_s),
        ));
        if is_silent {
            lines.push(
                "  it was ended, or its machine is out of reach; the same command goes on"
                    .to_owned(),
            );
            continue;
        }
        at_once += pulse.at_once.min(pulse.left);
        for point in &pulse.under_way {
            lines.push(format!(
                "  {} {}, begun {} ago",
                point.id,
                point.stage,
                age(point.since_s)
            ));
        }
    }
    if pulses.is_empty() {
        lines.push("no run is at work here".to_owned());
    }
    let seconds: Vec<f64> = all.points.iter().filter_map(seconds).collect();
    if at_once > 0 && left > 0 && !seconds.is_empty() {
        let mean = seconds.iter().sum::<f64>() / seconds.len() as f64;
        lines.push(format!(
            "about {} to do {left} {}: {} at once, {} each in the mean of those done",
            clock(mean * left as f64 / at_once as f64),
            plural(left, "point"),
            at_once,
            clock(mean),
        ));
    }
    lines
}

/// Time that a finished point took, s.
fn seconds(point: &PointRecord) -> Option<f64> {
    let is_done = matches!(point.status, Status::Done) && !point.stages.is_empty();
    is_done.then(|| point.stages.iter().map(|s| s.seconds).sum())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::read;
    use bicolumn_store::PointUnderWay;

    #[test]
    fn counts_runs_ages_and_the_time_left_are_told() {
        let temp = std::env::temp_dir().join(format!("bicolumn-status-{}", std::process::id()));
        std::fs::create_dir_all(&temp).unwrap();
        let file = temp.join("job.toml");
        std::fs::write(
            &file,
            "construct.layout = \"medial_only\"\n[factors]\nplates.end_level_mm = [82, 85, 90, 95]\n",
        )
        .unwrap();
        let (_job, plan) = read(&file).unwrap();
        std::fs::remove_dir_all(&temp).unwrap();
        let ids: Vec<String> = plan.points.iter().map(|p| p.id.clone()).collect();
        let text = serde_json::json!({
            "schema": 1, "engine_version": "0", "id": "p001", "digest": "d", "factors": {},
            "status": {"state": "done"}, "inputs": {}, "plates": [], "screws": [],
            "fracture_levels_mm": null,
            "stages": [{"name": "solve", "seconds": 100.0, "peak_mib": null}],
            "mesh": null, "solver": null, "warnings": [], "cases": [],
        });
        let done: PointRecord = serde_json::from_value(text).unwrap();
        let failed = PointRecord {
            id: "p002".into(),
            status: Status::Failed {
                stage: "solve".into(),
                reason: "no luck".into(),
            },
            ..done.clone()
        };
        let study = serde_json::json!({
            "schema": 1, "engine_version": "0", "title": "", "question": "", "job_text": "",
            "factors": [], "points": ids, "inputs": [], "columns": [], "headline": null,
            "landmarks": [],
        });
        let all = Gathered {
            study: serde_json::from_value(study).unwrap(),
            points: vec![done, failed],
            faults: vec![],
            unread: vec![],
        };
        let at_work = Pulse {
            host: "n1".into(),
            pid: 7,
            since_s: 1000,
            at_s: 4595,
            at_once: 4,
            left: 2,
            under_way: vec![PointUnderWay {
                id: "p003".into(),
                stage: "mesh".into(),
                since_s: 4590,
            }],
            ..Pulse::default()
        };
        let lines = told(&all, std::slice::from_ref(&at_work), 4600);
        assert_eq!(
            lines[0],
            "1 of 4 points done, 1 failed, 0 left out, 2 to do"
        );
        assert_eq!(
            lines[1],
            "at work: process 7 of n1, begun 1 h 0 min ago, last sign 5.0 s ago"
        );
        assert_eq!(lines[2], "  p003 mesh, begun 10 s ago");
        assert_eq!(
            lines[3],
            "about 1 min 40 s to do 2 points: 2 at once, 1 min 40 s each in the mean of those done"
        );
        let later = told(&all, &[at_work], 5000);
        assert!(later[1].starts_with("silent: process 7 of n1"), "{later:?}");
        assert_eq!(later.len(), 3, "no time left is told for a silent run");
        assert_eq!(told(&all, &[], 0)[1], "no run is at work here");
    }
}
