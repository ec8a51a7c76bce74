//! Fractures of the whole construct: reduced, partial, filled, with a split articular block.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use crate::coarse::coarse;
use crate::figures::Figures;
use bicolumn_base::{Fragment, Part, Vec3};
use bicolumn_geometry::{Bone, ColumnContact, Construct, ConstructSpec, FractureSpec, SplitSpec};
use bicolumn_mesh::{SurfaceName, TetMesh, mesh_construct};
use std::sync::Arc;

fn mesh(fracture: FractureSpec) -> (Construct, TetMesh) {
    let spec = ConstructSpec {
        fracture: Some(fracture),
        ..ConstructSpec::parallel()
    };
    let construct = Construct::build(&spec).unwrap();
    let mesh = mesh_construct(&construct, &coarse()).unwrap();
    let q = &mesh.quality;
    println!("{q:?}");
    assert!(q.min_dihedral_deg > 15.0 && q.min_radius_ratio > 0.12);
    assert_eq!((q.components, q.non_manifold_edges), (1, 0));
    (construct, mesh)
}

fn is_fragment(f: Fragment) -> impl Fn(Part) -> bool {
    move |p| matches!(p, Part::Bone(g, _) if g == f)
}

/// Area of the facets between two fragments, after a check that both sides list the same facets,
/// each under its own name.
fn contact_area(mesh: &TetMesh, sides: [(Fragment, SurfaceName); 2]) -> f64 {
    let corners = |from: usize| {
        let (own, other) = (is_fragment(sides[from].0), is_fragment(sides[1 - from].0));
        let mut listed = Vec::new();
        for f in mesh.between(own, other) {
            assert_eq!(mesh.surfaces[f.surface as usize], sides[from].1);
            let mut key = f.nodes;
            key.sort_unstable();
            listed.push(key);
        }
        listed.sort_unstable();
        listed
    };
    let listed = corners(0);
    assert!(!listed.is_empty());
    assert_eq!(listed, corners(1), "the sides share their nodes");
    let area = |f: &&bicolumn_mesh::Facet| {
        let [a, b, c] = [0, 1, 2].map(|k| mesh.nodes[f.nodes[k] as usize]);
        0.5 * (b - a).cross(&(c - a)).norm()
    };
    mesh.between(is_fragment(sides[0].0), is_fragment(sides[1].0))
        .map(|f| area(&f))
        .sum()
}

const FRACTURE: [(Fragment, SurfaceName); 2] = [
    (Fragment::Proximal, SurfaceName::FractureProximal),
    (Fragment::Distal, SurfaceName::FractureDistal),
];
const SPLIT: [(Fragment, SurfaceName); 2] = [
    (Fragment::DistalMedial, SurfaceName::SplitMedial),
    (Fragment::DistalLateral, SurfaceName::SplitLateral),
];

#[test]
fn reduced_fracture_and_split_share_their_faces() {
    let (construct, mesh) = mesh(FractureSpec {
        gap_mm: 0.0,
        split: Some(SplitSpec::default()),
        ..FractureSpec::default()
    });
    let fracture = construct.fracture.as_ref().unwrap();
    let split = fracture.split.as_ref().unwrap();
    let mut across = 0.0;
    for distal in [Fragment::DistalMedial, Fragment::DistalLateral] {
        across += contact_area(&mesh, [FRACTURE[0], (distal, SurfaceName::FractureDistal)]);
    }
    // The bone's section there, by sampling, less the screws: none crosses the fracture.
    let outer = construct.bone.outer();
    let step = 0.25;
    let mut section = 0.0;
    for i in -120..120 {
        for j in -160..160 {
            let x = fracture.centre + Vec3::new(f64::from(i) * step, 0.0, f64::from(j) * step);
            section += if outer.value(x) < 0.0 {
                step * step
            } else {
                0.0
            };
        }
    }
    assert!((across / section - 1.0).abs() < 0.01, "{across} {section}");
    assert!(contact_area(&mesh, SPLIT) > 100.0);
    for f in mesh.between(is_fragment(SPLIT[0].0), is_fragment(SPLIT[1].0)) {
        for n in f.nodes {
            assert!(split.lateral_of(mesh.nodes[n as usize]).abs() < 1e-6);
        }
    }
}

