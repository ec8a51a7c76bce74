//! A construct on an imported surface: the outside of the parametric bone, written as STL and read back.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use bicolumn_geometry::{Bone, BoneSpec, Construct, ConstructSpec, audit, read_stl};
use bicolumn_mesh::{Sizing, mesh_construct};
use std::path::Path;
use std::sync::Arc;

/// The outside of the parametric bone of mean dimensions up to 165 mm, as `write_meshes` of the crate `verify` makes it.
fn surface() -> Vec<u8> {
    let meshes = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../meshes");
    std::fs::read(meshes.join("humerus_outer.stl")).unwrap()
}

#[test]
fn a_bone_written_and_read_back_carries_the_same_construct() {
    let spec = ConstructSpec::parallel();
    let bone = Bone::build(&spec.bone).unwrap();
    let surface = audit(read_stl(&surface()).unwrap()).unwrap();
    assert!(surface.repairs.is_empty(), "{:?}", surface.repairs);
    println!("{} triangles", surface.surface.triangles.len());
    let imported = Bone::on_surface(&spec.bone, &surface).unwrap();

    // The same outside within the sag of facets of 1.5 mm and the grid's rounding.
    let (mut worst, mut sum, mut count) = (0.0f64, 0.0, 0.0);
    for v in surface.surface.vertices.iter().filter(|v| v.y < 150.0) {
        let off = imported.outer().value(*v).abs();
        worst = worst.max(off);
        sum += off;
        count += 1.0;
    }
    println!(
        "off by {:.3} mm at most, {:.4} on average",
        worst,
        sum / count
    );
    assert!(worst < 0.35 && sum / count < 0.03);
    for (row, own) in imported.landmarks().rows.iter().zip(bone.landmarks().rows) {
        assert!((row.2 - own.2).abs() < 0.4, "{row:?} {own:?}");
    }

    // A surface that lies elsewhere, or ends too soon, is refused by name.
    let told = |spec: &BoneSpec| {
        Bone::on_surface(spec, &surface)
            .err()
            .map(|e| e.to_string())
            .unwrap_or_default()
    };
    let high = BoneSpec {
        potting_level_mm: 160.0,
        ..spec.bone.clone()
    };
    assert!(
        told(&high).contains("set potting_level_mm to 157.0"),
        "{}",
        told(&high)
    );
    let mut aside = surface.clone();
    for v in &mut aside.surface.vertices {
        v.x += 20.0;
    }
    let told = Bone::on_surface(&spec.bone, &aside)
        .err()
        .unwrap()
        .to_string();
    assert!(told.contains("does not fit the bone frame: the "), "{told}");
    assert!(told.contains("mm outside"), "{told}");

    let construct = Construct::on_bone(Arc::new(imported), &spec).unwrap();
    assert!(construct.notes.iter().any(|n| n.contains("imported")));
    let sizing = Sizing {
        finest_mm: 2.0,
        ..Sizing::default()
    };
    let mesh = mesh_construct(&construct, &sizing).unwrap();
    let q = &mesh.quality;
    println!("{q:?}");
    assert!(q.min_dihedral_deg > 15.0 && q.min_radius_ratio > 0.12);
    assert_eq!((q.components, q.non_manifold_edges), (1, 0));
}
