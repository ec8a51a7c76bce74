//! Bone stress at the last screw and beyond a plate's end, read from stress fields that are known in advance.
//!
//! The construct and its mesh are as the engine makes them; in place of the recovered stress stands a field given by a
//! formula at every node. Tolerances: a linear field is interpolated exactly, and its mean over a ball that the surface
//! halves is that at the centroid of the half but for the surface's curvature and the points of the pattern: 0.06 mm, or 0.2 % of 60 MPa at a slope of
//! 2 MPa/mm. Balls of double the radius overlap the screw, whose part is missing: 0.7 %.
#![allow(clippy::unwrap_used)]

use crate::support::{HEALTHY, Model, model};
use bicolumn_base::{PlateSite, SymTensor, Vec3};
use bicolumn_geometry::{ConstructSpec, PlateSpec, Screw, ScrewRow};
use bicolumn_measure::{CaseMeasures, RecoveredStress, measure_recovered};
use bicolumn_mesh::Sizing;
use bicolumn_model::NamedLoad;
use bicolumn_response::{BeyondEnd, Choice, Edge, LastScrew, PlateColumn, ResponseId};
use bicolumn_solve::{PartNodes, Solution, SolveOptions, StressField, solve};

fn made(base: ConstructSpec) -> (Model, Solution) {
    let plates = base.plates.into_iter().map(|p| PlateSpec {
        shaft_screws: 2,
        distal_screws: 1,
        ..p
    });
    let spec = ConstructSpec {
        plates: plates.collect(),
        ..base
    };
    let sizing = Sizing {
        finest_mm: 2.0,
        growth: 1.0,
        wall_ratio: 3.0,
        ..Sizing::default()
    };
    let made = model(&spec, &sizing, &HEALTHY, &[NamedLoad::Axial]);
    let options = SolveOptions {
        tolerance: 1e-4,
        ..SolveOptions::default()
    };
    let solution = solve(&made.problem, &options).unwrap();
    (made, solution)
}

/// Measures of the construct with uniaxial stress along the shaft of a given size in place of its own.
fn with_stress(made: &Model, solution: &Solution, size: impl Fn(Vec3) -> f64) -> CaseMeasures {
    let mesh = made.problem.mesh();
    let part_nodes = PartNodes::of(mesh);
    let values = part_nodes
        .node
        .iter()
        .map(|n| SymTensor::uniaxial(size(mesh.nodes[*n as usize]), Vec3::y()));
    let fields = vec![StressField {
        values: values.collect(),
    }];
    let stress = RecoveredStress { part_nodes, fields };
    measure_recovered((&made.solved(solution), &stress), None).remove(0)
}

fn last_screw(made: &Model) -> &Screw {
    let own = made.construct.screws.iter();
    let own = own.filter(|s| s.plate == Some(PlateSite::Medial) && s.row == ScrewRow::Shaft);
    own.max_by(|a, b| a.entry.y.total_cmp(&b.entry.y)).unwrap()
}

