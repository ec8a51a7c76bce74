//! Two blocks squeezed by a clamp, plates locked beside them, the clamp taken off.
//!
//! ```text
//!      ┌──────────────┐ ↓ F     caps a hundred thousand times stiffer; no Poisson's effect: bars.
//!      ├───┬ ┌──┐ ┬───┤         While F acts the plates slide across their cuts, without force. Locked at
//!      │ p │ │ b│ │ p │         that length, they share the bone's spring-back F / k_b when F goes:
//!      │   │ ├──┤ │   │         what is left is F k_p / (k_p + k_b).
//!      ├───┴ └──┘ ┴───┤
//!      └──────────────┘ held
//! ```
//!
//! Tolerance: 0.2 %, for the caps' own give.
#![allow(clippy::unwrap_used)]

use crate::support::*;
use bicolumn_base::{Fragment, Part, Tissue, Vec3};
use bicolumn_contact::{ContactOptions, Interfaces, Law, Preload, Step, solve};
use bicolumn_mesh::{PairKind, TetMesh, split_kinds};

const BONE: f64 = 1_000.0;
const PLATE: f64 = 3_000.0;
const CLAMP: f64 = 80.0;
const DISTAL: Part = Part::Bone(Fragment::Distal, Tissue::Cortical);

/// The cut of the plate on one side: between nodes above 5 mm and the others.
fn cut(mesh: &TetMesh, is_right: bool) -> Preload {
    let above = |n: &u32| mesh.nodes[*n as usize].z > 5.0;
    let tets: Vec<u32> = (0u32..)
        .zip(&mesh.tets)
        .filter(|(t, tet)| {
            let count = tet.iter().filter(|n| above(n)).count();
            let right = mesh.nodes[tet[0] as usize].x > 2.5;
            mesh.part_of(*t as usize) == UPPER && right == is_right && (1..10).contains(&count)
        })
        .map(|(t, _)| t)
        .collect();
    let nodes = tets.iter().flat_map(|t| mesh.tets[*t as usize]);
    let mut pulled: Vec<u32> = nodes.filter(above).collect();
    pulled.sort_unstable();
    pulled.dedup();
    Preload {
        name: "plate".into(),
        force_n: 0.0,
        axis: [0.0, 0.0, 1.0],
        tets,
        pulled,
    }
}

#[test]
fn plates_keep_their_share_of_a_clamp() {
    let mesh = body(
        [5, 2, 6],
        false,
        &|[x, y, z]| Vec3::new(5.0 * x, 2.0 * y, 12.0 * z),
        &|[x, _, z]| {
            let (i, k) = ((5.0 * x) as usize, (6.0 * z) as usize);
            match (i, k) {
                (_, 0 | 5) => Some(TIE),
                (0 | 4, _) => Some(UPPER),
                (2, 1 | 2) => Some(LOWER),
                (2, _) => Some(DISTAL),
                _ => None,
            }
        },
    );
    let split = split_kinds(&mesh, &[PairKind::FractureFaces]).unwrap();
    let mesh = &split.mesh;
    let squeeze = traction(mesh, |x| x.z > 12.0 - 1e-9, |_, n| n * (-CLAMP / 10.0));
    let pull = traction(mesh, |x| x.z > 12.0 - 1e-9, |_, n| n * 1e-3);
    let p = problem(
        mesh,
        |part| match part {
            TIE => (1e8, 0.0),
            UPPER => (PLATE, 0.0),
            _ => (BONE, 0.0),
        },
        nodes_at(mesh, |x| x.z < 1e-9),
        vec![case("little", pull)],
    );
    let cuts = [cut(mesh, false), cut(mesh, true)];
    let (bone, plates) = (BONE * 2.0 / 8.0, PLATE * 4.0 / 8.0);
    let steps = |is_free: bool| {
        [Step {
            name: "clamp".into(),
            forces: squeeze.clone(),
            tightened: if is_free { vec![0, 1] } else { vec![] },
            increments: 1,
            ..Step::default()
        }]
    };
    let options = ContactOptions {
        linear: direct(),
        ..ContactOptions::default()
    };
    let run = |law, is_free| {
        let interfaces = Interfaces::new(&split, law);
        let found = solve(&p, &interfaces, &cuts, &steps(is_free), &options).unwrap();
        let left: f64 = found
            .prepared_tractions
            .iter()
            .map(|t| t.pressure_mpa * t.area_mm2)
            .sum();
        (left, found)
    };
    for law in [Law::Frictionless, Law::Frictional { mu: 0.4 }] {
        let (left, found) = run(law, true);
        let squeezed = found.steps[0].sets[0].normal_force_n[2].abs();
        assert!(close(squeezed, CLAMP, 1e-3), "{squeezed}");
        let exact = CLAMP * plates / (plates + bone);
        assert!(close(left, exact, 0.002), "{left} {exact}");
        let tension: f64 = found.steps[1].section_forces_n.iter().sum();
        assert!(close(tension, exact, 0.002), "{tension} {exact}");
    }
    // Plates locked from the start spring back with the bone and leave nothing.
    let (left, _) = run(Law::Frictionless, false);
    assert!(left.abs() < 1e-3 * CLAMP, "{left}");
}
