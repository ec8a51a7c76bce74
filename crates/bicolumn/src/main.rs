//! The bicolumn command line.

use std::io::IsTerminal;
use std::process::ExitCode;

fn main() -> ExitCode {
    bicolumn::quiet_worker_panics();
    bicolumn::points_in_processes();
    let terminal = std::io::stderr().is_terminal();
    let code = bicolumn::main_with(
        std::env::args_os(),
        &mut std::io::stdout(),
        &mut std::io::stderr(),
        terminal,
    );
    ExitCode::from(code)
}
