//! Sets the estimate of `bicolumn check` beside the meshes that come out.
//!
//! `cargo run --release -p bicolumn-bench --example estimate_table`
#![allow(clippy::print_stdout)]

use bicolumn_geometry::{Bone, Construct, ConstructSpec};
use bicolumn_mesh::{Sizing, mesh_construct};
use bicolumn_study::tetrahedra;
use std::error::Error;
use std::sync::Arc;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let bone = Arc::new(Bone::build(&ConstructSpec::intact().bone)?);
    let mut one_plate = ConstructSpec::orthogonal();
    one_plate.plates.truncate(1);
    let mut staggered = ConstructSpec::parallel();
    staggered.plates[0].end_level_mm += 10.0;
    staggered.plates[1].end_level_mm -= 10.0;
    let mut touching = ConstructSpec::orthogonal();
    for p in &mut touching.plates {
        p.stand_off_mm = 0.0;
        p.distal_screws = 2;
    }
    println!(
        "{:22}{:>8}{:>12}{:>12}{:>8}{:>16}{:>10}",
        "construct", "finest", "estimated", "meshed", "ratio", "unknowns a tet", "seconds"
    );
    for (name, spec, cells) in [
        ("intact", ConstructSpec::intact(), [1.25, 2.0]),
        ("medial only", one_plate, [1.25, 1.75]),
        ("parallel +20", staggered, [1.25, 1.5]),
        ("orthogonal", ConstructSpec::orthogonal(), [1.25, 1.0]),
        ("orthogonal, touching", touching, [1.25, 2.5]),
    ] {
        let construct = Construct::on_bone(bone.clone(), &spec)?;
        for finest_mm in cells {
            let sizing = Sizing {
                finest_mm,
                ..Sizing::default()
            };
            let begin = Instant::now();
            let guess = tetrahedra(&construct, &sizing)?;
            let seconds = begin.elapsed().as_secs_f64();
            let quality = mesh_construct(&construct, &sizing)?.quality;
            println!(
                "{name:22}{finest_mm:>8}{:>12.0}{:>12}{:>8.2}{:>16.3}{seconds:>10.2}",
                guess,
                quality.tets,
                guess / quality.tets as f64,
                3.0 * quality.nodes as f64 / quality.tets as f64,
            );
        }
    }
    Ok(())
}
