//! Fourth example, after `sphere_on_flat`: one construct, two plates over an open gap, from solids to numbers.
//!
//! Run: `cargo run --release -p bicolumn --example one_construct`
//!
//! ```text
//!    potted ▨▨▨▨        bone of mean published dimensions, gap of 5 mm, parallel plates of steel
//!          │ ││ │       that stand off the bone; coarse cells and stout screws: for the program,
//!          │ ││ │       not for results
//!          └─┘└─┘ gap   axial load of 200 N on capitellum and trochlea
//!         /══════\
//!           ↑  ↑        exact by statics: reaction at the potting 200 N; shares of bone, plates and
//!                       screws in the axial force through the gap add up to 1, bone's is 0
//! ```
//! New here: the crates `geometry` (solids), `mesh` (their mesh), `measure` (responses). What statics demands is
//! exact whatever the mesh; stiffness has no closed form, and is what one computes for.
//! Next: `one_study`.
#![allow(clippy::print_stdout)]

use bicolumn_geometry::{ArticularSurface, Construct, ConstructSpec};
use bicolumn_measure::{Solved, measure};
use bicolumn_mesh::{Sizing, SurfaceName, mesh_construct};
use bicolumn_model::{
    JointPatches, LoadSizes, Material, NamedLoad, Patch, Problem, Support, nodes_on,
};
use bicolumn_response::{Carrier, Check, Load, ResponseId, Share};
use bicolumn_solve::{SolveOptions, solve};
use std::error::Error;
use std::sync::Arc;

/// Responses of the construct by column name.
pub(crate) struct Numbers {
    pub(crate) stiffness_n_per_mm: f64,
    pub(crate) reaction_n: f64,
    pub(crate) load_n: f64,
    /// Share of the bone in the axial force through the gap, and the sum of all shares.
    pub(crate) share_of_bone: f64,
    pub(crate) shares: f64,
}

/// Builds, meshes, poses, solves and measures.
pub(crate) fn numbers() -> Result<Numbers, Box<dyn Error>> {
    // Solids.
    let mut spec = ConstructSpec::parallel();
    spec.bone.septum_thickness_mm = 3.5;
    for plate in &mut spec.plates {
        plate.thickness_mm = 3.0;
        (plate.shaft_screws, plate.distal_screws) = (2, 1);
        plate.shaft_screw_diameter_mm = 4.0;
        plate.distal_screw_diameter_mm = 4.0;
    }
    let construct = Construct::build(&spec)?;

    // Mesh.
    let sizing = Sizing {
        finest_mm: 2.4,
        growth: 1.5,
        wall_ratio: 3.0,
        ..Sizing::default()
    };
    let mesh = Arc::new(mesh_construct(&construct, &sizing)?);

    // Problem.
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
    let sizes = LoadSizes::default();
    let axial = patches.case(&mesh, &NamedLoad::Axial.of_sizes(&sizes));
    let materials = mesh.parts.iter().map(|p| match p {
        p if p.is_implant() => Material::steel_316l(),
        p if p.is_cortical() => Material::cortical(),
        _ => Material::cancellous(),
    });
    let potted = Support::clamp("potting", nodes_on(&mesh, SurfaceName::ProximalEnd));
    let problem = Problem::new(mesh.clone(), materials.collect(), [potted], vec![axial])?;

    // Solution and responses.
    let solution = solve(&problem, &SolveOptions::default())?;
    let solved = Solved {
        construct: &construct,
        problem: &problem,
        patches: patches.patches(),
        solution: &solution,
        total: &solution.displacement,
        tightened: &[],
        contact: None,
    };
    let measures = measure(&solved, None);
    let value = |id: ResponseId| {
        let found = measures[0].responses.iter().find(|r| r.id == id);
        found
            .and_then(|r| r.value)
            .ok_or_else(|| format!("no value of {id}"))
    };
    let mut shares = 0.0;
    for carrier in Carrier::ALL {
        shares += value(Share::AxialGap.of(carrier).into())?;
    }
    Ok(Numbers {
        stiffness_n_per_mm: value(Load::Stiffness.into())?,
        reaction_n: value(Check::ReactionForce.into())?,
        load_n: sizes.axial_n,
        share_of_bone: value(Share::AxialGap.of(Carrier::Bone).into())?,
        shares,
    })
}

fn main() -> Result<(), Box<dyn Error>> {
    let found = numbers()?;
    println!("stiffness {:.1} N/mm", found.stiffness_n_per_mm);
    println!(
        "reaction {:.6} N, load {} N",
        found.reaction_n, found.load_n
    );
    println!(
        "share of the bone in the gap {:.1e}, statics 0; sum of shares {:.9}, statics 1",
        found.share_of_bone, found.shares
    );
    println!("A research tool, not a medical device.");
    Ok(())
}
