//! A tolerance below what rounding allows ends at the rounding floor, and says so.
#![allow(clippy::unwrap_used)]

use crate::support::{SOFT, STIFF, box_mesh, held_box, material};
use bicolumn_base::Vec3;
use bicolumn_model::Problem;
use bicolumn_solve::{Method, SolveError, SolveOptions, SolveReport, solve};

/// A slender stiff rod in soft stuff: |K||u| is very much larger than the load.
fn rod(stiff: f64, soft: f64) -> Problem {
    let mesh = box_mesh([3, 30, 3], Vec3::new(3.0, 60.0, 3.0), 0.2, |x| {
        let off = Vec3::new(x.x - 1.5, 0.0, x.z - 1.5);
        if off.norm() < 0.8 { STIFF } else { SOFT }
    });
    let z = Vec3::zeros();
    let loads = [(Vec3::x() * 30.0, z), (z, Vec3::y() * 7500.0)];
    held_box(
        mesh,
        vec![material(stiff, 0.3), material(soft, 0.3)],
        &loads,
    )
}

fn report(problem: &Problem, method: Method, tolerance: f64) -> Result<SolveReport, SolveError> {
    let options = SolveOptions {
        method,
        tolerance,
        ..SolveOptions::default()
    };
    solve(problem, &options).map(|s| s.report)
}

#[test]
fn a_tolerance_below_the_floor_ends_at_the_floor_and_says_so() {
    let problem = rod(193_000.0, 1.0);
    for method in [Method::FactoredCoarse, Method::Direct] {
        let r = report(&problem, method, 1e-14).unwrap();
        assert!(r.stopped_at_floor.iter().all(|&s| s), "{method:?} {r:?}");
        for (residual, floor) in r.residuals.iter().zip(&r.rounding_floors) {
            assert!(residual <= floor && *residual > 1e-14, "{method:?} {r:?}");
            // The floor is a statement about rounding, not a licence.
            assert!(*floor < 1e-6, "{method:?} {r:?}");
        }
        // Above the floor nothing is said.
        let r = report(&problem, method, 1e-5).unwrap();
        assert!(r.stopped_at_floor.iter().all(|&s| !s), "{method:?} {r:?}");
        assert!(r.residuals.iter().all(|&r| r <= 1e-5));
    }
}

#[test]
fn what_has_not_converged_is_an_error_however_low_the_tolerance() {
    let options = SolveOptions {
        method: Method::FactoredCoarse,
        tolerance: 1e-14,
        max_iterations: 8,
        ..SolveOptions::default()
    };
    let error = solve(&rod(193_000.0, 1.0), &options)
        .map(|s| s.report)
        .unwrap_err();
    let SolveError::NotConverged {
        residual, reason, ..
    } = error
    else {
        panic!("{error}");
    };
    assert!(residual > 1e-6, "{residual:e}");
    assert!(reason.contains("rounding alone would allow"), "{reason}");
}

#[test]
fn solutions_at_the_floor_agree_as_far_as_rounding_lets_them() {
    let problem = rod(193_000.0, 1.0);
    let u = |method| {
        let options = SolveOptions {
            method,
            tolerance: 1e-14,
            ..SolveOptions::default()
        };
        solve(&problem, &options).unwrap().displacement
    };
    let (a, b) = (u(Method::Direct), u(Method::FactoredCoarse));
    for (a, b) in a.iter().zip(&b) {
        let size = a.iter().map(Vec3::norm).fold(0.0, f64::max);
        let difference = a.iter().zip(b).map(|(a, b)| (a - b).norm());
        let difference = difference.fold(0.0, f64::max) / size;
        assert!(difference < 1e-7, "{difference:e}");
    }
}
