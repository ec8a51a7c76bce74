//! `bicolumn report`: the report again, from stored results.

use crate::args::ReportArgs;
use crate::console::Console;
use crate::{ALL_WELL, CANNOT_RUN, SOME_FAILED};
use bicolumn_report::write_report;
use bicolumn_store::{Asked, Gathered, Hold, StudyFolder, gather, remove_temporary};
use bicolumn_study::numbers_in_words;
use std::collections::BTreeSet;

pub(crate) fn report(args: &ReportArgs, console: &mut Console<'_>) -> u8 {
    let folder = StudyFolder::new(&args.dir);
    // A run at work writes there itself.
    if let Ok(Asked::Taken(_hold)) = Hold::take(folder.root(), None) {
        remove_temporary(folder.root());
        remove_temporary(&folder.figures_folder());
    }
    let written = gather(&folder)
        .map_err(|e| e.to_string())
        .and_then(|all| Ok((all, write_report(&args.dir).map_err(|e| e.to_string())?)));
    match written {
        Ok((all, written)) => {
            console.data(&written.page.display().to_string());
            for fault in &written.faults {
                console.error(fault);
            }
            let missing = missing(&all);
            if missing.is_empty() {
                // Solved intact bones that shards shared: no point is left that needs them.
                let _ = std::fs::remove_dir_all(folder.intact_folder());
                return match written.faults.is_empty() {
                    true => ALL_WELL,
                    false => SOME_FAILED,
                };
            }
            for (id, reason) in &all.unread {
                console.say(&format!("{id}: {reason}"));
            }
            console.say(&format!(
                "{} of {} points are missing; to solve them: bicolumn run JOB --out {} --points {}",
                missing.len(),
                all.study.points.len(),
                args.dir.display(),
                numbers_in_words(&missing)
            ));
            SOME_FAILED
        }
        Err(e) => {
            console.error(&format!(
                "{e}\n  hint: give the folder that bicolumn run wrote its results to"
            ));
            CANNOT_RUN
        }
    }
}

/// Numbers of the points without a record that can be read, counted from 1.
fn missing(all: &Gathered) -> BTreeSet<usize> {
    let is_missing = |id: &String| all.unread.iter().any(|(unread, _)| unread == id);
    let numbered = (1..).zip(&all.study.points);
    numbered
        .filter(|(_, id)| is_missing(id))
        .map(|(n, _)| n)
        .collect()
}
