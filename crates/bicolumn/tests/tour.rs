//! The code of docs/tour.md, compiled and run: one design point through every crate.
//!
//! Between the marks, line by line, stand the page's blocks of Rust in their order; a test compares them.

#![allow(clippy::unwrap_used)]

use std::error::Error;
use std::path::Path;

// page: begin
use bicolumn_base::Vec3;
use bicolumn_estimate::{Defects, Smoothing};
use bicolumn_geometry::{ArticularSurface, Construct};
use bicolumn_job::{Job, Plan, resolve};
use bicolumn_measure::{RecoveredStress, Solved, measure_recovered};
use bicolumn_mesh::{SurfaceName, mesh_construct};
use bicolumn_model::{
    JointPatches, LoadSizes, Material, NamedLoad, Patch, Problem, Support, nodes_on,
};
use bicolumn_response::Load;
use bicolumn_solve::{PartNodes, solve};
use bicolumn_sparse::Team;
use bicolumn_stats::{Design, analyse};
use std::sync::Arc;

/// A title, and coarse cells with stout screws: for the program, not for results.
const JOB: &str = concat!(
    "[run]\ntitle = \"Tour\"\n\n",
    include_str!("../examples/coarse.toml")
);

fn tour(folder: &Path) -> Result<(), Box<dyn Error>> {
    let job = Job::parse(Path::new("tour.toml"), JOB)?;
    let plan = Plan::of(&job)?;
    let point = plan.point("1").ok_or("a plan without points")?;
    let inputs = resolve(&job, point);

    let construct = Construct::build(&inputs.construct)?;
    let on_the_axis = construct.bone.shaft_axis(100.0);
    assert!(construct.bone.outer().value(on_the_axis) < 0.0); // within the outer surface
    assert!(construct.bone.inner().value(on_the_axis) < 0.0); // and in the canal

    let mesh = Arc::new(mesh_construct(&construct, &inputs.sizing)?);
    assert!(mesh.quality.min_dihedral_deg > 10.0);

    let joint = |wanted, name| {
        Patch::of_free_facets(&mesh, name, |f, centroid, normal| {
            mesh.surfaces[f.surface as usize] == SurfaceName::BoneOuter
                && construct.bone.articular(centroid, normal) == Some(wanted)
        })
    };
    let patches = JointPatches::new(
        joint(ArticularSurface::Capitellum, "capitellum")?,
        joint(ArticularSurface::Trochlea, "trochlea")?,
        construct.bone.side(),
    )
    .bearing_at(
        [ArticularSurface::Capitellum, ArticularSurface::Trochlea]
            .map(|surface| construct.bone.bearing_point(surface)),
    );
    let axial = patches.case(&mesh, &NamedLoad::Axial.of_sizes(&LoadSizes::default()));
    assert!((axial.resultant_force() - Vec3::y() * 200.0).norm() < 1e-9);

    let materials = mesh.parts.iter().map(|p| match p {
        p if p.is_implant() => Material::steel_316l(),
        p if p.is_cortical() => Material::cortical(),
        _ => Material::cancellous(),
    });
    let potted = Support::clamp("potting", nodes_on(&mesh, SurfaceName::ProximalEnd));
    let problem = Problem::new(mesh.clone(), materials.collect(), [potted], vec![axial])?;

    let solution = solve(&problem, &inputs.solve)?;
    assert!(solution.report.unknowns > 100_000);
    assert!(solution.report.residuals[0] < 1e-6);

    let part_nodes = PartNodes::of(&mesh);
    let team = Team::new(1);
    let fields = [solution.displacement[0].as_slice()];
    let smoothed = Smoothing::new(&problem, &part_nodes).smooth(&team, &fields);
    let defects = Defects::new(&problem, &part_nodes, &fields, &smoothed);
    let error = defects.energy(&team)[0]; // √(N·mm)
    assert!(error > 0.0);

    let stress = RecoveredStress::of(&problem, &solution.displacement);
    let solved = Solved {
        construct: &construct,
        problem: &problem,
        patches: patches.patches(),
        solution: &solution,
        total: &solution.displacement,
        tightened: &[],
        contact: None,
    };
    let measures = measure_recovered((&solved, &stress), None);
    let stiffness = measures[0]
        .responses
        .iter()
        .find(|r| r.id == Load::Stiffness.into())
        .and_then(|r| r.value)
        .ok_or("no stiffness")?;

    let file = folder.join("tour.toml");
    std::fs::write(&file, JOB)?;
    let out = folder.join("results");
    let command = ["bicolumn", "run", path(&file)?, "--out", path(&out)?];
    let status = bicolumn::main_with(command, &mut vec![], &mut vec![], false);
    assert_eq!(status, bicolumn::ALL_WELL);
    assert!(out.join("report.html").is_file());

    let mut table = csv::Reader::from_path(out.join("results.csv"))?;
    let column = table
        .headers()?
        .iter()
        .position(|h| h == "stiffness_n_per_mm");
    let row = table.records().next().ok_or("an empty table")??;
    let stored: f64 = row[column.ok_or("no such column")?].parse()?;
    assert_eq!(stored, stiffness); // to the last bit

    let design = Design::new(
        vec![2, 2],
        vec![vec![0, 0], vec![0, 1], vec![1, 0], vec![1, 1]],
    )?;
    let variation = analyse(&design, &[10.0, 12.0, 20.0, 22.0])?; // invented responses
    assert!((variation.lines[0].swing() - 10.0).abs() < 1e-9);
    Ok(())
}

fn path(path: &Path) -> Result<&str, &'static str> {
    path.to_str().ok_or("a path that is no text")
}
// page: end

#[test]
fn the_tour_runs_and_gives_the_bits_of_a_study() {
    let folder = tempfile::tempdir().unwrap();
    tour(folder.path()).unwrap();
}

#[test]
fn the_page_shows_this_code() {
    let trimmed = |text: &str| -> Vec<String> {
        let lines = text.lines().map(|l| l.trim().to_owned());
        lines.filter(|l| !l.is_empty()).collect()
    };
    let code = include_str!("tour.rs");
    let code = code.split("// page: begin\n").nth(1).unwrap();
    let code = code.split("// page: end").next().unwrap();
    let page = include_str!("../../../docs/tour.md");
    let blocks = page.split("```rust\n").skip(1);
    let shown: Vec<String> = blocks
        .flat_map(|b| trimmed(b.split("```").next().unwrap()))
        .collect();
    for (shown, code) in shown.iter().zip(&trimmed(code)) {
        assert_eq!(shown, code, "docs/tour.md and tests/tour.rs part here");
    }
    assert_eq!(shown.len(), trimmed(code).len());
    let job = page.split("```toml\n").nth(1).unwrap();
    let job = job.split("```").next().unwrap();
    assert_eq!(job, include_str!("../examples/coarse.toml"));
}
