//! Patch loads have exactly the resultant asked for, on flat and curved patches.
#![allow(clippy::unwrap_used)]

use bicolumn_base::{BodySide, Fragment, Part, Tissue, Vec3};
use bicolumn_mesh::{SurfaceName, TetMesh};
use bicolumn_model::{
    Action, Components, JointLoad, JointPatches, JointSurface, LoadCase, LoadLine, LoadSizes,
    Material, NamedLoad, Patch, PatchLoad, Problem, ProblemError, Support, Wrench, nodes_on,
};
use proptest::prelude::*;
use std::sync::Arc;

/// An octahedron of eight tetrahedra around the origin, its outer edges bent onto the unit sphere.
fn ball(curved: bool) -> TetMesh {
    let axes = [Vec3::x(), Vec3::y(), Vec3::z()];
    let mut vertices = vec![Vec3::zeros()];
    vertices.extend(axes.iter().flat_map(|a| [*a, -*a]));
    let mut tets = vec![];
    for x in [1, 2] {
        for y in [3, 4] {
            for z in [5, 6] {
                tets.push([0, x, y, z]);
            }
        }
    }
    TetMesh::from_straight_tets(
        vertices,
        &tets,
        |_| Part::Bone(Fragment::Distal, Tissue::Cortical),
        |x, _| SurfaceName::Other(u8::from(x.y > 0.0)),
        |m, _| if curved { m.normalize() } else { m },
    )
    .unwrap()
}

fn half(mesh: &TetMesh, name: &str, sign: f64) -> Patch {
    Patch::of_free_facets(mesh, name, |_, centroid, _| centroid.z * sign > 0.0).unwrap()
}

proptest! {
    #[test]
    fn resultant_force_and_moment_are_met(
        f in prop::array::uniform3(-100.0..100.0f64),
        m in prop::array::uniform3(-1000.0..1000.0f64),
        at in prop::array::uniform3(-1.0..1.0f64),
        curved in any::<bool>(),
    ) {
        let mesh = ball(curved);
        let patch = half(&mesh, "half", 1.0);
        let load = PatchLoad { patch: 0, force_n: Vec3::from(f), through_mm: Some(Vec3::from(at)), moment_nmm: Vec3::from(m) };
        let case = LoadCase::combine("x", &mesh, std::slice::from_ref(&patch), std::slice::from_ref(&load));
        let force = case.resultant_force();
        let moment = case.resultant_moment(&mesh.nodes, Vec3::from(at));
        let size = load.force_n.norm() + load.moment_nmm.norm();
        prop_assert!((force - load.force_n).norm() < 1e-12 * size);
        prop_assert!((moment - load.moment_nmm).norm() < 1e-12 * size);
    }
}

#[test]
fn uniform_traction_loads_a_straight_facet_at_its_midside_nodes() {
    // The known consistent load of a six-node facet: nothing at corners, a third at each midside.
    let mesh = ball(false);
    let patch = Patch::from_facets("one", vec![0]).unwrap();
    let load = PatchLoad {
        patch: 0,
        force_n: Vec3::new(0.0, 3.0, 0.0),
        through_mm: None,
        moment_nmm: Vec3::zeros(),
    };
    for (n, f) in load.nodal_forces(&mesh, &patch) {
        let corner = (n as usize) < mesh.vertex_count;
        let expected = if corner { 0.0 } else { 1.0 };
        assert!((f.y - expected).abs() < 1e-13, "{n} {f}");
    }
}

