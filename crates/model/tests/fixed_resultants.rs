//! The resultant of every load case is the bone's and the job's, not the mesh's: force, and moment about the
//! origin, agree between meshes of other sizes and poses to rounding. Patches of other facets have other centroids,
//! by some 0.05 mm here.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use bicolumn_base::Vec3;
use bicolumn_geometry::{ArticularSurface, Construct, ConstructSpec};
use bicolumn_mesh::{Sizing, SurfaceName, TetMesh, mesh_construct};
use bicolumn_model::{
    Action, JointLoad, JointPatches, JointSurface, LoadLine, LoadSizes, NamedLoad, Patch, Wrench,
};

fn joint(construct: &Construct, mesh: &TetMesh) -> JointPatches {
    let bone = &construct.bone;
    let patch = |name, surface| {
        Patch::of_free_facets(mesh, name, |f, x, n| {
            mesh.surfaces[f.surface as usize] == SurfaceName::BoneOuter
                && bone.articular(x, n) == Some(surface)
        })
        .unwrap()
    };
    JointPatches::new(
        patch("capitellum", ArticularSurface::Capitellum),
        patch("trochlea", ArticularSurface::Trochlea),
        bone.side(),
    )
}

/// A force on both surfaces and one on the trochlea, along one line beside the shaft.
fn beside_the_shaft() -> JointLoad {
    let line = Some(LoadLine {
        anterior_mm: 4.0,
        lateral_mm: -11.0,
        level_mm: -3.0,
    });
    let force = |on, force_n| Action {
        on,
        what: Wrench::Force { force_n, line },
    };
    let both = JointSurface::Both {
        capitellum_share: 0.3,
    };
    JointLoad {
        name: "beside the shaft".into(),
        bend: None,
        actions: vec![
            force(both, Vec3::new(0.0, 150.0, 0.0)),
            force(JointSurface::Trochlea, Vec3::new(-60.0, 0.0, 25.0)),
        ],
    }
}

#[test]
fn resultants_do_not_depend_on_the_mesh() {
    let parallel = ConstructSpec::parallel();
    let construct = Construct::build(&ConstructSpec {
        fracture: None,
        plates: vec![],
        independent: vec![],
        ..parallel
    })
    .unwrap();
    let points = [ArticularSurface::Capitellum, ArticularSurface::Trochlea]
        .map(|surface| construct.bone.bearing_point(surface));
    let sizes = LoadSizes::default();
    let resultants = |finest_mm: f64, shift_mm: f64, bearing: bool| -> Vec<(Vec3, Vec3)> {
        let mut sizing = Sizing {
            finest_mm,
            growth: 1.5,
            wall_ratio: 3.0,
            ..Sizing::default()
        };
        sizing.pose.shift_mm[0] += shift_mm;
        let mesh = mesh_construct(&construct, &sizing).unwrap();
        let joint = joint(&construct, &mesh);
        let joint = if bearing {
            joint.bearing_at(points)
        } else {
            joint
        };
        let joint = joint.shaft_axis_at(construct.bone.shaft_axis(0.0));
        let of = |load: JointLoad| {
            let case = joint.case(&mesh, &load);
            (
                case.resultant_force(),
                case.resultant_moment(&mesh.nodes, Vec3::zeros()),
            )
        };
        let presets = NamedLoad::ALL.into_iter().map(|l| l.of_sizes(&sizes));
        presets.chain([beside_the_shaft()]).map(of).collect()
    };
    let meshes = [(3.0, 0.0), (2.4, 0.0), (2.4, 1.1)];
    let fixed: Vec<_> = meshes.iter().map(|m| resultants(m.0, m.1, true)).collect();
    for other in &fixed[1..] {
        for (a, b) in fixed[0].iter().zip(other) {
            assert!((a.0 - b.0).norm() < 1e-9 * 200.0, "{} {}", a.0, b.0);
            assert!((a.1 - b.1).norm() < 1e-9 * 7500.0, "{} {}", a.1, b.1);
        }
    }
    // The axial force runs through the two points in their shares.
    let (force, moment) = fixed[0][0];
    let through = points[0] * sizes.capitellum_share + points[1] * (1.0 - sizes.capitellum_share);
    assert!((moment - through.cross(&force)).norm() < 1e-9 * 200.0);

    // The stated line, whatever bears it.
    let (force, moment) = fixed[0][NamedLoad::ALL.len()];
    assert!((force - Vec3::new(-60.0, 150.0, 25.0)).norm() < 1e-9 * 200.0);
    let through = construct.bone.shaft_axis(-3.0) + Vec3::new(4.0, 0.0, -11.0);
    assert!((moment - through.cross(&force)).norm() < 1e-9 * 7500.0);

    // Without bearing points the line of the axial force moves with the facets.
    let line = |r: &[(Vec3, Vec3)]| {
        let (f, m) = r[0];
        f.cross(&m) / f.norm_squared()
    };
    let meshed: Vec<Vec3> = meshes
        .iter()
        .map(|m| line(&resultants(m.0, m.1, false)))
        .collect();
    println!("fixed {:?}, as meshed {meshed:?}", line(&fixed[0]));
    let moved = meshed
        .iter()
        .map(|x| (x - meshed[0]).norm())
        .fold(0.0, f64::max);
    assert!(moved > 1e-3, "{moved}");
    let off = meshed
        .iter()
        .map(|x| (x - line(&fixed[0])).norm())
        .fold(0.0, f64::max);
    assert!(off < 0.5, "{off}");
}
