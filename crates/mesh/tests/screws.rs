//! Screws that are not one with their plate, slots, and screws without a plate.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use crate::coarse::coarse;
use bicolumn_base::{Part, Vec3};
use bicolumn_geometry::{
    Construct, ConstructSpec, FractureSpec, Head, IndependentScrewSpec, Screw, ScrewHold, ScrewRow,
    SplitSpec,
};
use bicolumn_mesh::{Facet, SurfaceName, TetMesh, mesh_construct};

fn area(mesh: &TetMesh, f: &Facet) -> f64 {
    let [a, b, c] = [0, 1, 2].map(|k| mesh.nodes[f.nodes[k] as usize]);
    0.5 * (b - a).cross(&(c - a)).norm()
}

fn surface(mesh: &TetMesh, f: &Facet) -> SurfaceName {
    mesh.surfaces[f.surface as usize]
}

fn is_plate(p: Part) -> bool {
    matches!(p, Part::Plate(_))
}

/// A non-locking screw touches its plate in the seat alone, and its shank has room.
fn audit_seat(mesh: &TetMesh, s: &Screw) {
    let Head::Seated {
        centre,
        radius_mm,
        bore_mm,
    } = s.head
    else {
        panic!("{s:?}")
    };
    let own = |p| p == Part::Screw(s.number);
    let mut seat = 0.0;
    for f in mesh.between(own, is_plate) {
        assert_eq!(surface(mesh, f), SurfaceName::HeadSeat(s.number));
        seat += area(mesh, f);
        for n in &f.nodes[..3] {
            let x = mesh.nodes[*n as usize];
            assert!(((x - centre).norm() - radius_mm).abs() < 1e-6);
            let off = (x - s.entry).cross(&s.direction).norm();
            assert!(off > 0.5 * bore_mm - 1e-6, "on or outside the bore: {off}");
        }
    }
    // A ring between the radii of bore and head, a little steeper than flat.
    let ring = std::f64::consts::FRAC_PI_4 * ((2.5 * s.diameter_mm).powi(2) - bore_mm.powi(2));
    assert!((0.6..1.5).contains(&(seat / ring)), "{seat} of {ring}");
    assert_eq!(
        mesh.between(is_plate, own).count(),
        mesh.between(own, is_plate).count()
    );
}

/// The head's footing on bone.
fn audit_head_on_bone(mesh: &TetMesh, s: &Screw) {
    let Head::OnBone { diameter_mm, .. } = s.head else {
        panic!("{s:?}")
    };
    let own = |p| p == Part::Screw(s.number);
    let footing: f64 = mesh
        .between(own, Part::is_bone)
        .filter(|f| surface(mesh, f) == SurfaceName::BoneOuter)
        .map(|f| area(mesh, f))
        .sum();
    let disk = std::f64::consts::FRAC_PI_4 * (diameter_mm.powi(2) - s.diameter_mm.powi(2));
    assert!(
        (0.9..1.5).contains(&(footing / disk)),
        "{footing} of {disk}"
    );
    assert!(mesh.facets_on(SurfaceName::HeadTop(s.number)).count() > 10);
    assert!(mesh.facets_on(SurfaceName::HeadRim(s.number)).count() > 10);
    assert_eq!(mesh.between(own, is_plate).count(), 0);
}

/// A construct and its mesh, in one piece and better than these.
fn well_shaped(spec: &ConstructSpec, dihedral_deg: f64, radius_ratio: f64) -> (Construct, TetMesh) {
    let construct = Construct::build(spec).unwrap();
    let mesh = mesh_construct(&construct, &coarse()).unwrap();
    let q = &mesh.quality;
    println!("{q:?}");
    assert!(q.min_dihedral_deg > dihedral_deg && q.min_radius_ratio > radius_ratio);
    assert_eq!((q.components, q.non_manifold_edges), (1, 0));
    (construct, mesh)
}

#[test]
fn seats_slots_and_a_lag_screw_mesh_together() {
    let mut spec = ConstructSpec::parallel();
    spec.fracture = Some(FractureSpec {
        split: Some(SplitSpec::default()),
        ..FractureSpec::default()
    });
    spec.independent = vec![IndependentScrewSpec::default()];
    for p in &mut spec.plates {
        p.stand_off_mm = 0.0;
        p.end_level_mm = 108.0;
        p.shaft_screws = 2;
        p.slot_mm = 3.0;
        p.shaft_hold = ScrewHold::NonLocking;
        p.distal_hold = ScrewHold::NonLocking;
    }
    let (construct, mesh) = well_shaped(&spec, 15.0, 0.12);
    for s in &construct.screws {
        match s.row {
            ScrewRow::Independent => audit_head_on_bone(&mesh, s),
            _ => audit_seat(&mesh, s),
        }
    }
    // Two slots a plate, drawn out along it.
    let slots: Vec<_> = construct.plates[0]
        .holes
        .iter()
        .enumerate()
        .filter(|(_, h)| h.screw.is_none())
        .collect();
    assert!(slots.len() >= 2);
    for (i, hole) in slots {
        let name = SurfaceName::HoleWall(construct.plates[0].site, i as u8 + 1);
        let reach = |direction: Vec3| {
            mesh.facets_on(name)
                .flat_map(|f| f.nodes)
                .map(|n| (mesh.nodes[n as usize] - hole.centre).dot(&direction).abs())
                .fold(0.0, f64::max)
        };
        let (along, across) = (reach(hole.along), reach(hole.along.cross(&hole.axis)));
        let radius = 0.5 * hole.diameter_mm;
        assert!((along - radius - 1.5).abs() < 0.2, "{along}");
        assert!((across - radius).abs() < 0.2, "{across}");
    }
}

#[test]
fn seated_heads_in_orthogonal_plates_are_well_shaped() {
    let mut spec = ConstructSpec::orthogonal();
    for p in &mut spec.plates {
        p.stand_off_mm = 0.0;
        p.shaft_hold = ScrewHold::NonLocking;
        p.distal_hold = ScrewHold::NonLocking;
    }
    let (construct, mesh) = well_shaped(&spec, 18.0, 0.15);
    for s in &construct.screws {
        audit_seat(&mesh, s);
    }
}
