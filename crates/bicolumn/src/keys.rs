//! `bicolumn keys`: all keys of a job file.

use crate::ALL_WELL;
use crate::console::Console;
use bicolumn_job::markdown;

pub(crate) fn keys(console: &mut Console<'_>) -> u8 {
    console.data(markdown().trim_end());
    ALL_WELL
}
