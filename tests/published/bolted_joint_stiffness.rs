//! A preloaded bolt and the members that it clamps, pulled apart.
//!
//! Source: Shigley, Mechanical Engineering Design, bolted joints (from memory): with the bolt's stiffness
//! k_b and the members' k_m the bolt carries F_b = F_i + P k_b/(k_b + k_m) until the joint opens at
//! P = F_i (1 + k_b/k_m); then F_b = P.
//!
//! ```text
//!      ┌───────────────┐ ↑ P     caps a thousand times stiffer; no Poisson's effect, so that bolt and
//!      ├────┬ ┌──┐ ┬───┤         members are bars and the formulas hold exactly
//!      │ m  │ │b │ │   │
//!      ├────┤ │  │ ├───┤  ← joint
//!      │    │ │  │ │   │
//!      ├────┴ └──┘ ┴───┤
//!      └───────────────┘ held
//! ```
//!
//! Tolerance: 0.5 %, for the caps' own give.
#![allow(clippy::unwrap_used)]

use crate::support::*;
use bicolumn_base::Vec3;
use bicolumn_contact::{ContactOptions, Interfaces, Law, Preload, Step, solve};

const YOUNG: f64 = 10_000.0;
const PRELOAD: f64 = 100.0;

#[test]
fn bolt_force_and_opening_load() {
    let mesh = body(
        [6, 6, 6],
        false,
        &|[x, y, z]| Vec3::new(6.0 * x, 6.0 * y, 12.0 * z),
        &|[x, y, z]| {
            let [i, j, k] = [x, y, z].map(|g| (6.0 * g) as usize);
            if k == 0 || k == 5 {
                return Some(TIE);
            }
            match (i.min(5 - i)).min(j.min(5 - j)) {
                0 if k < 3 => Some(LOWER),
                0 => Some(UPPER),
                1 => None,
                _ => Some(SCREW),
            }
        },
    );
    let split = parted(&mesh);
    let mesh = &split.mesh;
    let (bolt_area, member_area, length) = (4.0, 20.0, 8.0);
    let (bolt, members) = (YOUNG * bolt_area / length, YOUNG * member_area / length);
    let opening = PRELOAD * (1.0 + bolt / members);
    let shares = [0.5, 0.97, 1.03, 1.5];
    let cases = shares.iter().map(|s| {
        let pull = s * opening / 36.0;
        case(
            &format!("pull {s}"),
            traction(mesh, |x| x.z > 12.0 - 1e-9, |_, n| n * pull),
        )
    });
    let p = problem(
        mesh,
        |part| {
            if part == TIE {
                (1e7, 0.0)
            } else {
                (YOUNG, 0.0)
            }
        },
        nodes_at(mesh, |x| x.z < 1e-9),
        cases.collect(),
    );
    // A ragged cut: the tetrahedra between nodes above 5 mm and the others.
    let above = |n: &u32| mesh.nodes[*n as usize].z > 5.0;
    let cut: Vec<u32> = (0u32..)
        .zip(&mesh.tets)
        .filter(|(t, tet)| {
            let count = tet.iter().filter(|n| above(n)).count();
            mesh.part_of(*t as usize) == SCREW && (1..10).contains(&count)
        })
        .map(|(t, _)| t)
        .collect();
    let pulled = cut.iter().flat_map(|t| mesh.tets[*t as usize]);
    let preload = Preload {
        name: "bolt".into(),
        force_n: PRELOAD,
        axis: [0.0, 0.0, 1.0],
        pulled: pulled.filter(above).collect(),
        tets: cut,
    };
    let steps = [Step {
        name: "preload".into(),
        tightened: vec![0],
        increments: 1,
        ..Step::default()
    }];
    let interfaces = Interfaces::new(&split, Law::Frictional { mu: 0.2 });
    let options = ContactOptions {
        linear: direct(),
        ..ContactOptions::default()
    };
    let found = solve(&p, &interfaces, &[preload], &steps, &options).unwrap();
    assert!(close(found.steps[0].section_forces_n[0], PRELOAD, 1e-6));
    assert!(close(
        found.steps[0].sets[0].normal_force_n[2],
        PRELOAD,
        1e-4
    ));
    for (share, report) in shares.iter().zip(&found.cases) {
        assert!(report.is_converged(), "{report:?}");
        let pull = share * opening;
        let left = report.section_forces_n[0];
        if *share < 1.0 {
            let exact = PRELOAD + pull * bolt / (bolt + members);
            assert!(close(left, exact, 0.005), "{left} {exact}");
            assert_eq!(report.sets[0].open_share, 0.0);
        } else {
            assert!(close(left, pull, 0.005), "{left} {pull}");
            assert_eq!(report.sets[0].open_share, 1.0);
        }
    }
}
