//! Bodies that are hard on an iteration: it converges on them, and to the direct solution.
//!
//! | body | why it is hard | oracle |
//! | --- | --- | --- |
//! | thick cylinder, ν = 0.49 and 0.499 | volume hardly changes | Lamé; direct solution |
//! | inclusions 1e6 times stiffer than the rest | jump of the modulus | direct solution |
//! | box with slivers, least dihedral angle below 2 degrees | shape of the elements | constant strain |
//!
//! Tolerance: 1e-7 of the largest displacement where two ways are compared; 1 % of Lamé's displacement
//! (his incompressible limit is no limit of locking for quadratic elements, but of accuracy).
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use bicolumn_base::{Fragment, Mat3, Part, Tissue, Vec3};
use bicolumn_mesh::TetMesh;
use bicolumn_model::{LoadCase, Material, Patch, PatchLoad, Problem, Support, nodes_on};
use bicolumn_solve::{Method, Solution, SolveOptions, solve};
use bicolumn_verify::exact::linear_field::LinearField;
use bicolumn_verify::exact::thick_cylinder::ThickCylinder;
use bicolumn_verify::imposed::Body;
use bicolumn_verify::meshes::block::{BODY, irregular_box, side};
use bicolumn_verify::meshes::tube::{BORE, LOWER_END, UPPER_END, tube};
use std::sync::Arc;

fn with(method: Method) -> SolveOptions {
    SolveOptions {
        method,
        tolerance: 1e-9,
        ..SolveOptions::default()
    }
}

/// Largest difference over the largest size.
fn difference(a: &[Vec3], b: &[Vec3]) -> f64 {
    let size = a.iter().map(Vec3::norm).fold(0.0, f64::max);
    let off = a.iter().zip(b).map(|(u, v)| (u - v).norm());
    off.fold(0.0, f64::max) / size
}

#[test]
fn nearly_incompressible_cylinder() {
    for poisson in [0.49, 0.499] {
        let exact = ThickCylinder {
            inner_mm: 10.0,
            outer_mm: 20.0,
            pressure_mpa: 10.0,
            young_mpa: 17_000.0,
            poisson,
        };
        let radial = |x: Vec3| Vec3::new(x.x, 0.0, x.z).normalize();
        let by = |method| {
            Body::new(
                tube([32, 6, 2], 10.0, 20.0, 5.0).unwrap(),
                17_000.0,
                poisson,
            )
            .impose(LOWER_END, |x| {
                radial(x) * exact.displacement_mm(x.x.hypot(x.z))
            })
            .pull(|s| s == BORE, |_, n| n * -exact.pressure_mpa)
            .pull(|s| s == UPPER_END, |_, n| n * exact.axial_stress_mpa())
            .solve(&with(method))
            .unwrap()
        };
        let (direct, iterative) = (by(Method::Direct), by(Method::FactoredCoarse));
        let off = difference(&direct.displacement, &iterative.displacement);
        let bore = exact.displacement_mm(10.0);
        let nodes = direct
            .problem
            .mesh()
            .nodes
            .iter()
            .zip(&iterative.displacement);
        let from_exact = nodes
            .map(|(x, u)| (u - radial(*x) * exact.displacement_mm(x.x.hypot(x.z))).norm())
            .fold(0.0, f64::max)
            / bore;
        println!("nu {poisson}: differ by {off:.1e}, from Lamé by {from_exact:.1e}");
        assert!(off < 1e-7 && from_exact < 0.01);
    }
}

#[test]
fn inclusions_a_million_times_stiffer() {
    const STIFF: Part = Part::Bone(Fragment::Proximal, Tissue::Cancellous);
    let mut mesh = irregular_box(10, 10.0, 0.15).unwrap();
    mesh.parts = vec![BODY, STIFF];
    for t in 0..mesh.tets.len() {
        let middle = mesh.corners(t).iter().sum::<Vec3>() / 4.0;
        // A ball, and a bar that reaches from the held side to the loaded one.
        let in_ball = (middle - Vec3::new(6.5, 5.0, 7.0)).norm() < 2.0;
        let in_bar = (middle.y - 3.0).abs() < 1.1 && (middle.z - 3.0).abs() < 1.1;
        mesh.part[t] = u16::from(in_ball || in_bar);
    }
    assert!(mesh.part.contains(&1));
    let patch = Patch::of_free_facets(&mesh, "end", |f, _, _| {
        mesh.surfaces[f.surface as usize] == side(0, true)
    })
    .unwrap();
    let load = |name, force_n, moment_nmm| {
        let load = PatchLoad {
            patch: 0,
            force_n,
            through_mm: None,
            moment_nmm,
        };
        LoadCase::combine(name, &mesh, std::slice::from_ref(&patch), &[load])
    };
    let cases = vec![
        load("pull", Vec3::x() * 10.0, Vec3::zeros()),
        load("shear", Vec3::y() * 10.0, Vec3::zeros()),
        load("twist", Vec3::zeros(), Vec3::x() * 50.0),
    ];
    let material = |young| Material::new("test", young, 0.3, "verification");
    let fixed = Support::clamp("end", nodes_on(&mesh, side(0, false)));
    let materials = vec![material(0.2), material(200_000.0)];
    let problem = Problem::new(Arc::new(mesh), materials, [fixed], cases).unwrap();
    let (direct, iterative): (Solution, Solution) = (
        solve(&problem, &with(Method::Direct)).unwrap(),
        solve(&problem, &with(Method::FactoredCoarse)).unwrap(),
    );
    for (k, case) in problem.cases().iter().enumerate() {
        let off = difference(&direct.displacement[k], &iterative.displacement[k]);
        println!("jump of 1e6, {}: differ by {off:.1e}", case.name);
        assert!(off < 1e-7, "{}", case.name);
    }
    println!("jump of 1e6: {} iterations", iterative.report.iterations);
    assert!(iterative.report.iterations <= 32);
}

