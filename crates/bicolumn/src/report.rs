//! `bicolumn report`: the report again, from stored results.

use crate::args::ReportArgs;
use crate::console::Console;
use crate::{ALL_WELL, CANNOT_RUN};

pub(crate) fn report(args: &ReportArgs, console: &mut Console<'_>) -> u8 {
    let written = bicolumn_store::gather(&bicolumn_store::StudyFolder::new(&args.dir))
        .map_err(|e| e.to_string())
        .and_then(|_| bicolumn_report::write_report(&args.dir).map_err(|e| e.to_string()));
    match written {
        Ok(path) => {
            console.data(&path.display().to_string());
            ALL_WELL
        }
        Err(e) => {
            console.error(&format!(
                "{e}\n  hint: give the folder that bicolumn run wrote its results to"
            ));
            CANNOT_RUN
        }
    }
}
