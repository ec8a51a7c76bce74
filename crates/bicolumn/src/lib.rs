//! The command line, callable in process: [`main_with`].
//!
//! Standard output carries data, standard error talk. Exit status: 0 all well, 1 some design points
//! failed or were left, 2 the job cannot be run or every design point failed.

#![cfg_attr(test, allow(clippy::unwrap_used))]

pub mod args;
mod check;
mod console;
mod converge;
mod export;
mod keys;
mod mesh;
mod mesh_picture;
mod point_of_job;
mod progress;
mod refine;
mod report;
mod run;

use args::{Args, Verb};
use clap::Parser;
use console::Console;
use std::ffi::OsString;
use std::io::Write;

/// All well.
pub const ALL_WELL: u8 = 0;
/// Some design points failed, or were left when the run was stopped.
pub const SOME_FAILED: u8 = 1;
/// The job cannot be run, every design point failed, or the command line is wrong.
pub const CANNOT_RUN: u8 = 2;

/// Runs one command and gives its exit status. `terminal`: is `err` a terminal that may be drawn on?
pub fn main_with(
    args: impl IntoIterator<Item = impl Into<OsString> + Clone>,
    out: &mut (dyn Write + Send),
    err: &mut (dyn Write + Send),
    terminal: bool,
) -> u8 {
    let mut console = Console::new(out, err, terminal);
    let args = match Args::try_parse_from(args) {
        Ok(args) => args,
        Err(e) => {
            let text = e.render().to_string();
            if e.use_stderr() {
                console.say(text.trim_end());
                return CANNOT_RUN;
            }
            console.data(text.trim_end());
            return ALL_WELL;
        }
    };
    match args.verb {
        Verb::Run(args) => run::run(&args, &mut console),
        Verb::Check(args) => check::check(&args, &mut console),
        Verb::Mesh(args) => mesh::mesh(&args, &mut console),
        Verb::Export(args) => export::export(&args, &mut console),
        Verb::Converge(args) => converge::converge(&args, &mut console),
        Verb::Refine(args) => refine::refine(&args, &mut console),
        Verb::Keys => keys::keys(&mut console),
        Verb::Report(args) => report::report(&args, &mut console),
    }
}

/// Lets the panic of a design point pass in silence: it is caught, and the point marked with it.
pub fn quiet_worker_panics() {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        let worker = std::thread::current()
            .name()
            .is_some_and(|n| n.starts_with(bicolumn_study::WORKER));
        if !worker {
            usual(info);
        }
    }));
}