#[test]
fn a_linear_stress_is_extrapolated_to_the_wall_and_has_its_peak_on_an_edge_beyond_the_end() {
    // Screws of facing plates may pass close by each other's entries; those at right angles do not.
    let (made, solution) = made(ConstructSpec::orthogonal());
    let screw = last_screw(&made);
    // Rising towards the fracture, across the screw's axis: largest on the screw's distal side.
    let down = screw.direction * screw.direction.y - Vec3::y();
    let down = down.normalize();
    let radius = 0.5 * screw.diameter_mm;
    let measured = with_stress(&made, &solution, |x| {
        60.0 + 2.0 * (x - screw.entry).dot(&down)
    });
    let found = |id: ResponseId| measured.response(id).unwrap();
    let near = |value: f64, wanted: f64, share: f64| {
        assert!((value / wanted - 1.0).abs() < share, "{value} for {wanted}");
    };

    let at_screw = found(LastScrew::Structural.of(PlateColumn::Medial).into());
    // The half of a ball that is in the bone has its centroid 3/8 of the radius under the surface, whose normal leans
    // against the screw.
    let normal = made
        .construct
        .bone
        .outer()
        .gradient(screw.entry)
        .normalize();
    let lean = -2.0 * normal.dot(&down) * 0.375 * 0.7816;
    let at_wall = 60.0 + 2.0 * radius + lean;
    near(at_screw.value.unwrap(), at_wall, 0.002);
    let place = at_screw.place.unwrap();
    assert_eq!(place.edge, None);
    assert!(place.from_wall_mm.unwrap().abs() < 0.01);
    for (choice, wanted, share) in [
        (Choice::AtOneMm, at_wall + 2.0, 0.002),
        (Choice::AtTwoMm, at_wall + 4.0, 0.002),
        (Choice::Quadratic, at_wall, 0.002),
        (Choice::HalfBall, at_wall - 0.5 * lean, 0.002),
        (Choice::DoubleBall, at_wall + lean, 0.007),
    ] {
        let under = at_screw.under.iter().find(|u| u.0 == choice).unwrap();
        near(under.1.unwrap(), wanted, share);
    }
    // The cortex of these cases is isotropic, of 17 GPa.
    let strain = found(LastScrew::TensionStrain.of(PlateColumn::Medial).into());
    near(strain.value.unwrap(), 100.0 * at_wall / 17_000.0, 0.002);
    let yielding = found(LastScrew::OfYield.of(PlateColumn::Medial).into());
    near(
        yielding.value.unwrap(),
        100.0 * at_wall / 17_000.0 / 0.0066,
        0.002,
    );

    // Beyond the end the field only falls: its largest value there lies where the region begins.
    let beyond = found(BeyondEnd::Hotspot.of(PlateColumn::Medial).into());
    let edge = beyond.place.unwrap().edge;
    assert!(
        matches!(edge, Some(Edge::PlateEnd | Edge::Screw)),
        "{edge:?}"
    );
}

#[test]
fn a_peak_beyond_the_end_is_found_where_it_is_and_lies_on_no_edge() {
    let (made, solution) = made(ConstructSpec::parallel());
    let plates = made.construct.plates.iter();
    let plate = plates
        .into_iter()
        .find(|p| p.site == PlateSite::Medial)
        .unwrap();
    // A point of the surface 9 mm above the end, below the plate's centre line.
    let level = plate.end_level_mm + 9.0;
    let axis = made.construct.bone.shaft_axis(level);
    let out = plate.centre_line(plate.length_mm).2;
    let out = (out - Vec3::y() * out.y).normalize();
    let surface = (0..2000).map(|i| axis + out * (0.01 * f64::from(i)));
    let peak = surface
        .into_iter()
        .find(|x| made.construct.bone.outer().value(*x) > 0.0)
        .unwrap();
    let measured = with_stress(&made, &solution, |x| {
        10.0 + 5.0 * (-(x - peak).norm_squared() / 32.0).exp()
    });
    let beyond = measured
        .response(BeyondEnd::Hotspot.of(PlateColumn::Medial))
        .unwrap();
    let off = (Vec3::from(beyond.at.unwrap()) - peak).norm();
    assert!(off < 1.0, "{off} mm");
    assert_eq!(beyond.place.unwrap().edge, None);
    // The mean over the inner half of a ball of 0.78 mm, of a bump of 4 mm: 0.3 MPa below its top at most.
    let value = beyond.value.unwrap();
    assert!((14.7..15.02).contains(&value), "{value}");
}

#[test]
fn under_the_real_stress_no_value_at_a_last_screw_lies_on_an_edge() {
    let (made, solution) = made(ConstructSpec::orthogonal());
    let solved = made.solved(&solution);
    let measured = bicolumn_measure::measure(&solved, None);
    for plate in PlateColumn::ALL {
        let found = measured[0]
            .response(LastScrew::Structural.of(plate))
            .unwrap();
        assert!(found.value.unwrap() > 0.0);
        assert_eq!(found.place.unwrap().edge, None, "{plate:?}");
        let factor = measured[0].value(LastScrew::Factor.of(plate)).unwrap();
        let beam = measured[0].value(LastScrew::Beam.of(plate)).unwrap();
        assert!((factor * beam / found.value.unwrap() - 1.0).abs() < 1e-12);
    }
}
