//! Plate-and-screw constructs of the distal humerus: the command line, callable in process as [`main_with`], and the
//! engine behind it by about twenty names.
//!
//! Standard output carries data, standard error talk. Exit status: 0 all well, 1 some design points
//! failed or were left, 2 the job cannot be run or every design point failed.
//!
//! # One construct by program
//! ```
//! use bicolumn::{
//!     Construct, ConstructSpec, JointPatches, LoadSizes, Material, NamedLoad, Patch, Problem, Sizing, Solved,
//!     SolveOptions, Support, SurfaceName, measure, mesh_construct, nodes_on, solve,
//! };
//! use bicolumn::{ArticularSurface, Part};
//!
//! // Two parallel plates over a supracondylar gap; thick screws, so that a coarse mesh will do.
//! let mut spec = ConstructSpec::parallel();
//! spec.bone.septum_thickness_mm = 3.5;
//! for plate in &mut spec.plates {
//!     (plate.thickness_mm, plate.shaft_screws, plate.distal_screws) = (3.0, 2, 1);
//!     (plate.shaft_screw_diameter_mm, plate.distal_screw_diameter_mm) = (4.0, 4.0);
//! }
//! let construct = Construct::build(&spec)?;
//! let coarse = Sizing { finest_mm: 3.0, growth: 1.5, wall_ratio: 3.0, ..Sizing::default() };
//! let mesh = std::sync::Arc::new(mesh_construct(&construct, &coarse)?);
//!
//! // Potted above, 200 N along the shaft on capitellum and trochlea.
//! let patch = |name, surface| Patch::of_free_facets(&mesh, name, |f, x, n| {
//!     mesh.surfaces[f.surface as usize] == SurfaceName::BoneOuter
//!         && construct.bone.articular(x, n) == Some(surface)
//! });
//! let joint = JointPatches::new(
//!     patch("capitellum", ArticularSurface::Capitellum)?,
//!     patch("trochlea", ArticularSurface::Trochlea)?,
//!     construct.bone.side(),
//! )
//! .bearing_at([ArticularSurface::Capitellum, ArticularSurface::Trochlea].map(|s| construct.bone.bearing_point(s)));
//! let axial = joint.case(&mesh, &NamedLoad::Axial.of_sizes(&LoadSizes::default()));
//! let material = |p: &Part| match p {
//!     p if p.is_implant() => Material::steel_316l(),
//!     p if p.is_cortical() => Material::cortical(),
//!     _ => Material::cancellous(),
//! };
//! let materials = mesh.parts.iter().map(material).collect();
//! let potted = Support::clamp("potting", nodes_on(&mesh, SurfaceName::ProximalEnd));
//! let problem = Problem::new(mesh.clone(), materials, [potted], vec![axial])?;
//! let solution = solve(&problem, &SolveOptions::default())?;
//!
//! let solved = Solved {
//!     construct: &construct, problem: &problem, patches: joint.patches(), solution: &solution,
//!     total: &solution.displacement, tightened: &[], contact: None,
//! };
//! let measures = measure(&solved, None);
//! assert_eq!(measures[0].case, "axial");
//! let down: f64 = solution.reactions[0].iter().map(|r| r.y).sum();
//! assert!((down + 200.0).abs() < 1e-3);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#![cfg_attr(test, allow(clippy::unwrap_used))]

pub mod args;
mod check;
mod cluster;
mod console;
mod converge;
mod export;
mod hardware;
mod job_list;
mod keys;
mod mesh;
mod mesh_picture;
mod point_of_job;
mod predict;
mod progress;
mod refine;
mod report;
mod run;
mod set_key;
mod signals;
mod solve;
mod solve_points;
mod status;

pub use bicolumn_base::Part;
pub use bicolumn_bundle::{read_bundle, solve_bundle};
pub use bicolumn_contact as contact;
pub use bicolumn_geometry::{ArticularSurface, Construct, ConstructSpec};
pub use bicolumn_job::{Job, Plan};
pub use bicolumn_measure::{Solved, measure};
pub use bicolumn_mesh::{Sizing, SurfaceName, TetMesh, mesh_construct};
pub use bicolumn_model::{
    Components, JointPatches, LoadCase, LoadSizes, Material, NamedLoad, Patch, Problem, Support,
    nodes_on,
};
pub use bicolumn_solve::{Solution, SolveOptions, solve};
pub use bicolumn_study::run_study;
pub use solve_points::points_in_processes;

use args::{Args, Verb};
use clap::Parser;
use console::Console;
use std::ffi::OsString;
use std::io::Write;

/// All well.
pub const ALL_WELL: u8 = 0;
/// Some design points failed, or were left when the run was stopped; or standard output could not be written.
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
            return console.end(ALL_WELL, SOME_FAILED);
        }
    };
    let status = match args.verb {
        Verb::Run(args) => run::run(&args, &mut console),
        Verb::Check(args) => check::check(&args, &mut console),
        Verb::Mesh(args) => mesh::mesh(&args, &mut console),
        Verb::Export(args) => export::export(&args, &mut console),
        Verb::Solve(args) => solve::solve(&args, &mut console),
        Verb::Converge(args) => converge::converge(&args, &mut console),
        Verb::Hardware(args) => hardware::hardware(&args, &mut console),
        Verb::Refine(args) => refine::refine(&args, &mut console),
        Verb::Keys => keys::keys(&mut console),
        Verb::Status(args) => status::status(&args, &mut console),
        Verb::Cluster(args) => cluster::cluster(&args, &mut console),
        Verb::SolvePoints => solve_points::solve_points(&mut console),
        Verb::Report(args) => report::report(&args, &mut console),
        Verb::Predict(args) => predict::predict(&args, &mut console),
    };
    console.end(status, SOME_FAILED)
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