#[test]
fn a_column_in_contact_a_filled_gap_and_missing_bone_mesh_together() {
    let (construct, mesh) = mesh(FractureSpec {
        gap_mm: 4.0,
        column_contact: ColumnContact::Medial,
        filled: true,
        split: Some(SplitSpec {
            gap_mm: 2.0,
            ..SplitSpec::default()
        }),
        ..FractureSpec::default()
    });
    let fracture = construct.fracture.as_ref().unwrap();
    let step = fracture.step.unwrap();
    let is_medial = is_fragment(Fragment::DistalMedial);
    for f in mesh.between(is_fragment(Fragment::Proximal), is_medial) {
        for n in f.nodes {
            let x = mesh.nodes[n as usize];
            assert!((x - step.point).dot(&step.touching) > -1e-6, "{x:?}");
            assert!(fracture.below(x).abs() < 1e-6);
        }
    }
    assert!(mesh.facets_on(SurfaceName::FractureStep).count() > 20);
    let of_tissue: f64 = (0..mesh.tets.len())
        .filter(|t| mesh.part_of(*t) == Part::GapTissue)
        .map(|t| mesh.volume(t))
        .sum();
    assert!(of_tissue > 1000.0);
    // Nothing joins the halves of the block but what fills the slice, and hardware.
    let lateral = is_fragment(Fragment::DistalLateral);
    assert_eq!(
        mesh.between(is_fragment(Fragment::DistalMedial), lateral)
            .count(),
        0
    );
}

#[test]
fn fractures_through_the_fossa_leave_two_columns_and_whole_fragments() {
    let bone = Arc::new(Bone::build(&ConstructSpec::parallel().bone).unwrap());
    for (level_mm, gap_mm, split) in [(20.0, 0.0, None), (22.0, 3.0, Some(SplitSpec::default()))] {
        let mut spec = ConstructSpec {
            fracture: Some(FractureSpec {
                level_mm,
                gap_mm,
                split,
                ..FractureSpec::default()
            }),
            ..ConstructSpec::parallel()
        };
        for p in &mut spec.plates {
            p.distal_screws = 2;
            // A row of shaft holes that begins above the fracture.
            p.shaft_screws = 3;
        }
        let construct = Construct::on_bone(bone.clone(), &spec).unwrap();
        let mesh = mesh_construct(&construct, &coarse()).unwrap();
        let f = Figures::of(&construct, &mesh);
        println!("level {level_mm}, gap {gap_mm}: {f:?}");
        assert!(
            f.broken.is_empty() && f.invalid == 0 && f.hinged == 0,
            "{f:?}"
        );
        assert!(f.least_deg > 15.0, "{f:?}");
        // The face of the proximal fragment: bone in both columns, the septum's strip between them.
        let face = SurfaceName::FractureProximal;
        let share = |from: f64, to: f64| -> f64 {
            let own = mesh
                .facets_on(face)
                .map(|f| [0, 1, 2].map(|k| mesh.nodes[f.nodes[k] as usize]));
            let inside = own.filter(|p| {
                let z = (p[0].z + p[1].z + p[2].z) / 3.0;
                (from..to).contains(&z)
            });
            inside
                .map(|[a, b, c]| 0.5 * (b - a).cross(&(c - a)).norm())
                .sum()
        };
        let fossa = construct.bone.spec().fossa_width_mm;
        let middle = -0.07 * construct.bone.spec().epicondylar_width_mm;
        assert!(share(-40.0, middle - 0.3 * fossa) > 50.0);
        assert!(share(middle + 0.3 * fossa, 40.0) > 50.0);
        // All of the bone's section there, by sampling.
        let outer = construct.bone.outer();
        let level = level_mm + 0.5 * gap_mm;
        let step = 0.25;
        let inside = |i: i32, j: i32| {
            let x = Vec3::new(f64::from(i) * step, level, f64::from(j) * step);
            f64::from(u8::from(outer.value(x) < 0.0)) * step * step
        };
        let section: f64 = (-120..120)
            .flat_map(|i| (-160..160).map(move |j| (i, j)))
            .map(|(i, j)| inside(i, j))
            .sum();
        let face = share(-60.0, 60.0);
        assert!((face / section - 1.0).abs() < 0.015, "{face} {section}");
    }
}
