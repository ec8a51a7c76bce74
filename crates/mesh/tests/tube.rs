//! The mesher on an invented construct of a tube, plates and screws.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use crate::random::Random;
use crate::tube_scene::Scene;
use bicolumn_base::{Part, Vec3};
use bicolumn_mesh::{Fallback, SurfaceName, TetMesh, build};

/// Every gate, checked again from the outside.
fn check(mesh: &TetMesh, scene: &Scene) {
    let mut faces: Vec<([u32; 3], usize)> = Vec::new();
    for (t, tet) in mesh.tets.iter().enumerate() {
        assert!(mesh.volume(t) > 0.0);
        for f in [[0, 1, 2], [0, 1, 3], [0, 2, 3], [1, 2, 3]] {
            let mut f = f.map(|k| tet[k]);
            f.sort_unstable();
            faces.push((f, t));
        }
    }
    faces.sort_unstable();
    let mut expected = 0;
    for sides in faces.chunk_by(|x, y| x.0 == y.0) {
        expected += match sides {
            [_] => 1,
            [(_, a), (_, b)] if mesh.part[*a] != mesh.part[*b] => 2,
            [_, _] => 0,
            _ => panic!("face of more than two tetrahedra"),
        };
    }
    assert_eq!(mesh.facets.len(), expected, "every facet is listed");

    let plan = scene.blueprint();
    let mut worst = 0.0f64;
    for f in &mesh.facets {
        let field = &plan.surfaces[f.surface as usize].1;
        for n in &f.nodes[..3] {
            worst = worst.max(field.value(mesh.nodes[*n as usize]).abs());
        }
    }
    let q = &mesh.quality;
    assert!(worst <= 1e-6, "vertices on their surfaces: {worst}");
    assert_eq!(q.unclassified_facets, 0);
    assert_eq!(q.non_manifold_edges, 0);
    assert!(q.fallback < Fallback::FinerLattice);
    assert!(q.min_dihedral_deg >= 15.0, "{q:?}");
}

#[test]
fn base_scene_passes_every_gate() {
    let scene = Scene::base();
    let mesh = build(&scene.blueprint()).unwrap();
    let q = &mesh.quality;
    println!(
        "{} tets, dihedral {:.1}..{:.1}, radius ratio {:.3}, below 20 deg {:.5}, curved {:.4}, {:?}",
        q.tets,
        q.min_dihedral_deg,
        q.max_dihedral_deg,
        q.min_radius_ratio,
        q.share_below_20_deg,
        q.curved_share,
        mesh.stages
    );
    check(&mesh, &scene);
    assert_eq!(q.components, 1);
    assert_eq!(mesh.parts.len(), 2 + 1 + 4);
    for name in [
        SurfaceName::BoneOuter,
        SurfaceName::BoneInner,
        SurfaceName::ProximalEnd,
        SurfaceName::FractureDistal,
        SurfaceName::FractureProximal,
    ] {
        assert!(mesh.facets_on(name).count() > 10, "{name:?}");
    }

    // Straight sides inscribe a polygon in a screw: with an edge e on a radius r the loss is about
    // (e / r)² / 6, here some 5 %. Midside nodes on the surface win nearly all of it back.
    let sampled = scene.sampled_volumes(0.15, &mut Random::new(7));
    let (mut straight, mut curved) = ([0.0; 3], [0.0; 3]);
    for t in 0..mesh.tets.len() {
        let kind = match mesh.part_of(t) {
            Part::Bone(..) => 0,
            Part::Plate(_) => 1,
            _ => 2,
        };
        straight[kind] += mesh.volume(t);
        curved[kind] += curved_volume(&mesh, t);
    }
    println!("volumes: straight {straight:.1?}, curved {curved:.1?}, sampled {sampled:.1?}");
    for (kind, limit, curved_limit) in [(0, 0.003, 0.002), (1, 0.003, 0.002), (2, 0.05, 0.005)] {
        let error = |v: [f64; 3]| (v[kind] / sampled[kind] - 1.0).abs();
        assert!(error(straight) <= limit, "kind {kind}: {}", error(straight));
        assert!(
            error(curved) <= curved_limit,
            "kind {kind}: {}",
            error(curved)
        );
    }
}

/// Volume of a ten-node tetrahedron by Keast's five-point rule, exact for its cubic det J.
fn curved_volume(mesh: &TetMesh, t: usize) -> f64 {
    const EDGES: [[usize; 2]; 6] = [[0, 1], [1, 2], [2, 0], [0, 3], [1, 3], [2, 3]];
    let x = mesh.tets[t].map(|n| mesh.nodes[n as usize]);
    let det = |l: [f64; 4]| {
        let along = |k: usize| -> Vec3 {
            let corners = x[k] * (4.0 * l[k] - 1.0) - x[0] * (4.0 * l[0] - 1.0);
            let sides = EDGES.iter().enumerate().map(|(e, [a, b])| {
                let d = |i: usize| f64::from(i == k) - f64::from(i == 0);
                x[4 + e] * (4.0 * (d(*a) * l[*b] + l[*a] * d(*b)))
            });
            corners + sides.sum::<Vec3>()
        };
        along(1).dot(&along(2).cross(&along(3)))
    };
    let off_centre: f64 = (0..4)
        .map(|i| {
            det(std::array::from_fn(
                |k| if k == i { 0.5 } else { 1.0 / 6.0 },
            ))
        })
        .sum();
    (-0.8 * det([0.25; 4]) + 0.45 * off_centre) / 6.0
}

#[test]
fn a_repeat_gives_the_same_bits() {
    let scene = Scene::random(3);
    let [a, b] = [0, 1].map(|_| build(&scene.blueprint()).unwrap());
    assert_eq!(a.nodes, b.nodes);
    assert_eq!(a.tets, b.tets);
    assert_eq!(a.part, b.part);
    assert_eq!(a.facets, b.facets);
}

#[test]
fn random_scenes_pass_every_gate() {
    let seeds = std::env::var("MESH_SEEDS").unwrap_or_else(|_| "100..112".into());
    let (from, to) = seeds.split_once("..").unwrap();
    for seed in from.parse::<u64>().unwrap()..to.parse().unwrap() {
        let scene = Scene::random(seed);
        let mesh = build(&scene.blueprint()).unwrap();
        let q = &mesh.quality;
        let s = &mesh.stages;
        println!(
            "seed {seed}: {} plates {} screws, {} tets, dihedral {:.1}..{:.1}, ratio {:.3}, curved {:.4}, fallback {}, pinched {}, unclassified {}, off {:.1e}, pieces {}, {:.2} {:.2} {:.2} {:.2} s, worst at {:.1?}",
            scene.plates.len(),
            scene.screws.len(),
            q.tets,
            q.min_dihedral_deg,
            q.max_dihedral_deg,
            q.min_radius_ratio,
            q.curved_share,
            q.fallback,
            q.non_manifold_edges,
            q.unclassified_facets,
            q.surface_error_mm,
            q.components,
            s.lattice_s,
            s.cut_s,
            s.improve_s,
            s.promote_s,
            q.worst_at
        );
        check(&mesh, &scene);
    }
}
