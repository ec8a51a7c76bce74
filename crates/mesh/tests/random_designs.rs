//! Random feasible designs on real bones: the figures that every mesh has to reach.
//!
//! One design in the plain run of the tests; twelve of two bones, or the seeds in `MESH_DESIGNS`, by
//! `cargo test --release --workspace --test mesh random_designs -- --ignored --nocapture`; any number by the
//! `sweep` example, which also prints the figure that is an aim and not reached everywhere (the middles of curved
//! facets at the default sizing: A5).
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use crate::coarse::coarse;
use crate::designs::{of_seed, spoil, with_features};
use crate::figures::{Figures, PairFigures, common_share};
use bicolumn_base::{Fragment, Part, PlateSite, Tissue, Vec3};
use bicolumn_geometry::{Bone, Construct, ConstructSpec};
use bicolumn_mesh::{PairKind, Sizing, SurfaceName, TetMesh, mesh_construct, split_kinds};
use std::sync::Arc;

/// Aims that a mesh of the default sizing may miss, and the share of designs that may.
const AIMS: [(&str, f64); 3] = [("A4 ", 0.1), ("A5 near", 0.7), ("A5 far", 0.1)];

#[test]
fn a_design_reaches_the_figures() {
    reach_the_figures(9..=9);
}

#[test]
#[ignore = "a minute or more: named in this file's header"]
fn twelve_designs_reach_the_figures() {
    let text = std::env::var("MESH_DESIGNS").unwrap_or_else(|_| "4..15".into());
    let (from, to) = text.split_once("..").unwrap();
    reach_the_figures(from.parse().unwrap()..=to.parse().unwrap());
}

fn reach_the_figures(seeds: std::ops::RangeInclusive<u64>) {
    let mut faults = Vec::new();
    let mut missed = [0.0; AIMS.len()];
    let mut designs_meshed = 0.0;
    for seed in seeds {
        let Some(design) = with_features(seed) else {
            println!("seed {seed}: no feasible draw in the limit");
            continue;
        };
        let sizing = Sizing {
            pose: design.pose,
            ..Sizing::default()
        };
        println!("seed {seed}: {}, refused {}", design.text, design.refused);
        match mesh_construct(&design.construct, &sizing) {
            Ok(mesh) => {
                designs_meshed += 1.0;
                let mut misses = Figures::of(&design.construct, &mesh).misses();
                let pairs = PairKind::ALL.map(|k| PairFigures::of(&mesh, k).miss(k));
                misses.extend(pairs.into_iter().flatten());
                println!("  {} tets, {misses:?}", mesh.tets.len());
                for miss in misses {
                    match AIMS.iter().position(|a| miss.starts_with(a.0)) {
                        Some(aim) => missed[aim] += 1.0,
                        None => faults.push(format!("seed {seed}: {miss}")),
                    }
                }
            }
            Err(e) => faults.push(format!("seed {seed}: {e}")),
        }
    }
    assert!(faults.is_empty(), "{faults:#?}");
    for ((name, share), missed) in AIMS.iter().zip(missed) {
        assert!(
            missed <= share * designs_meshed,
            "{name}missed by {missed} of {designs_meshed}"
        );
    }
}

#[test]
fn threads_do_not_change_a_bit() {
    let design = of_seed(5).unwrap();
    let sizing = coarse();
    let digest = || {
        let mesh = mesh_construct(&design.construct, &sizing).unwrap();
        Figures::of(&design.construct, &mesh).digest
    };
    let alone = digest();
    let [a, b] =
        std::thread::scope(|s| [s.spawn(digest), s.spawn(digest)].map(|t| t.join().unwrap()));
    assert_eq!([a, b], [alone; 2]);
}

#[test]
fn spoiled_screws_give_a_valid_mesh_or_a_reason_with_a_place() {
    let mut design = of_seed(5).unwrap();
    let sizing = coarse();
    spoil(&mut design.construct, 5);
    match mesh_construct(&design.construct, &sizing) {
        Ok(mesh) => assert_eq!(Figures::of(&design.construct, &mesh).invalid, 0),
        Err(e) => {
            let text = e.to_string();
            assert!(text.contains(" mm") && text.contains('.'), "{text}");
        }
    }
}

#[test]
fn neighbours_have_most_elements_in_common() {
    let design = of_seed(15).unwrap();
    let sizing = Sizing {
        pose: design.pose,
        ..Sizing::default()
    };
    let mesh = |c: &Construct| mesh_construct(c, &sizing).unwrap();
    let own = mesh(&design.construct);
    let [thinner, higher] = design.neighbours().map(|c| mesh(&c.unwrap()));
    let shares = [&thinner, &higher].map(|other| common_share(&own, other));
    println!(
        "a thinner screw {:.3}, plates moved {:.3}",
        shares[0], shares[1]
    );
    assert!(shares[0] >= 0.90 && shares[0] < 1.0, "{shares:?}");
    assert!(shares[1] >= LEAST_WHEN_PLATES_MOVE, "{shares:?}");
}

