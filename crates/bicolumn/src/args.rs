//! Command line: commands and their options.

use crate::set_key::{SetKey, set_key};
use bicolumn_study::Shard;
use clap::{Args as ClapArgs, Parser, Subcommand};
use std::collections::BTreeSet;
use std::path::PathBuf;

const ABOUT: &str = "Plate-and-screw constructs of the distal humerus, from a job file to a report";

/// Text below a help text: an example, the exit status, the caution.
fn more(example: &str) -> String {
    format!(
        "Example: bicolumn {example}\n\n\
         Exit status: 0 all well; 1 some design points failed or were left; 2 the job cannot be run,\n\
         or every design point failed.\n\n{}",
        wrapped(bicolumn_report::CAUTION, 100)
    )
}

/// Text in lines of at most so many characters, broken between words.
fn wrapped(text: &str, width: usize) -> String {
    let mut out = String::new();
    let mut in_line = 0;
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if in_line > 0 && in_line + 1 + length > width {
            out.push('\n');
            in_line = 0;
        } else if in_line > 0 {
            out.push(' ');
            in_line += 1;
        }
        out.push_str(word);
        in_line += length;
    }
    out
}

/// The command line.
#[derive(Debug, Parser)]
#[command(name = "bicolumn", version, about = ABOUT, after_help = more("run jobs/first-look.toml"))]
pub struct Args {
    /// Command.
    #[command(subcommand)]
    pub verb: Verb,
}

/// The verbs.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Mesh, solve and measure every design point of a job, then write the report
    #[command(after_help = more("run jobs/first-look.toml"))]
    Run(RunArgs),
    /// Read a job, build every construct, report clashes and estimate size, memory and time; solve nothing
    #[command(after_help = more("check jobs/first-look.toml"))]
    Check(CheckArgs),
    /// Mesh one design point: quality table, VTK file, pictures
    #[command(after_help = more("mesh jobs/first-look.toml --point 5 --out mesh"))]
    Mesh(MeshArgs),
    /// Solve one design point and write its audit bundle, so that other code can solve it again
    #[command(after_help = more("export jobs/first-look.toml --point 5 --out bundle"))]
    Export(ExportArgs),
    /// Solve an audit bundle, ours or anybody's: mesh.vtu and model.json to solution.vtu
    #[command(after_help = more("solve bundle --out solved"))]
    Solve(SolveArgs),
    /// Solve one design point on several meshes: how far its numbers are from their limit, and how much
    /// of them is the mesh's own noise
    #[command(after_help = more("converge jobs/first-look.toml --point 5"))]
    Converge(ConvergeArgs),
    /// Refine the mesh of one design point where it matters for some responses, until their estimated
    /// errors meet a tolerance; writes the size field that mesh.size_field of a job takes
    #[command(after_help = more("refine jobs/first-look.toml --point 5 --response stiffness_n_per_mm"))]
    Refine(RefineArgs),
    /// Bench tests of the hardware of one design point alone: plates in four-point bending, screws in cantilever and
    /// torsion, pull-out; as CSV, beside beam theory
    #[command(after_help = more("hardware jobs/first-look.toml --point 1"))]
    Hardware(HardwareArgs),
    /// Print all keys of a job file as a Markdown page: what each accepts, its default, meaning and source
    #[command(after_help = more("keys"))]
    Keys,
    /// Tell how far a run is, from the files of its folder alone: from any terminal, on any machine that sees it
    #[command(after_help = more("status results/first-look"))]
    Status(StatusArgs),
    /// Print a script that runs a job on a cluster: an array of tasks, each a shard, and the merge after them
    #[command(after_help = more("cluster jobs/end-stagger.toml --for slurm"))]
    Cluster(ClusterArgs),
    /// Solve points for a run, which starts this for itself
    #[command(hide = true)]
    SolvePoints,
    /// Write the report again from the stored results of a run
    #[command(after_help = more("report results/first-look"))]
    Report(ReportArgs),
    /// Predict the headline response of a study at values of its factors, by the models that its report fitted
    #[command(after_help = more("predict results/stagger-upper --at construct.layout=parallel --at plates.stagger_mm=12"))]
    Predict(PredictArgs),
}

/// `predict`
#[derive(Debug, ClapArgs)]
pub struct PredictArgs {
    /// Folder of a study with a report
    #[arg(value_name = "DIR")]
    pub dir: PathBuf,
    /// Value of a factor, once for each, as --at plates.stagger_mm=12
    #[arg(long, value_name = "KEY=VALUE", value_parser = pair, allow_hyphen_values = true)]
    pub at: Vec<(String, String)>,
}

