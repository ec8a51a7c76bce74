//! Meshes the two double-plate constructs at a few staggers and prints quality and stage times.
//!
//! `cargo run --release -p bicolumn-bench --example stage_table -- 1.25 1.0` (finest cells, mm).
#![allow(clippy::print_stdout)]

use bicolumn_geometry::{Bone, Construct, ConstructSpec};
use bicolumn_mesh::{Sizing, TetMesh, mesh_construct};
use std::error::Error;
use std::sync::Arc;

fn main() -> Result<(), Box<dyn Error>> {
    let mut cells: Vec<f64> = std::env::args()
        .skip(1)
        .map(|a| a.parse())
        .collect::<Result<_, _>>()?;
    if cells.is_empty() {
        cells.push(1.25);
    }
    let intact = ConstructSpec::intact();
    let bone = Arc::new(Bone::build(&intact.bone)?);
    for cell in &cells {
        report(bone.clone(), &intact, "intact", *cell)?;
    }
    for (name, base) in [
        ("parallel", ConstructSpec::parallel()),
        ("orthogonal", ConstructSpec::orthogonal()),
    ] {
        for stagger in [-20.0, 0.0, 20.0] {
            let mut spec = base.clone();
            spec.plates[0].end_level_mm += 0.5 * stagger;
            spec.plates[1].end_level_mm -= 0.5 * stagger;
            for cell in &cells {
                report(bone.clone(), &spec, &format!("{name} {stagger:+}"), *cell)?;
            }
        }
    }
    Ok(())
}

fn report(
    bone: Arc<Bone>,
    spec: &ConstructSpec,
    name: &str,
    cell: f64,
) -> Result<(), Box<dyn Error>> {
    let construct = Construct::on_bone(bone, spec)?;
    let sizing = Sizing {
        finest_mm: cell,
        ..Sizing::default()
    };
    let TetMesh {
        quality: q,
        stages: s,
        ..
    } = mesh_construct(&construct, &sizing)?;
    println!(
        "{name:14} {cell} mm: {} tets, {} nodes, dihedral {:.1} to {:.1}, radius ratio {:.3}, below 18 degrees {:.1e}, curved {:.4}, off surface {:.0e} mm, unclassified {}, pinched {}, hinged {}, pieces {}, fallback {}, lattice {:.2} cut {:.2} improve {:.2} promote {:.2} s, worst at {:.1?}",
        q.tets,
        q.nodes,
        q.min_dihedral_deg,
        q.max_dihedral_deg,
        q.min_radius_ratio,
        q.share_below_18_deg,
        q.curved_share,
        q.surface_error_mm,
        q.unclassified_facets,
        q.non_manifold_edges,
        q.hinged_edges,
        q.components,
        q.fallback,
        s.lattice_s,
        s.cut_s,
        s.improve_s,
        s.promote_s,
        q.worst_at,
    );
    Ok(())
}
