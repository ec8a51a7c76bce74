//! `bicolumn solve-points`: a process of a run, which solves points for it.

use crate::ALL_WELL;
use crate::console::Console;
use crate::signals;
use bicolumn_study::{WorkerProgram, solve_orders};
use std::path::Path;
use std::sync::OnceLock;

/// Program that a run starts to solve its points; none where the commands are called in process.
static PROGRAM: OnceLock<WorkerProgram> = OnceLock::new();

/// Lets runs solve each point in a process of its own: this program once more.
pub fn points_in_processes() {
    // The very file that runs, also where another was put in its place meanwhile.
    let own = Path::new("/proc/self/exe");
    let program = match own.exists() {
        true => own.to_path_buf(),
        false => match std::env::current_exe() {
            Ok(program) => program,
            Err(_) => return,
        },
    };
    let _ = PROGRAM.set(WorkerProgram {
        program,
        arguments: vec!["solve-points".into()],
    });
}

/// Program that solves points in processes of its own.
pub(crate) fn program() -> Option<&'static WorkerProgram> {
    PROGRAM.get()
}

/// Solves the points that standard input orders.
pub(crate) fn solve_points(console: &mut Console<'_>) -> u8 {
    // A signal to all of a session is the run's to answer.
    signals::ignore();
    solve_orders(std::io::stdin(), console.split().out.writer(), || {
        #[allow(clippy::exit)] // the run is over, or no more: nobody waits for a point
        std::process::exit(i32::from(ALL_WELL));
    });
    ALL_WELL
}