#[test]
fn named_loads_have_their_signs_and_shares() {
    let mesh = ball(true);
    let joint = JointPatches::new(
        half(&mesh, "capitellum", 1.0),
        half(&mesh, "trochlea", -1.0),
        BodySide::Right,
    );
    let sizes = LoadSizes::default();
    let of = |load| joint.case(&mesh, &NamedLoad::of_sizes(load, &sizes));
    let close = |a: Vec3, b: Vec3| assert!((a - b).norm() < 1e-9, "{a} {b}");
    let force = |load| of(load).resultant_force();
    close(force(NamedLoad::Axial), Vec3::new(0.0, 200.0, 0.0));
    close(
        force(NamedLoad::PosteriorBending),
        Vec3::new(-30.0, 0.0, 0.0),
    );
    close(force(NamedLoad::AnteriorBending), Vec3::new(30.0, 0.0, 0.0));
    close(force(NamedLoad::Varus), Vec3::new(0.0, 0.0, -30.0));
    close(force(NamedLoad::Valgus), Vec3::new(0.0, 0.0, 30.0));
    close(force(NamedLoad::InternalTorsion), Vec3::zeros());
    let [capitellum, trochlea, both] = joint.patches();
    let about = both.centroid(&mesh);
    let moment = |load| of(load).resultant_moment(&mesh.nodes, about);
    close(
        moment(NamedLoad::InternalTorsion),
        Vec3::new(0.0, 7500.0, 0.0),
    );
    close(
        moment(NamedLoad::ExternalTorsion),
        Vec3::new(0.0, -7500.0, 0.0),
    );
    // 58 : 42 about the joint's middle: the lateral side carries more, so the axial force turns about X.
    let lever = capitellum.centroid(&mesh) * 0.58 + trochlea.centroid(&mesh) * 0.42 - about;
    close(
        moment(NamedLoad::Axial),
        lever.cross(&Vec3::new(0.0, 200.0, 0.0)),
    );

    // Varus pushes the joint medially: a force −Z at the end of a lever along −Y has a +X moment about the support.
    let support = about + Vec3::y() * 100.0;
    assert!(
        of(NamedLoad::Varus)
            .resultant_moment(&mesh.nodes, support)
            .x
            > 0.0
    );
}

#[test]
fn a_left_joint_bears_the_mirror_image_of_every_load() {
    let mesh = ball(true);
    let on = |side| {
        let at = |name, sign: f64| half(&mesh, name, sign * BodySide::vector(side, Vec3::z()).z);
        JointPatches::new(at("capitellum", 1.0), at("trochlea", -1.0), side)
    };
    let (right, left) = (on(BodySide::Right), on(BodySide::Left));
    let sizes = LoadSizes::default();
    let line = LoadLine {
        anterior_mm: 3.0,
        lateral_mm: 2.0,
        level_mm: -5.0,
    };
    let oblique = JointLoad {
        name: "oblique".into(),
        bend: None,
        actions: vec![Action {
            on: JointSurface::Capitellum,
            what: Wrench::Force {
                force_n: Vec3::new(5.0, 20.0, -7.0),
                line: Some(line),
            },
        }],
    };
    let presets = NamedLoad::ALL.into_iter().map(|l| l.of_sizes(&sizes));
    for load in presets.chain([oblique]) {
        let [r, l] = [&right, &left].map(|j| j.case(&mesh, &load));
        let mirrored = BodySide::Left.vector(r.resultant_force());
        assert!((l.resultant_force() - mirrored).norm() < 1e-9, "{load:?}");
        let moment = |c: &LoadCase| c.resultant_moment(&mesh.nodes, Vec3::zeros());
        let mirrored = BodySide::Left.pseudovector(moment(&r));
        assert!((moment(&l) - mirrored).norm() < 1e-9, "{load:?}");
    }
    // Towards the midline, which lies at +Z of a left humerus.
    let varus = left.case(&mesh, &NamedLoad::Varus.of_sizes(&LoadSizes::default()));
    assert!(varus.resultant_force().z > 29.9);
}

#[test]
fn what_cannot_be_posed_is_refused() {
    let mesh = ball(false);
    let empty = Patch::of_free_facets(&mesh, "trochlea", |_, _, _| false);
    assert_eq!(empty, Err(ProblemError::EmptyPatch("trochlea".into())));
    let mesh = Arc::new(mesh);
    let held = nodes_on(&mesh, SurfaceName::Other(1));
    assert_eq!(
        held.len(),
        13,
        "the upper half sphere has 5 corners and 8 edges"
    );
    let pose = |materials, held: Vec<u32>| {
        let support = Support::clamp("end", held);
        Problem::new(Arc::clone(&mesh), materials, [support], vec![]).map(|_| ())
    };
    assert_eq!(pose(vec![Material::cortical()], held.clone()), Ok(()));
    assert_eq!(
        pose(vec![Material::cortical()], vec![]),
        Err(ProblemError::EmptySupport("end".into()))
    );
    assert!(matches!(
        pose(vec![], held.clone()),
        Err(ProblemError::NoMaterial(_))
    ));
    let bad = Material::new("x", 1.0, 0.5, "");
    assert!(matches!(
        pose(vec![bad], held),
        Err(ProblemError::BadMaterial { .. })
    ));
}