/// A key and its value as text.
fn pair(text: &str) -> Result<(String, String), String> {
    match text.split_once('=') {
        Some((key, value)) if !key.trim().is_empty() => {
            Ok((key.trim().to_owned(), value.trim().to_owned()))
        }
        _ => Err("KEY=VALUE is wanted, such as plates.stagger_mm=12".into()),
    }
}

/// A size in GiB that is more than nothing.
fn gib(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(gib) if gib > 0.0 && gib.is_finite() => Ok(gib),
        _ => Err("a number of GiB above 0 is wanted, such as 16 or 7.5".into()),
    }
}

/// A time in minutes that is more than nothing.
fn minutes(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(minutes) if minutes > 0.0 && minutes <= MOST_MINUTES => Ok(minutes),
        _ => Err("a number of minutes above 0 is wanted, such as 30 or 0.5".into()),
    }
}

/// Ten years.
const MOST_MINUTES: f64 = 5_256_000.0;

/// `run`
#[derive(Debug, ClapArgs)]
pub struct RunArgs {
    /// Job files (TOML), or folders of them. Several are one pool of points, the longest first; points of the same
    /// inputs are solved once for all
    #[arg(required = true, value_name = "JOB")]
    pub jobs: Vec<PathBuf>,
    /// Folder for the results; default: results/NAME of the job file. With several jobs each has a
    /// folder NAME in it. The same command again goes on where it stopped
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Set a key of the job, as if it stood in the file: mesh.finest_mm=2.5; may be given several times
    #[arg(long, value_name = "KEY=VALUE", value_parser = set_key)]
    pub set: Vec<SetKey>,
    /// Solve only these points, by number: 1,3-5. The others are left as they are
    #[arg(long, value_name = "LIST", value_parser = numbers, conflicts_with = "shard")]
    pub points: Option<PointNumbers>,
    /// Try the points again that failed before, and no others. Without it a failed point is tried again when its inputs
    /// have changed or the limit that it met is wider now
    #[arg(long, conflicts_with_all = ["points", "shard"])]
    pub only_failed: bool,
    /// Solve only shard K of N of each job's points, shared out by forecast time; other shards may run at the same
    /// time, also on other machines that see the folder. `bicolumn report DIR` puts them together
    #[arg(long, value_name = "K/N")]
    pub shard: Option<Shard>,
    /// Threads for all points together; default: run.threads of the job, else one for each core.
    /// Results do not depend on it
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Memory for all points together, GiB: how many are solved at once; default: what machine, control
    /// group, limits and a batch scheduler leave
    #[arg(long, value_name = "GIB", value_parser = gib)]
    pub memory: Option<f64>,
    /// Most time for one point, minutes: one that takes longer fails; default: no limit
    #[arg(long, value_name = "MINUTES", value_parser = minutes)]
    pub point_minutes: Option<f64>,
    /// Most memory for one point, GiB: one that takes more fails; default: no limit
    #[arg(long, value_name = "GIB", value_parser = gib)]
    pub point_memory: Option<f64>,
    /// Time for all, minutes: no point is begun whose forecast does not fit, and one under way at the end is broken
    /// off and left; default: what a batch scheduler says, else no limit
    #[arg(long, value_name = "MINUTES", value_parser = minutes)]
    pub minutes: Option<f64>,
    /// Folder of points solved before, by any job: the same inputs are not solved again by the same program. Points
    /// solved now are added
    #[arg(long, value_name = "DIR")]
    pub cache: Option<PathBuf>,
    /// Print errors and the path of the report, nothing else
    #[arg(long)]
    pub quiet: bool,
    /// Print what happens as JSON, one object a line, instead of text
    #[arg(long)]
    pub json: bool,
}

/// Numbers of points from a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PointNumbers(pub BTreeSet<usize>);

fn numbers(text: &str) -> Result<PointNumbers, String> {
    bicolumn_study::point_numbers(text).map(PointNumbers)
}

/// `check`
#[derive(Debug, ClapArgs)]
pub struct CheckArgs {
    /// Job files (TOML), or folders of them
    #[arg(required = true, value_name = "JOB")]
    pub jobs: Vec<PathBuf>,
    /// Set a key of the job, as if it stood in the file: mesh.finest_mm=2.5; may be given several times
    #[arg(long, value_name = "KEY=VALUE", value_parser = set_key)]
    pub set: Vec<SetKey>,
    /// Print the design points as JSON instead of a table
    #[arg(long)]
    pub json: bool,
}