/// On a tube with one plate the aim is 0.65; of this design, more lies near its two plates.
const LEAST_WHEN_PLATES_MOVE: f64 = 0.4;

#[test]
fn a_plate_on_bone_matches_it_and_one_apart_is_free_of_it() {
    let mut spec = ConstructSpec::parallel();
    let bone = Arc::new(Bone::build(&spec.bone).unwrap());
    for stand_off_mm in [0.0, 0.5] {
        for p in &mut spec.plates {
            p.stand_off_mm = stand_off_mm;
        }
        let construct = Construct::on_bone(bone.clone(), &spec).unwrap();
        let sizing = Sizing {
            finest_mm: 2.0,
            ..Sizing::default()
        };
        let mesh = mesh_construct(&construct, &sizing).unwrap();
        let pairs = PairFigures::of(&mesh, PairKind::PlateOnBone);
        println!("{stand_off_mm} mm off: {pairs:?}");
        assert_eq!(pairs.miss(PairKind::PlateOnBone), None);
        if stand_off_mm == 0.0 {
            assert!(pairs.pairs > 1000, "{}", pairs.pairs);
            continue;
        }
        assert_eq!(pairs.pairs, 0);
        let outer = construct.bone.outer();
        for site in [PlateSite::Medial, PlateSite::Lateral] {
            let mut count = 0;
            for f in mesh.facets_on(SurfaceName::PlateUnderside(site)) {
                let beyond = f.beyond.map(|t| mesh.part_of(t as usize));
                assert!(matches!(beyond, None | Some(Part::Screw(_))), "{beyond:?}");
                for n in &f.nodes[..3] {
                    let off = outer.value(mesh.nodes[*n as usize]) - stand_off_mm;
                    assert!(off.abs() < 1e-6, "{off}");
                }
                count += 1;
            }
            assert!(count > 500, "{count}");
        }
    }
}

/// Two cubes of six tetrahedra, a plate on bone; the last corner is moved up.
fn plate_on_bone(move_mm: f64) -> TetMesh {
    let corner = |i: usize| Vec3::new((i & 1) as f64, (i >> 1 & 1) as f64, (i >> 2) as f64);
    let mut vertices: Vec<Vec3> = (0..12).map(corner).collect();
    vertices[11].z += move_mm;
    let mut tets = Vec::new();
    for base in [0u32, 4] {
        for [a, b] in [[1, 3], [3, 2], [2, 6], [6, 4], [4, 5], [5, 1]] {
            tets.push([base, base + a, base + b, base + 7]);
        }
    }
    let part = |t: usize| match t {
        0..6 => Part::Bone(Fragment::Proximal, Tissue::Cortical),
        _ => Part::Plate(PlateSite::Medial),
    };
    let flat = |x: Vec3, _| x;
    TetMesh::from_straight_tets(vertices, &tets, part, |_, _| SurfaceName::Other(0), flat).unwrap()
}

#[test]
fn common_elements_are_those_of_equal_bits() {
    let mesh = plate_on_bone(0.0);
    assert_eq!(common_share(&mesh, &mesh), 1.0);
    assert_eq!(
        common_share(&mesh, &plate_on_bone(1e-12)),
        0.5,
        "all of the plate changed"
    );
}

#[test]
fn faults_of_pairs_are_seen() {
    let kind = PairKind::PlateOnBone;
    let good = split_kinds(&plate_on_bone(0.0), &[kind]).unwrap();
    let f = PairFigures::measured(&good, kind);
    assert_eq!((f.pairs, f.miss(kind)), (2, None));
    let over = good.pairs[0].b;
    let mut apart = good.clone();
    apart.mesh.nodes[over[0] as usize].z += 2e-6;
    assert!(PairFigures::measured(&apart, kind).miss(kind).is_some());
    let mut turned = good.clone();
    turned.mesh.facets[turned.pairs[0].facets[1] as usize].nodes[..3].swap(0, 1);
    assert!(PairFigures::measured(&turned, kind).normals > 1.0);
    let mut left = good.clone();
    left.mesh.facets[left.pairs[0].facets[0] as usize].beyond = Some(7);
    assert!(PairFigures::measured(&left, kind).odd > 0);
    let mut swapped = good;
    swapped.pairs[0].a[0] = over[0];
    assert!(PairFigures::measured(&swapped, kind).odd > 0);
}
