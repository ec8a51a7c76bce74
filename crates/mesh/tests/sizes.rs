//! Sizes from outside the mesher: a field on a grid.
#![allow(clippy::unwrap_used)]

use bicolumn_base::Vec3;
use bicolumn_geometry::{Construct, ConstructSpec};
use bicolumn_mesh::program::material_box;
use bicolumn_mesh::{MeshError, SizeField, Sizing, TetMesh, mesh_construct};
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