/// `mesh`
#[derive(Debug, ClapArgs)]
pub struct MeshArgs {
    /// Job file (TOML)
    pub job: PathBuf,
    /// Design point: its id, or its number counted from 1
    #[arg(long, value_name = "K")]
    pub point: String,
    /// Folder for the files; default: results/NAME-mesh/POINT
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
}

/// `export`
#[derive(Debug, ClapArgs)]
pub struct ExportArgs {
    /// Job file (TOML)
    pub job: PathBuf,
    /// Design point: its id, or its number counted from 1
    #[arg(long, value_name = "K")]
    pub point: String,
    /// Folder for mesh.vtu, model.json, solution.vtu and, with contact, contact.json
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Also stiffness.mtx and loads.mtx (Matrix Market): all displacement components before supports,
    /// without interfaces; text of some 80 entries a row
    #[arg(long)]
    pub matrix: bool,
}

/// `solve`
#[derive(Debug, ClapArgs)]
pub struct SolveArgs {
    /// Folder with mesh.vtu and model.json
    pub bundle: PathBuf,
    /// Folder for solution.vtu and solution.json; default: results/NAME of the bundle's folder
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Relative residual to reach, 1e-14 to 1e-3
    #[arg(long, value_name = "R", default_value_t = 1e-9, value_parser = residual)]
    pub tolerance: f64,
    /// Threads; default: one for each core. Results do not depend on it
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
}

/// `converge`
#[derive(Debug, ClapArgs)]
pub struct ConvergeArgs {
    /// Job file (TOML)
    pub job: PathBuf,
    /// Design point: its id, or its number counted from 1
    #[arg(long, value_name = "K")]
    pub point: String,
    /// Meshes of the job's own fineness, each with its lattice shifted and turned; 1: no noise figure
    #[arg(long, value_name = "N", default_value_t = 8, value_parser = clap::value_parser!(u8).range(1..=64))]
    pub poses: u8,
    /// Ratio of edge lengths from mesh to mesh of the series, 1.1 to 2
    #[arg(long, value_name = "R", default_value_t = 1.25, value_parser = ratio)]
    pub ratio: f64,
    /// Two coarser meshes than the job's own, instead of one coarser and one finer
    #[arg(long)]
    pub coarser: bool,
    /// Threads; default: run.threads of the job, else one for each core
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Folder for convergence.json and convergence.csv; default: results/NAME-converge/POINT
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
}

/// `refine`
#[derive(Debug, ClapArgs)]
pub struct RefineArgs {
    /// Job file (TOML)
    pub job: PathBuf,
    /// Design point: its id, or its number counted from 1
    #[arg(long, value_name = "K")]
    pub point: String,
    /// Response that must meet the tolerance under every load case, by its name in columns.json; may be
    /// given several times; default: the job's run.headline
    #[arg(long, value_name = "NAME")]
    pub response: Vec<String>,
    /// Estimated error to reach, % of the value, 0.01 to 50
    #[arg(long, value_name = "PERCENT", default_value_t = 2.0, value_parser = tolerance)]
    pub tolerance: f64,
    /// Most tetrahedra of a mesh; a ten-node tetrahedron costs about 6 kB of memory
    #[arg(long, value_name = "N", default_value_t = 600_000, value_parser = clap::value_parser!(u32).range(10_000..=20_000_000))]
    pub elements: u32,
    /// Most meshes, the job's own the first of them
    #[arg(long, value_name = "N", default_value_t = 4, value_parser = clap::value_parser!(u8).range(1..=20))]
    pub steps: u8,
    /// Threads; default: run.threads of the job, else one for each core
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Folder for size_field.json and refinement.json; default: results/NAME-refine/POINT
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
}