#[test]
fn a_pressure_all_round_is_in_balance_and_a_traction_has_its_resultant() {
    let mesh = ball(true);
    let all = Patch::of_free_facets(&mesh, "ball", |_, _, _| true).unwrap();
    let pressed = LoadCase::new("press", []).with_pressure(&mesh, &all, 2.0);
    let size: f64 = pressed.forces.iter().map(|f| f.1.norm()).sum();
    assert!(size > 10.0);
    assert!(pressed.resultant_force().norm() < 1e-12 * size);
    assert!(pressed.resultant_moment(&mesh.nodes, Vec3::zeros()).norm() < 1e-12 * size);
    let upper = Patch::on(&mesh, SurfaceName::Other(1)).unwrap();
    assert_eq!(upper.nodes(&mesh), nodes_on(&mesh, SurfaceName::Other(1)));
    // Pressure on the upper half pushes down by pressure times the area that its rim encloses: four circular arcs'
    // six-node chords, the integral of x dz by the same shape functions.
    let pressed = LoadCase::new("press", []).with_pressure(&mesh, &upper, 2.0);
    let rim: f64 = [[1, 5], [5, 2], [2, 6], [6, 1]]
        .iter()
        .map(|[a, b]| {
            let (a, b) = (mesh.nodes[*a], mesh.nodes[*b]);
            let m = (a + b).normalize();
            // The parabola through a, m, b: area to the origin is a triangle and two thirds of a sagitta.
            let triangle = 0.5 * a.cross(&b).norm();
            triangle + 2.0 / 3.0 * (b - a).norm() * (m - 0.5 * (a + b)).norm()
        })
        .sum();
    let force = pressed.resultant_force();
    assert!(
        (force - Vec3::y() * (-2.0 * rim)).norm() < 1e-12 * size,
        "{force} {rim}"
    );
    let pulled = LoadCase::new("pull", []).with_traction(&mesh, &upper, |_, _| Vec3::x() * 3.0);
    let expected = Vec3::x() * (3.0 * upper.area(&mesh));
    assert!((pulled.resultant_force() - expected).norm() < 1e-12 * size);
}

#[test]
fn a_load_case_may_move_what_supports_hold_and_nothing_else() {
    let mesh = Arc::new(ball(false));
    let pose = |cases| {
        let supports = [
            Support::clamp("end", [1]),
            Support::prescribed(
                "side",
                Components::X,
                [(2, Vec3::x() * 0.5), (3, Vec3::zeros())],
            ),
        ];
        Problem::new(
            Arc::clone(&mesh),
            vec![Material::cortical()],
            supports,
            cases,
        )
    };
    let base = LoadCase::new("base", []);
    let moved = LoadCase::new("moved", []).with_displacement([1], Components::Y, Vec3::y() * 0.1);
    let back = LoadCase::new("back", []).with_displacement([2], Components::X, Vec3::zeros());
    let problem = pose(vec![base.clone(), moved, back]).unwrap();
    assert_eq!(problem.fixed(), [1]);
    assert_eq!(problem.constraints().len(), 3);
    let own = (2, Vec3::x() * 0.5);
    assert_eq!(problem.prescribed(0), [own]);
    assert_eq!(problem.prescribed(1), [(1, Vec3::y() * 0.1), own]);
    assert_eq!(problem.prescribed(2), []);
    let free = base
        .clone()
        .with_displacement([2], Components::Y, Vec3::y());
    assert!(matches!(
        pose(vec![free]).map(|_| ()),
        Err(ProblemError::NotConstrained {
            node: 2,
            component: "Y",
            ..
        })
    ));
    let twice = pose(vec![base.clone(), base]).map(|_| ());
    assert_eq!(twice, Err(ProblemError::TwoCases("base".into())));
    let beyond = LoadCase::new("x", [(1000, Vec3::x())]);
    assert!(matches!(
        pose(vec![beyond]).map(|_| ()),
        Err(ProblemError::NoSuchNode { node: 1000, .. })
    ));
}
