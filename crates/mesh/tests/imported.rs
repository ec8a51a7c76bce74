//! A construct on an imported surface: the outside of the parametric bone, written as STL and read back.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use bicolumn_base::{Aabb, Fragment, Part, Tissue, Vec3};
use bicolumn_geometry::{Bone, BoneSpec, Construct, ConstructSpec, Field, audit, read_stl};
use bicolumn_mesh::{
    Blueprint, CutStep, Label, LatticePose, Sizing, SurfaceId, SurfaceName, build, mesh_construct,
};
use std::sync::Arc;

struct Outside<'a>(&'a dyn Field);
impl Field for Outside<'_> {
    fn value(&self, x: Vec3) -> f64 {
        self.0.value(x)
    }
    fn gradient(&self, x: Vec3) -> Vec3 {
        self.0.gradient(x)
    }
}

struct Top(f64);
impl Field for Top {
    fn value(&self, x: Vec3) -> f64 {
        x.y - self.0
    }
}

/// The outside of a bone up to a level, as a binary STL file.
fn stl_of(bone: &Bone, top: f64) -> Vec<u8> {
    let inside = Label(1);
    let outer = bone.outer();
    let step = |surface, within: Label, keep: Label| CutStep {
        surface: SurfaceId(surface),
        bounds: Aabb::EVERYWHERE,
        within: Box::new(move |l, _| l == within),
        relabel: Box::new(move |_, out, _| if out { Label::VOID } else { keep }),
    };
    let mut bounds = outer.bounds();
    bounds.max.y = top;
    let mesh = build(&Blueprint {
        surfaces: vec![
            (SurfaceName::BoneOuter, Box::new(Outside(outer))),
            (SurfaceName::ProximalEnd, Box::new(Top(top))),
        ],
        steps: vec![step(0, Label::VOID, inside), step(1, inside, inside)],
        parts: vec![None, Some(Part::Bone(Fragment::Proximal, Tissue::Cortical))],
        bodies: Vec::new(),
        bounds: bounds.grown(2.0),
        material: Box::new(move |x| outer.value(x).max(x.y - top)),
        size: Box::new(|_| 1.5),
        axes: Vec::new(),
        finest_mm: 1.5,
        levels: 0,
        pose: LatticePose::default(),
    })
    .unwrap();
    let mut bytes = vec![b' '; 80];
    let facets: Vec<_> = mesh.free_facets().collect();
    bytes.extend((facets.len() as u32).to_le_bytes());
    for f in facets {
        bytes.extend([0; 12]);
        for n in &f.nodes[..3] {
            for x in mesh.nodes[*n as usize].iter() {
                bytes.extend((*x as f32).to_le_bytes());
            }
        }
        bytes.extend([0; 2]);
    }
    bytes
}

#[test]
fn a_bone_written_and_read_back_carries_the_same_construct() {
    let spec = ConstructSpec::parallel();
    let bone = Bone::build(&spec.bone).unwrap();
    let surface = audit(read_stl(&stl_of(&bone, 165.0)).unwrap()).unwrap();
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
    let mesh = mesh_construct(&construct, &Sizing::default()).unwrap();
    let q = &mesh.quality;
    println!("{q:?}");
    assert!(q.min_dihedral_deg > 15.0 && q.min_radius_ratio > 0.12);
    assert_eq!((q.components, q.non_manifold_edges), (1, 0));
}