/// `hardware`
#[derive(Debug, ClapArgs)]
pub struct HardwareArgs {
    /// Job file (TOML): sections, holes, core diameters and materials are those of its plates and screws
    pub job: PathBuf,
    /// Design point: its id, or its number counted from 1
    #[arg(long, value_name = "K", default_value = "1")]
    pub point: String,
    /// Loading span of the bend, from a support to the nose beside it, mm; default: one and a half hole pitches
    #[arg(long, value_name = "MM", value_parser = length)]
    pub loading_span_mm: Option<f64>,
    /// Centre span, between the noses, mm; default: two hole pitches
    #[arg(long, value_name = "MM", value_parser = length)]
    pub centre_span_mm: Option<f64>,
    /// Holes of the straight plate, at the pitch of the plate's shaft part
    #[arg(long, value_name = "N", default_value_t = 6, value_parser = clap::value_parser!(u8).range(2..=40))]
    pub holes: u8,
    /// Yield stress of the plates, MPa: 690 is cold-worked 316L (ASTM F139-86)
    #[arg(long, value_name = "MPA", default_value_t = 690.0, value_parser = strength)]
    pub yield_mpa: f64,
    /// Free length of the screws in cantilever and torsion, mm
    #[arg(long, value_name = "MM", default_value_t = 20.0, value_parser = length)]
    pub screw_length_mm: f64,
    /// Pull-out: major diameter of the shaft screws' thread, mm (3.5 has a core of 2.4: ISO 5835, from memory)
    #[arg(long, value_name = "MM", default_value_t = 3.5, value_parser = length)]
    pub thread_major_mm: f64,
    /// Pitch of the thread, mm
    #[arg(long, value_name = "MM", default_value_t = 1.25, value_parser = length)]
    pub thread_pitch_mm: f64,
    /// Length of thread in the host, mm
    #[arg(long, value_name = "MM", default_value_t = 20.0, value_parser = length)]
    pub thread_length_mm: f64,
    /// Shear strength of the host, MPa: 4.3 is foam of 320 kg/m3 (ASTM F1839, from memory, uncertain)
    #[arg(long, value_name = "MPA", default_value_t = 4.3, value_parser = strength)]
    pub host_shear_mpa: f64,
    /// Threads; default: run.threads of the job, else one for each core. Results do not depend on it
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
}

fn length(text: &str) -> Result<f64, String> {
    within(text, 0.1, 1000.0)
}

fn strength(text: &str) -> Result<f64, String> {
    within(text, 0.01, 3000.0)
}

fn tolerance(text: &str) -> Result<f64, String> {
    within(text, 0.01, 50.0)
}

fn residual(text: &str) -> Result<f64, String> {
    within(text, 1e-14, 1e-3)
}

fn within(text: &str, least: f64, most: f64) -> Result<f64, String> {
    let wanted = format!("a number from {least} to {most}");
    let value: f64 = text.parse().map_err(|_| wanted.clone())?;
    match (least..=most).contains(&value) {
        true => Ok(value),
        false => Err(wanted),
    }
}

fn ratio(text: &str) -> Result<f64, String> {
    within(text, 1.1, 2.0)
}

/// `report`
#[derive(Debug, ClapArgs)]
pub struct ReportArgs {
    /// Folder of a study
    pub dir: PathBuf,
}

/// `status`
#[derive(Debug, ClapArgs)]
pub struct StatusArgs {
    /// Folder of a study
    pub dir: PathBuf,
}

/// `cluster`
#[derive(Debug, ClapArgs)]
pub struct ClusterArgs {
    /// Job file (TOML)
    pub job: PathBuf,
    /// Batch scheduler that the script is for
    #[arg(long = "for", value_name = "SCHEDULER", value_enum)]
    pub scheduler: Scheduler,
    /// Folder for the results, seen by all nodes; default: results/NAME of the job file
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Set a key of the job, as if it stood in the file: mesh.finest_mm=2.5; may be given several times
    #[arg(long, value_name = "KEY=VALUE", value_parser = set_key)]
    pub set: Vec<SetKey>,
    /// Threads of a task
    #[arg(long, value_name = "N", default_value_t = 4, value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: u16,
    /// Tasks; default: as many as make them last about an hour
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1000))]
    pub tasks: Option<u16>,
    /// Folder of points solved before, as for run
    #[arg(long, value_name = "DIR")]
    pub cache: Option<PathBuf>,
    /// Hand the script to the scheduler instead of printing it
    #[arg(long)]
    pub submit: bool,
}

/// Batch schedulers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Scheduler {
    /// Slurm
    Slurm,
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_example_of_each_command_is_one_of_it() {
        for command in Args::command().get_subcommands() {
            let Some(help) = command.get_after_help() else {
                assert!(command.is_hide_set(), "{}", command.get_name());
                continue;
            };
            let help = help.to_string();
            let line = help.lines().next().unwrap();
            let example = line.strip_prefix("Example: ").unwrap();
            assert!(
                Args::try_parse_from(example.split(' ')).is_ok(),
                "{example}"
            );
            assert_eq!(example.split(' ').nth(1), Some(command.get_name()));
        }
    }

    #[test]
    fn wrapping_breaks_between_words_and_loses_none() {
        let text = "one two three four";
        assert_eq!(wrapped(text, 9), "one two\nthree\nfour");
        assert_eq!(wrapped(text, 3).replace('\n', " "), text);
        assert!(
            wrapped(bicolumn_report::CAUTION, 100)
                .lines()
                .all(|l| l.len() <= 100)
        );
    }
}
