//! Sizes from outside the mesher: a field on a grid, named regions.
#![allow(clippy::unwrap_used)]

use bicolumn_base::PlateSite;
use bicolumn_base::Vec3;
use bicolumn_geometry::{Construct, ConstructSpec};
use bicolumn_mesh::program::material_box;
use bicolumn_mesh::{
    MeshError, RegionFeature, RegionPlace, SizeField, SizeRegion, Sizing, TetMesh, mesh_construct,
};
use std::sync::OnceLock;

fn construct() -> &'static Construct {
    static ONE: OnceLock<Construct> = OnceLock::new();
    ONE.get_or_init(|| Construct::build(&ConstructSpec::parallel()).unwrap())
}

/// Tetrahedra with their centre above 60 mm, and in the shaft and hardware below.
fn tets_above_and_below(mesh: &TetMesh) -> [usize; 2] {
    let middle = |t: &[u32; 10]| {
        let sum: Vec3 = t[..4].iter().map(|n| mesh.nodes[*n as usize]).sum();
        0.25 * sum
    };
    let above = mesh.tets.iter().filter(|t| middle(t).y > 60.0).count();
    [above, mesh.tets.len() - above]
}

#[test]
fn a_field_takes_the_place_of_the_sizes_by_feature() {
    let with = |upper_mm: f64, lower_mm: f64| {
        let by_level = |x: Vec3| if x.y > 60.0 { upper_mm } else { lower_mm };
        let field = SizeField::over(material_box(construct()), 4.0, by_level).unwrap();
        let sizing = Sizing {
            size_field: Some(field),
            growth: 1.0,
            ..Sizing::default()
        };
        mesh_construct(construct(), &sizing).unwrap()
    };
    let [above, below] = tets_above_and_below(&with(2.5, 2.5));
    let finer = with(1.25, 2.5);
    let [above_finer, below_finer] = tets_above_and_below(&finer);
    // Half the edge is eight times the cells; walls, plates and screws had part of them before.
    assert!(above_finer > 3 * above, "{above_finer} {above}");
    assert!(below_finer < below + below / 5, "{below_finer} {below}");
    assert!(finer.quality.min_dihedral_deg > 10.0);
}

#[test]
fn a_field_that_leaves_out_the_joint_is_refused_with_both_boxes() {
    let mut part = material_box(construct());
    part.min.y += 20.0;
    let sizing = Sizing {
        size_field: Some(SizeField::over(part, 4.0, |_| 2.0).unwrap()),
        ..Sizing::default()
    };
    let told = mesh_construct(construct(), &sizing).unwrap_err();
    assert!(
        matches!(told, MeshError::SizeFieldTooSmall { .. }),
        "{told}"
    );
    assert!(
        told.to_string().starts_with("the size field covers from ("),
        "{told}"
    );
}

fn with_region(place: RegionPlace, edge_mm: f64) -> Sizing {
    Sizing {
        finest_mm: 2.0,
        regions: vec![SizeRegion {
            name: "spot".into(),
            place,
            edge_mm,
        }],
        ..Sizing::default()
    }
}

/// Mean volume of the tetrahedra whose centre passes, mm3.
fn mean_volume(mesh: &TetMesh, is_in: impl Fn(Vec3) -> bool) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for t in &mesh.tets {
        let p: [Vec3; 4] = std::array::from_fn(|k| mesh.nodes[t[k] as usize]);
        if is_in(0.25 * (p[0] + p[1] + p[2] + p[3])) {
            sum += (p[1] - p[0]).cross(&(p[2] - p[0])).dot(&(p[3] - p[0])) / 6.0;
            count += 1.0;
        }
    }
    sum / count
}

#[test]
fn a_region_halves_the_cells_there_and_only_there() {
    let plain = Sizing {
        finest_mm: 2.0,
        ..Sizing::default()
    };
    let before = mesh_construct(construct(), &plain).unwrap();
    // In the wall of the shaft well above the plates.
    let centre = construct().bone.shaft_axis(120.0) + 8.0 * Vec3::z();
    let ball = RegionPlace::Ball {
        centre_mm: centre.into(),
        radius_mm: 6.0,
    };
    let there = |x: Vec3| (x - centre).norm() < 5.5;
    // The wanted size grows by 0.35 a mm from the region: 12 mm off it exceeds what was wanted.
    let elsewhere = |x: Vec3| (x - centre).norm() > 17.0;
    let after = mesh_construct(construct(), &with_region(ball, 1.0)).unwrap();
    let ratio = mean_volume(&after, there) / mean_volume(&before, there);
    assert!(ratio < 0.3, "{ratio}");
    let ratio = mean_volume(&after, elsewhere) / mean_volume(&before, elsewhere);
    assert!((ratio - 1.0).abs() < 0.01, "{ratio}");
    // An edge of 1 mm makes tetrahedra of a twelfth of a cubic mm in a regular lattice.
    let volume = mean_volume(&after, there);
    assert!((0.03..0.13).contains(&volume), "{volume}");
    assert!(after.quality.min_dihedral_deg > 10.0);
}

#[test]
fn a_coarse_region_thins_out_what_features_ask_for() {
    let shaft = RegionPlace::Levels {
        from_mm: 60.0,
        to_mm: 200.0,
    };
    let plain = Sizing::default();
    let before = mesh_construct(construct(), &plain).unwrap();
    let after = mesh_construct(
        construct(),
        &Sizing {
            finest_mm: plain.finest_mm,
            ..with_region(shaft, 4.0)
        },
    )
    .unwrap();
    let above = |mesh: &TetMesh| tets_above_and_below(mesh)[0];
    let share = above(&after) as f64 / above(&before) as f64;
    assert!(share < 0.7, "{share}");
    assert!(after.quality.min_dihedral_deg > 10.0);
}

#[test]
fn a_region_round_what_is_not_there_is_refused_with_what_is() {
    let round = RegionPlace::Around {
        feature: RegionFeature::PlateEnd(PlateSite::Posterolateral),
        within_mm: 2.0,
    };
    let told = mesh_construct(construct(), &with_region(round, 1.0)).unwrap_err();
    let text = told.to_string();
    assert!(
        text.starts_with("region spot: this construct has no plate.posterolateral.end"),
        "{text}"
    );
    for name in ["plate.medial.end", "screw.01", "fracture"] {
        assert!(text.contains(name), "{text}");
    }
}