/// A box in which every seventh inner vertex is pushed almost into the plane of an opposite face.
fn box_with_slivers(cells: usize) -> TetMesh {
    let mesh = irregular_box(cells, 10.0, 0.1).unwrap();
    let mut vertices = mesh.nodes[..mesh.vertex_count].to_vec();
    let tets: Vec<[u32; 4]> = mesh.tets.iter().map(|t| [t[0], t[1], t[2], t[3]]).collect();
    let mut around = vec![Vec::new(); vertices.len()];
    for (t, tet) in tets.iter().enumerate() {
        tet.iter().for_each(|v| around[*v as usize].push(t));
    }
    let on_boundary: std::collections::BTreeSet<u32> =
        mesh.free_facets().flat_map(|f| f.nodes).collect();
    let six_volumes = |vertices: &[Vec3], t: usize| {
        let [a, b, c, d] = tets[t].map(|v| vertices[v as usize]);
        (b - a).dot(&(c - a).cross(&(d - a)))
    };
    let least = 0.01 * (10.0 / cells as f64).powi(3);
    for v in (0..vertices.len() as u32)
        .step_by(7)
        .filter(|v| !on_boundary.contains(v))
    {
        for &t in &around[v as usize] {
            let others: Vec<Vec3> = tets[t]
                .iter()
                .filter(|w| **w != v)
                .map(|w| vertices[*w as usize])
                .collect();
            let normal = (others[1] - others[0])
                .cross(&(others[2] - others[0]))
                .normalize();
            let old = vertices[v as usize];
            vertices[v as usize] = old - normal * (0.97 * normal.dot(&(old - others[0])));
            if around[v as usize]
                .iter()
                .all(|t| six_volumes(&vertices, *t) > least)
            {
                break;
            }
            vertices[v as usize] = old;
        }
    }
    let surface = |middle: Vec3, _: Vec3| {
        let at = mesh.facets.iter().find(|f| {
            let corners = [0, 1, 2].map(|k| mesh.nodes[f.nodes[k] as usize]);
            (corners.iter().sum::<Vec3>() / 3.0 - middle).norm() < 1e-9
        });
        mesh.surfaces[at.unwrap().surface as usize]
    };
    TetMesh::from_straight_tets(vertices, &tets, |_| BODY, surface, |m, _| m).unwrap()
}

#[test]
fn slivers() {
    let mesh = box_with_slivers(8);
    let angle = mesh.quality.min_dihedral_deg;
    let share = mesh.quality.share_below_10_deg;
    assert!(angle < 2.0 && share > 0.01, "{angle} {share}");
    let field = LinearField {
        gradient: Mat3::new(1.0, 0.5, -0.3, 0.2, -0.7, 0.4, 0.6, -0.1, 0.9) * 1e-3,
        origin: Vec3::zeros(),
    };
    let stress = field.stress(17_000.0, 0.3);
    let held = side(0, false);
    let by = |method| {
        Body::new(mesh.clone(), 17_000.0, 0.3)
            .impose(held, |x| field.displacement(x))
            .pull(|s| s != held, |_, n| stress.traction(n))
            .solve(&with(method))
            .unwrap()
            .displacement
    };
    let exact: Vec<Vec3> = mesh.nodes.iter().map(|x| field.displacement(*x)).collect();
    let (direct, iterative) = (by(Method::Direct), by(Method::FactoredCoarse));
    let off = [difference(&exact, &direct), difference(&exact, &iterative)];
    println!(
        "slivers of {angle:.2} degrees ({:.1} % below 10): off by {:.1e} and {:.1e}",
        100.0 * share,
        off[0],
        off[1]
    );
    assert!(off[0] < 1e-9 && off[1] < 1e-7, "{off:?}");
}
