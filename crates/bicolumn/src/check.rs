//! `bicolumn check`: everything that can be said without solving.

use crate::args::CheckArgs;
use crate::console::Console;
use crate::job_list::{JobList, ReadJob};
use crate::progress::{clock, plural};
use crate::run::{of_all, threads};
use crate::{ALL_WELL, CANNOT_RUN, SOME_FAILED};
use bicolumn_study::{BoneCache, CheckedPoint, check_job};

pub(crate) fn check(args: &CheckArgs, console: &mut Console<'_>) -> u8 {
    let list = JobList::read(&args.jobs, &args.set, console);
    let bones = BoneCache::default();
    let mut statuses = vec![CANNOT_RUN; list.unread];
    for read in &list.jobs {
        if list.has_several() {
            console.say(&format!("{}:", read.file.display()));
        }
        statuses.push(check_one(read, &bones, args, console));
    }
    of_all(&statuses)
}

/// Looks at one job.
fn check_one(read: &ReadJob, bones: &BoneCache, args: &CheckArgs, console: &mut Console<'_>) -> u8 {
    let (job, plan) = (&read.job, &read.plan);
    let threads = threads(job, None);
    let count = plan.points.len();
    console.say(&format!("building {count} {}", plural(count, "construct")));
    let design = check_job(job, plan, bones, threads, &|_| {});
    let checked = design.points;
    let mut printed: Vec<&str> = Vec::new();
    for c in &checked {
        if let Err(reason) = &c.built
            && !printed.contains(&reason.as_str())
        {
            console.error(reason);
            printed.push(reason);
        }
    }
    if args.json {
        let rows: Vec<serde_json::Value> = checked.iter().map(as_json).collect();
        console.json(&serde_json::Value::Array(rows).to_string());
    } else {
        for line in table(&checked) {
            console.data(&line);
        }
        tell(&checked, threads, console);
        if let Some(told) = design.replaced.told() {
            console.say(&format!("draws: {told}"));
        }
        if let Some(drawn) = job.drawn() {
            console.say(&format!("drawn: {drawn}"));
        }
        for alias in &plan.aliases {
            console.say(&format!("the design does not tell apart: {alias}"));
        }
    }
    let bad = |c: &&CheckedPoint| c.built.is_err();
    let refused = checked.iter().filter(bad).count();
    let skipped = checked.iter().filter(|c| c.is_skipped).count();
    match refused {
        n if n == skipped && n < checked.len() => ALL_WELL,
        n if n == checked.len() => CANNOT_RUN,
        _ => SOME_FAILED,
    }
}

/// Columns of equal width: point, factors, size, memory, time, verdict.
fn table(checked: &[CheckedPoint]) -> Vec<String> {
    let mut rows: Vec<Vec<String>> = Vec::new();
    let names: Vec<&String> = checked
        .first()
        .map(|c| c.point.levels.keys().collect())
        .unwrap_or_default();
    let mut head = vec!["point".to_string()];
    head.extend(names.iter().map(|n| (*n).clone()));
    head.extend(["tetrahedra", "memory", "time", "construct"].map(str::to_string));
    rows.push(head);
    for c in checked {
        let mut row = vec![c.point.id.clone()];
        row.extend(c.point.levels.values().map(ToString::to_string));
        match &c.built {
            Ok(b) => {
                let e = &b.estimate;
                row.push(format!("~{:.0} k", e.tets / 1000.0));
                row.push(format!("~{:.1} GB", e.bytes / 1e9));
                row.push(format!("~{}", clock(e.seconds)));
                row.push("can be built".into());
            }
            Err(_) if c.is_skipped => {
                row.extend(["-", "-", "-", "left out"].map(str::to_string));
            }
            Err(_) => {
                row.extend(["-", "-", "-", "CANNOT BE BUILT"].map(str::to_string));
            }
        }
        rows.push(row);
    }
    let columns = rows[0].len();
    let widths: Vec<usize> = (0..columns)
        .map(|i| rows.iter().map(|r| r[i].chars().count()).max().unwrap_or(0))
        .collect();
    rows.iter()
        .map(|r| {
            let cells: Vec<String> = r
                .iter()
                .zip(&widths)
                .map(|(cell, w)| format!("{cell:<w$}"))
                .collect();
            cells.join("  ").trim_end().to_string()
        })
        .collect()
}

fn tell(checked: &[CheckedPoint], threads: usize, console: &mut Console<'_>) {
    for c in checked {
        if let Ok(b) = &c.built {
            for note in &b.notes {
                console.say(&format!("{}: {note}", c.point.id));
            }
        }
    }
    let skipped: Vec<&str> = checked
        .iter()
        .filter(|c| c.is_skipped)
        .map(|c| c.point.id.as_str())
        .collect();
    if !skipped.is_empty() {
        console.say(&format!(
            "left out, cannot be built: {}",
            skipped.join(", ")
        ));
    }
    let built = || checked.iter().filter_map(|c| c.built.as_ref().ok());
    let seconds = built().fold(0.0, |sum, b| sum + b.estimate.seconds);
    console.say(&format!(
        "{} {}, {} can be built",
        checked.len(),
        plural(checked.len(), "design point"),
        built().count(),
    ));
    if built().count() == 0 {
        return;
    }
    console.say(&format!(
        "about {} on {threads} {}, if memory allows",
        clock(seconds / threads as f64),
        plural(threads, "thread"),
    ));
    console.say(
        "all of this is estimated: tetrahedra were within 15 % on the meshes it was fitted to; memory \
         and time were measured on one machine at 1.3 million unknowns and may be off by half; contact \
         takes four times as long and more",
    );
}

fn as_json(c: &CheckedPoint) -> serde_json::Value {
    let mut row = serde_json::json!({"point": c.point.id, "factors": c.inputs.factors});
    match &c.built {
        Ok(b) => {
            row["tetrahedra"] = b.estimate.tets.round().into();
            row["bytes"] = b.estimate.bytes.round().into();
            row["seconds"] = b.estimate.seconds.into();
            row["notes"] = b.notes.clone().into();
            row["moved"] = serde_json::json!(b.moved);
        }
        Err(reason) if c.is_skipped => row["left_out"] = reason.clone().into(),
        Err(reason) => row["error"] = reason.clone().into(),
    }
    row
}
