//! A double-plated bone with its plates bonded and lying on it with friction: what it costs.
//!
//! Run: `cargo run --release -p bicolumn-bench --example plate_on_bone -- [finest_mm] [mu] [cases]`
//!
//! Prints unknowns, iterations and seconds of the bonded solve on the same mesh and of the frictional one,
//! and what the plate-bone interfaces do in each load case.
#![allow(clippy::print_stdout)]

use bicolumn_base::Vec3;
use bicolumn_contact::{ContactOptions, Interfaces, Law, solve};
use bicolumn_geometry::{ArticularSurface, Construct, ConstructSpec};
use bicolumn_mesh::{PairKind, Sizing, SurfaceName, TetMesh, mesh_construct, split_kinds};
use bicolumn_model::{
    JointPatches, LoadSizes, Material, NamedLoad, Patch, Problem, Support, nodes_on,
};
use bicolumn_solve::{Prepared, SolveOptions};
use std::error::Error;
use std::sync::Arc;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let arg = |k: usize, default: f64| {
        let given = std::env::args().nth(k).and_then(|a| a.parse().ok());
        given.unwrap_or(default)
    };
    let (finest_mm, mu) = (arg(1, 2.4), arg(2, 0.3));
    let count = arg(3, 4.0) as usize;
    // Few, thick parts, so that a coarse mesh does: a test of cost, not of a construct.
    let mut spec = ConstructSpec::parallel();
    spec.bone.septum_thickness_mm = 3.5;
    for plate in &mut spec.plates {
        plate.stand_off_mm = 0.0;
        plate.thickness_mm = 3.0;
        (plate.shaft_screws, plate.distal_screws) = (2, 1);
        plate.shaft_screw_diameter_mm = 4.0;
        plate.distal_screw_diameter_mm = 4.0;
    }
    let construct = Construct::build(&spec)?;
    let sizing = Sizing {
        finest_mm,
        growth: 1.5,
        wall_ratio: 3.0,
        ..Sizing::default()
    };
    let mesh = mesh_construct(&construct, &sizing)?;
    let options = SolveOptions {
        tolerance: 1e-6,
        ..SolveOptions::default()
    };
    let whole = pose(&construct, Arc::new(mesh.clone()), count)?;
    let start = Instant::now();
    let bonded = Prepared::new(&whole, &options)?.solve_cases()?;
    println!(
        "bonded: {} unknowns, {} iterations, set-up {:.1} s, solve {:.1} s, all {:.1} s",
        bonded.report.unknowns,
        bonded.report.iterations,
        bonded.report.setup_s,
        bonded.report.solve_s,
        start.elapsed().as_secs_f64()
    );
    let split = split_kinds(&mesh, &[PairKind::PlateOnBone])?;
    println!(
        "split: {} pairs, {} nodes more",
        split.pairs.len(),
        split.mesh.nodes.len() - mesh.nodes.len()
    );
    let problem = pose(&construct, Arc::new(split.mesh.clone()), count)?;
    if let Err(e) = bicolumn_solve::support::check(&problem) {
        println!("without the interfaces: {e}");
    }
    println!("{} pieces", split.mesh.quality.components);
    let interfaces = Interfaces::new(&split, Law::Frictional { mu });
    let start = Instant::now();
    let contact = ContactOptions {
        linear: options,
        ..ContactOptions::default()
    };
    let found = solve(&problem, &interfaces, &[], &[], &contact)?;
    println!(
        "frictional: {:.1} s, set-up {:.1} s",
        start.elapsed().as_secs_f64(),
        found.total.report.setup_s
    );
    for (k, c) in found.cases.iter().enumerate() {
        let most = |u: &[Vec3]| u.iter().map(Vec3::norm).fold(0.0, f64::max);
        println!(
            "{}: {:?}, {} iterations, residual {:.1e}; largest motion {:.4} mm, bonded {:.4}",
            c.name,
            c.status,
            c.iterations,
            c.residual,
            most(&found.total.displacement[k]),
            most(&bonded.displacement[k])
        );
        for s in &c.sets {
            println!(
                "   {}: open {:.2} stuck {:.2} slipping {:.2}, pressure {:.1} MPa, slip {:.4}, opening {:.4}, penetration {:.1e} mm",
                s.name,
                s.open_share,
                s.stuck_share,
                s.slipping_share,
                s.pressure_max_mpa,
                s.slip_max_mm,
                s.opening_max_mm,
                s.penetration_max_mm
            );
        }
    }
    Ok(())
}

fn pose(
    construct: &Construct,
    mesh: Arc<TetMesh>,
    count: usize,
) -> Result<Problem, Box<dyn Error>> {
    let patch = |wanted, name| {
        Patch::of_free_facets(&mesh, name, |f, centroid, normal| {
            mesh.surfaces[f.surface as usize] == SurfaceName::BoneOuter
                && mesh.part_of(f.tet as usize).is_bone()
                && construct.bone.articular(centroid, normal) == Some(wanted)
        })
    };
    let joint = JointPatches::new(
        patch(ArticularSurface::Capitellum, "capitellum")?,
        patch(ArticularSurface::Trochlea, "trochlea")?,
        construct.bone.side(),
    );
    let loads = [
        NamedLoad::Axial,
        NamedLoad::PosteriorBending,
        NamedLoad::Varus,
        NamedLoad::InternalTorsion,
    ];
    let cases = loads[..count.min(4)]
        .iter()
        .map(|l| joint.case(&mesh, &l.of_sizes(&LoadSizes::default())))
        .collect();
    let materials = mesh
        .parts
        .iter()
        .map(|p| match p {
            p if p.is_implant() => Material::titanium_alloy(),
            p if p.is_cortical() => Material::cortical(),
            _ => Material::cancellous(),
        })
        .collect();
    let held = nodes_on(&mesh, SurfaceName::ProximalEnd);
    Ok(Problem::new(
        mesh,
        materials,
        [Support::clamp("end", held)],
        cases,
    )?)
}
